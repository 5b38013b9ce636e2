"""Records of an invented shop, as ``rimread measure --json`` writes them."""

from __future__ import annotations

import hashlib
from typing import Any

from rimread.budget import Component, combine
from rimread.hardness import hardness_from_diameter, parse_test

SCALE_SHA256 = "5" * 64


def record(
    d1_mm: float, d2_mm: float, *, photo: str = "indent-1.jpg", test: str = "10/3000", **more: Any
) -> dict[str, Any]:
    """A measured photo whose figures belong together."""
    condition, mean = parse_test(test), (d1_mm + d2_mm) / 2.0
    budget = combine(
        (
            Component("edge scatter", 0.002, dof=12.0, how="as traced"),
            Component("pixel scale", 0.001, how="stage micrometer"),
        )
    )
    hardness = hardness_from_diameter(mean, budget, condition)
    told = {
        "photo": photo,
        "sha256": hashlib.sha256(photo.encode("utf-8", "replace")).hexdigest(),
        "status": "measured",
        "d1_mm": d1_mm,
        "d2_mm": d2_mm,
        "mean_mm": mean,
        "U_mean_mm": budget.U,
        "k": budget.k,
        "hbw": hardness.hbw,
        "U_hbw": hardness.budget.U,
        "designation": hardness.designation,
        "checks": [
            {"code": "ovality", "outcome": "pass", "message": f"{photo} is round", "source": "own"}
        ],
        "reasons": [],
        "test": test,
        "budget_mm": [
            {"name": c.name, "u_mm": c.u, "dof": c.dof if c.dof < 1e9 else None, "how": c.how}
            for c in budget.components
        ],
        "scale_label": "hall scope",
        "scale_sha256": SCALE_SHA256,
        "version": "0.1.0",
    }
    return told | more


def refused(photo: str = "double.jpg") -> dict[str, Any]:
    """A refused photo."""
    reason = {"code": "overlapping-indents", "message": "Measure one that stands by itself."}
    return {
        "photo": photo,
        "sha256": hashlib.sha256(photo.encode()).hexdigest(),
        "status": "refused",
        "checks": [],
        "reasons": [reason],
    }


def series(n: int, **more: Any) -> list[dict[str, Any]]:
    """So many indents near 4.00 mm."""
    return [
        record(4.0 + 0.004 * (i % 3), 3.99, photo=f"plate-{i + 1}.jpg", **more) for i in range(n)
    ]
