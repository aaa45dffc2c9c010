"""Parents that cannot be: refused with a sentence, and where insisted on kept and broken once."""

from datetime import date, timedelta
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.makers import made, uid

from quailwright.flock.booking import parents
from quailwright.flock.fold import Record, fold, refusals
from quailwright.flock.pedigree import lines_of
from quailwright.journal.entries import Entry


def birds(*told: dict[str, Any]) -> list[Entry]:
    return [
        made("bird", fields.pop("at", f"2027-05-{n + 1:02d}"), id=uid(n), **fields)
        for n, fields in enumerate(dict(one) for one in told)
    ]


HEN, COCK = {"sex": "hen"}, {"sex": "cock"}
CASES = {
    "its own father": (
        [{"bird": "Bo", "sire": "Bo"} | COCK],
        "sire: Bo is named as its own father. Mend the ring",
    ),
    "one parent twice": (
        [{"bird": "Al", "sire": "Bo", "dam": "Bo"} | COCK],
        "dam: Bo is named as both father and mother of Al.",
    ),
    "a sire that is a hen": (
        [{"bird": "Ada"} | HEN, {"bird": "Kim", "sire": "Ada"} | HEN],
        "sire: Ada is named as the father of Kim, but is logged as a hen.",
    ),
    "a sire told to be a hen later": (
        [{"bird": "Kim", "sire": "Ada"} | HEN, {"bird": "Ada"} | HEN],
        "sex: Ada is named as the father of Kim, so it cannot be a hen.",
    ),
    "a dam that is a cock": (
        [{"bird": "Rex"} | COCK, {"bird": "Kim", "dam": "Rex"} | HEN],
        "dam: Rex is named as the mother of Kim, but is logged as a cock.",
    ),
    "a parent younger than its chick": (
        [
            {"bird": "Rex", "hatched_on": "2027-04-02"} | COCK,
            {"bird": "Kim", "sire": "Rex", "hatched_on": "2027-04-01"} | HEN,
        ],
        "sire: Rex hatched on 2027-04-02, and is named as a parent of Kim, which hatched on "
        "2027-04-01: a parent is older than its chick.",
    ),
    "a parent too young, told later": (
        [
            {"bird": "Kim", "sire": "Rex", "hatched_on": "2027-04-11"} | HEN,
            {"bird": "Rex", "hatched_on": "2027-04-01"} | COCK,
        ],
        "10 days later: no bird breeds before it is 35 days old.",
    ),
    "its own ancestor, three entries on": (
        [
            {"bird": "B", "sire": "A"} | COCK,
            {"bird": "C", "sire": "B"} | COCK,
            {"bird": "A", "sire": "C"} | COCK,
        ],
        "sire: A would be its own ancestor: C, named as its parent, descends from it (from parent "
        "to chick: A, B, C).",
    ),
}  # fmt: skip


@pytest.mark.parametrize(
    ("role", "days", "refused"), [("dam", 53, 0), ("dam", 54, 1), ("sire", 67, 0), ("sire", 68, 1)]
)
def test_a_parent_dead_before_the_egg_can_have_been_its(role: str, days: int, refused: int) -> None:
    """35 days in store (Gonzalez-Redondo et al. 2023), 18.4 of incubation, 14 of stored seed."""
    out = date(2027, 2, 1) + timedelta(days=days)
    entries = [
        made("bird", "2027-01-01", id=uid(0), bird="Al", sex="cock" if role == "sire" else "hen"),
        made("bird_left", "2027-02-01", id=uid(1), bird="Al", use="died"),
        made("bird", str(out), id=uid(2), bird="Kim", sex="hen", hatched_on=str(out),
             **{role: "Al"}),
    ]  # fmt: skip
    found = refusals(Record(entries[:2]), entries[2:])
    assert len(found) == refused
    for finding in found:
        assert "Al died on 2027-02-01, and is named as a parent of Kim" in finding.sentence
    # The death told late: the chick is kept and the sentence stands with the lines.
    late = lines_of(fold([entries[0], entries[2], entries[1]])).problems
    assert any("too late, however long its egg was kept" in said for said in late) == bool(refused)
    sold = [entries[0], made("bird_left", "2027-02-01", id=uid(1), bird="Al", use="sold")]
    assert not refusals(Record(sold), entries[2:])


