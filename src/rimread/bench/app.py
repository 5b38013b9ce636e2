"""The bench over HTTP: one page, and the few questions it asks."""

from __future__ import annotations

import json
from collections.abc import Callable
from functools import partial
from importlib import resources
from typing import Any, Final
from urllib.parse import unquote

import cv2
import numpy as np
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from rimread import __version__
from rimread.bench.ask import Ask
from rimread.bench.desk import Desk
from rimread.bench.live import Live
from rimread.bench.pending import UndecidedError
from rimread.hardness import STANDARD_PAIRS
from rimread.hardness.condition import plain_number
from rimread.report.text import CAUTION

__all__ = ["MOST_UPLOAD_BYTES", "bench_app"]

MOST_UPLOAD_BYTES: Final = 128_000_000
"""A 20 megapixel TIFF of 16 bit colour is no larger than 120 MB, of 8 bit grey than 20 MB."""
_MOST_WORDS_BYTES: Final = 65_536

_PAGE: Final = {
    "": ("index.html", "text/html; charset=utf-8"),
    "bench.css": ("bench.css", "text/css; charset=utf-8"),
    **{
        name: (name, "text/javascript; charset=utf-8")
        for name in ("ask.js", "bench.js", "live.js", "rim.js", "show.js", "viewer.js")
    },
}
"""All the files there are: a name that is not here leads nowhere."""

_REPORTS: Final = {"html": "text/html; charset=utf-8", "pdf": "application/pdf"}
_REPORT_POLICY: Final = (
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; font-src data:; "
    "form-action 'none'; frame-ancestors 'none'"
)


class TooLargeError(ValueError):
    """More bytes than are taken."""


class CutOffError(ValueError):
    """Whoever sent it went away before its end."""


def bench_app(
    desk: Desk, live: Live | None, *, most_upload_bytes: int = MOST_UPLOAD_BYTES
) -> Starlette:
    """Make the application, unguarded: put `rimread.bench.guard.Guard` before it.

    Parameters
    ----------
    desk : Desk
        What does the work.
    live : Live or None
        The live view, None without a camera.
    most_upload_bytes : int
        Largest picture file taken.
    """
    words = partial(_words, desk)
    files = partial(_file, desk, most_upload_bytes)
    named = "/api/picture/{name:str}"
    slot = "/api/stage/{slot:str}"
    return Starlette(
        routes=[
            Route("/", partial(_page, "")),
            Route("/live.jpg", partial(_live_picture, live)),
            Route("/api/live", partial(_live_told, live)),
            Route("/api/desk", partial(_desk_told, desk)),
            Route("/picture/{name:str}.png", partial(_picture, desk)),
            words("/api/job", lambda d, _, ask: d.set_job(ask)),
            words("/api/snap", lambda d, *_: d.snap()),
            files("/api/open", lambda d, _, data, label: d.upload(data, label)),
            words(f"{named}/blind", lambda d, p, ask: d.read_blind(p["name"], ask)),
            words(f"{named}/skip-blind", lambda d, p, _: d.skip_blind(p["name"])),
            words(f"{named}/accept", lambda d, p, _: d.accept(p["name"])),
            words(f"{named}/reject", lambda d, p, ask: d.reject(p["name"], ask)),
            words(f"{named}/dismiss", lambda d, p, _: d.dismiss(p["name"])),
            words(f"{named}/try", lambda d, p, ask: d.try_correction(p["name"], ask)),
            words(f"{named}/correct", lambda d, p, ask: d.correct(p["name"], ask)),
            words("/api/withdraw", lambda d, _, ask: d.withdraw(ask)),
            words("/api/series", lambda d, _, ask: d.new_series(ask)),
            words("/api/report", lambda d, *_: d.report()),
            Route("/report/{name:str}", partial(_report, desk)),
            words("/api/block", lambda d, _, ask: d.add_block(ask)),
            words("/api/scale", lambda d, _, ask: d.make_scale(ask)),
            words("/api/stage-drop", lambda d, *_: d.drop_stage()),
            words(f"{slot}/snap", lambda d, p, _: d.snap_stage(p["slot"])),
            files(f"{slot}/open", lambda d, p, data, label: d.upload_stage(p["slot"], data, label)),
            Route("/{file:str}", _page_file),
        ],
    )


# -- what the page is made of ---------------------------------------------------------------------


async def _page_file(request: Request) -> Response:
    return await _page(request.path_params["file"], request)


async def _page(name: str, _request: Request) -> Response:
    if name not in _PAGE:
        return JSONResponse({"error": "there is no such thing here"}, 404)
    file, kind = _PAGE[name]
    data = (resources.files("rimread.bench") / "page" / file).read_bytes()
    return Response(data, media_type=kind)


async def _desk_told(desk: Desk, _request: Request) -> Response:
    try:
        told = await run_in_threadpool(desk.told)
    except ValueError as error:  # a ledger that cannot be read
        return _wrong(str(error), 500)
    tests = [f"{plain_number(ball)}/{plain_number(kgf)}" for ball, kgf in STANDARD_PAIRS]
    return JSONResponse({**told, "tests": tests, "version": __version__, "caution": CAUTION})


