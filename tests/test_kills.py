"""A few kills of each sort and a pulled plug; scripts/kill_faults and power_faults do thousands."""

import os
import shutil
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path
from random import Random

import pytest
from scripts import kill_faults, power_faults

from quailwright.journal import damage, drafts
from quailwright.journal.findings import FlockUnusable
from quailwright.journal.store import open_store

NOW = datetime(2027, 5, 2, 20, 0, tzinfo=UTC)


def left_by_the_dead(name: str) -> str:
    """The name of a draft whose process has ended."""
    with subprocess.Popen([sys.executable, "-c", ""]) as dead:
        dead.wait()
    return f".{name}.{dead.pid}-x"


def test_kills_lose_nothing(tmp_path: Path) -> None:
    """In a process of its own: a child forked from one with threads may never run."""
    root = Path(kill_faults.__file__).parents[1]
    ran = subprocess.run(
        [sys.executable, "-P", root / "scripts" / "kill_faults.py", "writes", "backups", "restores",
         "server", "--kills", "0", "--seed", "1", "--folder", tmp_path / "kills"],
        env={**os.environ, "PYTHONPATH": f"{root}{os.pathsep}{root / 'src'}"},
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert ran.returncode == 0, ran.stdout + ran.stderr
    assert ran.stdout.count("no failure") == 4


@pytest.mark.skipif(shutil.which("strace") is None, reason="strace is not installed here")
def test_a_pulled_plug_loses_nothing(tmp_path: Path) -> None:
    rng = Random(1)
    [(root, scenario)] = power_faults.Tried(tmp_path, rng, "log into a new folder").all()
    recorded = power_faults.record(root, scenario.words)
    counts = power_faults.pulled(recorded, scenario, 20, rng, tmp_path / "state")
    assert counts.total() == 20


def test_what_was_not_synced_is_lost_in_the_states_that_are_tried(tmp_path: Path) -> None:
    """A program that renames a file it has not synced is found out."""
    recorded = power_faults.Recorded(tmp_path)
    recorded.files.append(b"")
    recorded.events += [
        power_faults.Event("names", names=(("draft", 0),), folder="."),
        power_faults.Event("write", 0, 0, b"x" * 9000),
        power_faults.Event("names", names=(("draft", None), ("whole", 0)), folder="."),
        power_faults.Event("sync_folder", folder="."),
        power_faults.Event("answer", data=b"done"),
    ]

    def check(root: Path, acknowledged: int) -> None:
        if acknowledged and (root / "whole").read_bytes() != b"x" * 9000:
            raise kill_faults.Failure("not whole")

    scenario = power_faults.Scenario("careless", [], "done", check)
    with pytest.raises(kill_faults.Failure, match="not whole"):
        power_faults.pulled(recorded, scenario, 50, Random(1), tmp_path / "state")
    recorded.events.insert(2, power_faults.Event("sync", 0))
    counts = power_faults.pulled(recorded, scenario, 50, Random(1), tmp_path / "state")
    assert counts["acknowledged"] >= 1


def test_a_flock_file_whose_making_was_killed_leaves_nothing(tmp_path: Path) -> None:
    path = tmp_path / "home.sqlite"
    dead = left_by_the_dead(path.name)
    mine = tmp_path / f"{drafts.begins(path.name)}x.new"
    for name in (f"{dead}.new", f"{dead}.new-wal", f"{dead}.new-shm", mine.name):
        (tmp_path / name).write_text("half")
    open_store(str(path), create=True).close()
    assert sorted(one.name for one in tmp_path.glob(".*")) == [mine.name]


def test_a_log_without_its_flock_file_is_not_read_into_a_new_one(tmp_path: Path) -> None:
    path = tmp_path / "home.sqlite"
    with open_store(str(path), create=True) as store:
        with store.writing() as writer:
            writer.append(kill_faults.cares(0, 3, Random(1)), NOW)
        log = path.with_name("home.sqlite-wal").read_bytes()
    path.unlink()
    path.with_name(f"home.sqlite{damage.NOTE}").unlink()
    path.with_name("home.sqlite-wal").write_bytes(log)
    with pytest.raises(FlockUnusable, match="without its flock file"):
        open_store(str(path), create=True)
    assert [one.name for one in tmp_path.iterdir()] == ["home.sqlite-wal"]


def test_folders_apart_of_the_dead_are_taken_away(tmp_path: Path) -> None:
    dead = tmp_path / left_by_the_dead("quailwright")
    dead.mkdir()
    (dead / "restored.sqlite").write_text("secret")
    with drafts.folder_apart(tmp_path) as apart, drafts.folder_apart(tmp_path):
        assert apart.is_dir()
        assert not dead.exists()
    assert list(tmp_path.iterdir()) == []


def test_a_file_written_whole_takes_the_draft_of_the_dead_away(tmp_path: Path) -> None:
    path = tmp_path / "out.jsonl"
    (tmp_path / left_by_the_dead(path.name)).write_text("half")
    drafts.write_whole(path, [b"a\n", b"b\n"])
    assert [one.name for one in tmp_path.iterdir()] == ["out.jsonl"]
    assert path.read_bytes() == b"a\nb\n"
