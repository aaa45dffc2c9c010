"""Bad input is a sentence that names the field, says what is wrong, and how to mend it."""

import json
from typing import Any

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from tests.makers import uid

from quailwright.journal.checks import build_entry, read_entry
from quailwright.journal.entries import KINDS, BirdsWeighed, FeedGiven
from quailwright.journal.jsonl import parse_lines
from quailwright.language import speaking

ID = "0191d5a0-5f5e-7c3a-9d52-3f0c5a1b2c3d"
OTHER = "0191d5a0-5f5e-7c3a-9d52-3f0c5a1b2c3e"
THIRD = "0191d5a0-5f5e-7c3a-9d52-3f0c5a1b2c3f"

SOUND: dict[str, dict[str, Any]] = {
    "care": {"task": "water"},
    "chicks_hatched": {"hatch": "may", "chicks": 12},
    "birds_sexed": {"group": "g", "hens": 2, "cocks": 1},
    "birds_died": {"group": "g", "hens": 1},
    "birds_out": {"group": "g", "use": "sold", "hens": 1},
    "birds_processed": {"group": "g", "cocks": 1},
    "birds_counted": {"group": "g", "hens": 1},
    "birds_weighed": {"group": "g", "weights_g": [200]},
    "eggs_collected": {"group": "g", "eggs": 12},
    "eggs_received": {"source": "s", "eggs": 12},
    "eggs_set": {"hatch": "may", "eggs": 24, "place": "box", "source": "s"},
    "eggs_out": {"use": "eaten", "eggs": 3},
    "goal": {},
    "holding": {},
    "money": {"amount": -3.5, "category": "bedding"},
    "pairing": {"pen": "loft", "cocks": ["c1"], "hens": ["h1"]},
    "place": {"place": "shed", "role": "pen"},
    "quarantine": {"place": "shed", "until": "2027-06-01"},
    "retract": {"entry": OTHER, "why": "a slip"},
    "treated": {"group": "g", "product": "powder"},
}


def entry(sound: str, /, **changes: Any) -> dict[str, Any]:
    """A sound entry of that kind with changes; a field changed to `...` is left out."""
    whole = {"kind": sound, "id": ID, "at": "2027-05-02", **SOUND[sound], **changes}
    return {name.rstrip("_"): value for name, value in whole.items() if value is not ...}


def sentences(line: dict[str, Any] | str | bytes) -> list[str]:
    """What the keeper reads of a bad line."""
    raw = json.dumps(line) if isinstance(line, dict) else line
    read, findings = read_entry(raw if isinstance(raw, bytes) else raw.encode())
    assert (read is None) == bool(findings)
    assert all(finding.kind == "shape" for finding in findings)
    return [finding.sentence for finding in findings]


@pytest.mark.parametrize("kind", SOUND)
def test_the_entries_that_these_tests_spoil_are_sound(kind: str) -> None:
    assert sentences(entry(kind)) == []


WHOLE = "Give a whole number, 0 to 1000000."
EDGES = "Give text of 1 to 80 characters, with no space at its ends."
TASK = "Give text of 1 to 250 characters, with no space at its ends."
WRITE = "Write 2027-05-02, or 2027-05-02T20:00+01:00 with the offset from UTC."
NO_DATE = f"is not a date or a date-time. {WRITE}"
CALENDAR = "is not in the calendar. Check the day, the month and the hour."
UUID = "is not a UUID. Use one such as 0191d5a0-5f5e-7c3a-9d52-3f0c5a1b2c3d."
BIRDS = "no birds are named. Say how many: "
SWAP = "Swap them, or mend the wrong one."


