"""Starting the bench: address, names, token, camera, folder."""

from __future__ import annotations

import errno
import ipaddress
import secrets
import socket
import sys
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import uvicorn

from rimread.bench.app import MOST_UPLOAD_BYTES, bench_app
from rimread.bench.desk import Desk
from rimread.bench.folder import Folder
from rimread.bench.guard import Guard
from rimread.bench.live import Live
from rimread.capture.camera import name_of, open_camera
from rimread.capture.feed import Feed
from rimread.ledger import open_ledger

__all__ = ["Address", "Bench", "address_for", "bound", "config_for", "opened", "serve"]


@dataclass(frozen=True, slots=True)
class Address:
    """Where the bench listens.

    Parameters
    ----------
    host : str
        Address that is bound.
    port : int
        Port; 0 lets the system choose.
    names : tuple of str
        Further names people type for this computer.
    token : str
        Empty when none is asked for.
    """

    host: str
    port: int
    names: tuple[str, ...]
    token: str

    def hosts(self, port: int) -> set[str]:
        """What may stand in a Host header."""
        names = {*self.names, _bracketed(self.host)}
        if is_loopback(self.host):
            names |= {"localhost", "127.0.0.1", "[::1]"}
        return {f"{name}:{port}" for name in names} | (set(names) if port == 80 else set())

    def url(self, port: int) -> str:
        """What to open in the browser."""
        name = self.names[0] if self.names else _bracketed(self.host)
        return f"http://{name}:{port}/" + (f"?token={self.token}" if self.token else "")


@dataclass(frozen=True, slots=True)
class Bench:
    """What a bench is started with.

    Parameters
    ----------
    data : Path
        Its folder.
    camera : str or None
        Source of pictures, see `rimread.capture.open_camera`.
    size : tuple of int or None
        Picture size to ask of the camera.
    ledger : str or None
        Ledger, in the folder when left out.
    """

    data: Path
    camera: str | None = None
    size: tuple[int, int] | None = None
    ledger: str | None = None


def address_for(
    host: str, port: int, *, names: tuple[str, ...] = (), token: bool = False
) -> Address:
    """Address with a token wherever others could reach it.

    Raises
    ------
    ValueError
        If the host is none this computer can bind, the port is none, or all addresses are asked
        for without a name that people will type.
    """
    if not 0 <= port <= 65535:
        raise ValueError(f"a port lies in 0 to 65535 (got {port})")
    try:
        socket.getaddrinfo(host, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE)
    except OSError:
        raise ValueError(f"{host!r} is no address of this computer") from None
    if host in {"0.0.0.0", "::"} and not names:  # noqa: S104  (asked for by the user, with a token)
        raise ValueError(
            "to listen on all addresses say under which name people reach this computer: --name"
        )
    wanted = token or not is_loopback(host)
    return Address(host, port, names, secrets.token_urlsafe(24) if wanted else "")


def is_loopback(host: str) -> bool:
    """Whether only this computer can reach an address."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


@contextmanager
def opened(bench: Bench) -> Iterator[tuple[Desk, Live | None]]:
    """Open folder, ledger and camera; close them afterwards.

    Raises
    ------
    OSError
        If the folder cannot be made.
    LedgerError
        (A ValueError.) If the ledger cannot be opened.
    """
    with ExitStack() as stack:
        folder = Folder(bench.data)
        ledger = stack.enter_context(open_ledger(bench.ledger or folder.ledger))
        if bench.camera is None:
            yield Desk(folder, ledger), None
            return
        width, height = bench.size or (None, None)
        opener = partial(open_camera, bench.camera, width_px=width, height_px=height, looped=True)
        feed = stack.enter_context(Feed(opener))
        live = stack.enter_context(Live(feed))
        yield Desk(folder, ledger, feed, name_of(bench.camera)), live


def serve(desk: Desk, live: Live | None, address: Address, sock: socket.socket) -> None:
    """Serve until Ctrl-C.

    Parameters
    ----------
    desk, live
        From `opened`.
    address : Address
        Names and token.
    sock : socket.socket
        Already bound, see `bound`.
    """
    uvicorn.Server(config_for(desk, live, address, sock)).run(sockets=[sock])


def config_for(
    desk: Desk,
    live: Live | None,
    address: Address,
    sock: socket.socket,
    *,
    most_upload_bytes: int = MOST_UPLOAD_BYTES,
) -> uvicorn.Config:
    """What the server runs: the guarded bench."""
    port = sock.getsockname()[1]
    bench = bench_app(desk, live, most_upload_bytes=most_upload_bytes)
    app = Guard(bench, hosts=address.hosts(port), token=address.token)
    return uvicorn.Config(
        app, log_level="warning", access_log=False, server_header=False, timeout_graceful_shutdown=2
    )


def bound(address: Address) -> socket.socket:
    """Bind the address.

    Raises
    ------
    OSError
        If another program has it, or it is none of this computer; the message says what to do.
    """
    family = socket.AF_INET6 if ":" in address.host else socket.AF_INET
    sock = socket.socket(family, socket.SOCK_STREAM)
    if sys.platform == "win32":  # where two programs may share a port
        sock.setsockopt(socket.SOL_SOCKET, socket.SO_EXCLUSIVEADDRUSE, 1)
    else:
        sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        sock.bind((address.host, address.port))
        sock.listen(128)  # a browser that comes before the server is ready waits
    except OSError as error:
        sock.close()
        raise OSError(_not_bound(address, error)) from None
    return sock


def _not_bound(address: Address, error: OSError) -> str:
    if error.errno == errno.EADDRNOTAVAIL:
        return f"{address.host} is no address of this computer: choose another --host"
    why = "another program has it" if error.errno == errno.EADDRINUSE else error.strerror
    return (
        f"the bench cannot listen on {address.host}, port {address.port} ({why}): choose another "
        "--port, 0 for a free one, or stop the bench that runs already"
    )


def _bracketed(host: str) -> str:
    return f"[{host}]" if ":" in host else host
