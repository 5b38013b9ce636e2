"""Reads the rim of a Brinell indent in a photo: two diameters, their uncertainty, the hardness."""

__version__ = "0.1.0"
