"""What an unstated tone curve does to diameters, and what the budget carries for it.

python tests/accuracy/tone_table.py [PHOTOS]

Each simulated photo is traced under its own tone curve and under the other one. `moved` is the
difference of the two radii, `u` what `rimread.rim.tone` bounds it with, both in px.
"""

import sys
from collections import defaultdict
from dataclasses import replace

import cv2
import numpy as np

from rimread.rim import Rim, find_rim
from rimread.simulate import random_scene, simulate


def main() -> None:
    """Print one row a kind of light, and all together."""
    cv2.setNumThreads(1)
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    rows: dict[str, list[tuple[float, float, float]]] = defaultdict(list)
    for index in range(count):
        scene = random_scene(np.random.default_rng([31, index]), tier="shop")
        photo = simulate(scene, rng=np.random.default_rng([32, index])).photo()
        other = "linear" if photo.tone == "srgb" else "srgb"
        right, wrong = find_rim(photo), find_rim(replace(photo, tone=other, tone_stated=False))
        if not (isinstance(right, Rim) and isinstance(wrong, Rim)):
            continue
        moved = wrong.ellipse.m - right.ellipse.m
        for group in (scene.light.kind, "all"):
            rows[group].append((moved, wrong.u_tone_px, wrong.u_common_px))
    print(f"{'light':10} {'photos':>6} {'rms moved':>9} {'rms u':>6} {'within 2 u':>10} {'..+':>5}")
    for group, found in sorted(rows.items()):
        moved, u, common = np.array(found).T
        inside, with_common = (
            np.mean(np.abs(moved) <= 2 * size) for size in (u, np.hypot(u, common))
        )
        print(
            f"{group:10} {len(moved):6d} {np.sqrt(np.mean(moved**2)):9.3f} "
            f"{np.sqrt(np.mean(u**2)):6.3f} {inside:10.0%} {with_common:5.0%}"
        )
    print("..+: within 2 u together with that of the rim definition, which is there anyway")


if __name__ == "__main__":
    main()
