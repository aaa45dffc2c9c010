"""An invented journal of any size, the same for the same seed: what the benchmarks read.

A holding with daylight saving, layers in pens, a hatch each month, two people with phones and a
notebook. Nothing in it contradicts itself, so that it imports. It is made for its mixture of
entries and not for its biology; the demo flock is the place to see a likely flock.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from random import Random
from typing import Any
from zoneinfo import ZoneInfo

import msgspec

from quailwright.journal.entries import AnyEntry, Entry
from quailwright.journal.ids import NOISE_BYTES, new_id

FIRST_DAY = date(2017, 1, 2)
TEN_YEARS = 3652
SMALL, LARGE = 2, 8
"""Pens of layers that give about 36,000 and somewhat over 100,000 entries in ten years."""

_ZONE = ZoneInfo("Europe/Lisbon")
_PEOPLE = ("Ana", "Rui", "")
_HATCH_EVERY, _HOUSED, _SEXED, _TO_PEN = 30, 18, 46, 60
_INCUBATION = (
    ("candled", 7),
    ("candled", 13),
    ("stopped", 15),
    ("hatched", 17),
    ("housed", _HOUSED),
)
_SET = 24


def invented_journal(
    pens: int, seed: int = 1, days: int = TEN_YEARS, first: date = FIRST_DAY
) -> list[Entry]:
    """The journal of so many pens over so many days, in the order in which it was written."""
    keeper = _Keeper(Random(seed), pens, first)
    for day in range(days):
        keeper.live(day)
    return keeper.journal


@dataclass
class _Brood:
    name: str
    set_on: int
    eggs: int
    chicks: int = 0
    hens: int = 0


class _Keeper:
    def __init__(self, rng: Random, pens: int, first: date) -> None:
        self.journal: list[Entry] = []
        self._rng = rng
        self._first = self._day = first
        self._hens = {f"pen-{number}": 12 for number in range(1, pens + 1)}
        self._cocks = 2
        self._eggs_in_store = 0
        self._broods: list[_Brood] = []
        self._begin()

    def _write(self, kind: str, clock: str = "", **fields: Any) -> None:
        """An entry of the day, or of a clock time there; somebody notes who they are."""
        rng, at = self._rng, self._day.isoformat()
        if clock:
            hour, minute = clock.split(":")
            local = datetime.combine(self._day, time(int(hour), int(minute)), tzinfo=_ZONE)
            local += timedelta(minutes=rng.randrange(20))
            at = local.isoformat(timespec="minutes")
        written = datetime.combine(self._day, time(21), tzinfo=UTC)
        plain = {
            "kind": kind,
            "id": new_id(written, rng.randbytes(NOISE_BYTES)),
            "at": at,
            "by": rng.choice(_PEOPLE),
            **fields,
        }
        entry: Entry = msgspec.convert(plain, AnyEntry)
        self.journal.append(entry)

    def _begin(self) -> None:
        self._write("holding", timezone=_ZONE.key, units="metric", latitude=38.7, longitude=-9.1)
        self._write("source", source="creek-farm", route="shipped", price_per_egg=0.6)
        self._write("place", place="incubator", role="incubator", capacity_eggs=48)
        self._write("place", place="brooder", role="brooder", floor_m2=0.8, heater_w=100)
        self._write("feed", feed="layer", protein_pct=20.0, bag_kg=20.0, stage="layer")
        self._write("feed", feed="starter", protein_pct=26.0, bag_kg=10.0, stage="starter")
        self._write("goal", eggs_per_week=60)
        for order, pen in enumerate(self._hens, start=1):
            self._write("place", place=pen, role="pen", floor_m2=1.2, walk_order=order)
            self._write("group", group=pen, place=pen, hens=self._hens[pen], cocks=self._cocks)

    def live(self, number: int) -> None:
        """Writes what happens on the day of that number."""
        self._day = self._first + timedelta(days=number)
        if number == 0:
            return
        self._kitchen(number)
        for pen in self._hens:
            self._round_of(pen, number)
        self._feed(number)
        for brood in list(self._broods):
            self._tend(brood, number - brood.set_on)
        if number % _HATCH_EVERY == 1:
            self._set(number)

    def _kitchen(self, number: int) -> None:
        eaten = min(self._eggs_in_store, self._rng.randint(6, 20 * len(self._hens)))
        if eaten and number % 2:
            self._eggs_in_store -= eaten
            self._write("eggs_out", use="eaten", eggs=eaten)
        elif eaten:
            self._eggs_in_store -= eaten
            self._write("eggs_out", "18:00", use="sold", eggs=eaten, income=round(0.3 * eaten, 2))

    def _round_of(self, pen: str, number: int) -> None:
        rng = self._rng
        eggs = sum(rng.random() < 0.8 for _ in range(self._hens[pen]))
        self._eggs_in_store += eggs
        cracked = int(eggs > 0 and rng.random() < 0.1)
        if rng.random() < 0.8:
            self._write("eggs_collected", "08:10", group=pen, eggs=eggs, cracked=cracked)
        else:
            self._write("eggs_collected", group=pen, eggs=eggs, cracked=cracked)
        self._write("care", "08:00", task="feed_water", place=pen)
        if rng.random() < 0.7:
            self._write("care", task="drinker_clean", place=pen, minutes=1)
        if rng.random() < 0.2:
            self._write("care", "17:30", task="trays", place=pen, note="with fresh bedding")
        if number % 60 == 0:
            self._write("care", task="wash", place=pen, minutes=75)
        if rng.random() < 0.005:
            self._write("care", "08:00", task="feed_water", place=pen)
            self._write("retract", "08:30", entry=self.journal[-1].id, why="ticked twice")
        if rng.random() < 0.004 and self._hens[pen] > 4:
            self._hens[pen] -= 1
            self._write("birds_died", "07:50", group=pen, hens=1, found="unknown")
        if number % 28 == 0:
            self._write("birds_weighed", group=pen, birds=5, total_g=rng.randint(900, 1200))
            self._write("birds_counted", group=pen, hens=self._hens[pen])

    def _feed(self, number: int) -> None:
        birds = sum(self._hens.values())
        self._write("feed_given", "08:20", feed="layer", kg=round(0.03 * birds, 2))
        if number % 14 == 1:
            self._write("feed_bought", feed="layer", kg=20.0 * len(self._hens), cost=14.5)
        if number % 90 == 0:
            self._write("feed_counted", feed="layer", kg=12.0)
            self._write("money", amount=-8.5, category="bedding")

    def _set(self, number: int) -> None:
        name = f"hatch-{number}"
        self._write("eggs_received", source="creek-farm", eggs=_SET, lot=name, cost=14.4)
        self._write("eggs_set", "20:00", hatch=name, eggs=_SET, place="incubator",
                    source="creek-farm", lot=name)  # fmt: skip
        self._broods.append(_Brood(name, number, _SET))

    def _tend(self, brood: _Brood, age: int) -> None:
        rng, name = self._rng, brood.name
        for step in _steps(age):
            if step == "candled":
                clear, dead = rng.randint(0, 3), rng.randint(0, 1)
                brood.eggs -= clear + dead
                self._write("eggs_candled", "19:00", hatch=name, clear=clear, dead=dead)
                self._write("eggs_weighed", "19:05", hatch=name, eggs=10, total_g=108.5)
            elif step == "stopped":
                self._write("turning_stopped", "19:30", hatch=name)
            elif step == "hatched":
                brood.chicks = brood.eggs - rng.randint(0, 5)
                self._write("chicks_hatched", "06:30", hatch=name, chicks=brood.chicks)
            elif step == "housed":
                self._write("group", "09:00", group=name, place="brooder", hatch=name)
                self._write("hatch_closed", hatch=name, note="shells out, machine washed")
        if _HOUSED < age < _TO_PEN:
            self._write("care", "07:40", task="brooder_feed_water", place="brooder")
            self._lose_a_chick(brood)
        if age == _SEXED:
            brood.hens = brood.chicks // 2
            self._write("birds_sexed", "16:00", group=name, hens=brood.hens,
                        cocks=brood.chicks - brood.hens)  # fmt: skip
        elif age == _TO_PEN:
            self._to_pen(brood)

    def _lose_a_chick(self, brood: _Brood) -> None:
        if not brood.hens and brood.chicks > 6 and self._rng.random() < 0.02:
            brood.chicks -= 1
            self._write("birds_died", "07:45", group=brood.name, chicks=1, found="chilled")

    def _to_pen(self, brood: _Brood) -> None:
        """The pen with the fewest hens is emptied for the young ones; young cocks are sold."""
        pen = min(self._hens, key=lambda name: self._hens[name])
        cocks = brood.chicks - brood.hens
        self._write("birds_out", "10:00", group=brood.name, use="sold", cocks=cocks, income=18.0)
        old = self._hens[pen] - 2
        self._write("birds_processed", "11:00", group=pen, hens=old, dressed_g=140.0 * old)
        self._write("birds_moved", "12:00", group=brood.name, place=pen, to_group=pen)
        self._hens[pen] = 2 + brood.hens
        self._broods.remove(brood)


def _steps(age: int) -> Iterator[str]:
    return (step for step, due in _INCUBATION if due == age)
