"""The server itself: how it speaks https, and for how long."""

import gc
import signal
import socket
import ssl
import threading
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from quailwright.exchange.certificate import Https, https_for
from quailwright.web.serving import beside, listening, run

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


@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
def test_a_client_that_reads_no_more_holds_up_no_end(monkeypatch: pytest.MonkeyPatch) -> None:
    """Such as a phone that walked off while it took a backup along."""
    monkeypatch.setattr("quailwright.web.serving._PATIENCE_S", 1)

    async def long(scope: Any, receive: Any, send: Any) -> None:
        if scope["type"] == "http":
            await send({"type": "http.response.start", "status": 200, "headers": []})
            await send({"type": "http.response.body", "body": bytes(50_000_000)})

    listener = listening("127.0.0.1", 0, any_near=False)
    with socket.socket() as client:

        def ask_and_stop() -> None:
            client.connect(listener.getsockname())
            client.sendall(b"GET / HTTP/1.1\r\nHost: localhost\r\n\r\n")
            client.recv(1000)
            signal.raise_signal(signal.SIGINT)

        begun = time.monotonic()
        run(long, listener, threading.Timer(0.2, ask_and_stop).start)
        assert time.monotonic() - begun < 10
    gc.collect()  # what the server's loop left open is told of here, where it is expected
