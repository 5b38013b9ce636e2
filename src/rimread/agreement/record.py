"""A comparison as plain values for ``--json``."""

from __future__ import annotations

import math
from typing import Any

from rimread.agreement.drift import Drift
from rimread.agreement.gauge import Gauge
from rimread.agreement.limits import Limits
from rimread.agreement.model import Comparison, Operator, Pair
from rimread.agreement.statistics import CONFIDENCE, Estimate
from rimread.check import checks_json
from rimread.hardness import hbw_per_mm

__all__ = ["comparison_json"]


def comparison_json(study: Comparison) -> dict[str, Any]:
    """One object; absent values are None, lengths in mm, every interval at 95 %."""
    return {
        "status": "failed" if study.failed else "passed",
        "test": study.test.name,
        "mean_mm": study.d_mm,
        "hbw_per_mm": hbw_per_mm(study.d_mm, study.test),
        "confidence": CONFIDENCE,
        "resolution_mm": study.resolution_mm,
        "step_mm": study.step_mm,
        "least_sd_mm": study.least_sd_mm,
        "readings": [_pair(person, pair) for person in study.operators for pair in person.pairs],
        "operators": [_operator(person, study) for person in study.operators],
        "gauge": None if study.gauge is None else _gauge(study.gauge, study),
        "no_gauge": study.no_gauge or None,
        "checks": checks_json(study.all_checks),
        "undated": [reading.line for reading in study.undated],
        "unmatched": [{"line": p.line, "message": p.message} for p in study.unmatched],
    }


def _pair(person: Operator, pair: Pair) -> dict[str, Any]:
    human = pair.human
    return {
        "line": human.line,
        "photo": human.photo,
        "image": pair.image.photo,
        "operator": person.name,
        "trial": human.trial or None,
        "angle_deg": human.angle_deg,
        "d1_mm": human.d1_mm,
        "d2_mm": human.d2_mm,
        "image_d1_mm": pair.image_d1_mm,
        "image_d2_mm": pair.image_d2_mm,
        "difference_mm": pair.difference_mm,
        "U_human_mm": pair.U_human_mm,
        "U_image_mm": pair.image.U_mm,
        "e_n": pair.e_n,
        "hbw": pair.hbw,
        "image_hbw": pair.image_hbw,
    }


def _operator(person: Operator, study: Comparison) -> dict[str, Any]:
    slope = hbw_per_mm(person.d_mm, study.test)
    repeats, moved = person.repeatability, person.drift
    return {
        "operator": person.name,
        "readings": len(person.pairs),
        "indents": person.indents,
        "mean_mm": person.d_mm,
        "bias_mm": _estimate(person.bias),
        "bias_hbw": _estimate(person.bias.scaled(slope)),
        "repeatability_sd_mm": None if repeats is None else _estimate(repeats),
        "repeatability_sd_hbw": None if repeats is None else _estimate(repeats.scaled(-slope)),
        "limits_of_agreement_mm": None if person.limits is None else _limits(person.limits),
        "further_reading_mm": _estimate(person.limits.further) if person.limits else None,
        "drift_mm": None if moved is None else _drift(moved),
        "mean_e_n": person.mean_e_n,
        "readings_beyond_1": person.beyond,
    }


def _gauge(found: Gauge, study: Comparison) -> dict[str, Any]:
    slope = abs(hbw_per_mm(study.d_mm, study.test))
    ratios = (*found.f_and_p, (None, None))
    return {
        "indents": len(found.indents),
        "operators": list(found.operators),
        "trials": found.trials,
        "readings_left_out": found.left_out,
        "anova": [
            {
                "source": s.name,
                "dof": s.dof,
                "ss_mm2": s.ss,
                "ms_mm2": s.ms,
                "f": _plain(f),
                "p": _plain(p),
            }
            for s, (f, p) in zip(found.table, ratios, strict=True)
        ],
        "components": [
            {
                "name": part.name,
                "sd_mm": _estimate(part.sd),
                "sd_hbw": part.sd.value * slope,
                "share_of_variance": _share(part.variance.value, found.total),
                "was_negative": part.was_negative,
                "hidden": part.hidden,
            }
            for part in found.components
        ],
    }


def _drift(found: Drift) -> dict[str, Any]:
    """With the interval that decides when as many readers are judged together."""
    return _estimate(found.total) | {
        "over": found.order,
        "seen": found.seen,
        "readers": found.readers,
        "joint_confidence": found.joint_confidence,
        "joint_low": found.joint.low,
        "joint_high": found.joint.high,
    }


def _limits(found: Limits) -> dict[str, Any]:
    return {"sd": found.sd, "low": _estimate(found.low), "high": _estimate(found.high)}


def _estimate(found: Estimate) -> dict[str, Any]:
    return {"value": found.value, "low": _plain(found.low), "high": _plain(found.high)}


def _share(variance: float, total: float) -> float | None:
    return variance / total if total > 0.0 else None


def _plain(value: float | None) -> float | None:
    return value if value is not None and math.isfinite(value) else None
