"""Settings that all tests share.

Hypothesis runs the same examples every time, so that a check that passed passes again. To look
further: `./check --hypothesis-profile explore -k properties`.

A flock can be kept in a SQLite file, or in a database of a PostgreSQL server: a temporary one, on
a socket in a folder of its own. Where its programs are not installed, the tests that need it say
so (`./check` installs them on Debian). So it is with the MQTT broker that sensors send to.
"""

import contextlib
import getpass
import os
import shutil
import socket
import subprocess
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import psycopg
import pytest
from hypothesis import HealthCheck, settings

# What the terminal says is held in English, whatever language this machine speaks.
os.environ["LANGUAGE"] = "en"

settings.register_profile(
    "check",
    derandomize=True,
    deadline=None,
    max_examples=130,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.register_profile(
    "explore", settings.get_profile("check"), derandomize=False, max_examples=1500
)
settings.load_profile("check")


def _programs() -> Path | None:
    """The folder of initdb and pg_ctl, the newest version first."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/pg_ctl"))
    if found:
        return found[-1].parent
    on_path = shutil.which("pg_ctl")
    return None if on_path is None else Path(on_path).resolve().parent


def _run(*command: str | Path) -> None:
    """Runs a program of the server, which refuses to run as root: then as its own user."""
    as_postgres = ["runuser", "-u", "postgres", "--"] if os.getuid() == 0 else []
    subprocess.run([*as_postgres, *command], check=True, capture_output=True, cwd="/", timeout=60)


@pytest.fixture(scope="session")
def postgresql_server() -> Iterator[str]:
    """The socket folder of a PostgreSQL server that lives as long as the tests."""
    programs = _programs()
    if programs is None:
        pytest.skip("no PostgreSQL server is installed here")
    # The path of a socket must be short, and the server's own user must reach it.
    folder = Path(tempfile.mkdtemp(prefix="quail-pg-", dir="/tmp"))
    try:
        if os.getuid() == 0:
            shutil.chown(folder, "postgres")
        data = folder / "data"
        _run(programs / "initdb", "-D", data, "-U", "postgres", "-A", "trust", "-N", "-E", "UTF8")
        options = f"-c listen_addresses='' -c fsync=off -k {folder}"
        _run(programs / "pg_ctl", "-D", data, "-w", "-o", options, "-l", folder / "log", "start")
        try:
            yield str(folder)
        finally:
            _run(programs / "pg_ctl", "-D", data, "-w", "-m", "immediate", "stop")
    finally:
        shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture
def postgresql(postgresql_server: str, request: pytest.FixtureRequest) -> Iterator[str]:
    """The URL of an empty database of its own."""
    admin = f"host={postgresql_server} user=postgres"
    with psycopg.connect(f"{admin} dbname=postgres", autocommit=True) as connection:
        connection.execute("CREATE DATABASE flock")
    yield f"postgresql://postgres@/flock?host={postgresql_server}"
    with psycopg.connect(f"{admin} dbname=postgres", autocommit=True) as connection:
        connection.execute("DROP DATABASE flock WITH (FORCE)")


@pytest.fixture(params=["sqlite", "postgresql"])
def location(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Where a flock can begin: the path of no file yet, or the URL of an empty database."""
    if request.param == "sqlite":
        return str(tmp_path / "home.sqlite")
    url: str = request.getfixturevalue("postgresql")
    return url


class Broker:
    """An MQTT broker of its own on loopback, with its store in a folder: start, stop, kill it."""

    def __init__(self, program: str, folder: Path, saves_each_change: bool = True) -> None:
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        self._program = program
        self._settings = folder / "mosquitto.conf"
        said = [
            f"listener {self.port} 127.0.0.1",
            "allow_anonymous true",
            f"user {getpass.getuser()}",
            "persistence true",
            f"persistence_location {folder}/",
            "max_queued_messages 0",
        ]
        if saves_each_change:
            said += ["autosave_interval 1", "autosave_on_changes true"]
        self._settings.write_text("\n".join(said) + "\n")
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Starts it, and waits until it answers."""
        self._process = subprocess.Popen(
            [self._program, "-c", self._settings], stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )  # fmt: skip
        for _ in range(500):
            with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", self.port)):
                return
            time.sleep(0.01)
        raise AssertionError("the broker does not answer")

    def stop(self) -> None:
        """Stops it in order: it saves what it holds."""
        if self._process is not None:
            self._process.terminate()
            self._process.wait(10)
            self._process = None

    def kill(self) -> None:
        """Kills it."""
        assert self._process is not None
        self._process.kill()
        self._process.wait(10)
        self._process = None


@pytest.fixture
def broker(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Broker]:
    """A running MQTT broker (mosquitto, which `./check` installs on Debian)."""
    program = shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin")
    if program is None:
        pytest.skip("no MQTT broker (mosquitto) is installed here")
    made = Broker(program, tmp_path_factory.mktemp("broker"))
    made.start()
    yield made
    made.stop()
