"""The hardness core."""
