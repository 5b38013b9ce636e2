"""Pixels to millimetres: ruled lines found, scale fitted, scale file written and read."""

from rimread.scale.calibrate import calibrate, lines_seen
from rimread.scale.file import read_scale, write_scale
from rimread.scale.model import Certificate, Scale, ScalePhoto

__all__ = [
    "Certificate",
    "Scale",
    "ScalePhoto",
    "calibrate",
    "lines_seen",
    "read_scale",
    "write_scale",
]
