"""`flocks` and `move` as they are typed."""

import shlex

from tests.cli.conftest import Quail


def test_flocks_are_added_told_and_moved(kept: Quail, postgresql: str) -> None:
    assert kept("flocks", "list", postgresql).out == "0 flocks.\n"
    begun = kept("flocks", "add", postgresql, "creek")
    creek = f"{postgresql}&flock=creek"
    assert (begun.code, begun.out) == (0, f"creek is begun. It is --flock '{creek}'\n")
    assert shlex.split(begun.out)[-1] == creek
    again = kept("flocks", "add", postgresql, "creek")
    assert (again.code, again.out) == (0, f"creek is there already. It is --flock '{creek}'\n")
    bad = kept("flocks", "add", postgresql, "Creek 2")
    assert bad.code == 2
    assert bad.err.startswith("quailwright: 'Creek 2' cannot be the name of a flock: it is 1 to 40")
    moved = kept("move", "flock.sqlite", creek)
    assert (moved.code, moved.err) == (0, "")
    assert moved.out == (
        f"9 entries are in {creek}, equal to what was moved.\n"
        "flock.sqlite is left as it was, to be read; what is new is written in the other from now "
        "on.\n"
    )
    kept("flocks", "add", postgresql, "hill")
    told = kept("flocks", "list", postgresql).out.splitlines()
    assert told[0] == "2 flocks."
    assert told[1].split() == ["flock", "entries", "last", "entry", "(UTC)", "size"]
    assert told[2].split()[:2] == ["creek", "9"]
    assert told[3].split()[:2] == ["hill", "0"]
    creek_told, hill = kept("flocks", "list", postgresql, "--json").json
    assert (creek_told["flock"], creek_told["entries"]) == ("creek", 9)
    assert hill["last_entry_at"] is None
    assert not hill["moved"]
    upgraded = kept("flocks", "upgrade", postgresql)
    assert upgraded.out == "Every flock is at this quailwright's schema already.\n"
    log = ("log", "care", "at=2027-05-01", "task=water")
    closed = kept(*log, "--flock", "flock.sqlite")
    assert closed.code == 3
    assert "has moved to" in closed.err
    assert kept(*log, "--flock", creek).code == 0
    missing = kept("flock", "--flock", f"{postgresql}&flock=nobody")
    assert (missing.code, missing.err.count("There is no flock nobody in")) == (3, 1)
    dropped = kept("flocks", "drop", postgresql, "creek")
    assert dropped.code == 2
    assert "creek has not moved elsewhere" in dropped.err
    assert kept("move", creek, "back.sqlite").code == 0
    dropped = kept("flocks", "drop", postgresql, "creek")
    assert (dropped.code, dropped.out) == (0, "creek is dropped.\n")
    assert [one["flock"] for one in kept("flocks", "list", postgresql, "--json").json] == ["hill"]