@pytest.mark.parametrize(
    ("line", "sentence"),
    [
        # kind
        (entry("care", kind="caer"), 'kind: there is no kind "caer". Did you mean care?'),
        (entry("care", kind="zzz"), f'kind: there is no kind "zzz". Kinds are {", ".join(KINDS)}.'),
        (entry("care", kind=...), 'kind: nothing says what kind of entry this is. Add "kind",'),
        (entry("care", kind=["care"]), 'kind: there is no kind ["care"].'),
        (entry("care", kind=7), "kind: there is no kind 7."),
        # fields that are missing, or that are not there
        (entry("care", task=...), "task: care needs it, and it is missing. Add text of 1 to 250"),
        (
            entry("chicks_hatched", chicks=...),
            "chicks: chicks_hatched needs it, and it is missing. Add a whole number, 0 to 1000000.",
        ),
        (entry("care", at=...), "at: care needs it, and it is missing. Add text."),
        (entry("care", id=...), "id: care needs it, and it is missing. Add text."),
        (
            entry("birds_died", heens=2),
            "heens: birds_died has no field of this name. Did you mean hens?",
        ),
        (
            entry("quarantine", colour="red"),
            "colour: quarantine has no field of this name. "
            "It has id, at, by, note, force, place, until.",
        ),
        (entry("care", task=None), f"task: null will not do. {TASK}"),
        # counts
        (entry("chicks_hatched", chicks=-1), f"chicks: -1 will not do. {WHOLE}"),
        (entry("chicks_hatched", chicks=1_000_001), f"chicks: 1000001 will not do. {WHOLE}"),
        (entry("chicks_hatched", chicks=12.0), f"chicks: 12.0 will not do. {WHOLE}"),
        (entry("chicks_hatched", chicks=1.5), f"chicks: 1.5 will not do. {WHOLE}"),
        (entry("chicks_hatched", chicks=True), f"chicks: true will not do. {WHOLE}"),
        (entry("chicks_hatched", chicks="12"), f'chicks: "12" will not do. {WHOLE}'),
        (entry("chicks_hatched", chicks=[1]), f"chicks: [1] will not do. {WHOLE}"),
        (entry("chicks_hatched", chicks=10**30), f"chicks: 1{'0' * 30} will not do. {WHOLE}"),
        (
            json.dumps(entry("chicks_hatched", chicks=7)).replace("7}", f"1{'0' * 5000}}}"),
            f"chicks: Infinity will not do. {WHOLE}",
        ),
        (entry("eggs_out", eggs=0), "eggs: 0 will not do. Give a whole number, 1 to 1000000."),
        # amounts
        (entry("money", amount=float("nan")), "amount: NaN will not do. Give a number, -1e+09 to"),
        (entry("money", amount=float("inf")), "amount: Infinity will not do. Give a number"),
        (entry("money", amount=-float("inf")), "amount: -Infinity will not do. Give a number,"),
        (entry("money", amount="3"), 'amount: "3" will not do. Give a number, -1e+09 to 1e+09.'),
        (entry("goal", certainty=1), "certainty: 1 will not do. Give a number, above 0 to"),
        (entry("holding", latitude=91), "latitude: 91 will not do. Give a number, -90 to 90."),
        (
            entry("birds_weighed", weights_g=[200, 0]),
            "weights_g: [200, 0] will not do. Give a list; each is a number, above 0 to 2000.",
        ),
        # words and text
        (
            entry("place", role="coop"),
            'role: "coop" will not do. Give brooder, egg_store, hatcher, incubator or pen.',
        ),
        (entry("care", force="yes"), 'force: "yes" will not do. Give true or false.'),
        (entry("care", task=" water"), f'task: " water" will not do. {TASK}'),
        (entry("care", place="shed "), f'place: "shed " will not do. {EDGES}'),
        (entry("care", place=""), f'place: "" will not do. {EDGES}'),
        (entry("care", place="\u00a0"), 'place: "\\u00a0" holds a control character.'),
        (entry("care", place="x" * 81), f'place: "{"x" * 56}... will not do. {EDGES}'),
        (entry("care", place="a\nb"), 'place: "a\\nb" holds a control character. Type it again'),
        (entry("care", place="a\x1b[2Jb"), 'place: "a\\u001b[2Jb" holds a control character.'),
        (entry("care", place="a\x9b2Jb"), 'place: "a\\u009b2Jb" holds a control character.'),
        (entry("care", place="a\x00"), 'place: "a\\u0000" holds a control character.'),
        (entry("care", note="a\x00\n"), 'note: "a\\u0000\\n" holds a control character.'),
        (entry("care", by="\ud800"), 'by: "\\ud800" holds a control character. Type it again'),
        (entry("care", **{"\x1b[2J": 1}), "\\u001b[2J: care has no field of this name."),
        (
            entry("pairing", cocks=["c1", " c2"]),
            'cocks: ["c1", " c2"] will not do. Give a list; each is text of 1 to 80 characters, '
            "with no space at its ends.",
        ),
        # a name given twice, of which one value would be lost
        (
            json.dumps(entry("care"))[:-1] + ', "task": "feed"}',
            "task: it is given twice. Give it once.",
        ),
        (
            json.dumps(entry("care"))[:-1] + ', "t\\u0061sk": "feed"}',
            "task: it is given twice. Give it once.",
        ),
        # moments
        (entry("care", at="20260-05-02"), f"at: '20260-05-02' {NO_DATE}"),
        (entry("care", at="2027-5-2"), f"at: '2027-5-2' {NO_DATE}"),
        (entry("care", at="02.05.2027"), f"at: '02.05.2027' {NO_DATE}"),
        (entry("care", at="yesterday"), f"at: 'yesterday' {NO_DATE}"),
        (entry("care", at=""), f"at: '' is not a date or a date-time. {WRITE}"),
        (entry("care", at="2027-02-29"), f"at: '2027-02-29' {CALENDAR}"),
        (entry("care", at="2027-13-01"), f"at: '2027-13-01' {CALENDAR}"),
        (entry("care", at="2027-05-02T12:60Z"), f"at: '2027-05-02T12:60Z' {CALENDAR}"),
        (entry("care", at="2027-05-02T12:00+25:00"), f"at: '2027-05-02T12:00+25:00' {CALENDAR}"),
        (entry("care", at="2027-05-02T24:00Z"), "at: '2027-05-02T24:00Z' is not a date or a"),
        (
            entry("care", at="2027-05-02T20:00"),
            "at: '2027-05-02T20:00' has no offset. Add it, as in 2027-05-02T20:00+01:00.",
        ),
        (entry("care", at="2027-05-02 20:00:01"), "at: '2027-05-02 20:00:01' has no offset. Add"),
        (entry("care", at="1969-12-31"), "at: the year 1969 is out of range. Use 1970 to 2199."),
        (entry("care", at="2200-01-01"), "at: the year 2200 is out of range. Use 1970 to 2199."),
        (entry("care", at=20270502), "at: 20270502 will not do. Give text."),
        (
            entry("quarantine", until="20260-05-02"),
            'until: "20260-05-02" will not do. Give a date such as 2027-05-02.',
        ),
        (entry("quarantine", until="2027-02-30"), 'until: "2027-02-30" will not do. Give a date'),
        (entry("quarantine", until="2027-06-01T08:00Z"), 'until: "2027-06-01T08:00Z" will not do.'),
        (entry("quarantine", until="0202-07-01"), "until: the year 202 is out of range. Use 1970"),
        (entry("goal", from_="0202-07-01"), "from: the year 202 is out of range. Use 1970"),
        # ids
        (entry("care", id="7"), f'id: "7" {UUID}'),
        (entry("care", id=ID.replace("-", "")), f'id: "{ID.replace("-", "")}" {UUID}'),
        (entry("care", id=f"{{{ID}}}"), f'id: "{{{ID}}}" {UUID}'),
        (entry("care", id=ID + "\n"), f'id: "{ID}\\n" {UUID}'),
        (entry("care", id=7), "id: 7 will not do. Give text."),
        # what the fields say together
        (
            entry("eggs_collected", cracked=13),
            "cracked: 13 cracked of 12 eggs cannot be. `eggs` counts all of them, the cracked ones "
            "too.",
        ),
        (entry("eggs_received", broken=13), "broken: 13 broken of 12 eggs cannot be."),
        (
            entry("eggs_received", laid_from="2027-04-29", laid_to="2027-04-28"),
            f"laid_from: laid_from 2027-04-29 is after laid_to 2027-04-28. {SWAP}",
        ),
        (
            entry("eggs_set", laid_from="2027-04-29", laid_to="2027-04-28"),
            f"laid_from: laid_from 2027-04-29 is after laid_to 2027-04-28. {SWAP}",
        ),
        (
            entry("eggs_out", laid_from="2027-04-29", laid_to="2027-04-28"),
            f"laid_from: laid_from 2027-04-29 is after laid_to 2027-04-28. {SWAP}",
        ),
        (
            entry("goal", from_="2027-06-02", until="2027-06-01"),
            f"from: from 2027-06-02 is after until 2027-06-01. {SWAP}",
        ),
        (
            entry("eggs_set", source=...),
            "source: nothing says whose eggs these are. Give source or group.",
        ),
        (entry("birds_died", hens=0), f"chicks: {BIRDS}chicks, hens or cocks."),
        (entry("birds_out", hens=...), f"chicks: {BIRDS}chicks, hens or cocks."),
        (entry("birds_processed", cocks=...), f"chicks: {BIRDS}chicks, hens or cocks."),
        (entry("birds_sexed", hens=0, cocks=0), f"hens: {BIRDS}hens or cocks."),
        (
            entry("birds_counted", hens=...),
            "hens: nothing is counted. Say how many: chicks, hens or cocks (0 is a count).",
        ),
        (
            entry("birds_weighed", weights_g=[]),
            "weights_g: no weight is given. Give weights_g, or birds and total_g.",
        ),
        (entry("birds_weighed", weights_g=..., birds=3), "weights_g: no weight is given."),
        (
            entry("holding", timezone="Europe/Atlantis"),
            "timezone: 'Europe/Atlantis' is not a time zone. Use a name such as Europe/Lisbon.",
        ),
        (entry("holding", timezone="../../etc/passwd"), "timezone: '../../etc/passwd' is not"),
        (entry("holding", timezone="/etc/localtime"), "timezone: '/etc/localtime' is not a"),
        (
            entry("treated", eggs_withheld_until="2027-05-01"),
            "eggs_withheld_until: 2027-05-01 is before the treatment on 2027-05-02. "
            "Give the last day on which they are withheld.",
        ),
        (entry("treated", meat_withheld_until="2027-05-01"), "meat_withheld_until: 2027-05-01 is"),
        (
            {**entry("treated", group=..., product=...), "kind": "egg_rule", "storage": "cool",
             "keeps_days": 21, "checked_on": "2027-06-01", "said_by": "the county office"},
            "checked_on: 2027-06-01 lies after the entry of 2027-05-02.",
        ),
        (
            {**entry("treated", group=..., product=...), "kind": "egg_rule", "storage": "cool",
             "keeps_days": 21, "checked_on": "2027-05-01", "said_by": "the county office",
             "at": ""},
            'at: ',
        ),
        # taking back
        (
            entry("retract", entry=ID),
            "entry: an entry cannot take itself back. Give the id of the wrong entry.",
        ),
        (entry("retract", entry=ID.upper()), "entry: an entry cannot take itself back."),
        (entry("retract", entry="7"), 'entry: "7" is not the id of an entry. Give its UUID.'),
        (entry("retract", why=""), 'why: "" will not do. Give text of 1 to 500 characters.'),
        (
            entry("retract", instead=entry("care", id=ID)),
            "instead.id: the right entry needs an id of its own. Make a new UUID.",
        ),
        (entry("retract", instead=entry("care", id=OTHER.upper())), "instead.id: the right entry"),
        (
            entry("retract", instead=entry("care", id=THIRD, at="2027-02-30")),
            f"instead.at: '2027-02-30' {CALENDAR}",
        ),
        (
            entry("retract", instead=entry("birds_died", id=THIRD, hens=-1)),
            f"instead.hens: -1 will not do. {WHOLE}",
        ),
        (
            entry("retract", instead=entry("birds_died", id=THIRD, hens=0)),
            f"instead.chicks: {BIRDS}chicks, hens or cocks.",
        ),
        (entry("retract", instead={}), "instead.kind: nothing says what kind of entry this is."),
        (entry("retract", instead=3), "instead: 3 will not do. Give a whole entry as a"),
        (
            entry("retract", instead=entry("retract", id=THIRD)),
            "instead.kind: a retract cannot stand in the stead of an entry. Retract by an entry",
        ),
        # what is no entry at all
        ("[]", 'this is not an entry. Write a JSON object: {"kind": ..., "at": ...}.'),
        ("7", "this is not an entry."),
        ("null", "this is not an entry."),
        ("eggs: 12", "this is not JSON (at column 1). Write one JSON object on each line."),
        ("{'kind': 'care'}", "this is not JSON (at column 2)."),
        ('{"kind":"care"} {"kind":"care"}', "this is not JSON (at column 17)."),
        ('{"kind":"care","task":"wa', "the entry stops in the middle, as if the file had been cut"),
        ('{"kind":"care",', "the entry stops in the middle"),
        (b'{"kind":"care","task":"\xe9"}', "byte 0xe9 at column 24 is not UTF-8 text. Save"),
        (b'{"kind":"care","by":"\xed\xa0\x80"}', "byte 0xed at column 22 is not UTF-8 text."),
        ("[" * 100_000, "this is nested far too deep for an entry. Write one flat JSON object."),
        (
            json.dumps(entry("care")).replace("{", '{"id": 1, '),
            "this cannot be read (Expected `str`, got `int` - at `$.id`). Write each field once.",
        ),
        (
            json.dumps(entry("care")).replace("{", '{"kind": "money", '),
            "this cannot be read (Invalid value 'care' - at `$.kind`). Write each field once.",
        ),
    ],
)  # fmt: skip
def test_bad_input_is_a_sentence(line: Any, sentence: str) -> None:
    (said,) = sentences(line)
    assert said.startswith(sentence)
    assert said.isprintable()
    assert said.rstrip(")").endswith((".", "?"))
    assert len(said) < 900


