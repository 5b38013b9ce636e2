"""``rimread calibrate``: a scale file from photos of a stage micrometer."""

from __future__ import annotations

import math
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from rimread.budget import in_step
from rimread.cli._io import REFUSED, apart, expand, print_json, shown, speaking, telling, writable
from rimread.cli._options import Json, Tone, date_of, day

if TYPE_CHECKING:  # heavy: imported when the verb runs
    from rimread.refusal import Refusal
    from rimread.scale.model import Certificate, Scale

_Photos = Annotated[
    list[str],
    typer.Argument(metavar="PHOTO", help="Photos of the stage micrometer, best one each way."),
]
_Division = Annotated[float, typer.Option(metavar="MM", help="Spacing of the finest lines in mm.")]
_Out = Annotated[Path, typer.Option(metavar="FILE.toml", help="Scale file to write.")]
_LengthMm = Annotated[
    float | None, typer.Option(metavar="MM", help="Nominal length of the ruled scale.")
]
_CertifiedMm = Annotated[
    float | None, typer.Option(metavar="MM", help="Its length by the certificate.")
]
_CertificateUMm = Annotated[
    float | None,
    typer.Option("--certificate-u-mm", metavar="MM", help="Expanded uncertainty of that."),
]
_CertificateK = Annotated[
    float, typer.Option(metavar="K", help="Coverage factor of that uncertainty.")
]
_Label = Annotated[str, typer.Option(metavar="TEXT", help="Camera and objective, for people.")]
_ValidDays = Annotated[int, typer.Option(metavar="DAYS", help="For how long the scale counts.")]
_On = Annotated[datetime | None, day("Day the photos were taken. [default: today]")]


def calibrate(
    photos: _Photos,
    division: _Division,
    out: _Out,
    length_mm: _LengthMm = None,
    certified_mm: _CertifiedMm = None,
    certificate_u_mm: _CertificateUMm = None,
    certificate_k: _CertificateK = 2.0,
    label: _Label = "",
    valid_days: _ValidDays = 365,
    on: _On = None,
    tone: Tone = None,
    as_json: Json = False,
) -> None:
    """Make a scale file from photos of a stage micrometer.

    \b
      rimread calibrate along-x.jpg along-y.jpg --division 0.1 --out scope.toml
          --length-mm 10 --certified-mm 9.9987 --certificate-u-mm 0.001

    Take the photos with the camera, objective and picture size the indents are photographed with.
    One photo along the picture's x and one along its y tell both directions. Let the longer 5th
    and 10th lines be in view: they prove that the finest lines are seen.

    Without the certified length the scale is made all the same and carries a generous uncertainty.

    Exit codes: 0 written; 1 refused, nothing written; 2 wrong use or a photo that cannot be read.
    """  # noqa: D301  (\b keeps the lines of the example)
    with speaking():
        from rimread.photo import read_photo  # noqa: PLC0415
        from rimread.scale import Scale, write_scale  # noqa: PLC0415
        from rimread.scale import calibrate as scale_of  # noqa: PLC0415

        paths = expand(photos)
        apart("--out", out, *paths)
        writable("--out", out, ".toml")
        if out.exists():
            raise ValueError(
                f"{out}: is there already, and readings may rest on it; name a new file"
            )
        certificate = _certificate(length_mm, certified_mm, certificate_u_mm, certificate_k)
        result = scale_of(
            [read_photo(path, tone=tone) for path in paths],
            division_mm=division,
            certificate=certificate,
            label=label,
            calibrated_on=date_of(on) or date.today(),  # noqa: DTZ011  (the shop's day)
            valid_days=valid_days,
        )
        if isinstance(result, Scale):
            write_scale(result, out)
        with telling():
            if as_json:
                print_json(_record(result, out))
            else:
                _tell(result, out)
    if not result:
        raise typer.Exit(REFUSED)


def _certificate(
    nominal: float | None, certified: float | None, U: float | None, k: float
) -> Certificate | None:
    from rimread.scale import Certificate  # noqa: PLC0415

    if nominal is None and certified is None and U is None:
        return None
    if nominal is None or certified is None or U is None:
        raise ValueError(
            "a certificate needs --length-mm, --certified-mm and --certificate-u-mm together"
        )
    return Certificate(nominal_mm=nominal, certified_mm=certified, U_mm=U, k=k)


def _u_px_per_mm(scale: Scale) -> float:
    """Standard uncertainty of the mean of px/mm along x and y, at the centre of the field."""
    c = scale.covariance
    return math.sqrt((c[0][0] + c[1][1] + 2.0 * c[0][1]) / 4.0)


def _record(result: Scale | Refusal, out: Path) -> dict[str, Any]:
    from rimread.scale import Scale  # noqa: PLC0415

    if not isinstance(result, Scale):
        empty = ("px_per_mm_x", "px_per_mm_y", "u_px_per_mm", "angle_deg", "lines_used")
        return {
            "status": "refused",
            **dict.fromkeys((*empty, "scale_file")),
            "reasons": [{"code": result.code, "message": result.message}],
        }
    return {
        "status": "calibrated",
        "px_per_mm_x": result.px_per_mm_x,
        "px_per_mm_y": result.px_per_mm_y,
        "u_px_per_mm": _u_px_per_mm(result),
        "angle_deg": result.photos[0].angle_deg,
        "lines_used": sum(p.lines_used for p in result.photos),
        "scale_file": str(out),
        "k1_half_diagonal": result.k1_half_diagonal,
        "u_px_per_mm_x": math.sqrt(result.covariance[0][0]),
        "u_px_per_mm_y": math.sqrt(result.covariance[1][1]),
        "u_k1_half_diagonal": math.sqrt(result.covariance[2][2]),
        "dof": result.dof if math.isfinite(result.dof) else None,
        "valid_until": result.valid_until.isoformat(),
        "photos": [
            {
                "photo": p.name,
                "sha256": p.sha256,
                "angle_deg": p.angle_deg,
                "lines_used": p.lines_used,
                "residual_rms_px": p.residual_rms_px,
            }
            for p in result.photos
        ],
        "notes": list(result.notes),
        "reasons": [],
    }


def _tell(result: Scale | Refusal, out: Path) -> None:
    from rimread.scale import Scale  # noqa: PLC0415

    if not isinstance(result, Scale):
        print(f"refused ({result.code}): {result.message}")
        return
    u = [math.sqrt(result.covariance[k][k]) for k in range(3)]
    for axis, value, spread in (
        ("x", result.px_per_mm_x, u[0]),
        ("y", result.px_per_mm_y, u[1]),
    ):
        print(
            f"px/mm along {axis}   {value:10.4f} ± {2 * spread:.4f} "
            f"({200 * spread / value:.3f} %, k = 2)"
        )
    k1, U = in_step(result.k1_half_diagonal, 2.0 * u[2])
    print(f"distortion k1   {k1:>10} ± {U} (k = 2)")
    width, height = result.width_px / result.px_per_mm_x, result.height_px / result.px_per_mm_y
    print(f"field of view   {width:.3f} × {height:.3f} mm; if that cannot be, --division is wrong")
    for p in result.photos:
        print(
            f"{shown(p.name)}: {p.lines_used} lines at {p.angle_deg:.2f}°, "
            f"scatter {p.residual_rms_px:.3f} px"
        )
    for note in result.notes:
        print(f"  {note}")
    print(f"written to {out}, valid until {result.valid_until}")
