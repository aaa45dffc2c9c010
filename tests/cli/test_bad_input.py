"""Wrong input: a sentence on standard error, exit code 2, and the journal as it was."""

from pathlib import Path

import pytest
from tests.cli.conftest import Quail

ID = "0191d5a0-5f5e-7c3a-9d52-3f0c5a1b2c3d"


def line(kind: str, rest: str, at: str = "2027-05-20", entry_id: str = ID) -> bytes:
    return f'{{"kind":"{kind}","id":"{entry_id}","at":"{at}",{rest}}}\n'.encode()


GOOD = line("money", '"amount":-5,"category":"straw"', entry_id=ID.replace("c3d", "aaa"))

TYPED = [
    ("wrong kind", "eggs_colected group=hens eggs=4", "Did you mean eggs_collected?"),
    ("no such kind", "zzz a=1", "Kinds are holding, place"),
    (
        "missing field",
        "eggs_collected group=hens",
        "eggs: eggs_collected needs it, and it is missing",
    ),
    ("negative count", "eggs_collected group=hens eggs=-4", 'eggs: "-4" will not do. Give a whole'),
    ("part of an egg", "eggs_collected group=hens eggs=4.5", '"4.5" will not do'),
    ("no number", "eggs_collected group=hens eggs=some", '"some" will not do'),
    ("30 of 24", "chicks_hatched hatch=may chicks=30", "30 hatched, but may has 24 eggs left"),
    ("no such group", "birds_died group=nobody hens=1", "there is no group 'nobody' at that time"),
    ("misspelt group", "birds_died group=hen hens=1", "Did you mean 'hens'?"),
    ("no such field", "care task=x plase=pen", "no field of this name. Did you mean place?"),
    ("year", "care task=x at=20260-05-02", "20260"),
    ("no such day", "care task=x at=2027-02-30", "not in the calendar"),
    ("day first", "care task=x at=2/5/2027", "Write 2027-05-02"),
    ("no field", "care feed_water", "'feed_water' is not field=value"),
    ("twice", "care task=a task=b", "task is given twice"),
    ("blank", "care task=", '"" will not do'),
    ("unknown zone", "holding timezone=Lisbon", "Use a name such as Europe/Lisbon"),
    ("unknown units", "holding units=imperial", "Give metric or us"),
    ("whose eggs", "eggs_set hatch=b eggs=4 place=incubator", "Give source or group"),
    ("nothing counted", "birds_counted group=hens", "nothing is counted"),
    ("rule", "care_rule rule=wsh every_days=4", "Did you mean wash?"),
    ("bad id", "care task=x id=7", "is not a UUID"),
    ("nothing to take back", f"retract entry={ID} why=slip", "which the journal does not hold"),
]


@pytest.mark.parametrize(("words", "says"), [case[1:] for case in TYPED], ids=[c[0] for c in TYPED])
def test_what_is_typed_wrong(kept: Quail, words: str, says: str) -> None:
    before = kept("journal", "export").out
    answer = kept("log", *words.split(), *(() if "at=" in words else ("at=2027-05-20",)))
    assert answer.code == 2
    assert answer.out == ""
    assert says in answer.err
    assert "Traceback" not in answer.err
    assert kept("journal", "export").out == before


NO_HENS = line("eggs_collected", '"group":"hens"')
NEGATIVE = line("eggs_collected", '"group":"hens","eggs":-4')
TOO_MANY = line("chicks_hatched", '"hatch":"may","chicks":30')
ORPHAN = line("birds_died", '"group":"nobody","hens":1')
LATIN_1 = line("care", '"task":"UMLAUT"').replace(b"UMLAUT", "kühl".encode("latin-1"))
FILES = {
    "wrong kind": (GOOD + line("egs", '"eggs":4'), "Line 2, kind: there is no kind"),
    "missing field": (GOOD + NO_HENS, "Line 2, eggs: eggs_collected needs it"),
    "negative count": (GOOD + NEGATIVE, "Line 2, eggs: -4 will not do"),
    "30 hatched of 24 set": (GOOD + TOO_MANY, "Line 2, chicks: 30 hatched, but may has 24 eggs"),
    "a group that does not exist": (GOOD + ORPHAN, "Line 2, group: there is no group 'nobody'"),
    "truncated last line": (GOOD + NEGATIVE[:40], "Line 2: the entry stops in the middle"),
    "binary": (b"SQLite format 3\x00\x10\x00\x01\x01", "not text"),
    "UTF-16": (GOOD.decode().encode("utf-16"), "UTF-16"),
    "Latin-1": (GOOD + LATIN_1, "not UTF-8"),
    "year 20260": (GOOD + line("care", '"task":"x"', at="20260-05-02"), "Line 2, at:"),
}


