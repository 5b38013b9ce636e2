"""One photo measured: from the picture, the scale and the test to a hardness with its checks."""

from rimread.reading.measure import measure_all, measure_photo
from rimread.reading.model import Reading, indent_of
from rimread.reading.record import printable, reading_json

__all__ = ["Reading", "indent_of", "measure_all", "measure_photo", "printable", "reading_json"]
