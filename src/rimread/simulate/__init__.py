"""Photographs of Brinell indents that never were, with the exact truth about them.

A `Scene` (one or more `Indent`, a `Surface`, a `Light`, a `Camera`) goes in; a picture and the
`Truth` of each indent come out. `random_scene` draws working conditions, `several_scene` several
indents, `spoiled_scene` what no diameter may be read from. The pictures are simulated from slopes
and a rough-metal reflection; they are for tests, for accuracy tables and for asking what a scope
and this program together can do.

The truth is the contact boundary: the break in slope, in the middle of its rounding. Where the
edge seems to be in the picture is another matter: the rounding passes through every slope between
bowl and ridge, and each reflects differently.

>>> import numpy as np
>>> shot = simulate(Scene(indents=(Indent(d1_mm=3.0, d2_mm=2.99),)), rng=np.random.default_rng(1))
>>> shot.picture.shape, shot.truth[0].mean_mm
((1024, 1280), 2.995)

`Simulated.photo` and `Simulated.scale` are what the reader takes:

>>> shot.photo().width_px, shot.scale.px_per_mm_x
(1280, 200.0)

Conditions vary with one generator, the picture's grain and noise with another:

>>> scene = random_scene(np.random.default_rng(7), tier="shop")
>>> scene == random_scene(np.random.default_rng(7), tier="shop")
True
"""

from rimread.simulate.conditions import (
    Spoiled,
    random_scene,
    rim_levels,
    several_scene,
    spoiled_scene,
)
from rimread.simulate.photograph import Simulated, Truth, simulate, truth_of
from rimread.simulate.scene import Camera, Indent, Light, Scene, Surface
from rimread.simulate.tiers import Tier

__all__ = [
    "Camera",
    "Indent",
    "Light",
    "Scene",
    "Simulated",
    "Spoiled",
    "Surface",
    "Tier",
    "Truth",
    "random_scene",
    "rim_levels",
    "several_scene",
    "simulate",
    "spoiled_scene",
    "truth_of",
]
