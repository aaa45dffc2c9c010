"""The server itself: how it speaks https, and for how long."""

import platform
import socket
import ssl
import subprocess
import sys
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from quailwright.exchange.certificate import Https, https_for
from quailwright.web.serving import beside, hold_little_memory, listening

NOW = datetime.now(UTC)


async def app(scope: Any, receive: Any, send: Any) -> None:
    """An application that says yes to all."""
    if scope["type"] == "http":
        await send({"type": "http.response.start", "status": 200, "headers": []})
        await send({"type": "http.response.body", "body": scope["scheme"].encode()})


def shown(port: int, trusting: Https) -> bytes:
    """The certificate that a server shows, to one who trusts that authority."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    context.load_verify_locations(cadata=trusting.authority)
    with (
        socket.create_connection(("127.0.0.1", port), 60) as plain,
        context.wrap_socket(plain, server_hostname="localhost") as secret,
    ):
        return secret.getpeercert(binary_form=True) or b""


def test_a_certificate_that_nears_its_end_is_taken_anew_while_it_serves(tmp_path: Path) -> None:
    old = https_for(tmp_path, ("localhost",), NOW - timedelta(days=380))
    listener = listening("127.0.0.1", 0, any_near=False)

    def fresh() -> Path:
        return https_for(tmp_path, ("localhost",), NOW).server

    with beside(app, listener, old.server, renewed=fresh, every_s=0.2) as port:
        first, until = shown(port, old), time.monotonic() + 60
        while shown(port, old) == first:
            assert time.monotonic() < until
            time.sleep(0.02)


def test_nobody_is_hung_up_on_while_a_certificate_is_changed(tmp_path: Path) -> None:
    """Changed beside the loop that shakes hands, it ended the whole server."""
    https = https_for(tmp_path, ("localhost",), NOW)
    listener = listening("127.0.0.1", 0, any_near=False)
    with beside(app, listener, https.server, lambda: https.server, every_s=0.005) as port:
        assert all(shown(port, https) for _ in range(40))


def test_older_ways_to_speak_in_secret_are_refused(tmp_path: Path) -> None:
    """TLS 1.0 and 1.1 are deprecated (RFC 8996)."""
    https = https_for(tmp_path, ("localhost",), NOW)
    listener = listening("127.0.0.1", 0, any_near=False)
    with beside(app, listener, https.server) as port:
        assert shown(port, https)
        old = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
        old.check_hostname, old.verify_mode = False, ssl.CERT_NONE
        with pytest.warns(DeprecationWarning, match="TLSv1"):
            old.minimum_version, old.maximum_version = ssl.TLSVersion.TLSv1, ssl.TLSVersion.TLSv1_1
        old.set_ciphers("ALL:@SECLEVEL=0")
        with (
            socket.create_connection(("127.0.0.1", port), 60) as plain,
            pytest.raises(ssl.SSLError),
        ):
            old.wrap_socket(plain, server_hostname="localhost")


STALLED = """
import signal, socket, sys, threading
import quailwright.web.serving as serving

async def long(scope, receive, send):
    if scope["type"] == "http":
        await send({"type": "http.response.start", "status": 200, "headers": []})
        await send({"type": "http.response.body", "body": bytes(50_000_000)})

def ask_and_stop():
    client.connect(listener.getsockname())
    client.sendall(b"GET / HTTP/1.1\\r\\nHost: localhost\\r\\n\\r\\n")
    sys.stdout.write(client.recv(8).decode())
    signal.raise_signal(signal.SIGINT)

serving._PATIENCE_S = 1
client, listener = socket.socket(), serving.listening("127.0.0.1", 0, any_near=False)
serving.run(long, listener, threading.Timer(0.2, ask_and_stop).start)
sys.stdout.write(" over")
"""


BEGINNING = """
import signal, sys, weakref
import quailwright.web.serving as serving

class Module:
    pass

def ready():
    module = Module()
    kept = weakref.ref(module, lambda _: signal.raise_signal(signal.SIGINT))
    del module

async def app(scope, receive, send):
    pass

serving.run(app, serving.listening("127.0.0.1", 0, any_near=False), ready)
sys.stdout.write("over")
"""
"""The signal comes where Python drops what is raised, as when a module was imported."""


def said_by(program: str) -> str:
    """What a program says. It takes signals, so it has a process of its own."""
    ended = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, timeout=60, check=True
    )
    return ended.stdout


def test_a_client_that_reads_no_more_holds_up_no_end() -> None:
    """Such as a phone that walked off while it took a backup along."""
    assert said_by(STALLED) == "HTTP/1.1 over"


def test_an_interrupt_is_not_lost_while_the_server_begins() -> None:
    assert said_by(BEGINNING) == "over"


def test_memory_is_given_back_where_glibc_can() -> None:
    assert hold_little_memory() is (platform.libc_ver()[0] == "glibc")
