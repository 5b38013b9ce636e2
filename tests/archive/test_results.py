"""The picture of old against new."""

from array import array

from rimread.archive.results import Comparison, draw


def test_drawn_as_all_figures_are():
    found = Comparison(array("d", [3.0, 3.5]), array("d", [0.01, -0.02]), array("d", [0.5, -2.0]))
    for axes in draw(found).axes:
        assert not axes.spines["top"].get_visible()
        assert not axes.spines["right"].get_visible()
