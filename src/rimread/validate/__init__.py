"""What a scope and this program together can do: a lab's own working conditions, simulated.

A photo says noise, blur and light (`character_of`); with scale, test and range of diameters they
make `Working`; `run` simulates and measures photos of indents whose truth is known; `summarised`
tells bias, scatter, coverage of U and refusals, and holds them against limits.

Every photo has a true scale of its own, drawn from the uncertainty of the scale file, so that the
whole of U is put to the test. Not in it: the metal, the ball, the machine, the people.
"""

from rimread.validate.character import Character, Noise, character_of, noise_of
from rimread.validate.summary import CAUTION, Cell, Limits, Validation, summarised
from rimread.validate.trial import Trial, run, shot_of
from rimread.validate.working import Working, largest_mm, test_range_mm

__all__ = [
    "CAUTION",
    "Cell",
    "Character",
    "Limits",
    "Noise",
    "Trial",
    "Validation",
    "Working",
    "character_of",
    "largest_mm",
    "noise_of",
    "run",
    "shot_of",
    "summarised",
    "test_range_mm",
]
