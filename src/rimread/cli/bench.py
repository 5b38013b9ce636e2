"""``rimread bench``: the page for a person at the scope."""

from __future__ import annotations

import shutil
import webbrowser
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import typer

from rimread.cli._io import say, speaking, until_stopped
from rimread.cli._options import PictureSize
from rimread.cli.capture import picture_size

_Camera = Annotated[
    str | None,
    typer.Argument(
        metavar="[CAMERA]",
        help="Number (0), device, URL of a stream, or a video file; without it pictures are "
        "opened as files.",
    ),
]
_Data = Annotated[
    Path, typer.Option(metavar="FOLDER", help="Where pictures, scales and the ledger are kept.")
]
_Scale = Annotated[
    list[Path] | None,
    typer.Option(metavar="FILE.toml", help="Scale file to copy into the folder; repeat."),
]
_Ledger = Annotated[
    str | None,
    typer.Option(metavar="FILE|URL", help="Another ledger than the one in the folder."),
]
_Host = Annotated[str, typer.Option(metavar="ADDRESS", help="Address to listen on.")]
_Port = Annotated[int, typer.Option(metavar="PORT", help="0 takes a free one.")]
_Name = Annotated[
    list[str] | None,
    typer.Option(metavar="NAME", help="Name under which people reach this computer; repeat."),
]
_Token = Annotated[bool, typer.Option("--token", help="Ask for a token on this computer, too.")]
_Show = Annotated[bool, typer.Option("--show/--no-show", help="Open the page in the browser.")]


def bench(
    camera: _Camera = None,
    data: _Data = Path("bench"),
    scale: _Scale = None,
    ledger: _Ledger = None,
    size: PictureSize = None,
    host: _Host = "127.0.0.1",
    port: _Port = 8506,
    name: _Name = None,
    token: _Token = False,
    show: _Show = True,
) -> None:
    """Serve the bench page until Ctrl-C: live view, reading, series, calibration.

    \b
      rimread bench 0 --data test-room
      rimread bench 0 --host 192.168.1.20          (for a tablet; prints an address with a token)

    The page works without the internet. Only this computer can reach it unless --host says so, and
    then only with the token. The connection is not encrypted: keep it inside the shop.

    Exit codes: 0 stopped; 2 wrong use, no such camera or address.
    """  # noqa: D301  (\b keeps the lines of the examples)
    with speaking():
        try:
            from rimread.bench import serve as bench_serve  # noqa: PLC0415
        except ModuleNotFoundError as error:
            if error.name not in {"starlette", "uvicorn"}:
                raise
            raise ValueError(f'{error.name} is missing: pip install "rimread[bench]"') from None
        address = bench_serve.address_for(host, port, names=tuple(name or ()), token=token)
        _judge_scales(scale or ())
        if camera is not None:
            _try_camera(camera)
        what = bench_serve.Bench(data, camera, picture_size(size), ledger)
        # Bound first: where that fails nothing has been made.
        with until_stopped("the bench has stopped"), bench_serve.bound(address) as sock:
            _copy_scales(scale or (), data / "scales")
            with bench_serve.opened(what) as (desk, live):
                url = address.url(sock.getsockname()[1])
                say(f"the bench is at {url} (Ctrl-C ends)")
                if show:
                    webbrowser.open(url)
                bench_serve.serve(desk, live, address, sock)


def _judge_scales(files: Sequence[Path]) -> None:
    """Say what is wrong with a scale file before anything is made."""
    from rimread.scale import read_scale  # noqa: PLC0415

    for file in files:
        read_scale(file)


def _copy_scales(files: Sequence[Path], folder: Path) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    for file in files:
        if file.resolve() != (folder / file.name).resolve():
            shutil.copyfile(file, folder / file.name)


def _try_camera(camera: str) -> None:
    """Say at once when a camera is not there, rather than on the page."""
    from rimread.capture import open_camera  # noqa: PLC0415

    open_camera(camera).close()
