"""Photographs of Brinell indents that never were, with the exact truth about them.

A scene (`Indent`, `Surface`, `Light`, `Camera`) goes in, a picture and its truth come out. The
renderings are made from slopes and a rough-metal reflection, not traced rays; they are for tests,
accuracy tables and for asking what a scope and this program together can do.

>>> import numpy as np
>>> shot = simulate(Scene(indents=(Indent(d1_mm=3.0, d2_mm=2.99),)), rng=np.random.default_rng(1))
>>> shot.picture.shape, shot.truth[0].mean_mm
((1024, 1280), 2.995)
"""

from rimread.simulate.conditions import (
    Spoiled,
    Tier,
    random_scene,
    several_scene,
    spoiled_scene,
)
from rimread.simulate.photograph import Simulated, Truth, simulate
from rimread.simulate.scene import Camera, Indent, Light, Scene, Surface

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
    "several_scene",
    "simulate",
    "spoiled_scene",
]
