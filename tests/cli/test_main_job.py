"""The main job on real input: a year of entries as JSON Lines, then what stands and what to do."""

import json
import uuid
from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from tests.cli.conftest import Quail

FIRST, LAST = date(2026, 5, 3), date(2027, 5, 2)
Line = dict[str, Any]


def a_year() -> Iterator[Line]:
    """An invented holding: a pen of layers, eggs every day, two hatches reared and moved out."""
    yield said("holding", FIRST, name="Hill garden", timezone="Europe/Lisbon", units="metric")
    for order, (place, role, more) in enumerate(
        [("incubator", "incubator", {"capacity_eggs": 48}), ("brooder", "brooder", {"floor_m2": 1}),
         ("east pen", "pen", {"floor_m2": 3}), ("west pen", "pen", {"floor_m2": 3})]
    ):  # fmt: skip
        yield said("place", FIRST, place=place, role=role, walk_order=order, **more)
    yield said("group", FIRST, group="layers", place="east pen", hens=16, cocks=4,
               hatched_on="2026-02-01", cost=80)  # fmt: skip
    day = FIRST
    while day <= LAST:
        yield said("eggs_collected", f"{day}T19:00+01:00", group="layers", eggs=laid(day))
        yield said("care", f"{day}T19:05+01:00", task="feed_water", place="east pen")
        if eaten(day):
            yield said("eggs_out", f"{day}T20:00+01:00", use="eaten", eggs=eaten(day))
        if day.day == 1:
            yield said("feed_bought", day, feed="pellets", kg=20, cost=18.5)
            yield said("feed_given", day, feed="pellets", kg=17, place="east pen")
        day += timedelta(days=1)
    yield from reared("summer", date(2026, 7, 4))
    yield from reared("spring", date(2027, 3, 6))
    yield said("birds_died", date(2026, 11, 20), group="layers", hens=2, found="predator")
    yield said("eggs_set", "2027-04-25T20:00+01:00", hatch="april", eggs=30, place="incubator",
               group="layers")  # fmt: skip


def laid(day: date) -> int:
    return 9 + day.toordinal() % 5


def eaten(day: date) -> int:
    return 60 if day.weekday() == 0 and day > FIRST + timedelta(days=7) else 0


def reared(hatch: str, set_on: date) -> Iterator[Line]:
    """24 eggs set, 4 taken out, 15 hatched; 8 hens and 6 cocks grown; the cocks to the table."""

    def after(days: int) -> date:
        return set_on + timedelta(days=days)

    yield said("eggs_received", after(-1), source="friend", eggs=26, broken=1, cost=15)
    yield said("eggs_set", f"{set_on}T20:00+00:00", hatch=hatch, eggs=24, place="incubator",
               source="friend")  # fmt: skip
    yield said("eggs_candled", after(7), hatch=hatch, clear=3, dead=1)
    yield said("turning_stopped", after(14), hatch=hatch)
    yield said("chicks_hatched", after(17), hatch=hatch, chicks=11)
    yield said("chicks_hatched", after(18), hatch=hatch, chicks=4)
    yield said("group", after(18), group=hatch, place="brooder", hatch=hatch)
    yield said("eggs_opened", after(21), hatch=hatch, early=2, late=3)
    yield said("hatch_closed", after(21), hatch=hatch)
    yield said("birds_died", after(20), group=hatch, chicks=1, found="chilled")
    yield said("birds_moved", after(46), group=hatch, place="west pen")
    yield said("birds_sexed", after(46), group=hatch, hens=8, cocks=6)
    yield said("birds_processed", after(57), group=hatch, cocks=6, live_g=1200)


def said(kind: str, at: date | str, **fields: Any) -> Line:
    return {"kind": kind, "id": str(uuid.uuid5(uuid.NAMESPACE_OID, f"{kind} {at} {fields}")),
            "at": str(at), **fields}  # fmt: skip


@pytest.fixture
def imported(quail: Quail, tmp_path: Path) -> Quail:
    """A terminal with the year imported, in an order that is not that of time."""
    lines = sorted(a_year(), key=lambda line: line["id"])
    text = "".join(json.dumps(line) + "\n" for line in lines)
    (tmp_path / "year.jsonl").write_text(text)
    answer = quail("journal", "import", "year.jsonl")
    assert answer.code == 0, answer.err
    assert answer.out == f"{len(lines)} entries kept, 0 were in the journal already.\n"
    return quail


