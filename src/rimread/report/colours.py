"""The colours of drawings, as blue, green, red.

From the set of Okabe and Ito ("Color Universal Design", 2008), which people with any colour vision
can tell apart.
"""

__all__ = ["BLACK", "ORANGE", "SKY_BLUE", "STRIP", "WHITE", "YELLOW", "Colour"]

Colour = tuple[int, int, int]

SKY_BLUE: Colour = (233, 180, 86)
ORANGE: Colour = (0, 159, 230)
YELLOW: Colour = (66, 228, 240)
WHITE: Colour = (255, 255, 255)
BLACK: Colour = (0, 0, 0)
STRIP: Colour = (38, 30, 26)
