"""The kinds of entry are those of the contract, and survive being written and read."""

import json
import re
from datetime import date
from typing import Any, Literal, Union, get_args, get_origin

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.makers import uid

from quailwright.journal.checks import build_entry, describe, read_entry
from quailwright.journal.entries import KINDS, RANK, Entry, as_dict, decode, encode, kind_of

COMMON = {"id", "at", "by", "note", "force"}

# The table of journal entries in the project's contract, word for word.
CONTRACT = """
| `holding` | [name, latitude, longitude, timezone, units (`metric`/`us`), currency, light_target_h] |
| `place` | place, role (`incubator`, `hatcher`, `brooder`, `pen`, `egg_store`), [capacity_eggs, floor_m2, heater_w, walk_order, closed (bool)] |
| `instrument` | instrument, place, [temperature_offset_c, humidity_offset_pct] |
| `source` | source, route (`own`, `collected`, `shipped`), [price_per_egg, note] |
| `feed` | feed, [protein_pct, me_kcal_kg, calcium_pct, price_per_kg, bag_kg, stage (`starter`, `grower`, `layer`)] |
| `goal` | [eggs_per_week, table_birds_per_month, from, until, certainty] |
| `eggs_received` | source, eggs, [lot, broken, cost, laid_from, laid_to] |
| `eggs_set` | hatch, eggs, place, source or group, [lot, mean_egg_g, laid_from, laid_to, storage_c] |
| `eggs_weighed` | hatch, eggs, total_g |
| `eggs_candled` | hatch, clear, dead |
| `turning_stopped` | hatch, [place] |
| `chicks_hatched` | hatch, chicks |
| `eggs_opened` | hatch, [infertile, early, middle, late, pipped, contaminated] |
| `hatch_closed` | hatch |
| `group` | group, place, [hatch, chicks, hens, cocks, hatched_on, source, cost] |
| `birds_moved` | group, place, [to_group, chicks, hens, cocks] |
| `birds_sexed` | group, hens, cocks |
| `birds_died` | group, [chicks, hens, cocks, found (`chilled`, `drowned`, `injured`, `predator`, `unknown`)] |
| `birds_processed` | group, [hens, cocks, chicks, live_g, dressed_g] |
| `birds_out` | group, use (`sold`, `given`, `lost`), [chicks, hens, cocks, income] |
| `birds_counted` | group, [chicks, hens, cocks] |
| `birds_weighed` | group, weights_g (list) or birds + total_g, [sex] |
| `eggs_collected` | group, eggs, [cracked, total_g] |
| `eggs_out` | use (`eaten`, `sold`, `given`, `discarded`), eggs, [group, laid_from, laid_to, income, to] |
| `feed_bought` | feed, kg, [cost] |
| `feed_given` | feed, kg, [place] |
| `feed_counted` | feed, kg |
| `care` | task, [place, minutes] |
| `treated` | group, product, [dose, eggs_withheld_until, meat_withheld_until, directed_by] |
| `quarantine` | place, until |
| `outage` | place, minutes, [lowest_c, highest_c] |
| `money` | amount (negative is spent), category, [to] |
| `bird` | bird, sex (`hen`, `cock`, `unknown`), [group, hatch, sire, dam, plumage, hatched_on] |
| `bird_weighed` | bird, mass_g |
| `bird_left` | bird, use (`died`, `processed`, `sold`, `given`, `lost`) |
| `pairing` | pen (a place), cocks (list), hens (list) |
| `retract` | entry (an id), why; with `instead` (a whole entry) it is a correction |
"""  # noqa: E501

# Kinds and fields beyond that table: adding is free.
ADDED_KINDS = {
    "care_rule", "plan_accepted", "set_planned", "cull_planned", "eggs_boxed", "eggs_ordered",
    "egg_rule", "water_given", "temperature_seen", "contact", "hen_laid",
}  # fmt: skip
ADDED_FIELDS = {
    "holding": {
        "altitude_m",
        "lamp_on",
        "lamp_off",
        "rests_in_winter",
        "space_standard",
        "false_signs_a_year",
        "egg_storage",
        "label_name",
        "label_contact",
        "label_text",
    },
    "place": {"height_m", "floor_kind"},
    "birds_died": {"together"},
    "bird": {"genotype"},
    "eggs_out": {"box", "order"},
    "feed": {"delivery_days", "keeps_days"},
    "feed_bought": {"mixed_on"},
    "money": {"lasts_years"},
}
ADDED_WORDS = {("birds_died", "found"): {"wet"}}


