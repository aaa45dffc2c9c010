"""Messages really sent: to a mail server and to a JSON webhook on loopback, through the library."""

import io
import json
import logging
import socketserver
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path

import pytest
from tests.exchange.nights import EVENING, MINUTE, night, warm, without_power

from quailwright.exchange import notice_settings
from quailwright.exchange.notice_address import mail_address, pasted_address, without_secrets
from quailwright.exchange.notice_send import Sent, send
from quailwright.exchange.notice_watch import NoticeWatch, send_test
from quailwright.guide.notices.words import Letter
from quailwright.journal.findings import BadInput

pytestmark = pytest.mark.filterwarnings("ignore:'imghdr' is deprecated:DeprecationWarning")
"""The library looks for a module that Python 3.13 has no more."""
LETTER = Letter("Incubator too cold: box", "box: 31.2 °C, below 36 °C.\n\nFirst: the plug.")
PASSWORD = "plum-tree-9"


@pytest.fixture
def log() -> Iterator[io.StringIO]:
    """What a program that logs everything would log; pytest's own log hears what no other does."""
    written = io.StringIO()
    handler, root = logging.StreamHandler(written), logging.getLogger()
    before = root.level
    root.setLevel(logging.DEBUG)
    root.addHandler(handler)
    yield written
    root.removeHandler(handler)
    root.setLevel(before)


class _Mail(socketserver.StreamRequestHandler):
    """As much of RFC 5321 and RFC 4954 as a client needs."""

    def handle(self) -> None:
        def say(line: str) -> None:
            self.wfile.write(f"{line}\r\n".encode())

        taken, refuses = self.server.taken, self.server.refuses  # type: ignore[attr-defined]
        lines: list[str] = []
        within = False
        say("220 mail.example.org")
        for raw in self.rfile:
            line = raw.decode().rstrip("\r\n")
            word = line.upper()
            if within and line != ".":
                lines.append(line)
            elif within:
                within = False
                taken.append("\n".join(lines))
                say("250 taken")
            elif word.startswith("EHLO"):
                say("250-mail.example.org")
                say("250 AUTH PLAIN LOGIN")
            elif word.startswith("AUTH"):
                said = f"535 5.7.8 not {PASSWORD} of keeper@example.org"
                say(said if refuses else "235 welcome")
            elif word == "DATA":
                within = True
                say("354 go on")
            elif word == "QUIT":
                say("221 bye")
                return
            else:
                say("250 well")


@contextmanager
def mail_server(refuses: bool = False) -> Iterator[tuple[int, list[str]]]:
    """A mail server on loopback: its port, and what it took."""
    with socketserver.ThreadingTCPServer(("127.0.0.1", 0), _Mail) as server:
        server.taken, server.refuses = [], refuses  # type: ignore[attr-defined]
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield server.server_address[1], server.taken  # type: ignore[attr-defined]
        server.shutdown()


def mail_to(number: int, **more: str) -> str:
    typed = {
        "server": "127.0.0.1", "port": str(number), "security": "insecure",
        "user": "keeper@example.org", "password": PASSWORD, "to": "shed@example.org",
    }  # fmt: skip
    return mail_address({**typed, **more})


def test_a_port_of_thousands_of_digits_is_a_sentence() -> None:
    with pytest.raises(BadInput, match="from 1 to 65535"):
        mail_to(0, port="9" * 5_000)


def test_mail_arrives_as_it_was_written(log: io.StringIO) -> None:
    with mail_server() as (port, taken):
        sent = send(mail_to(port), LETTER)
    assert sent.went, sent.answer
    import email
    import email.policy

    message = email.message_from_string(taken[0], policy=email.policy.default)
    assert message["subject"] == LETTER.title
    assert "shed@example.org" in message["to"]
    assert message.get_content().strip() == LETTER.text
    assert PASSWORD not in log.getvalue()
    assert "example.org" not in log.getvalue()


def test_what_a_mail_server_answers_is_told_without_secrets(
    log: io.StringIO, capfd: pytest.CaptureFixture[str]
) -> None:
    with mail_server(refuses=True) as (port, _):
        sent = send(mail_to(port), LETTER)
    assert not sent.went
    assert "535" in sent.answer
    for told in (sent.answer, log.getvalue(), *capfd.readouterr()):
        assert PASSWORD not in told
        assert "keeper@example.org" not in told