async def _picture(desk: Desk, request: Request) -> Response:
    """A picture at full resolution, without anything but its pixels."""
    shot = await run_in_threadpool(desk.shot, request.path_params["name"])  # the desk may be busy
    if shot is None:
        return JSONResponse({"error": "there is no such picture"}, 404)
    return Response(await run_in_threadpool(_png, shot.photo.grey), media_type="image/png")


async def _report(desk: Desk, request: Request) -> Response:
    """A report: only what lies in the folder of reports, by its plain name."""
    name = request.path_params["name"]
    kind = _REPORTS.get(name.rpartition(".")[2])
    try:
        known = {path.name: path for path in desk.folder.reports.iterdir()}
        if kind is None or name not in known:
            return _wrong("there is no such report", 404)
        data = await run_in_threadpool(known[name].read_bytes)
    except OSError as error:  # file or folder was taken away while the bench runs
        why = error.strerror or error
        return _wrong(f"the report cannot be read ({why}): write it again from the page", 404)
    return Response(data, media_type=kind, headers={"Content-Security-Policy": _REPORT_POLICY})


def _png(grey: Any) -> bytes:  # noqa: ANN401  (uint8 or uint16)
    if grey.dtype != np.uint8:
        grey = np.rint(grey * (255.0 / max(int(grey.max()), 1))).astype(np.uint8)
    _, data = cv2.imencode(".png", grey, (cv2.IMWRITE_PNG_COMPRESSION, 1))
    return data.tobytes()


async def _live_picture(live: Live | None, request: Request) -> Response:
    if live is None:
        return JSONResponse({"error": "there is no camera"}, 404)
    asked = request.query_params.get("after", "0")
    after = int(asked) if asked.isdecimal() and len(asked) < 16 else 0
    found = await run_in_threadpool(live.picture, after)
    if found is None:
        return Response(status_code=204)
    number, data = found
    return Response(data, media_type="image/jpeg", headers={"X-Frame": str(number)})


async def _live_told(live: Live | None, request: Request) -> Response:
    if live is None:
        return JSONResponse({"trouble": "there is no camera", "hints": [], "outline_px": None})
    return JSONResponse(live.told(indent=request.query_params.get("of") != "stage"))


# -- what the page asks for -----------------------------------------------------------------------


def _words(desk: Desk, path: str, act: Callable[[Desk, dict[str, Any], Ask], Any]) -> Route:
    """Route of a question in JSON; answers with what the desk looks like afterwards."""

    async def endpoint(request: Request) -> Response:
        if request.headers.get("content-type", "").split(";")[0] != "application/json":
            return _wrong("a JSON object is asked for", 415)
        try:
            ask = Ask(json.loads(await _body(request, _MOST_WORDS_BYTES)))
        except TooLargeError as error:
            return _wrong(str(error), 413)
        except (ValueError, RecursionError):
            return _wrong("a JSON object is asked for", 400)
        return await _done(desk, partial(act, desk, request.path_params, ask))

    return Route(path, endpoint, methods=["POST"])


def _file(
    desk: Desk, most: int, path: str, act: Callable[[Desk, dict[str, Any], bytes, str], Any]
) -> Route:
    """Route that takes a picture file as it is; its name is a label and nothing else."""

    async def endpoint(request: Request) -> Response:
        if request.headers.get("content-type") != "application/octet-stream":
            return _wrong("a picture file is asked for", 415)
        try:
            data = await _body(request, most)
        except TooLargeError as error:
            return _wrong(str(error), 413)
        except CutOffError as error:
            return _wrong(str(error), 400)
        label = unquote(request.headers.get("x-name", ""))[:120]
        return await _done(desk, partial(act, desk, request.path_params, data, label))

    return Route(path, endpoint, methods=["POST"])


async def _body(request: Request, most: int) -> bytes:
    """Body of a request; reading stops when it grows too large, whatever its header said."""
    if int(request.headers.get("content-length", "0")) > most:
        raise TooLargeError(f"at most {most / 1e6:g} MB are taken")
    parts, size = [], 0
    try:
        async for part in request.stream():
            size += len(part)
            if size > most:
                raise TooLargeError(f"at most {most / 1e6:g} MB are taken")
            parts.append(part)
    except ClientDisconnect:  # nobody hears the answer, and the terminal needs no traceback
        raise CutOffError("the file did not come whole: send it again") from None
    return b"".join(parts)


async def _done(desk: Desk, act: Callable[[], Any]) -> Response:
    try:
        result = await run_in_threadpool(act)
        told = await run_in_threadpool(desk.told)
    except UndecidedError as error:
        return await _passed_by(desk, str(error))
    except ValueError as error:
        return _wrong(str(error), 400)
    except OSError as error:  # a full disk must not look like success
        return _wrong(f"nothing was written: {error.strerror or error}", 500)
    return JSONResponse({"desk": told, "result": result})


async def _passed_by(desk: Desk, sentence: str) -> Response:
    """Answer to who saw the desk as it was before: with the desk as it is now."""
    try:
        told = await run_in_threadpool(desk.told)
    except ValueError:  # a ledger that cannot be read
        return _wrong(sentence, 409)
    return JSONResponse({"error": sentence, "desk": told}, 409)


def _wrong(sentence: str, status: int) -> Response:
    closing = {"Connection": "close"} if status == 413 else None  # what is still coming is not read
    return JSONResponse({"error": sentence}, status, headers=closing)
