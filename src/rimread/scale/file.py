"""The scale file: TOML that a person can read and that is read back strictly."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping
from datetime import date, datetime
from pathlib import Path
from typing import Any

import numpy as np

from rimread import __version__, whole
from rimread.scale.model import MOST_K1, Certificate, Scale, ScalePhoto
from rimread.toml import toml_of

__all__ = ["read_scale", "write_scale"]

_FORMAT = "rimread scale"
_VERSION = 1
_MOST_BYTES = 1_000_000

_LIMITS = {
    "px_per_mm_x": (1e-2, 1e5),
    "px_per_mm_y": (1e-2, 1e5),
    "k1_half_diagonal": (-MOST_K1, MOST_K1),
    "dof": (1.0, math.inf),
}
"""What a scale can be at all: from a photo of a car to one of a bacterium."""


def write_scale(scale: Scale, path: Path) -> str:
    """Write a scale file and return its hash.

    Parameters
    ----------
    scale : Scale
        What to write; its own `sha256` is not written, the file's is its own.
    path : Path
        Where to; an existing file is replaced, whole or not at all.

    Returns
    -------
    str
        SHA-256 of the file, lower-case hexadecimal.

    Raises
    ------
    OSError
        If it cannot be written.
    """
    data = _as_toml(scale).encode("utf-8")
    whole.write(path, data)
    return hashlib.sha256(data).hexdigest()


def _as_toml(scale: Scale) -> str:
    rows = ",\n".join(f"  [{', '.join(repr(float(x)) for x in row)}]" for row in scale.covariance)
    u_x, u_y = (math.sqrt(scale.covariance[k][k]) for k in (0, 1))
    lines = [
        "# Pixels to millimetres for one camera and objective, made by rimread calibrate.",
        "# Holds for photos of this size from the same camera and objective, not cropped or",
        "# scaled, until the last valid day.",
        f"format = {_text(_FORMAT)}",
        f"version = {_VERSION}",
        f"made_by = {_text('rimread ' + __version__)}",
        f"label = {_text(scale.label)}",
        f"calibrated_on = {scale.calibrated_on.isoformat()}",
        f"valid_until = {scale.valid_until.isoformat()}",
        *([] if scale.photos else ["photos = []  # made from no photo of a stage micrometer"]),
        "",
        "[picture]",
        f"width_px = {scale.width_px}",
        f"height_px = {scale.height_px}",
        "",
        "[scale]",
        "# At the centre of the field; k1: r' = r (1 + k1 r²), r in half diagonals of the picture.",
        f"px_per_mm_x = {float(scale.px_per_mm_x)!r}  # standard uncertainty {u_x:.3g}",
        f"px_per_mm_y = {float(scale.px_per_mm_y)!r}  # standard uncertainty {u_y:.3g}",
        f"k1_half_diagonal = {float(scale.k1_half_diagonal)!r}",
        f"dof = {float(scale.dof)!r}",
        "# Of (px_per_mm_x, px_per_mm_y, k1_half_diagonal), everything below included.",
        f"covariance = [\n{rows},\n]",
        "# What the covariance holds:",
        "notes = [",
        *(f"  {_text(note)}," for note in scale.notes),
        "]",
        "",
        *_certificate_lines(scale.certificate),
    ]
    for photo in scale.photos:
        lines += [
            "[[photos]]",
            f"name = {_text(photo.name)}",
            f"sha256 = {_text(photo.sha256)}",
            f"angle_deg = {float(photo.angle_deg)!r}",
            f"lines_used = {photo.lines_used}",
            f"residual_rms_px = {float(photo.residual_rms_px)!r}",
            "",
        ]
    return "\n".join(lines)


def _certificate_lines(certificate: Certificate | None) -> list[str]:
    if certificate is None:
        return ["# No certificate of the stage micrometer was given.", ""]
    return [
        "[certificate]",
        "# Length of the stage micrometer; U is expanded with k.",
        f"nominal_mm = {float(certificate.nominal_mm)!r}",
        f"certified_mm = {float(certificate.certified_mm)!r}",
        f"U_mm = {float(certificate.U_mm)!r}",
        f"k = {float(certificate.k)!r}",
        "",
    ]


def _text(words: str) -> str:
    """A TOML basic string: JSON's escapes are TOML's, except for DEL, which JSON leaves alone."""
    return json.dumps(words, ensure_ascii=False).replace("\x7f", "\\u007f")


def read_scale(path: Path) -> Scale:
    """Read a scale file.

    Raises
    ------
    ValueError
        If the file is not a scale file, lacks a key, or holds a value that cannot be; the message
        names the file, the key, the rule and what was found.
    OSError
        If it cannot be opened.
    """
    path = Path(path)
    with path.open("rb") as file:
        data = file.read(_MOST_BYTES + 1)
    if len(data) > _MOST_BYTES:
        raise ValueError(f"{path}: larger than {_MOST_BYTES} bytes, not a scale file")
    try:
        told = toml_of(data)
    except ValueError as error:
        raise ValueError(f"{path}: not a scale file ({error})") from None
    try:
        return _scale(_Table(told, ""), hashlib.sha256(data).hexdigest())
    except ValueError as error:
        raise ValueError(f"{path}: {error}") from None


class _Table:
    """A table of the file that hands out values of the right kind or says what is wrong."""

    def __init__(self, values: Mapping[str, Any], name: str) -> None:
        self._values = values
        self._name = name

    def _get(self, key: str, kind: type | tuple[type, ...], word: str) -> Any:  # noqa: ANN401
        if key not in self._values:
            raise ValueError(f"{self._name}{key} is missing")
        value = self._values[key]
        if not isinstance(value, kind) or (isinstance(value, bool)):
            raise ValueError(  # noqa: TRY004  (a file's content, not a caller's type)
                f"{self._name}{key} must be {word} (got {value!r})"
            )
        return value

    def number(self, key: str, low: float, high: float) -> float:
        value = float(self._get(key, (int, float), "a number"))
        if not (low <= value <= high and not math.isnan(value)):
            raise ValueError(f"{self._name}{key} must lie in {low:g} to {high:g} (got {value!r})")
        return value

    def whole(self, key: str, low: int, high: int) -> int:
        value = int(self._get(key, int, "a whole number"))
        if not low <= value <= high:
            raise ValueError(f"{self._name}{key} must lie in {low} to {high} (got {value})")
        return value

    def text(self, key: str) -> str:
        return str(self._get(key, str, "text"))

    def sha256(self, key: str) -> str:
        value = self.text(key)
        if len(value) != 64 or set(value) - set("0123456789abcdef"):
            raise ValueError(
                f"{self._name}{key} must be 64 lower-case hexadecimal digits (got {value!r})"
            )
        return value

    def day(self, key: str) -> date:
        value = self._get(key, date, "a date like 2026-01-31")
        if isinstance(value, datetime):
            raise ValueError(  # noqa: TRY004
                f"{self._name}{key} must be a date without a time (got {value})"
            )
        return date(value.year, value.month, value.day)

    def texts(self, key: str) -> tuple[str, ...]:
        values = self._get(key, list, "a list of texts")
        if not all(isinstance(v, str) for v in values):
            raise ValueError(f"{self._name}{key} must be a list of texts (got {values!r})")
        return tuple(values)

    def table(self, key: str) -> _Table:
        return _Table(self._get(key, dict, "a table"), f"{self._name}{key}.")

    def tables(self, key: str) -> list[_Table]:
        values = self._get(key, list, "a list of tables")
        if not all(isinstance(v, dict) for v in values):
            raise ValueError(f"{self._name}{key} must be a list of tables (got {values!r})")
        return [_Table(v, f"{self._name}{key}[{k}].") for k, v in enumerate(values)]

    def rows(self, key: str) -> list[Any]:
        return list(self._get(key, list, "a list of rows"))

    def __contains__(self, key: str) -> bool:
        return key in self._values


def _scale(top: _Table, sha256: str) -> Scale:
    if "format" not in top or top.text("format") != _FORMAT:
        raise ValueError(f"not a scale file (format must be {_FORMAT!r})")
    top.whole("version", _VERSION, _VERSION)
    numbers, picture = top.table("scale"), top.table("picture")
    values = {key: numbers.number(key, low, high) for key, (low, high) in _LIMITS.items()}
    if not 0.5 < values["px_per_mm_x"] / values["px_per_mm_y"] < 2.0:
        raise ValueError("scale.px_per_mm_x and px_per_mm_y must agree within a factor of 2")
    calibrated_on, valid_until = top.day("calibrated_on"), top.day("valid_until")
    if valid_until < calibrated_on:
        raise ValueError(
            f"valid_until must not lie before calibrated_on (got {valid_until}, {calibrated_on})"
        )
    return Scale(
        **values,
        covariance=_covariance(numbers.rows("covariance"), values),
        width_px=picture.whole("width_px", 1, 10**6),
        height_px=picture.whole("height_px", 1, 10**6),
        label=top.text("label"),
        calibrated_on=calibrated_on,
        valid_until=valid_until,
        certificate=_certificate(top.table("certificate")) if "certificate" in top else None,
        photos=tuple(_photo(table) for table in top.tables("photos")),
        notes=numbers.texts("notes"),
        sha256=sha256,
    )


def _covariance(
    rows: list[Any], values: Mapping[str, float]
) -> tuple[tuple[float, float, float], ...]:
    good = len(rows) == 3 and all(
        isinstance(row, list)
        and len(row) == 3
        and all(isinstance(x, int | float) and not isinstance(x, bool) for x in row)
        for row in rows
    )
    matrix = np.array(rows, dtype=float) if good else np.full((3, 3), np.nan)
    if not np.isfinite(matrix).all():
        raise ValueError("scale.covariance must be 3 rows of 3 finite numbers")
    sizes = np.sqrt(np.abs(np.diag(matrix)))
    if not (np.diag(matrix) > 0).all() or not np.allclose(matrix, matrix.T, rtol=1e-9, atol=0.0):
        raise ValueError("scale.covariance must be symmetric with variances above zero")
    if np.linalg.eigvalsh(matrix / np.outer(sizes, sizes)).min() < -1e-9:
        raise ValueError("scale.covariance must be positive definite: a correlation exceeds 1")
    limits = (values["px_per_mm_x"], values["px_per_mm_y"], 1.0)
    if any(size > 0.2 * limit for size, limit in zip(sizes, limits, strict=True)):
        raise ValueError(
            "scale.covariance must keep each standard uncertainty under 20 % (of k1: under 0.2)"
        )
    return tuple((float(a), float(b), float(c)) for a, b, c in matrix)


def _certificate(table: _Table) -> Certificate:
    keys = ("nominal_mm", "certified_mm", "U_mm", "k")
    return Certificate(**{key: table.number(key, 0.0, 1e6) for key in keys})


def _photo(table: _Table) -> ScalePhoto:
    return ScalePhoto(
        name=table.text("name"),
        sha256=table.sha256("sha256"),
        angle_deg=table.number("angle_deg", -360.0, 360.0),
        lines_used=table.whole("lines_used", 1, 10**6),
        residual_rms_px=table.number("residual_rms_px", 0.0, 1e3),
    )
