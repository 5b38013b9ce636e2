"""Photos that once failed: each must stay refused, or measured with a U that covers its error.

``regressions.json`` holds, for each, what went wrong, what must come of it ("good": measured within
U or refused; "measured": within U; "refused"), whether the fault is still open, the seed of the
picture's grain and noise, and the scene as
``json.dumps(dataclasses.asdict(scene))``: written out, because the seeds of the simulator's
conditions draw other scenes when the conditions change. `python tests/rim/test_regressions.py SEED
NAME WHY` prints an entry for a photo of tests/accuracy/simulated.py.
"""

import json
import sys
from dataclasses import asdict
from pathlib import Path

import numpy as np
import pytest

from rimread.diameters import diameters
from rimread.refusal import Refusal
from rimread.rim import find_rim
from rimread.simulate import Camera, Indent, Light, Scene, Surface, simulate

TABLE = Path(__file__).with_name("regressions.json")


def entries():
    return json.loads(TABLE.read_text(encoding="utf-8"))


def scene_from(told):
    return Scene(
        indents=tuple(
            Indent(**indent | {"waves": tuple(map(tuple, indent["waves"]))})
            for indent in told["indents"]
        ),
        surface=Surface(**told["surface"]),
        light=Light(**told["light"]),
        camera=Camera(**told["camera"]),
    )


# Open faults come and go by a hair while the trace is worked on: only closed ones are held, and
# what has become of the others is told when there is time.
OPEN = (
    pytest.mark.slow,
    pytest.mark.xfail(reason="still open", raises=AssertionError, strict=False),
)


@pytest.mark.parametrize(
    "entry",
    [
        pytest.param(entry, id=entry["name"], marks=OPEN if entry["open"] else ())
        for entry in entries()
    ],
)
def test_what_once_failed_stays_good_or_refused(entry):
    scene = scene_from(entry["scene"])
    shot = simulate(scene, rng=np.random.default_rng(entry["picture_seed"]))
    result = find_rim(shot.photo())
    if entry["must_be"] != "good":
        assert isinstance(result, Refusal) == (entry["must_be"] == "refused"), entry["why"]
    if not isinstance(result, Refusal):
        found = diameters(result, shot.scale)
        assert abs(found.mean_mm - shot.truth[0].mean_mm) <= found.budget.U, entry["why"]


def test_scenes_are_read_back_as_they_were():
    for entry in entries():
        assert json.loads(json.dumps(asdict(scene_from(entry["scene"])))) == entry["scene"]


def main(seed, name, why):
    """Print an entry."""
    sys.path.insert(0, str(Path(__file__).parents[1] / "accuracy"))
    from simulated import scene_of  # noqa: PLC0415  (a command beside the table it prints for)

    entry = {
        "name": f"{name} of {seed}",
        "why": why,
        "open": True,
        "must_be": "refused" if name.startswith("refuse-") else "good",
        "picture_seed": [int(seed), int(name.rsplit("-", 1)[1]), 1],
        "scene": asdict(scene_of(int(seed), name)),
    }
    print(json.dumps(entry, ensure_ascii=False))


if __name__ == "__main__":
    main(*sys.argv[1:])
