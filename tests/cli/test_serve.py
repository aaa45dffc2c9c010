"""`serve` and `demo`: the address printed is the one that answers, and nobody else is let in."""

import http.client
import os
import re
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

import pytest
from tests.cli.conftest import Quail


@contextmanager
def started(folder: Path, *words: str) -> Iterator[tuple[subprocess.Popen[str], int]]:
    """A command that serves, and the port that it said."""
    environment = {**os.environ, "XDG_DATA_HOME": str(folder)}
    environment["QUAILWRIGHT_FLOCK"] = str(folder / "flock.sqlite")
    with subprocess.Popen(
        [sys.executable, "-m", "quailwright", *words],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=environment,
        cwd=folder,
    ) as process:
        assert process.stdout is not None
        said = ""
        while "Stop with" not in said:
            line = process.stdout.readline()
            assert line, process.stderr.read() if process.stderr else ""
            said += line
        found = re.search(r"Open http://127\.0\.0\.1:(\d+)/", said)
        assert found is not None, said
        yield process, int(found[1])
        process.send_signal(signal.SIGINT)
        assert process.wait(60) == 0


def asked(port: int, path: str) -> tuple[int, str, str]:
    """The status of a page, where it leads, and its text."""
    with closing(http.client.HTTPConnection("127.0.0.1", port, timeout=60)) as connection:
        connection.request("GET", path)
        answer = connection.getresponse()
        return answer.status, answer.headers.get("Location", ""), answer.read().decode()


def test_demo_serves_its_round_at_the_address_printed(tmp_path: Path) -> None:
    with started(tmp_path, "demo") as (_, port):
        status, _, text = asked(port, "/")
    assert status == 200
    assert "The demo garden" in text


def test_a_flock_of_your_own_asks_for_a_passphrase_first(tmp_path: Path) -> None:
    with started(tmp_path, "serve") as (_, port):
        assert asked(port, "/")[:2] == (303, "/begin")
        taken = subprocess.run(
            [sys.executable, "-m", "quailwright", "serve", "--port", str(port)],
            env={**os.environ, "QUAILWRIGHT_FLOCK": str(tmp_path / "flock.sqlite")},
            capture_output=True,
            text=True,
            check=False,
        )
    assert taken.returncode == 2
    assert f"Port {port} is taken" in taken.stderr


def test_the_home_network_is_refused_without_a_passphrase(tmp_path: Path) -> None:
    refused = subprocess.run(
        [sys.executable, "-m", "quailwright", "serve", "--home-network"],
        env={**os.environ, "QUAILWRIGHT_FLOCK": str(tmp_path / "flock.sqlite")},
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=False,
    )
    assert refused.returncode == 2
    assert "Nobody has set a passphrase" in refused.stderr
    assert refused.stdout == ""


def test_the_home_network_gets_a_code_once_there_is_a_passphrase(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from datetime import UTC, datetime

    from quailwright.cli import serve
    from quailwright.exchange.household import Household
    from quailwright.journal.store import open_store
    from quailwright.web import serving

    flock = str(tmp_path / "flock.sqlite")
    with open_store(flock, create=True) as store:
        Household(store).begin("Mira", "four words of ours", datetime.now(UTC))
    served: list[Any] = []

    def stand_in(app: object, listener: object, ready: object) -> None:
        served.append(app)
        listener.close()  # type: ignore[attr-defined]
        ready()  # type: ignore[operator]

    monkeypatch.setattr(serving, "run", stand_in)
    monkeypatch.setattr(serving, "home_address", lambda: "192.0.2.7")
    serve.serve_flock(flock, None, home_network=True, invented=True)
    said = capsys.readouterr().out
    assert re.search(r"Open http://192\.0\.2\.7:\d+/", said)
    assert said.count("\n") > 15  # the code
    settings = served[0].state.home.settings
    assert not settings.invented  # never open to a network
    assert not settings.may_begin


@pytest.mark.parametrize("proxy", ["*", "0.0.0.0/0", "::/0", "not-an-ip", "10.0.0.5/8", "a,b", ""])
def test_a_proxy_is_an_address_and_not_everybody(quail: Quail, proxy: str) -> None:
    """uvicorn would believe everybody, or nobody, without a word. No database is asked yet."""
    flocks = ("--flocks", "postgresql://x@127.0.0.1:1/y", "--domain", "quail.example")
    refused = quail("serve", *flocks, "--proxy", "10.0.0.2", "--proxy", proxy)
    assert (refused.code, refused.out) == (2, "")
    assert f"--proxy {proxy} is " in refused.err
    taken = quail("serve", *flocks, "--proxy", "10.0.0.2", "--proxy", "fd00::/64")
    assert taken.code == 3


def test_https_leads_phones_to_the_guide_first(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    import ssl
    import urllib.request
    from datetime import UTC, datetime

    from quailwright.cli import serve
    from quailwright.exchange.household import Household
    from quailwright.journal.store import open_store
    from quailwright.web import serving

    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    flock = str(tmp_path / "flock.sqlite")
    with open_store(flock, create=True) as store:
        Household(store).begin("Mira", "four words of ours", datetime.now(UTC))
    answers: list[tuple[str, bytes]] = []

    def stand_in(app: Any, listener: Any, ready: Any, certificate: Path, renewed: Any) -> None:
        assert renewed() == certificate
        ready()
        guide = re.search(r"opens (http://127\.0\.0\.1:\d+/)", printed())
        assert guide is not None
        with urllib.request.urlopen(guide[1]) as answer:
            text = answer.read().decode()
        with urllib.request.urlopen(f"{guide[1]}quailwright-authority.crt") as answer:
            authority = answer.read()
        pages = re.search(r'href="(https://127\.0\.0\.1:\d+/)"', text)
        assert pages is not None
        trusting = ssl.create_default_context(cadata=authority)
        with (
            serving.beside(app, listener, certificate),
            urllib.request.urlopen(f"{pages[1]}sign-in", context=trusting) as answer,
        ):
            answers.append((answer.headers.get_all("Set-Cookie")[0], answer.read()))

    said: list[str] = []

    def printed() -> str:
        said.append(capsys.readouterr().out)
        return "".join(said)

    monkeypatch.setattr(serving, "run", stand_in)
    monkeypatch.setattr(serving, "home_address", lambda: "127.0.0.1")
    serve.serve_flock(flock, None, home_network=True, https=True)
    text = printed()
    assert re.search(r"Open https://127\.0\.0\.1:\d+/", text)
    assert re.search(r"^  ([0-9A-F]{2} ){31}[0-9A-F]{2}$", text, re.M)
    assert "No phone trusts it yet" in text
    assert "PRIVATE" not in text
    assert "unencrypted" not in text
    cookie, page = answers[0]
    assert "Secure" in cookie
    assert b"Sign in" in page or b"passphrase" in page


def test_https_is_for_the_home_network(tmp_path: Path) -> None:
    refused = subprocess.run(
        [sys.executable, "-m", "quailwright", "serve", "--https"],
        env={**os.environ, "QUAILWRIGHT_FLOCK": str(tmp_path / "flock.sqlite")},
        capture_output=True,
        text=True,
        check=False,
    )
    assert refused.returncode == 2
    assert "--home-network too" in refused.stderr
