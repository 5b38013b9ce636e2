"""Where the indent is, the rim traced, the ellipse fitted, the quality gates."""