def test_every_problem_of_a_line_is_named() -> None:
    assert len(sentences(entry("birds_died", hens=-1, at=..., heens=2, cocks="x"))) == 4
    assert len(sentences(entry("treated", id="7", at="x", eggs_withheld_until="2027-05-01"))) == 3


def test_an_upper_case_uuid_is_the_same_id() -> None:
    # RFC 9562, section 4: output in lower case, either case on input.
    line = entry("retract", id=ID.upper(), entry=OTHER.upper(),
                 instead=entry("care", id=THIRD.upper()))  # fmt: skip
    read, findings = read_entry(json.dumps(line).encode())
    assert findings == []
    plain, _ = read_entry(json.dumps(entry("retract", instead=entry("care", id=THIRD))).encode())
    assert read == plain


def test_a_note_may_have_lines_and_any_script() -> None:
    assert sentences(entry("care", note="zwei Zeilen\r\n\tund ein Küken 🐣 نعم")) == []


def test_nesting_of_any_depth_is_a_sentence() -> None:
    for depth in range(1, 1300):
        assert sentences('{"kind":"care","task":' + "[" * depth + "1" + "]" * depth + "}")
        assert sentences('{"instead":' * depth + "1" + "}" * depth)
        assert sentences('{"kind":"retract","instead":' * depth + "1" + "}" * depth)