@pytest.mark.parametrize("name", FILES)
@pytest.mark.parametrize("way", ["file", "standard input"])
def test_a_file_with_something_wrong(kept: Quail, tmp_path: Path, name: str, way: str) -> None:
    data, says = FILES[name]
    before = kept("journal", "export").out
    if way == "file":
        (tmp_path / "year.jsonl").write_bytes(data)
        answer = kept("journal", "import", "year.jsonl")
    else:
        answer = kept("journal", "import", "-", stdin=data)
    assert answer.code == 2
    assert answer.out == ""
    assert says in answer.err
    assert "nothing was" in answer.err
    assert "Traceback" not in answer.err
    assert kept("journal", "export").out == before


def test_two_hundred_megabytes(kept: Quail, tmp_path: Path) -> None:
    before = kept("journal", "export").out
    with (tmp_path / "big.jsonl").open("wb") as stream:
        stream.write(GOOD)
        stream.truncate(200_000_000)
    answer = kept("journal", "import", "big.jsonl")
    assert answer.code == 2
    assert "big.jsonl is too large: an import takes at most 67 MB" in answer.err
    assert kept("journal", "export").out == before


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ("\udce2", "kind: there is no kind"),
        ("eggs_out use=eaten eggs=2\udcb0", "eggs: "),
        ("care task=\udcff", "task: "),
        ("care \udcff=x task=y", "no field of this name"),
        ("care task=x at=\udcff", "at: "),
    ],
)
def test_bytes_that_are_not_utf_8_are_a_sentence(kept: Quail, words: str, says: str) -> None:
    """As Python hands on what a terminal of another encoding sends (PEP 383)."""
    answer = kept("log", *words.split())
    assert (answer.code, answer.out) == (2, "")
    assert says in answer.err


def test_what_is_quoted_does_not_drive_the_terminal(kept: Quail) -> None:
    answer = kept("journal", "import", "\x1b[2J\u202e.jsonl")
    assert answer.code == 2
    assert "There is no file \\u001b[2J\\u202e.jsonl." in answer.err


def test_no_file_and_a_folder(kept: Quail, tmp_path: Path) -> None:
    (tmp_path / "folder").mkdir()
    for name, says in (("nowhere.jsonl", "There is no file"), ("folder", "is a folder")):
        answer = kept("journal", "import", name)
        assert (answer.code, answer.out) == (2, "")
        assert says in answer.err


@pytest.mark.parametrize(
    "when", ["20260-05-02", "tomorrow week", "2027-13-01", "2027-05-02T25:00", "1066-10-14"]
)
@pytest.mark.parametrize("command", ["today", "flock"])
def test_a_day_that_is_none(kept: Quail, command: str, when: str) -> None:
    answer = kept(command, "--on", when)
    assert (answer.code, answer.out) == (2, "")
    assert answer.err.startswith("quailwright: --on: ")


@pytest.mark.parametrize(
    "argv",
    [["tday"], ["log"], ["journal"], ["journal", "import"], ["today", "--no"], [], ["rules", "x"]],
)
def test_a_command_that_is_none_or_not_whole(kept: Quail, argv: list[str]) -> None:
    assert kept(*argv).code == 2


# The firm no, and a flock file that cannot be used.


@pytest.mark.parametrize(
    "words",
    ["eggs_out use=eaten eggs=20", "birds_out group=hens use=sold hens=1"],
)
def test_withheld_and_quarantined_is_exit_code_1(kept: Quail, words: str) -> None:
    kept("log", "eggs_collected", "group=hens", "eggs=12", "at=2027-05-04")
    before = kept("journal", "export").out
    answer = kept("log", *words.split(), "at=2027-05-05")
    assert (answer.code, answer.out) == (1, "")
    assert "2027-05" in answer.err
    assert kept("journal", "export").out == before


@pytest.mark.parametrize(
    "argv", [["today"], ["flock"], ["journal", "export"], ["journal", "check"]]
)
def test_no_flock_file_is_exit_code_3_and_makes_none(
    quail: Quail, tmp_path: Path, argv: list[str]
) -> None:
    answer = quail(*argv)
    assert (answer.code, answer.out) == (3, "")
    assert "There is no flock file at" in answer.err
    assert "`quailwright log`" in answer.err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("place", "says"),
    [
        ("letter.txt", "is not a flock file"),
        ("folder", "is a folder"),
        ("mysql://nowhere/flock", "is not a flock file"),
        ("letter.txt/flock.sqlite", "letter.txt"),
    ],
)
def test_what_is_no_flock_file_is_exit_code_3(
    quail: Quail, tmp_path: Path, place: str, says: str
) -> None:
    (tmp_path / "letter.txt").write_text("Dear aunt,\n" * 100)
    (tmp_path / "folder").mkdir()
    for argv in (["today"], ["log", "care", "task=x"]):
        answer = quail(*argv, "--flock", place)
        assert (answer.code, answer.out) == (3, "")
        assert says in answer.err
    assert (tmp_path / "letter.txt").read_text() == "Dear aunt,\n" * 100
