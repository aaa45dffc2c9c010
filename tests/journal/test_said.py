"""What the journal has to say comes out in the language of whoever reads it.

The other language is invented here, for a few sentences: what is held is which texts pass through
the catalogue, and when. Its decimal comma is that of Unicode CLDR for Portuguese.
"""

import json
from pathlib import Path

import msgspec
import pytest
from tests.languages import invented
from tests.makers import DAY, made, uid

from quailwright.exchange.readings_csv import import_csv
from quailwright.exchange.readings_layout import Told
from quailwright.exchange.shapes import findings_shape
from quailwright.flock.state import Flock
from quailwright.journal.checks import describe, field_notes
from quailwright.journal.entries import KINDS, described
from quailwright.journal.findings import BadInput, Finding, FlockUnusable
from quailwright.journal.jsonl import parse_lines
from quailwright.journal.moments import NotAMoment, parse_moment
from quailwright.journal.readings import temperature_problem
from quailwright.journal.store import open_store
from quailwright.language import (
    ENGLISH,
    LANGUAGES,
    later,
    later_many,
    said_plainly,
    say,
    speaking,
)


def test_a_refusal_is_said_in_the_language_of_who_is_refused() -> None:
    with (
        speaking(invented({"{given} is not a date or a date-time. Write 2027-05-02, or "
                      "2027-05-02T20:00+01:00 with the offset from UTC.": "{given}: que dia?"})),
        pytest.raises(NotAMoment, match=r"^'soon': que dia\?$"),
    ):  # fmt: skip
        parse_moment("soon")


def test_a_flock_that_is_not_there_is_told_in_the_other_language(tmp_path: Path) -> None:
    text = (
        "There is no flock file at {path}. `quailwright log` or `quailwright journal import` "
        "begins one; `quailwright demo` shows an invented one."
    )
    with speaking(invented({text: "Nada em {path}."})), pytest.raises(FlockUnusable) as refused:
        open_store(str(tmp_path / "none.sqlite"))
    assert refused.value.sentence == f"Nada em {tmp_path / 'none.sqlite'}."


def test_a_bad_line_names_line_and_field_in_the_other_language() -> None:
    texts = {
        "{given} will not do.": "{given} não serve.",
        "Give {wanted}.": "Dê {wanted}.",
        "a whole number, {low} to {high}": "um número inteiro, de {low} a {high}",
        "Line {line}, {field}: {said}": "Linha {line}, {field}: {said}",
    }
    bad = {"id": uid(1), "kind": "eggs_collected", "at": DAY, "group": "hens", "eggs": "many"}
    with speaking(invented(texts)):
        _, findings = parse_lines(json.dumps(bad).encode())
        assert [each.sentence for each in findings] == [
            'Linha 1, eggs: "many" não serve. Dê um número inteiro, de 0 a 1000000.'
        ]


def test_a_finding_kept_in_one_flock_is_read_in_two_languages() -> None:
    text = "{mean:.1f} g an egg of {group} cannot be."
    flock = Flock()
    flock.findings.append(
        Finding("impossible", later(text, mean=41.5, group="hens"), later("Weigh again."))
    )
    other = invented(
        {text: "{group}: {mean:.1f} g por ovo não pode ser.", "Weigh again.": "Repese."}
    )
    (kept,) = flock.findings
    assert kept.sentence == "41.5 g an egg of hens cannot be. Weigh again."
    with speaking(other):
        assert kept.sentence == "hens: 41,5 g por ovo não pode ser. Repese."
    assert kept.sentence == "41.5 g an egg of hens cannot be. Weigh again."


def test_a_kept_sentence_inside_another_is_said_with_it() -> None:
    texts = {
        "the {kind} of {day} ({about})": "o registro {kind} de {day} ({about})",
        "It contradicts {other}.": "Contradiz {other}.",
        "{n} egg": "{n} ovo",
        "{n} eggs": "{n} ovos",
    }
    logged = made("eggs_set", hatch="may-1", eggs=24, place="a", source="b")
    about, eggs = described(logged), later_many("{n} egg", "{n} eggs", 2.0)
    assert about == "the eggs_set of 2027-05-02 (may-1)"
    with speaking(invented(texts)):
        said = "Contradiz o registro eggs_set de 2027-05-02 (may-1)."
        assert say(later("It contradicts {other}.", other=about)) == said
        assert say("It contradicts {other}.", other=about) == said
        assert say(eggs) == "2,0 ovos"