def promised() -> dict[str, tuple[set[str], set[str], dict[str, set[str]]]]:
    """Of each kind: fields it needs, fields it may have, and the words that a field takes."""
    table = {}
    for kind, fields in re.findall(r"^\| `(\w+)` \| (.*) \|$", CONTRACT, re.M):
        words = {
            name: set(re.findall(r"`(\w+)`", choices))
            for name, choices in re.findall(r"(\w+) \(((?:`\w+`[/, ]*)+)\)", fields)
        }
        bare = re.sub(r" \([^)]*\)", "", fields)
        if kind == "retract":
            bare = "entry, why, [instead]"
        # One of two is needed, which of them the entry's own check knows: neither alone.
        bare = bare.replace("place, source or group, [", "place, [source, group, ")
        bare = bare.replace("weights_g or birds + total_g, [", "[weights_g, birds, total_g, ")
        optional = " ".join(re.findall(r"\[(.*)\]", bare))
        needed = re.sub(r"\[.*\]", "", bare)
        names = re.compile(r"\w+")
        table[kind] = (
            set(names.findall(needed)), set(names.findall(optional)) - COMMON, words
        )  # fmt: skip
    return table


PROMISED = promised()


def words_of(field_type: Any) -> set[str]:
    """The words of a field that takes one of a few."""
    if get_origin(field_type) is Literal:
        return set(get_args(field_type))
    return set().union(*(words_of(inner) for inner in get_args(field_type)), set())


def test_the_kinds_are_those_of_the_contract() -> None:
    assert len(PROMISED) == 37
    assert KINDS.keys() == PROMISED.keys() | ADDED_KINDS


@pytest.mark.parametrize("kind", PROMISED)
def test_a_kind_has_the_fields_of_the_contract(kind: str) -> None:
    needed, optional, words = PROMISED[kind]
    fields = {field.encode_name: field for field in msgspec.structs.fields(KINDS[kind])}
    assert {name for name, field in fields.items() if field.required} == needed | {"id", "at"}
    more = fields.keys() - needed - COMMON
    assert more == optional | ADDED_FIELDS.get(kind, set()) & fields.keys()
    for name, choices in words.items():
        assert words_of(fields[name].type) == choices | ADDED_WORDS.get((kind, name), set())


def test_every_field_is_explained() -> None:
    for kind in KINDS:
        assert KINDS[kind].__doc__
        for name, wanted, meaning, _ in describe(kind):
            assert wanted, (kind, name)
            assert meaning, (kind, name)


def test_every_kind_has_its_turn_within_a_moment() -> None:
    assert RANK.keys() == set(KINDS.values())


# Any entry that the types allow.

printed = st.characters(min_codepoint=32, exclude_categories=["Cc", "Cs"])
texts = st.text(printed, max_size=12)
names = st.text(printed, min_size=1, max_size=12).filter(lambda text: text == text.strip())
dates = st.dates(date(1970, 1, 1), date(2199, 12, 31))
HAVING: dict[str, st.SearchStrategy[Any]] = {
    "id": st.integers(0, 99).map(uid),
    "entry": st.integers(100, 199).map(uid),
    "at": st.one_of(
        dates.map(str),
        st.builds("{}T{:02d}:{:02d}{}".format, dates, st.integers(0, 23), st.integers(0, 59),
                  st.sampled_from(["Z", "+01:00", "-09:30", "+12:45"])),
    ),
    "brief": st.sampled_from(["", "[goal]", "[goal]\neggs_per_week = 40\n", "not TOML"]),
    "timezone": st.sampled_from(["", "Europe/Lisbon", "Pacific/Auckland"]),
}  # fmt: skip


def values(name: str, field_type: Any) -> st.SearchStrategy[Any]:
    """JSON values that a field takes, from its type, found without the code under test."""
    if name in HAVING:
        return HAVING[name]
    return _plain_values(field_type)


def _plain_values(field_type: Any) -> st.SearchStrategy[Any]:
    metas: list[msgspec.Meta] = []
    while hasattr(field_type, "__metadata__"):
        metas += [meta for meta in field_type.__metadata__ if isinstance(meta, msgspec.Meta)]
        field_type = field_type.__origin__

    def limit(name: str, otherwise: Any) -> Any:
        return next(
            (v for v in (getattr(meta, name) for meta in metas) if v is not None), otherwise
        )

    if field_type is type(None):
        return st.none()
    if get_origin(field_type) is Union:
        return st.one_of(*(_plain_values(inner) for inner in get_args(field_type)))
    if get_origin(field_type) is Literal:
        return st.sampled_from(get_args(field_type))
    if get_origin(field_type) is list:
        return st.lists(_plain_values(get_args(field_type)[0]), min_size=1, max_size=3)
    if field_type is bool:
        return st.booleans()
    if field_type is int:
        return st.integers(limit("ge", None), limit("le", None))
    if field_type is float:
        low, high = limit("ge", limit("gt", None)), limit("le", limit("lt", None))
        open_low, open_high = limit("gt", None) is not None, limit("lt", None) is not None
        return st.floats(low, high, exclude_min=open_low, exclude_max=open_high, width=64)
    if field_type is date:
        return dates.map(str)
    if field_type is str:
        return names if limit("min_length", 0) else texts
    raise AssertionError(f"no values for {field_type}")