def test_what_stands_after_the_year(imported: Quail) -> None:
    stands = imported("flock", "--on", str(LAST), "--json").json
    # 16 hens less 2, and 8 of each hatch; the cocks of the hatches went to the table, the last of
    # them on this very day
    assert stands["totals"] == {"hens": 14 + 8 + 8, "cocks": 4, "chicks": 0, "birds": 34}
    days = [FIRST + timedelta(days=n) for n in range((LAST - FIRST).days + 1)]
    assert stands["eggs"]["on_hand"] == sum(map(laid, days)) - sum(map(eaten, days)) - 30
    months = sum(day.day == 1 for day in days)
    [feed] = stands["feeds"]
    assert feed["kg"] == pytest.approx(3 * months)
    assert stands["money"]["feed"] == pytest.approx(-18.5 * months)
    assert stands["money"]["hatching eggs"] == pytest.approx(-2 * 15)
    assert [place["place"] for place in stands["places"]][:4] == [
        "incubator", "brooder", "east pen", "west pen",
    ]  # fmt: skip
    incubator = stands["places"][0]
    assert [(h["hatch"], h["alive"]) for h in incubator["hatches"]] == [("april", 30)]
    assert stands["kept_contradictions"] == 0
    assert imported("journal", "check").code == 0


def test_what_to_do_after_the_year(imported: Quail) -> None:
    the_round = imported("today", "--on", str(LAST), "--json").json
    walk = [place["place"] for place in the_round["places"]]
    assert walk[:3] == ["incubator", "east pen", "west pen"]
    at = {place["place"]: {t["rule"]: t for t in place["tasks"]} for place in the_round["places"]}
    # Day 7 of the hatch set on 25 April at 20:00.
    assert at["incubator"]["candle_first"]["due"] == "2027-05-02T20:00:00+01:00"
    assert at["incubator"]["candle_first"]["count"] == "day 7, the 8th day"
    assert "feed_water" not in at["east pen"]
    assert "collect_eggs" not in at["east pen"]
    assert {"feed_water", "drinker_clean", "look_count"} <= set(at["west pen"])
    text = imported("today", "--on", str(LAST)).out
    assert text.startswith("Hill garden: Sunday 2 May 2027\nAbout ")
    assert "day 7, the 8th day; due Sun 2 May 20:00" in text


def test_the_past_is_answered_from_the_entries_up_to_then(imported: Quail) -> None:
    stands = imported("flock", "--on", "2026-07-23", "--json").json
    assert stands["totals"] == {"hens": 16, "cocks": 4, "chicks": 15, "birds": 35}
    early = imported("today", "--on", "2026-07-18", "--json").json
    rules = {task["rule"] for place in early["places"] for task in place["tasks"]}
    assert "turn_eggs" not in rules
    assert "machine_check" in rules


def test_importing_the_year_again_changes_nothing(imported: Quail) -> None:
    before = imported("journal", "export").out
    again = imported("journal", "import", "year.jsonl", "--json").json
    assert again == {"written": 0, "already": len(before.splitlines())}
    assert imported("journal", "export").out == before


def test_a_slip_found_at_the_end_of_the_year_is_taken_back(imported: Quail) -> None:
    was = imported("flock", "--on", str(LAST), "--json").json
    wrong = next(
        line for line in a_year() if line["kind"] == "birds_died" and line["group"] == "layers"
    )
    right = wrong | {"id": str(uuid.UUID(int=7)), "hens": 1}
    answer = imported(
        "log", "retract", f"entry={wrong['id']}", "why=one was only hiding",
        f"at={LAST}", f"instead={json.dumps(right)}",
    )  # fmt: skip
    assert answer.code == 0, answer.err
    now = imported("flock", "--on", str(LAST), "--json").json
    assert now["totals"]["hens"] == was["totals"]["hens"] + 1
    yesterday = str(LAST - timedelta(days=1))
    assert imported("flock", "--on", yesterday, "--json").json["totals"]["hens"] == 30
