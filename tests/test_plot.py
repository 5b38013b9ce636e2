"""Figures go over an earlier figure, and over nothing else."""

import numpy as np
import pytest
from matplotlib.figure import Figure
from PIL import Image

from rimread.plot import ENDINGS, judge, save


@pytest.mark.parametrize("ending", ENDINGS)
def test_a_plot_may_be_drawn_again(tmp_path, ending):
    path = tmp_path / f"plot{ending}"
    for _ in range(2):
        judge(path)
        save(Figure(), path, dpi=50)
    assert [file.name for file in tmp_path.iterdir()] == [path.name]


@pytest.mark.parametrize("ending", ENDINGS)
def test_but_not_over_a_photo_or_a_report(tmp_path, ending):
    path = tmp_path / f"indent{ending}"
    Image.fromarray(np.zeros((64, 64), np.uint8)).save(path, format="PNG")
    before = path.read_bytes()
    with pytest.raises(ValueError, match="is no plot; it stays as it is"):
        judge(path)
    assert path.read_bytes() == before


def test_an_empty_file_is_nothing_to_lose(tmp_path):
    path = tmp_path / "plot.png"
    path.touch()
    judge(path)
