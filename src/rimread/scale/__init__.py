"""Pixels to millimetres: ruled lines found, scale fitted, scale file written and read."""
