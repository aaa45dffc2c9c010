"""Serving the pages: the socket, the address to open, and the server."""

import asyncio
import ctypes
import os
import signal
import socket
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from functools import partial
from pathlib import Path
from typing import Any

import uvicorn
from uvicorn.supervisors import Multiprocess

from quailwright.journal.findings import BadInput
from quailwright.language import say
from quailwright.web.app import create_app
from quailwright.web.connections import Patient, PatientBehind
from quailwright.web.home import LOOPBACK, Settings
from quailwright.web.many import Office, is_domain, many
from quailwright.web.trust_guide import trust_guide

__all__ = [
    "LOOPBACK", "Office", "Settings", "beside", "create_app", "home_address", "is_domain",
    "listening", "run", "run_many", "trust_guide",
]  # fmt: skip

App = Callable[[Any, Any, Any], Any]
"""An application by ASGI."""

_PORTS_TRIED = 20
_PATIENCE_S = 10
"""So long the end waits for answers under way: a phone that reads no more held it up for good."""
_LOG_LEVEL = "error" if os.environ.get("QUAILWRIGHT_TRACEBACK") else "critical"
"""A fault of our own is answered with a sentence; where it lies is told only to who asks."""
_WAITING = 512
_ANSWERS_WITHIN_S = 60
"""A process that does not answer the one above it for so long hangs, and is begun anew: longer than
one takes to begin on a busy machine, or none ever would. One that happens to be killed while it is
asked is missed for as long."""
_LOOKED_AT_EVERY_S = 12 * 3600.0
_ARENA_MAX, _MMAP_THRESHOLD = -8, -3
"""Numbers of glibc's `mallopt` (malloc.h)."""
_ARENAS, _OWN_MAP_BYTES = 2, 256 * 1024
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
    raise BadInput(
        say(
            "Port {port} is taken, or may not be used by you. Give another with --port.",
            port=str(port),
        )
    )


