"""What the tests of reports share."""

from datetime import date

import pytest
from tests.report.records import SCALE_SHA256

from rimread.scale.model import Certificate, Scale, ScalePhoto


@pytest.fixture
def scale() -> Scale:
    """The scale the records name."""
    return Scale(
        px_per_mm_x=118.2,
        px_per_mm_y=118.2,
        k1_half_diagonal=0.0,
        covariance=((1e-4, 0.0, 0.0), (0.0, 1e-4, 0.0), (0.0, 0.0, 1e-8)),
        dof=50.0,
        width_px=1024,
        height_px=768,
        label="hall scope",
        calibrated_on=date(2026, 11, 2),
        valid_until=date(2027, 11, 1),
        certificate=Certificate(10.0, 9.9975, 0.001),
        photos=(ScalePhoto("along.jpg", "7" * 64, 0.1, 80, 0.02),),
        sha256=SCALE_SHA256,
    )
