"""Serving the pages: the socket, the address to open, and the server."""

import os
import socket
from collections.abc import Callable
from contextlib import suppress

import uvicorn
from fastapi import FastAPI

from quailwright.journal.findings import BadInput
from quailwright.web.app import create_app
from quailwright.web.home import LOOPBACK, Settings

__all__ = ["LOOPBACK", "Settings", "create_app", "home_address", "listening", "run"]

_PORTS_TRIED = 20
_LOG_LEVEL = "error" if os.environ.get("QUAILWRIGHT_TRACEBACK") else "critical"
"""A fault of our own is answered with a sentence; where it lies is told only to who asks."""
_NOWHERE = ("192.0.2.1", 9)
"""An address for documentation (RFC 5737): asking for the way to it sends nothing."""


def listening(host: str, port: int, any_near: bool) -> socket.socket:
    """A socket on that port; with `any_near`, on the first free one from there on.

    Raises BadInput when it is taken.
    """
    for each in range(port, port + (_PORTS_TRIED if any_near else 1)):
        # Said to be TCP, or asyncio leaves small packets waiting for 40 ms (no TCP_NODELAY).
        found = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
        found.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            found.bind((host, each))
        except (OSError, OverflowError):
            found.close()
            continue
        return found
    raise BadInput(f"Port {port} is taken, or may not be used by you. Give another with --port.")


def home_address() -> str:
    """This computer's address on the home network. Raises BadInput when it has none."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        try:
            asking.connect(_NOWHERE)
            own: str = asking.getsockname()[0]
        except OSError:
            raise BadInput("This computer is on no network. Join the home network first.") from None
    return own


def run(app: FastAPI, listener: socket.socket, ready: Callable[[], None]) -> None:
    """Serves until it is stopped (Ctrl+C); calls `ready` once it listens."""
    config = uvicorn.Config(app, log_level=_LOG_LEVEL, access_log=False, server_header=False)
    listener.listen(128)
    with suppress(KeyboardInterrupt):
        ready()
        uvicorn.Server(config).run(sockets=[listener])