# Typed text.


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        (entry("chicks_hatched", chicks="twelve"), f'chicks: "twelve" will not do. {WHOLE}'),
        (entry("chicks_hatched", chicks="12.5"), f'chicks: "12.5" will not do. {WHOLE}'),
        (entry("chicks_hatched", chicks="-1"), f'chicks: "-1" will not do. {WHOLE}'),
        (entry("chicks_hatched", chicks=""), f'chicks: "" will not do. {WHOLE}'),
        (
            entry("money", amount="nan"),
            'amount: "nan" will not do. Give a number, -1e+09 to 1e+09.',
        ),
        (entry("money", amount="inf"), 'amount: "inf" will not do. Give a number'),
        (entry("money", amount="1e400"), 'amount: "1e400" will not do. Give a number'),
        (entry("birds_weighed", weights_g="200, x"), 'weights_g: ["200", "x"] will not do.'),
        (entry("birds_weighed", weights_g=" , "), "weights_g: no weight is given."),
        (entry("care", task="a\udcff"), 'task: "a\\udcff" holds a control character.'),
        (entry("retract", instead="{"), 'instead: "{" will not do. Give a whole entry as a JSON'),
        (entry("retract", instead="[" * 50_000), "this is nested far too deep for an entry."),
        (entry("care", kind="carry"), 'kind: there is no kind "carry".'),
    ],
)
def test_badly_typed_text_is_a_sentence(fields: dict[str, Any], sentence: str) -> None:
    built, findings = build_entry(fields)
    assert built is None
    assert findings[0].sentence.startswith(sentence)
    assert findings[0].sentence.isprintable()


