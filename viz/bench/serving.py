"""The page served: an address on this computer, said in the terminal, until it is stopped."""

from __future__ import annotations

import ipaddress
import socket
import webbrowser
from collections.abc import Sequence
from pathlib import Path

import jupyter_threejs_sage  # noqa: F401  (the moving gear: told here if it is missing, not when it is asked for)
import uvicorn
import websockets  # noqa: F401  (what changed elsewhere: without it no window would hear)
from handlead.machines.toml.errors import HandleadError
from handlead.viz.streams.outlet import tell
from starlette.routing import Route

from .guard import Door, Guard
from .holding import Bench
from .server import application

_LOOPBACK = "127.0.0.1"


class NotServed(HandleadError):
    """The folder, address or port can't be used; the message says why."""


def serve(folder: Path, port: int, host: str | None, more: Sequence[Route], *, browser: bool) -> int:
    """Serve the page over a folder, and `more` that stands on it, until stopped; returns the exit status.

    Raises `NotServed`.
    """
    if not folder.is_dir():
        raise NotServed(f"{folder}: it isn't a folder")
    address = _address(host)
    listener = _listener(address, port)
    port = listener.getsockname()[1]
    shown = f"[{address}]" if ":" in address else address
    hosts = {f"{shown}:{port}"}
    beyond = not ipaddress.ip_address(address).is_loopback
    if not beyond:
        hosts |= {f"localhost:{port}", f"127.0.0.1:{port}"}
    door = Door(frozenset(hosts), needs_code=host is not None)
    url = f"http://{shown}:{port}/"

    def told(code: str) -> None:
        tell(f"for the next device: {url}?code={code}")

    door.told = told
    first = f"{url}?code={door.code}" if door.needs_code else url
    tell(f"handlead bench: {first}")
    if door.needs_code:
        tell("Whoever has this address with its code, once, can read and change the files of this folder; nothing on "
             "the way is encrypted. Stop with Ctrl+C when the work is done.")  # fmt: skip
    else:
        tell("Only this computer can open it. It starts no machine. Stop with Ctrl+C.")
    app = Guard(application(Bench(folder), more), door)
    config = uvicorn.Config(app, log_level="critical", access_log=False, server_header=False, ws="websockets-sansio",
                            timeout_graceful_shutdown=2)  # fmt: skip
    if browser:
        webbrowser.open(first)
    uvicorn.Server(config).run(sockets=[listener])
    return 0


def _address(host: str | None) -> str:
    if host is None:
        return _LOOPBACK
    try:
        address = ipaddress.ip_address(host)
    except ValueError:
        raise NotServed(
            f"--host {host}: write this computer's address in the workshop's net, such as 192.168.1.20"
        ) from None
    if address.is_unspecified:
        raise NotServed(f"--host {host}: write the one address that the tablet is to use, not every one")
    return str(address)


def _listener(address: str, port: int) -> socket.socket:
    if not 0 <= port <= 65535:
        raise NotServed(f"--port {port}: a port is a number from 0 to 65535")
    family = socket.AF_INET6 if ":" in address else socket.AF_INET
    listener = socket.socket(family, socket.SOCK_STREAM)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((address, port))
    except OSError as fault:
        listener.close()
        raise NotServed(
            f"{address}, port {port}: {(fault.strerror or str(fault)).lower()}. --port takes another"
        ) from None
    return listener