@st.composite
def json_entries(draw: Any, kind: str) -> dict[str, Any]:
    """An entry as JSON values: what it needs, and any of what it may have."""
    entry: dict[str, Any] = {"kind": kind}
    for field in msgspec.structs.fields(KINDS[kind]):
        if field.encode_name == "instead":
            continue
        if field.required or draw(st.booleans()):
            entry[field.encode_name] = draw(values(field.encode_name, field.type))
    if kind == "retract" and draw(st.booleans()):
        other = draw(json_entries(draw(st.sampled_from([*PROMISED.keys() - {"retract"}]))))
        entry["instead"] = {**other, "id": uid(200)}
    return entry


def typed(entry: dict[str, Any]) -> dict[str, Any]:
    """The same entry as a keeper types it: every value as text."""

    def text(value: Any) -> str:
        if isinstance(value, list):
            return ", ".join(map(text, value))
        return value if isinstance(value, str) else json.dumps(value)

    return {name: text(value) for name, value in entry.items() if value is not None}


@pytest.mark.parametrize("kind", KINDS)
@settings(max_examples=40)
@given(data=st.data())
def test_an_entry_survives_being_written_and_read(kind: str, data: st.DataObject) -> None:
    plain = data.draw(json_entries(kind))
    entry, findings = read_entry(json.dumps(plain).encode())
    if entry is None:  # sound in each field, not as a whole: see test_bad_input
        assert findings
        return
    assert kind_of(entry) == kind
    assert decode(encode(entry)) == entry
    again, _ = read_entry(encode(entry))
    assert again == entry
    assert encode(entry).count(b"\n") == 0
    said = {name for name in plain if plain[name] not in (None, "", 0, False)}
    assert said <= as_dict(entry).keys()
    for name in said - {"instead"}:
        assert as_dict(entry)[name] == plain[name], name


@pytest.mark.parametrize("kind", KINDS)
@settings(max_examples=40)
@given(data=st.data())
def test_typed_as_text_it_is_the_same_entry(kind: str, data: st.DataObject) -> None:
    plain = data.draw(json_entries(kind))
    for name in ("cocks", "hens"):  # a comma parts typed rings, and a lone digit is a ring too
        if isinstance(plain.get(name), list):
            plain[name] = [ring for ring in plain[name] if "," not in ring] or ["r1"]
    entry, findings = read_entry(json.dumps(plain).encode())
    typed_entry, typed_findings = build_entry(typed(plain))
    assert typed_entry == entry
    assert [f.sentence for f in typed_findings] == [f.sentence for f in findings]


def test_most_kinds_are_sound_as_drawn() -> None:
    # So that the two tests above speak of entries, and not only of refusals.
    needed: dict[str, Any] = {
        "hatch": "may", "group": "layers", "place": "shed", "source": "creek", "feed": "grower",
        "instrument": "dial", "bird": "r1", "pen": "loft", "role": "pen", "route": "own",
        "task": "water", "rule": "water", "product": "powder", "category": "bedding", "use": "sold",
        "sex": "hen", "until": "2027-06-01", "why": "a slip", "entry": uid(9), "eggs": 3,
        "total_g": 36, "clear": 1, "dead": 1, "chicks": 4, "kg": 2, "minutes": 5, "amount": -3,
        "mass_g": 230, "hens": 2, "cocks": 1, "brief": "[goal]", "certainty": 0.8,
        "on": "2027-06-01", "box": "box 1", "order": "Saturday", "storage": "cool",
        "keeps_days": 14, "checked_on": "2027-05-01", "said_by": "the food office", "litres": 2,
        "contact": "the vet", "days": 5,
    }  # fmt: skip
    for kind, cls in KINDS.items():
        plain: dict[str, Any] = {"kind": kind, "id": uid(1), "at": "2027-05-02"}
        for field in msgspec.structs.fields(cls):
            if field.required and field.encode_name not in plain:
                plain[field.encode_name] = needed[field.encode_name]
        more: dict[str, dict[str, Any]] = {
            "birds_died": {"hens": 1}, "birds_out": {"hens": 1}, "birds_processed": {"hens": 1},
            "birds_counted": {"hens": 0}, "eggs_set": {"source": "creek"},
            "set_planned": {"source": "creek"}, "cull_planned": {"hatch": "may", "keep_hens": 1},
            "birds_weighed": {"weights_g": [200]}, "contact": {"role": "vet"},
            "pairing": {"cocks": ["c"], "hens": ["h"]},
        }  # fmt: skip
        plain |= more.get(kind, {})
        entry, findings = read_entry(json.dumps(plain).encode())
        assert findings == []
        assert isinstance(entry, Entry)
        assert as_dict(entry) == plain