def test_findings_are_written_as_json_in_the_language_of_who_asks() -> None:
    kept = Finding("orphan", later("there is no group {group!r}.", group="hens"))
    with speaking(invented({"there is no group {group!r}.": "não há o lote {group!r}."})):
        (shape,) = findings_shape([kept])
        assert (shape["what"], shape["sentence"]) == ("não há o lote 'hens'.",) * 2
        assert msgspec.json.encode(kept.what, enc_hook=said_plainly).decode() == (
            "\"não há o lote 'hens'.\""
        )
    assert findings_shape([kept])[0]["what"] == "there is no group 'hens'."


def test_field_notes_are_kept_in_english_and_said_when_shown() -> None:
    texts = {
        "eggs gathered, cracked ones too": "ovos recolhidos, os trincados também",
        "a number, {low:g} to {high:g}": "um número, de {low:g} a {high:g}",
        "{names} or {last}": "{names} ou {last}",
        "a list; each is {wanted}": "uma lista; cada um é {wanted}",
        "text of {shortest} to {longest} characters, with no space at its ends": "texto",
    }
    with speaking(invented(texts)):
        eggs = next(note for note in field_notes("eggs_collected") if note.name == "eggs")
        assert (eggs.meaning, say(eggs.meaning)) == (
            "eggs gathered, cracked ones too",
            "ovos recolhidos, os trincados também",
        )
        wanted = {name: say(takes) for name, takes, _, _ in describe("care_rule")}
        assert wanted["every_days"] == "um número, de 0,25 a 3650"
        assert say(describe("bird_left")[-1][1]) == "died, given, lost, processed ou sold"
        assert say(describe("pairing")[-1][1]) == "uma lista; cada um é texto"
    assert describe("bird_left")[-1][1] == "died, given, lost, processed or sold"


def test_a_temperature_that_cannot_be_has_the_decimal_comma() -> None:
    text = "{celsius:g} °C is not possible: it must be {low:g} to {high:g} °C."
    with speaking(invented({text: "{celsius:g} °C não pode ser: de {low:g} a {high:g} °C."})):
        problem = temperature_problem(150.5)
    assert problem is not None
    assert problem[0].startswith("150,5 °C não pode ser: de -")


def test_bad_readings_are_named_in_the_other_language(tmp_path: Path) -> None:
    texts = {
        "{n:,} lines are not right; nothing was imported.": "{n:,} linhas erradas.",
        "{given} is not a figure.": "{given} não é um número.",
        "Write a number, or leave the cell empty.": "Escreva um número.",
        "Line {line}, {field}: {said}": "Linha {line}, {field}: {said}",
    }
    file = tmp_path / "logger.csv"
    file.write_text("time,temperature_c\n" + "2027-05-02T20:00Z,warm\n" * 1000)
    with (
        open_store(str(tmp_path / "flock.sqlite"), create=True) as store,
        speaking(invented(texts)),
        pytest.raises(BadInput) as refused,
    ):
        import_csv(store, file, "a", "", Told())
    assert refused.value.sentence == "1.000 linhas erradas."
    with speaking(invented(texts)):
        said = refused.value.findings[-1].sentence
    assert said == "Linha 1001, temperature_c: 'warm' não é um número. Escreva um número."


def test_every_kind_and_field_is_in_the_catalogues() -> None:
    from tests.languages import gathered_once

    texts = {message.id for message in gathered_once()}
    for kind, cls in KINDS.items():
        assert " ".join((cls.__doc__ or "").split()) in texts, kind
        for name, _, meaning, _ in describe(kind):
            assert meaning in texts, (kind, name)


def test_lists_of_headings_have_as_many_parts_in_every_language() -> None:
    from scripts.catalogue import brought_up_to_date
    from tests.languages import gathered_once

    sources = gathered_once()
    lists = [each for each in sources if any("headings" in said for said in each.auto_comments)]
    assert "field, needed, takes, what it says" in [each.id for each in lists]
    for tag in LANGUAGES.keys() - {ENGLISH}:
        catalogue = brought_up_to_date(tag, sources)
        for each in lists:
            told = catalogue[each.id].string
            assert not told or told.count(", ") == each.id.count(", "), told
