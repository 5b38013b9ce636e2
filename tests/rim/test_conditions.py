"""Over the simulator's parameters: whatever the conditions, no number far outside its U."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rimread.diameters import diameters
from rimread.refusal import Refusal
from rimread.rim import find_rim
from rimread.simulate import Camera, Indent, Light, Scene, Surface, simulate

SIDE_PX = 420


@st.composite
def scenes(draw):
    """One whole indent under conditions of a well-kept bench, drawn one by one."""
    d_px = draw(st.floats(120, 300))
    d1_mm, ball_mm = 1.5, draw(st.sampled_from([2.5, 5.0]))
    px_per_mm = d_px / d1_mm
    room = (SIDE_PX / 2 - 0.56 * d_px) / px_per_mm
    place = st.floats(-1, 1)
    return Scene(
        indents=(
            Indent(
                d1_mm=d1_mm,
                d2_mm=d1_mm * (1 - draw(st.floats(0, 0.01))),
                ball_mm=ball_mm,
                x_mm=room * draw(place),
                y_mm=room * draw(place),
                angle_deg=draw(st.floats(0, 180)),
                recovery=draw(st.floats(1.03, 1.3)),
                pile=draw(st.floats(0, 0.2)),
                pile_width=draw(st.floats(0.15, 0.4)),
                crest=draw(st.floats(0, 0.8)),
                edge_round_mm=d1_mm * draw(st.floats(0.0003, 0.002)),
            ),
        ),
        surface=Surface(
            finish=draw(st.sampled_from(["ground", "blasted", "polished"])),
            finish_um=draw(st.floats(0.03, 0.3)),
            lay_deg=draw(st.floats(0, 180)),
        ),
        light=Light(
            kind=draw(st.sampled_from(["ring", "arcs", "side"])),
            elevation_deg=draw(st.floats(30, 60)),
            azimuth_deg=draw(st.floats(0, 360)),
        ),
        camera=Camera(
            width_px=SIDE_PX,
            height_px=SIDE_PX,
            px_per_mm=px_per_mm,
            k1_half_diagonal=draw(st.floats(-0.02, 0.02)),
            blur_px=draw(st.floats(0.5, 1.4)),
            exposure=draw(st.floats(0.15, 0.35)),
            tone=draw(st.sampled_from(["srgb", "linear"])),
            jpeg_quality=draw(st.sampled_from([None, 80, 92])),
        ),
    )


def check(scene, seed):
    shot = simulate(scene, rng=np.random.default_rng(seed))
    rim = find_rim(shot.photo())
    if isinstance(rim, Refusal):
        return
    found, true = diameters(rim, shot.scale), shot.truth[0]
    # Two U are four standard uncertainties: once in 16 000 for a normal error.
    assert abs(found.mean_mm - true.mean_mm) <= 2 * found.budget.U
    assert abs(found.d1_mm - true.d1_mm) <= 2 * found.U_d1_mm
    assert abs(found.d2_mm - true.d2_mm) <= 2 * found.U_d2_mm
    assert rim.centre_px == pytest.approx((true.centre_x_px, true.centre_y_px), abs=2.0)


@settings(max_examples=20, derandomize=True)
@given(scenes(), st.integers(0, 2**32))
def test_no_number_lies_far_outside_its_uncertainty(scene, seed):
    check(scene, seed)


@pytest.mark.slow
@settings(max_examples=200)
@given(scenes(), st.integers(0, 2**32))
def test_no_number_lies_far_outside_its_uncertainty_in_many(scene, seed):
    check(scene, seed)
