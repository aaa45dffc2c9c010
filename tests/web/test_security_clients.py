"""Clients that are slow on purpose, or many, hold up nobody else; what they may be told."""

import contextlib
import socket
import time
from collections.abc import Iterator
from typing import Any

import pytest

from quailwright.web import connections
from quailwright.web.serving import beside, listening

PATIENCE_S = 0.3


async def app(scope: Any, receive: Any, send: Any) -> None:
    """Reads the whole request, and answers with much."""
    if scope["type"] != "http":
        return
    while (await receive()).get("more_body"):
        pass
    size = 12_000_000 if scope["path"] == "/much" else 2
    await send({"type": "http.response.start", "status": 200, "headers": []})
    await send({"type": "http.response.body", "body": b"x" * size})


@pytest.fixture
def port(monkeypatch: pytest.MonkeyPatch) -> Iterator[int]:
    """The port of a server that soon runs out of patience."""
    for name in ("HEAD_WITHIN_S", "BODY_WITHIN_S", "STALLED_FOR_S"):
        monkeypatch.setattr(connections, name, PATIENCE_S)
    with beside(app, listening("127.0.0.1", 0, any_near=False)) as taken:
        yield taken


def is_given_up(client: socket.socket) -> bool:
    """Whether the server ends the connection, within a while."""
    client.settimeout(20)
    try:
        while client.recv(1_000_000):
            pass
    except ConnectionResetError:
        return True
    except TimeoutError:
        return False
    return True


@pytest.mark.parametrize(
    "sent",
    [
        b"",
        b"GET / HTTP/1.1\r\nHost: x\r\nX-Slow: ",
        b"POST / HTTP/1.1\r\nHost: x\r\nContent-Length: 100\r\n\r\nfew",
        b"POST / HTTP/1.1\r\nHost: x\r\nTransfer-Encoding: chunked\r\n\r\n3\r\nfew\r\n",
    ],
)
def test_a_request_that_does_not_come_is_not_waited_for(port: int, sent: bytes) -> None:
    with socket.create_connection(("127.0.0.1", port), 20) as client:
        client.sendall(sent)
        assert is_given_up(client)


def _send_slowly(client: socket.socket, until: float) -> None:
    while time.monotonic() < until:
        client.sendall(b"G")
        time.sleep(PATIENCE_S / 6)


def test_a_byte_now_and_then_gains_no_time(port: int) -> None:
    with socket.create_connection(("127.0.0.1", port), 20) as client:
        until = time.monotonic() + 20
        with pytest.raises((BrokenPipeError, ConnectionResetError)):
            _send_slowly(client, until)


def test_an_answer_that_is_not_read_is_not_kept_for_good(port: int) -> None:
    with socket.create_connection(("127.0.0.1", port), 20) as client:
        client.sendall(b"GET /much HTTP/1.1\r\nHost: x\r\n\r\n")
        time.sleep(4 * PATIENCE_S)
        taken = 0
        client.settimeout(20)
        with contextlib.suppress(ConnectionResetError):
            while part := client.recv(1_000_000):
                taken += len(part)
        assert taken < 12_000_000


def test_many_connections_leave_room_for_others(port: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(connections, "HEAD_WITHIN_S", 60.0)
    monkeypatch.setattr(connections, "MOST_UNFINISHED", 20)
    with contextlib.ExitStack() as held:
        many = [
            held.enter_context(socket.create_connection(("127.0.0.1", port), 20)) for _ in range(30)
        ]
        assert is_given_up(many[0])
        with socket.create_connection(("127.0.0.1", port), 20) as client:
            client.sendall(b"GET / HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n")
            assert client.recv(100).startswith(b"HTTP/1.1 200")


def test_one_address_holds_so_many_connections_and_no_more(
    port: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(connections, "_HERE", ())
    monkeypatch.setattr(connections, "HEAD_WITHIN_S", 60.0)
    monkeypatch.setattr(connections.Patient, "most_from_one", 5)
    with contextlib.ExitStack() as held:
        for _ in range(5):
            held.enter_context(socket.create_connection(("127.0.0.1", port), 20))
        with socket.create_connection(("127.0.0.1", port), 20) as sixth:
            assert is_given_up(sixth)
    until = time.monotonic() + 20
    while time.monotonic() < until:
        again = socket.create_connection(("127.0.0.1", port), 20)
        with again, contextlib.suppress(OSError):
            again.sendall(b"GET / HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n")
            if again.recv(100).startswith(b"HTTP/1.1 200"):
                return
    pytest.fail("those that were let go still count")


@pytest.mark.parametrize(
    "smuggled",
    [
        b"POST / HTTP/1.1\r\nHost: x\r\nContent-Length: 5\r\nContent-Length: 6\r\n\r\nhello!",
        b"POST / HTTP/1.1\r\nHost: x\r\nTransfer-Encoding: chunked, identity\r\n\r\n0\r\n\r\n",
        b"POST / HTTP/1.1\r\nHost: x\r\nTransfer-Encoding: xchunked\r\n\r\n0\r\n\r\n",
        b"POST / HTTP/1.1\r\nHost: x\r\nContent-Length : 5\r\n\r\nhello",
        b"POST / HTTP/1.1\r\nHost: x\r\nContent-Length: +5\r\n\r\nhello",
        b"POST / HTTP/1.1\r\nHost: x\r\nContent-Length: 40\r\nTransfer-Encoding: chunked\r\n\r\n"
        b"0\r\n\r\nGET /much HTTP/1.1\r\nHost: x\r\n\r\n",
        b"POST / HTTP/1.1\r\nHost: x\r\ntransfer-encoding: Chunked\r\ncontent-length: 5\r\n\r\n"
        b"0\r\n\r\n",
        b"POST / HTTP/1.0\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: x\r\nHost: y\r\n\r\n",
        b"GET / HTTP/1.1\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: x\r\nX-A: a\x00b\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: x\r\n X-Folded: y\r\nBad header\r\n\r\n",
    ],
)
def test_what_two_servers_could_read_in_two_ways_is_refused(port: int, smuggled: bytes) -> None:
    """RFC 9112, sections 3.2, 5.1, 6.1 and 6.3: a server answers such a request with 400."""
    with socket.create_connection(("127.0.0.1", port), 20) as client:
        client.sendall(smuggled)
        client.settimeout(20)
        answer = b""
        with contextlib.suppress(ConnectionResetError):
            while part := client.recv(10_000):
                answer += part
        assert answer.startswith(b"HTTP/1.1 400" if b"chunked" not in smuggled else b"HTTP/1.1 ")
        assert answer.split()[1] in (b"400", b"501")
        assert answer.count(b"HTTP/1.1 ") == 1


def test_the_server_does_not_say_what_it_is(port: int) -> None:
    for sent in (b"GET / HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n", b"rubbish\r\n\r\n"):
        with socket.create_connection(("127.0.0.1", port), 20) as client:
            client.sendall(sent)
            answer = client.recv(10_000).lower()
            assert b"server:" not in answer
            assert b"uvicorn" not in answer
