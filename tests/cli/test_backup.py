"""`backup`, `restore` and `journal salvage` as they are typed."""

import json
import sqlite3
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

from tests.cli.conftest import Quail

from quailwright.journal import people
from quailwright.journal.store import open_store

SIGN_INS_END = (
    "Nobody is signed in any more. People, passphrases, device keys and calendar addresses are "
    "those of the backup: look under Settings at People, Sensors and Calendar for what was ended "
    "since."
)


def exported(quail: Quail, *flock: str) -> str:
    answer = quail("journal", "export", *flock)
    assert answer.code == 0, answer.err
    return answer.out


def test_a_backup_is_made_checked_and_put_back(kept: Quail, tmp_path: Path) -> None:
    made = kept("backup", str(tmp_path))
    assert made.code == 0, made.err
    (path,) = tmp_path.glob("quailwright-home-*.zip")
    assert made.out.startswith(f"{path}: 9 entries, ")
    assert made.out.endswith("kB. Restored to try it, and found equal.\n")
    checked = kept("backup", "--check", str(path))
    assert (checked.code, checked.err) == (0, "")
    assert checked.out.startswith("9 entries: restored to try it, equal to what was backed up (")
    quick = kept("backup", str(path), "--check", "--quick", "--json")
    assert quick.json["ok"] is True
    assert quick.json["restored_and_equal"] is False
    back = kept("restore", str(path), "--flock", "new.sqlite")
    assert back.code == 0, back.err
    assert back.out == (
        f"9 entries, equal to what was backed up.\nThey are in new.sqlite.\n{SIGN_INS_END}\n"
    )


def test_what_stands_there_is_kept(kept: Quail, tmp_path: Path) -> None:
    made = kept("backup", "one.zip", "--quick", "--json")
    assert made.json == {
        "file": "one.zip", "bytes": made.json["bytes"], "entries": 9, "readings": 0,
        "restored_and_equal": False,
    }  # fmt: skip
    before = exported(kept)
    kept("log", "care", "task=water")
    refused = kept("restore", "one.zip")
    assert refused.code == 3
    assert "holds a record already; nothing was restored" in refused.err
    replaced = kept("restore", "one.zip", "--replace", "--json")
    assert replaced.code == 0, replaced.err
    assert exported(kept) == before
    assert len(exported(kept, "--flock", replaced.json["aside"]).splitlines()) == 10


def test_who_was_signed_in_when_it_was_made_signs_in_anew(kept: Quail, tmp_path: Path) -> None:
    """A sign-in that was ended since must not hold again."""
    with open_store(str(tmp_path / "flock.sqlite")) as store, store.household(True) as connection:
        people.add(connection, "Bob", "keeper", "hash", datetime(2027, 5, 1, tzinfo=UTC))
        people.begin(connection, 1, "token", datetime(2027, 5, 1, tzinfo=UTC))
    assert kept("backup", "one.zip", "--quick").code == 0
    back = kept("restore", "one.zip", "--flock", "new.sqlite")
    assert (back.code, back.out.count(SIGN_INS_END)) == (0, 1)
    with closing(sqlite3.connect(tmp_path / "new.sqlite")) as raw:
        assert raw.execute("SELECT count(*) FROM sign_in").fetchone() == (0,)
        assert raw.execute("SELECT name FROM person").fetchall() == [("Bob",)]


def test_nonsense_is_a_sentence(kept: Quail, tmp_path: Path) -> None:
    (tmp_path / "letter.zip").write_text("Dear all")
    before = exported(kept)
    for command, code, said in (
        (("restore", "letter.zip", "--flock", "new.sqlite"), 2, "is not a backup of quailwright"),
        (("restore", "none.zip", "--flock", "new.sqlite"), 2, "There is no file none.zip"),
        (("restore", "flock.sqlite", "--replace"), 2, "one and the same"),
        (("backup", "--check", "letter.zip"), 2, "is not a backup of quailwright"),
        (("backup", "flock.sqlite"), 2, "is no backup: it is left as it is"),
        (("backup", "no/such/folder.zip"), 2, "No backup was made"),
        (("backup", "-"), 2, "A backup is a file, read back to prove it"),
        (("backup", "x.zip", "--flock", "none.sqlite"), 3, "There is no flock file"),
        (("journal", "salvage", "flock.sqlite"), 2, "is there already: it is left as it is"),
        (("journal", "salvage", "x", "--flock", "none.sqlite"), 3, "cannot be read"),
        (("backup", "no-stick/"), 2, "Is the drive plugged in?"),
    ):
        answer = kept(*command)
        assert (answer.code, answer.out) == (code, ""), (command, answer)
        assert said in answer.err
    assert exported(kept) == before
    assert not (tmp_path / "new.sqlite").exists()


def test_a_damaged_backup_fails_its_check(kept: Quail, tmp_path: Path) -> None:
    kept("backup", "one.zip", "--quick")
    data = bytearray((tmp_path / "one.zip").read_bytes())
    data[100] ^= 255
    (tmp_path / "one.zip").write_bytes(data)
    answer = kept("backup", "--check", "one.zip")
    assert answer.code == 1
    assert "one.zip is damaged: its part entries.jsonl is not what its list says." in answer.err


