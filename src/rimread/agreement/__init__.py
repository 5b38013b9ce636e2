"""People's readings held against the image."""

from rimread.agreement.gauge import gauge_study
from rimread.agreement.limits import limits_of_agreement, normalised_error
from rimread.agreement.model import Comparison, Operator, Pair
from rimread.agreement.readings import (
    HumanReading,
    ImageResult,
    image_result,
    read_human,
    read_results,
)
from rimread.agreement.study import compare

__all__ = [
    "Comparison",
    "HumanReading",
    "ImageResult",
    "Operator",
    "Pair",
    "compare",
    "gauge_study",
    "image_result",
    "limits_of_agreement",
    "normalised_error",
    "read_human",
    "read_results",
]
