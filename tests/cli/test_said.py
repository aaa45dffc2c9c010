"""What a command prints comes out in the language of the terminal.

The other language is invented here, for a few sentences. Its decimal comma is that of Unicode
CLDR for Portuguese.
"""

import json
from pathlib import Path

import pytest
from tests.cli.conftest import Quail
from tests.languages import invented

from quailwright.cli import main
from quailwright.language import of_terminal


@pytest.fixture
def elsewhere(quail: Quail, monkeypatch: pytest.MonkeyPatch) -> Quail:
    """A terminal of people who speak the invented language."""
    spoken = invented(
        {
            "{n} entry kept": "{n} registro guardado",
            "{n} entries kept": "{n} registros guardados",
            "{n} were in the journal already": "{n} já estavam no diário",
            "{given!r} is not field=value. Write, say, eggs=12.": "{given!r}: escreva ovos=12.",
            "Eggs gathered from a group. The day of `at` is their lay date.": "Ovos.",
            "eggs gathered, cracked ones too": "ovos recolhidos, os trincados também",
            "field, needed, takes, what it says": "campo, preciso, aceita, o que diz",
            "From {first} to {last}.": "De {first} a {last}.",
            "mean {mean}, {lowest} to {highest}": "média {mean}, de {lowest} a {highest}",
            "Line {line}, {field}: {said}": "Linha {line}, {field}: {said}",
            "there is no kind {kind}.": "não há o tipo {kind}.",
            "Did you mean {name}?": "Seria {name}?",
        }
    )
    monkeypatch.setattr(main, "of_terminal", lambda: spoken)
    return quail


def test_a_kind_is_taught_in_the_language_of_the_terminal(elsewhere: Quail) -> None:
    taught = elsewhere("log", "eggs_collected").out.splitlines()
    assert taught[0] == "eggs_collected: Ovos."
    assert taught[1].split()[0] == "campo"
    assert any(line.endswith("ovos recolhidos, os trincados também") for line in taught)


def test_a_mistyped_field_is_refused_in_the_language_of_the_terminal(elsewhere: Quail) -> None:
    refused = elsewhere("log", "care", "feed")
    assert (refused.code, refused.err) == (2, "quailwright: 'feed': escreva ovos=12.\n")


def test_an_import_is_told_in_the_language_of_the_terminal(elsewhere: Quail) -> None:
    line = {"id": "0191d5a0-5f5e-7c3a-9d52-3f0c5a1b2c3d", "at": "2027-05-02"}
    good = json.dumps({**line, "kind": "holding", "name": "Casa"}).encode()
    told = elsewhere("journal", "import", "-", stdin=good)
    assert told.out == "1 registro guardado, 0 já estavam no diário.\n"
    bad = json.dumps({**line, "kind": "holdin"}).encode()
    refused = elsewhere("journal", "import", "-", stdin=bad).err
    assert 'Linha 1, kind: não há o tipo "holdin". Seria holding?' in refused
    (kept,) = elsewhere("journal", "export").out.splitlines()
    assert json.loads(kept)["name"] == "Casa"


def test_readings_have_the_decimal_sign_of_the_terminal(elsewhere: Quail, tmp_path: Path) -> None:
    file = tmp_path / "logger.csv"
    file.write_text("time,temperature_c\n2026-05-02T20:00Z,37.5\n2026-05-02T20:30Z,37.8\n")
    words = ("--place", "machine", "--new-place")
    told = elsewhere("readings", "import", str(file), *words).out
    assert "De 2026-05-02 20:00 a 2026-05-02 20:30." in told
    shown = elsewhere("readings", "show", "--place", "machine").out
    assert "média " in shown
    assert " 0,5 " in shown


def test_the_terminal_asks_for_a_language_by_the_rules_of_gettext() -> None:
    """GNU gettext manual, "Locale Environment Variables" and "The LANGUAGE variable"."""
    assert of_terminal({"LANG": "pt_BR.UTF-8"}) == "pt"
    assert of_terminal({"LANG": "pt_BR.UTF-8", "LC_ALL": "C"}) == "en"
    assert of_terminal({"LANG": "C.UTF-8", "LANGUAGE": "xx:pt"}) == "pt"
    assert of_terminal({}) == "en"