def test_the_way_back_from_a_damaged_file(kept: Quail, tmp_path: Path) -> None:
    kept("backup", "one.zip", "--quick")
    kept("log", "care", "task=water", "at=2027-05-03")
    whole = [json.loads(line) for line in exported(kept).splitlines()]
    with closing(sqlite3.connect(tmp_path / "flock.sqlite")) as raw, raw:
        raw.execute("DROP TRIGGER entry_no_update")
        raw.execute("UPDATE entry SET crc32 = 1 WHERE arrival = 2")
    assert kept("journal", "check").code == 1
    assert kept("backup", "two.zip").code == 3
    saved = kept("journal", "salvage", "rescued.jsonl")
    assert saved.code == 1
    assert saved.out == (
        "9 entries written to rescued.jsonl.\nAt least 1 entry could not be read.\n"
    )
    assert kept("restore", "one.zip", "--replace").code == 0
    back = kept("journal", "import", "rescued.jsonl")
    assert back.out == "1 entry kept, 8 were in the journal already.\n"
    assert [json.loads(line) for line in exported(kept).splitlines()] == whole


def test_nothing_else_is_written_over_a_record(kept: Quail, tmp_path: Path) -> None:
    assert kept("backup", "monday.zip", "--quick").code == 0
    files = {name: (tmp_path / name).read_bytes() for name in ("flock.sqlite", "monday.zip")}
    for name in files:
        for command in (
            ("journal", "export", name),
            ("costs", "--csv", name),
            ("costs", "--sheet", name),
            ("tables", "export", name),
        ):
            answer = kept(*command)
            assert answer.code == 2, (command, answer)
            assert name in answer.err
    # One whose beginning is gone is known by what stands beside it.
    damaged = tmp_path / "flock.sqlite"
    damaged.write_bytes(bytes(4096) + damaged.read_bytes()[4096:])
    assert kept("log", "care", "task=water", "--flock", "new.sqlite").code == 0
    answer = kept("costs", "--csv", "flock.sqlite", "--flock", "new.sqlite")
    assert "flock.sqlite is a flock file or a backup" in answer.err
    assert damaged.read_bytes()[:4096] == bytes(4096)


def test_a_backup_of_another_flock_is_not_replaced(kept: Quail, tmp_path: Path) -> None:
    assert kept("backup", "monday.zip", "--quick").code == 0
    before = (tmp_path / "monday.zip").read_bytes()
    assert kept("log", "care", "task=water", "--flock", "new.sqlite").code == 0
    answer = kept("backup", "monday.zip", "--quick", "--flock", "new.sqlite")
    assert answer.code == 2
    assert "is a backup of another flock" in answer.err
    assert (tmp_path / "monday.zip").read_bytes() == before
    assert not list(tmp_path.glob(".*"))
    assert kept("backup", "monday.zip", "--quick").code == 0


def test_what_was_salvaged_is_not_written_over(kept: Quail, tmp_path: Path) -> None:
    assert kept("journal", "salvage", "rescued.jsonl").code == 0
    before = (tmp_path / "rescued.jsonl").read_bytes()
    again = kept("journal", "salvage", "rescued.jsonl")
    assert (again.code, again.out) == (2, "")
    assert (tmp_path / "rescued.jsonl").read_bytes() == before


def test_the_way_back_leads_through_a_link(kept: Quail, tmp_path: Path) -> None:
    """The log and the note stand beside the file itself, wherever a link to it is."""
    card = tmp_path / "card"
    card.mkdir()
    assert kept("backup", "good.zip", "--quick").code == 0
    (tmp_path / "flock.sqlite").rename(card / "f.sqlite")
    (tmp_path / "flock.sqlite-last").rename(card / "f.sqlite-last")
    (tmp_path / "flock.sqlite").symlink_to(card / "f.sqlite")
    assert kept("log", "care", "task=water").code == 0
    assert not (tmp_path / "flock.sqlite-last").exists()
    data = bytearray((card / "f.sqlite").read_bytes())
    data[:4096] = bytes(4096)
    (card / "f.sqlite").write_bytes(data)
    assert "The way back" in kept("flock").err
    assert kept("journal", "salvage", "rescued.jsonl").out.startswith("10 entries written")
    assert kept("restore", "good.zip", "--replace").code == 0
    assert kept("journal", "import", "rescued.jsonl", "--as-found").code == 0
    assert len(exported(kept).splitlines()) == 10
    # And from a restore on it is missed, wherever its name leads.
    (card / "f.sqlite").unlink()
    assert "is not there any more" in kept("log", "care", "task=water").err
    (card / "f.sqlite-last").unlink()
    assert "which is not there. Is its drive plugged in?" in kept("log", "care", "task=water").err
    assert not (card / "f.sqlite").exists()