# Whatever comes.

json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8)
    | st.sampled_from(["2027-05-02", ID, OTHER, "care", "hen", " "]),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner,
                                                               max_size=3),
    max_leaves=6,
)  # fmt: skip
spoiled = st.builds(
    lambda kind, changes: {**entry(kind), **changes},
    st.sampled_from([*SOUND]),
    st.dictionaries(
        st.sampled_from(sorted({name for kind in SOUND for name in entry(kind)} | {"instead"})),
        json_values, max_size=3,
    ),
)  # fmt: skip


@given(st.binary(max_size=80))
@example(b"\xff\xfe")
@example(b"\x00")
def test_no_bytes_make_reading_raise(raw: bytes) -> None:
    read, findings = read_entry(raw, 3)
    assert (read is None) == bool(findings)
    assert all(finding.line == 3 for finding in findings)
    entries, problems = parse_lines(raw)
    assert entries == [] or not raw.isspace()
    assert all(problem.sentence for problem in problems)


@given(spoiled, st.data())
def test_a_spoiled_entry_is_an_entry_or_a_sentence(line: dict[str, Any], data: Any) -> None:
    raw = json.dumps(line).encode()
    for text in (raw, raw[: data.draw(st.integers(0, len(raw)))], raw.replace(b'"', b"", 1)):
        read, findings = read_entry(text)
        assert (read is None) == bool(findings)
        assert all(finding.sentence.isprintable() for finding in findings)
    spelled = {name: value for name, value in line.items() if value is not None}
    built, findings = build_entry(spelled)
    assert (built is None) == bool(findings)


