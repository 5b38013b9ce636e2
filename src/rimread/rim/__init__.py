"""Where the indent is, the rim traced, the ellipse fitted, the quality gates."""

from rimread.rim.find import Sighted, find_rim, find_rims, sight_indents
from rimread.rim.model import Rim

__all__ = ["Rim", "Sighted", "find_rim", "find_rims", "sight_indents"]
