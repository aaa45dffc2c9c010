"""The way back from damage as the sentence tells it, followed to the end; doubts of the clock."""

import json
import re
from datetime import UTC, datetime, tzinfo
from pathlib import Path

import pytest
from tests.cli.conftest import Quail

from quailwright.cli import options


def test_the_way_back_is_followed_as_it_is_told(quail: Quail, tmp_path: Path) -> None:
    def log(*words: str) -> str:
        answer = quail("log", *words, "--json")
        assert answer.code == 0, answer.err
        (written,) = answer.json["written"]
        return str(written["id"])

    ids = [log("place", "place=pen", "role=pen", "at=2026-01-01")]
    ids.append(log("group", "group=hens", "place=pen", "hens=9", "at=2026-01-02"))
    assert quail("backup", "last.zip", "--quick").code == 0
    # Since the backup: a group, which will be lost, and eggs of it, which can be read.
    ids.append(log("group", "group=young", "place=pen", "hens=4", "at=2026-02-01", "note=lost"))
    ids += [log("eggs_collected", f"group={group}", f"eggs={n}", f"at=2026-02-{n + 2:02}")
            for n, group in enumerate(["hens", "young", "hens"])]  # fmt: skip
    flock = tmp_path / "flock.sqlite"
    data = bytearray(flock.read_bytes())
    data[data.index(b'"note":"lost"') + 9] ^= 1
    flock.write_bytes(data)

    told = quail("today")
    assert told.code == 3
    assert str(flock) in told.err
    assert quail("log", "care", "task=water").code == 3
    assert quail("journal", "check").code == 1
    commands = re.findall(r"`quailwright ([^`]+)`", told.err)
    assert [each.split()[0] for each in commands] == ["serve", "journal", "restore", "journal"]
    for command in commands[1:]:
        words = command.replace("LAST_BACKUP.zip", "last.zip").split()
        answer = quail(*words)
        assert answer.code == (1 if "salvage" in words else 0), answer.err
    out = quail("journal", "export").out
    assert [json.loads(line)["id"] for line in out.splitlines()] == ids[:2] + ids[3:]
    assert quail("today").code == 0
    # What was lost is told, as a group that no entry names.
    check = quail("journal", "check")
    assert check.code == 1
    assert "young" in check.out
    # Without --as-found the salvaged entries are refused, all of them.
    quail("restore", "last.zip", "--replace")
    refused = quail("journal", "import", "rescued.jsonl")
    assert (refused.code, "young" in refused.err) == (2, True)


@pytest.mark.parametrize(
    ("year", "says"),
    [(1970, "recorded on 2027-06-30 already"), (2037, "newest entry was recorded on 2027-06-30")],
)
def test_a_clock_that_cannot_be_right_is_said(
    quail: Quail, end_of_june: datetime, monkeypatch: pytest.MonkeyPatch, year: int, says: str
) -> None:
    class Wrong(datetime):
        @classmethod
        def now(cls, tz: tzinfo | None = None) -> datetime:  # type: ignore[override]
            return datetime(year, 1, 1, 12, tzinfo=UTC).astimezone(tz)

    assert quail("log", "place", "place=pen", "role=pen").err == ""
    with monkeypatch.context() as wrong:
        wrong.setattr(options, "datetime", Wrong)
        assert says in quail("today").err
        told = quail("log", "care", "task=water", "at=2027-06-30T20:00+00:00")
        assert (told.code, says in told.err) == (0, True)
    # Set right: after a clock that ran ahead it is said until some entries more are kept.
    assert ("recorded on 2037-01-01 already" in quail("today").err) == (year > 2027)


def test_an_export_that_holds_what_is_refused_today_comes_in_as_found(
    quail: Quail, tmp_path: Path
) -> None:
    """Programs of schema 0001 let eggs be sold from a pen in quarantine: docs/upgrades.md."""
    told: list[dict[str, object]] = [
        {"kind": "place", "place": "pen", "role": "pen", "at": "2026-01-01"},
        {"kind": "group", "group": "hens", "place": "pen", "hens": 9, "at": "2026-01-02"},
        {"kind": "quarantine", "place": "pen", "until": "2026-03-01", "at": "2026-01-03"},
        {"kind": "eggs_collected", "group": "hens", "eggs": 6, "at": "2026-01-10"},
        {"kind": "eggs_out", "use": "sold", "eggs": 4, "group": "hens", "at": "2026-01-11"},
    ]
    lines = [
        json.dumps({"id": f"0000000{n}-0000-4000-8000-000000000001", **each})
        for n, each in enumerate(told)
    ]
    (tmp_path / "old.jsonl").write_text("\n".join(lines), encoding="utf-8")
    refused = quail("journal", "import", "old.jsonl")
    assert refused.code == 1
    assert "sold or given from 2026-03-02 on" in refused.err
    taken = quail("journal", "import", "old.jsonl", "--as-found")
    assert taken.code == 0, taken.err
    assert "sold or given from 2026-03-02 on" in quail("journal", "check").out