def home_address() -> str:
    """This computer's address on the home network. Raises BadInput when it has none."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        try:
            asking.connect(_NOWHERE)
            own: str = asking.getsockname()[0]
        except OSError:
            raise BadInput(
                say("This computer is on no network. Join the home network first.")
            ) from None
    return own


def run(
    app: App,
    listener: socket.socket,
    ready: Callable[[], None],
    certificate: Path | None = None,
    renewed: Callable[[], Path] | None = None,
    every_s: float = _LOOKED_AT_EVERY_S,
) -> None:
    """Serves until it is stopped (Ctrl+C); calls `ready` once it listens.

    With the file of a certificate and its key it speaks https; every `every_s` seconds it takes the
    one that `renewed` gives, for it may run longer than a certificate lasts.
    """
    hold_little_memory()
    listener.listen(128)
    server = _server(app, certificate, _PATIENCE_S)
    ended, renewing = _ended_by_interrupt(server), _renewing(server, renewed, every_s)
    with suppress(KeyboardInterrupt), ended, renewing:
        ready()
        server.run(sockets=[listener])


def run_many(
    office: Office,
    listener: socket.socket,
    ready: Callable[[], None],
    proxies: Sequence[str] = (),
    processes: int = 1,
) -> None:
    """Serves the pages of many flocks until it is stopped (Ctrl+C); calls `ready` first.

    Args:
        proxies: addresses or networks of the servers in front, which alone are believed when they
            say that a request came over https, and from where.
        processes: uvicorn's own workers, over one listening socket; one that ends comes back.
    """
    listener.listen(_WAITING)
    config = settings_of_many(office, proxies, processes)
    with suppress(KeyboardInterrupt):
        ready()
        if processes > 1:
            _Workers(config, [listener]).run()
        else:
            uvicorn.Server(config).run(sockets=[listener])


class _Workers(Multiprocess):
    """uvicorn's workers; one that is killed while it is asked whether it lives is missed at once.

    While this process held the worker's end of their pipe too, nothing told it that nobody does.
    """

    def init_processes(self) -> None:
        super().init_processes()
        self._let_go_of_their_ends()

    def keep_subprocess_alive(self) -> None:
        super().keep_subprocess_alive()
        self._let_go_of_their_ends()

    def _let_go_of_their_ends(self) -> None:
        for worker in self.processes:
            worker.child_conn.close()


def settings_of_many(
    office: Office, proxies: Sequence[str] = (), processes: int = 1
) -> uvicorn.Config:
    """How uvicorn serves the pages of many flocks."""
    return uvicorn.Config(
        partial(_many, office),
        factory=True,
        log_level=_LOG_LEVEL,
        access_log=False,
        server_header=False,
        http=PatientBehind if proxies else Patient,
        ws="none",
        proxy_headers=bool(proxies),
        forwarded_allow_ips=list(proxies),
        timeout_graceful_shutdown=_PATIENCE_S,
        timeout_worker_healthcheck=_ANSWERS_WITHIN_S,
        workers=processes,
    )


def _many(office: Office) -> App:
    hold_little_memory()
    return many(office)


@contextmanager
def _ended_by_interrupt(server: uvicorn.Server) -> Iterator[None]:
    """From before it is told how to stop it, Ctrl+C ends the server, as it does while it serves.

    As an exception it may be lost in between: Python drops one that comes to where it lets go of a
    module's lock or of a weak reference.
    """
    before = signal.signal(signal.SIGINT, server.handle_exit)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


def hold_little_memory() -> bool:
    """Has glibc give back what is let go of; gives whether it heard (elsewhere nothing is done).

    Left alone it keeps a heap for every few threads, each as large as what its threads ever held
    at once, and after the first large arrays takes larger and larger ones from these heaps.
    """
    try:
        mallopt = ctypes.CDLL(None).mallopt
    except (AttributeError, OSError, TypeError):
        return False
    return bool(mallopt(_ARENA_MAX, _ARENAS) and mallopt(_MMAP_THRESHOLD, _OWN_MAP_BYTES))


@contextmanager
def _renewing(
    server: "_Server", renewed: Callable[[], Path] | None, every_s: float
) -> Iterator[None]:
    over = threading.Event()
    if renewed is not None:
        threading.Thread(target=_renew, args=(server, renewed, every_s, over), daemon=True).start()
    try:
        yield
    finally:
        over.set()


def _renew(
    server: "_Server", renewed: Callable[[], Path], every_s: float, over: threading.Event
) -> None:
    """Those who connect from then on get the new certificate; nobody is cut off."""

    def take(certificate: Path) -> None:
        # What cannot be read now is looked at again next time; the old one serves until then.
        with suppress(OSError):
            if server.config.ssl is not None:
                server.config.ssl.load_cert_chain(certificate)

    while not over.wait(every_s):
        # In the loop that shakes hands: who comes between certificate and key is hung up on.
        with suppress(OSError, BadInput, RuntimeError):
            if server.loop is not None:
                server.loop.call_soon_threadsafe(take, renewed())


class _Server(uvicorn.Server):
    """uvicorn's server, which tells the event loop that it runs in."""

    loop: asyncio.AbstractEventLoop | None = None

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        self.loop = asyncio.get_running_loop()
        await super().startup(sockets)


@contextmanager
def beside(
    app: App,
    listener: socket.socket,
    certificate: Path | None = None,
    renewed: Callable[[], Path] | None = None,
    every_s: float = _LOOKED_AT_EVERY_S,
) -> Iterator[int]:
    """Serves as `run` does, in a thread of its own meanwhile, and gives the port.

    It answers when this begins.
    """
    listener.listen(128)
    server = _server(app, certificate, patience_s=1)
    thread = threading.Thread(target=server.run, args=([listener],), daemon=True)
    thread.start()
    while not server.started and thread.is_alive():
        time.sleep(0.01)
    if not server.started:
        raise RuntimeError("The server beside ended before it began.")
    try:
        with _renewing(server, renewed, every_s):
            yield listener.getsockname()[1]
    finally:
        server.should_exit = True
        thread.join()


def _server(app: App, certificate: Path | None, patience_s: int) -> _Server:
    config = uvicorn.Config(
        app,
        log_level=_LOG_LEVEL,
        access_log=False,
        server_header=False,
        http=Patient,
        ws="none",
        ssl_certfile=certificate,
        timeout_graceful_shutdown=patience_s,
    )
    return _Server(config)
