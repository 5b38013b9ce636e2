"""Where the indent is, the rim traced, the ellipse fitted, the quality gates."""

from rimread.rim.find import find_rim, find_rims
from rimread.rim.model import Rim

__all__ = ["Rim", "find_rim", "find_rims"]
