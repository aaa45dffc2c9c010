"""The command line as a whole: which flock, as of when, help that runs, pipes, read-only files."""

import io
import os
import re
import runpy
import shlex
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from socket import socket

import pytest
from tests.cli.conftest import Quail

from quailwright.web import serving

COMMANDS = [
    [], ["log"], ["today"], ["flock"], ["rules"], ["demo"], ["journal"], ["journal", "import"],
    ["journal", "export"], ["journal", "check"], ["costs"],
]  # fmt: skip
ENTRY = "0191d5a0-5f5e-7c3a-9d52-3f0c5a1b2c3d"
HENS = "0191d5a0-5f5e-7c3a-9d52-3f0c5a1b2caa"


# Which flock.


def test_flock_before_or_after_the_command_or_in_the_environment(
    quail: Quail, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name, hens in (("one", 1), ("two", 2), ("three", 3)):
        words = ("group", "group=hens", "place=pen", f"hens={hens}", "at=2027-05-01")
        assert quail("log", *words, "--flock", name).code == 0

    def hens_of(*argv: str) -> int:
        hens: int = quail(*argv, "--json", "--on", "2027-05-02").json["totals"]["hens"]
        return hens

    monkeypatch.setenv("QUAILWRIGHT_FLOCK", "three")
    assert hens_of("flock") == 3
    assert hens_of("--flock", "one", "flock") == 1
    assert hens_of("flock", "--flock", "two") == 2
    assert hens_of("--flock", "one", "flock", "--flock", "two") == 2


def test_without_a_name_the_flock_is_in_the_data_folder(
    quail: Quail, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("QUAILWRIGHT_FLOCK")
    assert quail("log", "care", "task=x").code == 0
    assert list(tmp_path.rglob("flock.sqlite"))


def test_the_demo_leaves_the_keepers_flock_alone(kept: Quail, tmp_path: Path) -> None:
    before = kept("journal", "export").out
    answer = kept("demo", "--no-serve", "--on", "2027-05-02")
    assert answer.code == 0
    assert "invented" in answer.out.lower()
    assert kept("journal", "export").out == before
    over = kept("demo", "--no-serve", "--flock", str(tmp_path / "flock.sqlite"))
    assert over.code == 3
    assert "left as it is" in over.err
    assert kept("journal", "export").out == before


def test_the_demo_says_where_to_look_further_and_that_works(quail: Quail) -> None:
    out = quail("demo", "--no-serve", "--on", "2027-05-02").out
    told = [line.strip() for line in out.splitlines() if line.startswith("  ./start ")]
    assert told
    for line in told:
        assert quail(*shlex.split(line)[1:]).code == 0


# As of when.


def test_on_a_day_is_the_whole_day_and_on_an_instant_up_to_then(kept: Quail) -> None:
    for clock, eggs in (("08:00", 3), ("18:00", 5)):
        kept("log", "eggs_collected", "group=hens", f"eggs={eggs}", f"at=2027-05-06T{clock}")

    def on_hand(on: str) -> int:
        eggs: int = kept("flock", "--on", on, "--json").json["eggs"]["on_hand"]
        return eggs

    assert on_hand("2027-05-05") == 8
    assert on_hand("2027-05-06T07:59") == 8
    assert on_hand("2027-05-06T08:00") == 11
    assert on_hand("2027-05-06T09:00+02:00") == 11
    assert on_hand("2027-05-06 17:00Z") == 16
    assert on_hand("2027-05-06") == 16


def test_on_takes_words_and_a_clock_time(kept: Quail) -> None:
    words = ("yesterday", "today", "tomorrow")
    days = [kept("today", "--on", word, "--json").json["on"] for word in words]
    assert days == sorted(days)
    assert len(set(days)) == 3
    assert kept("today", "--on", "12:00", "--json").json["on"] >= days[1]
    assert kept("today", "--json").json["on"] >= days[1]


def test_before_the_first_entry_it_says_how_to_begin(kept: Quail) -> None:
    for command in ("today", "flock"):
        answer = kept(command, "--on", "2020-01-01")
        assert answer.code == 0
        assert "quailwright log holding" in answer.out


# Help.


@pytest.mark.parametrize("command", COMMANDS, ids=" ".join)
def test_help_teaches_by_example(quail: Quail, command: list[str]) -> None:
    answer = quail(*command, "--help")
    assert answer.code == 0
    assert "Example" in answer.out
    assert "quailwright " in answer.out
    assert max(map(len, answer.out.splitlines())) <= 100
    assert "..." not in answer.out.replace("...]", "").replace("ARGS]...", "").replace(
        "field=value ...", ""
    )


def examples(help_text: str) -> Iterator[str]:
    """The command lines that the help shows."""
    for line in help_text.splitlines():
        found = re.search(r"(?:^ {4}|Example: |Tick a task: )(quailwright .*)", line)
        if found:
            yield re.split(r" {3,}", found[1])[0]


@pytest.mark.parametrize("command", COMMANDS, ids=" ".join)
def test_every_example_in_the_help_runs(
    quail: Quail, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, command: list[str]
) -> None:
    def say_where_and_end(_: object, listener: socket, ready: Callable[[], None]) -> None:
        listener.close()
        ready()

    monkeypatch.setattr(serving, "run", say_where_and_end)  # what serves does not end by itself
    (tmp_path / "year.jsonl").write_text(
        f'{{"kind":"group","id":"{HENS}","at":"2020-01-01","group":"hens","place":"pen-a",'
        '"hens":40}\n'
        f'{{"kind":"care","id":"{ENTRY}","at":"2020-01-01","task":"wash","place":"pen-b"}}\n'
    )
    shown = list(examples(quail(*command, "--help").out))
    assert shown
    for line in shown:
        assert quail("journal", "import", "year.jsonl").code == 0
        words, _, source = line.partition(" < ")
        stdin = (tmp_path / source).read_bytes() if source else b""
        answer = quail(*shlex.split(words)[1:], stdin=stdin)
        assert answer.code == 0, (line, answer.err)


def test_version(quail: Quail) -> None:
    assert re.fullmatch(r"quailwright \d+\.\d+\.\d+\n", quail("--version").out)


# What stands on the terminal.


@pytest.mark.parametrize(
    "argv",
    [["today"], ["today", "--why"], ["flock"], ["rules"], ["rules", "wash"], ["journal", "check"]],
)
def test_text_in_a_pipe_is_plain(quail: Quail, argv: list[str]) -> None:
    quail("demo", "--no-serve", "--on", "2027-05-02", "--flock", "demo.sqlite")
    when = () if argv[0] in ("rules", "journal") else ("--on", "2027-05-02")
    out = quail(*argv, *when, "--flock", "demo.sqlite").out
    assert "\x1b" not in out
    assert set(re.findall(r"[^\x20-\x7e]", out)) <= set("\n°²é")
    assert not re.search(r" $", out, re.MULTILINE)
    assert max(map(len, out.splitlines())) <= 320


def test_numbers_of_one_are_said_in_the_singular(kept: Quail) -> None:
    kept("log", "group", "group=pet", "place=hutch", "hens=1", "at=2027-05-01")
    kept("log", "care", "task=mesh_check", "place=hutch", "at=2027-05-01")
    kept("log", "birds_out", "group=hens", "use=lost", "hens=10", "cocks=1", "at=2027-05-02")
    said = kept("flock", "--on", "2027-05-03").out
    assert "2 birds: 1 hen, 1 cock, 0 chicks not sexed." in said
    assert "1 day overdue" in kept("today", "--on", "2027-05-09").out


def test_the_round_says_what_may_not_be_used_or_moved(kept: Quail) -> None:
    said = kept("today", "--on", "2027-05-09").out
    assert "NOT TO BE USED: eggs of hens, up to and on Sun 9 May (treated with powder)." in said
    assert "NOT TO BE MOVED: birds of pen, up to and on Mon 31 May (in quarantine)." in said
    assert "NOT TO BE USED" not in kept("today", "--on", "2027-05-10").out


def test_rules_are_in_the_keepers_units_and_show_their_changes(kept: Quail) -> None:
    assert "37.5 °C" in kept("rules", "machine_check").out
    kept("log", "holding", "units=us", "at=2027-01-02")
    kept("log", "care_rule", "rule=wash", "every_days=45", "at=2027-01-02")
    kept("log", "care_rule", "rule=collect_eggs", "silenced=true", "at=2027-01-02")
    kept("log", "care_rule", "rule=trays", "place=pen", "every_days=2", "at=2027-01-02")
    assert "99.5 °F" in kept("rules", "machine_check").out
    assert "°C" not in kept("rules", "machine_check").out
    # 12 to 16 °C is 53.6 to 60.8 °F (exact); a step of 2.8 °C is 5 °F.
    assert "at 53.6 to 60.8 °F and about 70 % RH" in kept("rules", "set_eggs").out
    assert "heat_drop_per_week: 5 °F/week" in kept("rules", "heat_step").out
    assert "°C" not in kept("today", "--why", "--on", "2027-05-03").out
    wash = kept("rules", "wash").out
    assert "wash (pen), yours" in wash
    assert "When: every 45 days" in wash
    assert "Printed when: every 61 days" in wash
    table = kept("rules").out
    assert re.search(r"collect_eggs .* silenced by you$", table, re.MULTILINE)
    assert re.search(r"trays .* yours at pen$", table, re.MULTILINE)


# In a process of its own.


def process(*argv: str, flock: Path, **more: str) -> "subprocess.Popen[bytes]":
    env = os.environ | {"QUAILWRIGHT_FLOCK": str(flock), "PYTHONWARNINGS": "error"} | more
    return subprocess.Popen(
        [sys.executable, "-m", "quailwright", *argv],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env=env,
    )


@pytest.fixture
def demo(quail: Quail, tmp_path: Path) -> Path:
    path = tmp_path / "demo.sqlite"
    assert quail("demo", "--no-serve", "--on", "2027-05-02", "--flock", str(path)).code == 0
    return path


@pytest.mark.parametrize("argv", [["journal", "export"], ["flock", "--on", "2027-05-02"]])
def test_a_reader_that_goes_away_is_no_fault(demo: Path, argv: list[str]) -> None:
    command = process(*argv, flock=demo)
    assert command.stdout is not None
    assert command.stderr is not None
    command.stdout.close()
    said = command.stderr.read()
    command.stderr.close()
    assert (command.wait(timeout=60), said) == (0, b"")


def test_an_error_in_a_process_of_its_own(demo: Path, tmp_path: Path) -> None:
    out, said = (command := process("today", flock=tmp_path / "no.sqlite")).communicate(timeout=60)
    assert (command.returncode, out) == (3, b"")
    assert said.startswith(b"quailwright: There is no flock file at")
    out, said = (command := process("today", "--on", "never", flock=demo)).communicate(timeout=60)
    assert (command.returncode, out) == (2, b"")
    assert said.count(b"\n") == 1


def test_output_survives_a_terminal_that_knows_only_ascii(demo: Path) -> None:
    command = process("rules", flock=demo, PYTHONIOENCODING="ascii", PYTHONUTF8="0")
    out, said = command.communicate(timeout=60)
    assert (command.returncode, said) == (0, b"")
    assert b"37.5" in out


@contextmanager
def as_a_stranger() -> Iterator[None]:
    """With no right to write what belongs to root, where the tests run as root."""
    if os.geteuid() != 0:
        yield
        return
    os.seteuid(65534)
    try:
        yield
    finally:
        os.seteuid(0)


def test_a_file_that_may_only_be_read_is_not_written(demo: Path, quail: Quail) -> None:
    quail("log", "care", "task=x", "--flock", str(demo))
    before = demo.read_bytes()
    folders = [f for f in demo.parents if f.stat().st_mode & 0o055 != 0o055 or f == demo.parent]
    modes = [folder.stat().st_mode & 0o777 for folder in folders]
    demo.chmod(0o444)
    for folder, mode in zip(folders, modes, strict=True):
        folder.chmod((mode | 0o055) & ~0o022)
    demo.parent.chmod(0o555)
    try:
        with as_a_stranger():
            refused = quail("log", "care", "task=x", "--flock", str(demo))
            stands = quail("flock", "--flock", str(demo), "--json")
    finally:
        for folder, mode in zip(folders, modes, strict=True):
            folder.chmod(mode)
    assert (refused.code, refused.out) == (3, "")
    assert "may not be written by you" in refused.err
    assert stands.code == 0
    assert demo.read_bytes() == before


def test_help_is_said_in_the_terminals_language(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever is translated of it: here a catalogue of one text."""
    import gettext

    from quailwright import language
    from quailwright.cli import main

    class OneText(gettext.NullTranslations):
        def gettext(self, message: str) -> str:
            return "Sirva as páginas." if message == "Serve the pages, until Ctrl+C." else message

    monkeypatch.setattr(language, "_spoken_as", lambda _: language.Spoken("pt", OneText()))
    monkeypatch.setenv("LANGUAGE", "pt_BR")
    monkeypatch.setattr(sys, "argv", ["quailwright", "serve", "--help"])
    shown = io.StringIO()
    monkeypatch.setattr(sys, "stdout", shown)
    with pytest.raises(SystemExit):
        main.run()
    assert "Sirva as páginas." in shown.getvalue()
    assert "Serve the pages, until Ctrl+C." in main.help_texts()


class _StopsAt:
    """Ctrl+C in the very moment in which a module is looked for."""

    def __init__(self, name: str) -> None:
        self._name = name

    def find_spec(self, name: str, *_: object) -> None:
        """Finds nothing."""
        if name == self._name:
            raise KeyboardInterrupt


def test_ctrl_c_while_the_program_is_still_being_read_is_no_traceback(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.delitem(sys.modules, "quailwright.cli.main", raising=False)
    monkeypatch.setattr(sys, "meta_path", [_StopsAt("quailwright.cli.main"), *sys.meta_path])
    with pytest.raises(SystemExit) as leaving:
        runpy.run_module("quailwright", run_name="__main__")
    assert leaving.value.code == 130
