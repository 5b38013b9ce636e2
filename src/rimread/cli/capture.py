"""``rimread capture``: a picture from a camera, lossless."""

from __future__ import annotations

import re
import time
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal, NoReturn

import typer

from rimread.cli._io import REFUSED, print_json, say, speaking, telling
from rimread.cli._options import Json, PictureSize

if TYPE_CHECKING:  # heavy: imported when the verb runs
    from rimread.capture import Camera, Frame, Kept, Scatter
    from rimread.refusal import Refusal

_WARM_UP = 5  # the first frames of many cameras are dark or from an earlier call
_SIZE = re.compile(r"(\d+)\s*[x×]\s*(\d+)")

_Camera = Annotated[
    str,
    typer.Argument(
        metavar="CAMERA",
        help="Number (0), device (/dev/video0), URL of a stream, or a video file.",
    ),
]
_Out = Annotated[Path, typer.Option(metavar="FOLDER", help="Where the picture is written.")]
_Auto = Annotated[
    bool, typer.Option("--auto", help="Wait until the picture is still and in focus.")
]
_Of = Annotated[
    Literal["indent", "stage"],
    typer.Option(help="With --auto: what must be in view, an indent or a stage micrometer."),
]
_Frames = Annotated[int, typer.Option(metavar="N", min=1, max=64, help="Frames to average.")]
_Wait = Annotated[
    float, typer.Option(metavar="S", min=0.1, help="With --auto: give up after so long.")
]


def capture(
    camera: _Camera,
    out: _Out = Path(),
    auto: _Auto = False,
    of: _Of = "indent",
    frames: _Frames = 1,
    wait: _Wait = 60.0,
    size: PictureSize = None,
    as_json: Json = False,
) -> None:
    """Take a picture, at once or when it is still and in focus.

    \b
      rimread capture 0 --out job-17
      rimread capture 0 --auto --frames 8 --out job-17

    The picture is written as PNG exactly as the camera gave it, named after its time and hash.
    With --frames it is the average of N frames, in 16 bits; the rim is then also measured in each
    frame, and the scatter of the mean diameter is told as a component of uncertainty.

    Frames between which the picture moved are not averaged: nothing is written then.

    Exit codes: 0 written; 1 it did not come to rest, or frames show no rim; 2 wrong use or no
    camera.
    """  # noqa: D301  (\b keeps the lines of the examples)
    with speaking():
        from rimread.capture import (  # noqa: PLC0415
            average,
            keep,
            name_of,
            open_camera,
            scatter_of,
        )
        from rimread.capture.burst import LEAST_FRAMES  # noqa: PLC0415
        from rimread.refusal import Refusal  # noqa: PLC0415

        width, height = picture_size(size) or (None, None)
        with open_camera(camera, width_px=width, height_px=height) as opened:
            first = _steady(opened, wait, indent=of == "indent") if auto else _warm(opened)
            taken = [] if first is None else _more(opened, first, frames)
        if len(taken) < frames:
            _nothing(_why(auto=auto, found=len(taken)), as_json=as_json)
        burst = average(taken)
        if isinstance(burst, Refusal):
            _nothing(burst, as_json=as_json)
        scatter = scatter_of(taken) if len(taken) >= LEAST_FRAMES and of == "indent" else None
        if isinstance(scatter, Refusal) and scatter.code == "not-steady":
            _nothing(scatter, as_json=as_json)
        told = {"Source": name_of(camera), "Frames averaged": str(burst.frames)}
        kept = keep(burst.picture, out, taken_at=burst.taken_at, words=told)
        with telling():
            if as_json:
                print_json(_record(kept, burst.frames, burst.noise, scatter))
            else:
                _tell(kept, burst.frames, burst.noise, scatter)
    if scatter is not None and not scatter:
        raise typer.Exit(REFUSED)


def picture_size(text: str | None) -> tuple[int, int] | None:
    """Width and height from ``2448x2048``."""
    if text is None:
        return None
    match = _SIZE.fullmatch(text.strip())
    if match is None:
        raise ValueError(f"a picture size is WIDTHxHEIGHT, like 2448x2048 (got {text!r})")
    return int(match[1]), int(match[2])


def _warm(camera: Camera) -> Frame | None:
    """Return the first frame of a video, or one after the camera has found its exposure."""
    frame = camera.read()
    for _ in range(0 if camera.kind == "video" else _WARM_UP):
        frame = camera.read()
    return frame


def _steady(camera: Camera, wait_s: float, *, indent: bool) -> Frame | None:
    from rimread.capture import Steady  # noqa: PLC0415

    steady = Steady(indent=indent)
    ends, told = time.monotonic() + wait_s, ""
    while time.monotonic() < ends:
        frame = camera.read()
        if frame is None:
            break
        if steady.at(frame):
            return frame
        if steady.why != told:
            told = steady.why
            say(told)
    return None


def _more(camera: Camera, first: Frame, count: int) -> list[Frame]:
    taken = [first]
    while len(taken) < count:
        frame = camera.read()
        if frame is None:
            break
        taken.append(frame)
    return taken


def _why(*, auto: bool, found: int) -> Refusal:
    from rimread.refusal import Refusal  # noqa: PLC0415

    if auto and not found:
        return Refusal("not-steady", "the picture did not come to rest and into focus in time")
    return Refusal("too-few-frames", f"the video ended after {found} of the frames asked for")


def _nothing(why: Refusal, *, as_json: bool) -> NoReturn:
    with telling():
        if as_json:
            empty = dict.fromkeys(("photo", "sha256", "taken_at", "frames"))
            reasons = [{"code": why.code, "message": why.message}]
            print_json({"status": "refused", **empty, "reasons": reasons})
        else:
            print(f"nothing written ({why.code}): {why.message}")
    raise typer.Exit(REFUSED)


def _record(
    kept: Kept, frames: int, noise: float | None, scatter: Scatter | Refusal | None
) -> dict[str, Any]:
    from rimread.capture import Scatter  # noqa: PLC0415

    good = scatter if isinstance(scatter, Scatter) else None
    bad = None if scatter is None or isinstance(scatter, Scatter) else scatter
    return {
        "status": "taken",
        "photo": str(kept.path),
        "sha256": kept.sha256,
        "taken_at": kept.taken_at.isoformat(),
        "frames": frames,
        "noise": noise,
        "frames_measured": good.frames if good else None,
        "scatter_rel": good.sd_rel if good else None,
        "u_frames_rel": good.u_rel if good else None,
        "dof": good.dof if good else None,
        "reasons": [{"code": bad.code, "message": bad.message}] if bad else [],
    }


def _tell(kept: Kept, frames: int, noise: float | None, scatter: Scatter | Refusal | None) -> None:
    from rimread.capture import Scatter  # noqa: PLC0415

    print(f"{kept.path}")
    print(f"  taken {kept.taken_at.astimezone():%Y-%m-%d %H:%M:%S}, sha256 {kept.sha256}")
    if noise is not None:
        print(f"  average of {frames} frames; a pixel scatters by {noise:.2%} of full light")
    if isinstance(scatter, Scatter):
        print(
            f"  frame to frame the mean diameter scatters by {scatter.sd_rel:.3%}: "
            f"u = {scatter.u_rel:.4%} of d with {scatter.dof:.0f} degrees of freedom"
        )
    elif scatter is not None:
        print(f"  no scatter told ({scatter.code}): {scatter.message}")