@given(st.lists(spoiled, max_size=4))
def test_a_file_gives_an_entry_or_a_sentence_for_each_line(lines: list[dict[str, Any]]) -> None:
    data = b"\n".join(json.dumps(line).encode() for line in lines)
    entries, findings = parse_lines(data)
    spoken_of = [number for number, _ in entries] + [finding.line for finding in findings]
    assert set(spoken_of) == set(range(1, len(lines) + 1))
    assert {number for number, _ in entries}.isdisjoint(finding.line for finding in findings)


def test_an_entry_of_its_own_id_may_be_named_by_number() -> None:
    assert sentences(entry("care", id=uid(12))) == []


WEIGHED = {"id": uid(1), "kind": "birds_weighed", "at": "2027-05-02", "group": "hens"}


@pytest.mark.parametrize(
    ("language", "typed", "weights"),
    [
        ("en", "292.3, 251.8", [292.3, 251.8]),
        ("en", "292,251,260", [292, 251, 260]),
        ("en", "292,3; 251,8", [292.3, 251.8]),
        ("pt", "292,3, 251,8", [292.3, 251.8]),
        ("pt", "292,3 251,8", [292.3, 251.8]),
        ("pt", "292,3; 251", [292.3, 251]),
        ("pt", "292.3, 251.8", [292.3, 251.8]),
    ],
)
def test_numbers_one_after_another_are_read_as_the_language_writes_them(
    language: str, typed: str, weights: list[float]
) -> None:
    with speaking(language):
        entry, findings = build_entry({**WEIGHED, "weights_g": typed})
    assert findings == []
    assert isinstance(entry, BirdsWeighed)
    assert entry.weights_g == weights


@pytest.mark.parametrize("language", ["en", "pt"])
def test_half_a_kilogram_may_have_a_comma_and_thousands_may_not(language: str) -> None:
    given = {"id": uid(1), "kind": "feed_given", "at": "2027-05-02", "feed": "mash"}
    with speaking(language):
        entry, _ = build_entry({**given, "kg": "0,5"})
        assert isinstance(entry, FeedGiven)
        assert entry.kg == 0.5
        doubtful = "1.250" if language == "pt" else "1,250"
        entry, findings = build_entry({**given, "kg": doubtful})
        assert entry is None
        assert (findings[0].field, doubtful in findings[0].what) == ("kg", True)
