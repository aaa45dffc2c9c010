"""A terminal for tests: the command line run in this process, on a flock file of its own."""

import io
import json
import sys
from collections.abc import Callable
from datetime import UTC, datetime, tzinfo
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from quailwright.cli import options
from quailwright.cli.main import run


class Answer(NamedTuple):
    """What a command left: its exit code and what stands on the terminal."""

    code: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        """The one JSON document on standard output."""
        return json.loads(self.out)


Quail = Callable[..., Answer]


@pytest.fixture
def quail(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Quail:
    """Runs a command line, with standard input if given, in an empty folder."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.setenv("QUAILWRIGHT_FLOCK", str(tmp_path / "flock.sqlite"))
    monkeypatch.setenv("QUAILWRIGHT_TRACEBACK", "1")

    def command(*argv: str, stdin: bytes = b"") -> Answer:
        monkeypatch.setattr(sys, "argv", ["quailwright", *argv])
        monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(stdin)))
        capsys.readouterr()
        with pytest.raises(SystemExit) as leaving:
            run()
        said = capsys.readouterr()
        code = leaving.value.code
        return Answer(code if isinstance(code, int) else 0, said.out, said.err)

    return command


class _EndOfJune(datetime):
    """A clock that stands still."""

    @classmethod
    def now(cls, tz: tzinfo | None = None) -> datetime:  # type: ignore[override]
        return datetime(2027, 6, 30, 12, tzinfo=UTC).astimezone(tz)


@pytest.fixture
def end_of_june(monkeypatch: pytest.MonkeyPatch) -> datetime:
    """Sets the computer's clock to noon (UTC) of 30 June 2027, after the days of `kept`."""
    monkeypatch.setattr(options, "datetime", _EndOfJune)
    return _EndOfJune.now(UTC)


@pytest.fixture
def kept(quail: Quail) -> Quail:
    """A terminal whose flock file holds a small flock in Lisbon."""
    for words in (
        "holding name=Home timezone=Europe/Lisbon at=2027-01-01",
        "place place=pen role=pen floor_m2=4 walk_order=2 at=2027-01-01",
        "place place=incubator role=incubator capacity_eggs=60 walk_order=1 at=2027-01-01",
        "group group=hens place=pen hens=10 cocks=2 hatched_on=2026-10-01 at=2027-01-01",
        "eggs_collected group=hens eggs=8 at=2027-05-02",
        "eggs_set hatch=may eggs=24 place=incubator source=friend at=2027-05-02T20:00",
        "feed_bought feed=pellets kg=20 cost=18 at=2027-05-01",
        "treated group=hens product=powder eggs_withheld_until=2027-05-09 "
        "meat_withheld_until=2027-05-09 at=2027-05-03",
        "quarantine place=pen until=2027-05-31 at=2027-05-03",
    ):
        answer = quail("log", *words.split())
        assert answer.code == 0, answer.err
    return quail