def test_a_server_that_is_not_there_is_told() -> None:
    with mail_server() as (port, _):
        pass
    sent = send(mail_to(port), LETTER)
    assert not sent.went
    assert sent.answer


def test_a_webhook_gets_json_and_follows_no_redirect(tmp_path: Path) -> None:
    asked: list[tuple[str, dict[str, str]]] = []

    class Hook(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"]))
            asked.append((self.path, json.loads(body)))
            elsewhere = self.path.startswith("/moved")
            self.send_response(302 if elsewhere else 200)
            if elsewhere:
                self.send_header("Location", "/elsewhere")
            self.end_headers()

        def log_message(self, *_: object) -> None:
            pass

    with HTTPServer(("127.0.0.1", 0), Hook) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        hook = f"json://127.0.0.1:{server.server_address[1]}/quail"
        assert send(pasted_address(hook), LETTER).went
        assert not send(hook.replace("quail", "moved"), LETTER).went
        # And a whole night: from cooling readings to the server.
        with night(tmp_path) as one:
            notice_settings.remove_channel(one.desk.store, 1)
            notice_settings.add_channel(one.desk.store, "hook", hook, "pt", False, EVENING)
            channel = notice_settings.channel_of(one.desk.store, "hook")
            assert send_test(one.desk.store, channel, one.now).went
            one.watch = NoticeWatch()
            one.go(EVENING + 5 * MINUTE, warm, MINUTE)
            one.go(EVENING + 24 * MINUTE, without_power, MINUTE)
            one.watch.end()
        server.shutdown()
    assert [path for path, _ in asked] == ["/quail", "/moved", "/quail", "/quail"]
    assert asked[0][1]["title"] == LETTER.title
    assert asked[0][1]["message"] == LETTER.text
    assert "box" in asked[3][1]["message"]


@pytest.mark.parametrize(
    "text", ["", "nonsense", "json://", "file:///etc/passwd", "json://a b", "x" * 3000, "http://"]
)
def test_an_address_that_nothing_can_be_sent_to_is_refused_without_telling_it(text: str) -> None:
    with pytest.raises(BadInput) as refused:
        pasted_address(text)
    assert not text or text not in refused.value.sentence


@pytest.mark.parametrize(
    "typed",
    [
        {"server": ""}, {"server": "a b"}, {"port": "0"}, {"port": "70000"}, {"port": "x"},
        {"to": "nobody"}, {"to": "a@b\r\nBcc: c@d"}, {"security": "some"}, {"from": "@"},
    ],
)  # fmt: skip
def test_a_mail_form_that_cannot_be_is_refused(typed: dict[str, str]) -> None:
    with pytest.raises(BadInput) as refused:
        mail_to(587, **typed)
    assert PASSWORD not in refused.value.sentence


def test_secrets_are_taken_out_of_answers() -> None:
    address = "hook://key-abc/path-def?token=ghi%20jkl"
    answer = f"{address} no: key-abc path-def ghi jkl"
    assert without_secrets(answer, address) == "… no: … … …"


_ENDS = """
import sys
from quailwright.exchange.notice_send import send
from quailwright.guide.notices.words import Letter
print(send(sys.argv[1], Letter("a", "b"), 0.4).answer)
"""


def test_servers_that_never_let_go_hold_up_neither_the_rest_nor_the_end() -> None:
    """One that writes a byte now and then, to an address that asks to wait for ten minutes."""
    connections, over = [], threading.Event()

    class Dribbles(socketserver.BaseRequestHandler):
        def handle(self) -> None:
            connections.append(1)
            with suppress(OSError):
                while not over.wait(0.2):
                    self.request.sendall(b"2")

    with socketserver.ThreadingTCPServer(("127.0.0.1", 0), Dribbles) as server, mail_server() as (
        port, _,
    ):  # fmt: skip
        server.daemon_threads = True
        threading.Thread(target=server.serve_forever, daemon=True).start()
        address = pasted_address(f"json://127.0.0.1:{server.server_address[1]}/x?rto=600&retry=9")
        for _ in range(8):
            assert send(address, LETTER, 0.4) == Sent(False, "The server gave no answer in time.")
        assert len(connections) == 1
        assert send(mail_to(port), LETTER).went
        # A program that has sent so ends by itself, and leaves the server waiting.
        told = subprocess.run(
            [sys.executable, "-c", _ENDS, address],
            capture_output=True, text=True, timeout=30, check=True,
        )  # fmt: skip
        assert told.stdout == "The server gave no answer in time.\n"
        over.set()
        server.shutdown()