@pytest.mark.parametrize("case", CASES)
def test_what_cannot_be_is_refused_with_a_sentence(case: str) -> None:
    told, sentence = CASES[case]
    entries = birds(*told)
    before = Record(entries[:-1])
    assert not before.flock.findings
    refused = refusals(before, entries[-1:])
    assert [f.entry for f in refused] == [entries[-1].id]
    assert sentence in refused[0].sentence


@pytest.mark.parametrize("case", CASES)
def test_insisted_on_it_is_kept_and_said(case: str) -> None:
    told, sentence = CASES[case]
    entries = birds(*told[:-1], told[-1] | {"force": True})
    before = Record(entries[:-1])
    assert not refusals(before, entries[-1:])
    assert [f.forced for f in before.flock.findings] == [True]
    assert any(
        sentence.split(": ", 1)[-1] in problem for problem in lines_of(before.flock).problems
    )


def test_a_parent_of_a_hatch_is_dated_by_it() -> None:
    log = [
        made("eggs_set", "2027-04-01", id=uid(50), hatch="h", source="x", eggs=9, place="box"),
        made("chicks_hatched", "2027-04-18", id=uid(51), hatch="h", chicks=5),
        *birds({"bird": "Rex", "hatch": "h"} | COCK),
    ]
    late = made("bird", "2027-05-09", id=uid(9), bird="Kim", sex="hen", sire="Rex",
                hatched_on="2027-05-08")  # fmt: skip
    assert "20 days later" in refusals(Record(log), [late])[0].sentence


names = st.sampled_from(["a", "b", "c", "d", "e"])
told = st.fixed_dictionaries(
    {
        "bird": names,
        "sex": st.sampled_from(["hen", "cock", "unknown"]),
        "at": st.sampled_from(["2027-05-01", "2027-05-02", "2027-05-03"]),
    },
    optional={
        "sire": names,
        "dam": names,
        "hatched_on": st.sampled_from(["2027-01-01", "2027-01-20", "2027-03-01"]),
        "force": st.booleans(),
    },
)


@settings(max_examples=100)
@given(st.lists(told, max_size=12), st.randoms(use_true_random=False))
def test_no_order_of_arrival_makes_a_circle(some: list[dict[str, Any]], order: Any) -> None:
    entries = birds(*some)
    flock = fold(entries)
    shuffled = list(entries)
    order.shuffle(shuffled)
    assert fold(shuffled) == flock
    record = Record([])
    for entry in shuffled:
        record.add([entry])
    assert record.flock == flock

    def up(name: str | None, seen: tuple[str, ...]) -> None:
        bird = flock.birds.get(name or "")
        if bird is None:
            return
        assert bird.name not in seen
        up(bird.sire, (*seen, bird.name))
        up(bird.dam, (*seen, bird.name))

    for name in flock.birds:
        up(name, ())
    assert len(lines_of(flock).members) >= len(flock.birds)


@settings(max_examples=60)
@given(st.lists(st.tuples(st.integers(0, 7), st.integers(0, 7)), max_size=30))
def test_exactly_those_parents_are_refused_that_close_a_circle(
    pairs: list[tuple[int, int]],
) -> None:
    record = Record([])
    parents: dict[int, int] = {}
    for n, (bird, sire) in enumerate(pairs):
        entry = made("bird", "2027-05-01T10:00Z", id=uid(n), bird=f"b{bird}", sex="cock",
                     sire=f"b{sire}")  # fmt: skip
        line = [sire]
        while line[-1] in parents and line[-1] != bird:
            line.append(parents[line[-1]])
        if line[-1] == bird:
            assert refusals(Record(record.entries), [entry])
        else:
            parents[bird] = sire
            assert not refusals(record, [entry])


def test_chicks_logged_before_their_parents_cost_no_search(monkeypatch: pytest.MonkeyPatch) -> None:
    # All on one day with random ids, as a pedigree comes in from elsewhere: without ranks made
    # ahead, looking for circles grows with the square of the birds.
    def searched(*_: object) -> set[str]:
        raise AssertionError("a circle was looked for")

    monkeypatch.setattr(parents, "_reached", searched)
    flock = fold(
        made("bird", "2027-05-01", id=uid(999 - n), bird=f"b{n}", sex="cock", sire=f"b{n // 2}")
        for n in range(1, 400)
    )
    assert len(flock.birds) == 399
    assert not flock.findings
