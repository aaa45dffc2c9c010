"""Briefs for plans, invented, from easy to impossible, and what the simulator needs of each.

A brief is written as TOML, and read by the program as any keeper's; the study itself never looks at
what the program makes of it.
"""

from dataclasses import dataclass
from datetime import date, timedelta

import msgspec
import numpy as np
from numpy.random import Generator
from studies.simulated_nature import Floats
from studies.simulated_plan import WEEK, Held, Limits

from quailwright.journal.entries import AnyEntry, Entry

KINDS = (
    "easy",
    "lamp",
    "tight",
    "birds there",
    "no lamp, summer",
    "dear",
    "winter without lamp",
    "many limits",
    "two pens there",
    "too small or too early",
)
"""The kinds, in the order in which they come. In the last no plan can do it, in some others few."""


@dataclass(frozen=True)
class Seller:
    """Where eggs can be had."""

    name: str
    route: str
    price: float
    postage: float
    least: int
    most: int | None


@dataclass(frozen=True)
class Machine:
    """An incubator or a hatcher."""

    name: str
    role: str
    eggs: int


@dataclass(frozen=True)
class Invented:
    """A brief in figures. None where nothing is said."""

    number: int
    kind: str
    on: date
    first: date
    last: date
    latitude: float
    lamp_h: float | None
    eggs_a_week: int
    table_a_month: int
    certainty: float
    sellers: tuple[Seller, ...]
    machines: tuple[Machine, ...]
    brooder_m2: float | None
    pen_m2: float | None
    absences: tuple[tuple[date, date], ...]
    no_hatching: tuple[int, int] | None
    budget: float | None
    minutes_a_day: float | None
    most_birds: int | None
    keep_until_w: int | None
    feed_per_kg: float
    minute: float
    kwh: float
    bedding: float
    held: tuple[Held, ...] = ()

    @property
    def weeks(self) -> int:
        """Weeks from tomorrow to the end of the goal."""
        return -(-(self.last - self.on).days // WEEK)

    @property
    def wanted(self) -> Floats:
        """Eggs wanted in each week ahead; nothing where the goal holds for a part of the week."""
        eggs = np.zeros(self.weeks)
        for week in range(self.weeks):
            begins = self.on + timedelta(days=1 + WEEK * week)
            if self.first <= begins and begins + timedelta(days=WEEK - 1) <= self.last:
                eggs[week] = self.eggs_a_week
        return eggs

    @property
    def routes(self) -> dict[str, str]:
        """The way of the eggs by source; groups with cocks lay eggs to set as well."""
        own = {g.group: "own" for g in self.held if g.hens and g.cocks}
        return {one.name: one.route for one in self.sellers} | own

    @property
    def limits(self) -> Limits:
        """Limits that dates and sizes alone can break."""
        return Limits(
            {m.name: m.eggs for m in self.machines if m.role == "incubator"},
            sum(m.eggs for m in self.machines if m.role == "hatcher"),
            self.absences,
            self._days_without_hatching(),
        )

    def _days_without_hatching(self) -> list[tuple[date, date]]:
        if self.no_hatching is None:
            return []
        first, last = self.no_hatching
        spans = []
        for year in range(self.on.year - 1, self.last.year + 1):
            ends = year + (last < first)
            following = date(ends + last // 12, last % 12 + 1, 1)
            spans.append((date(year, first, 1), following - timedelta(days=1)))
        return spans

    def toml(self) -> str:
        """The brief as a keeper writes it."""
        lines = [
            "[goal]",
            f"eggs_per_week = {self.eggs_a_week}",
            f"from = {self.first}",
            f"until = {self.last}",
            f"certainty = {self.certainty}",
        ]
        if self.table_a_month:
            lines.append(f"table_birds_per_month = {self.table_a_month}")
        lines += ["[limits]", f"lamp = {self.lamp_h or 'false'}"]
        for name, value in (
            ("budget_per_month", self.budget),
            ("minutes_per_day", self.minutes_a_day),
            ("max_birds", self.most_birds),
            ("keep_hens_until_weeks", self.keep_until_w),
        ):
            if value is not None:
                lines.append(f"{name} = {value}")
        if self.absences:
            spans = ", ".join(f'["{first}", "{last}"]' for first, last in self.absences)
            lines.append(f"absences = [{spans}]".replace('"', ""))
        if self.no_hatching is not None:
            first_month, last_month = self.no_hatching
            lines.append(f'no_hatching = [["{first_month:02d}", "{last_month:02d}"]]')
        lines += [
            "[prices]",
            f"feed_per_kg = {self.feed_per_kg}",
            f"minute = {self.minute}",
            f"kwh = {self.kwh}",
            f"bedding_per_month = {self.bedding}",
            "[holding]",
            'name = "home"',
            f"latitude = {self.latitude}",
        ]
        for machine in self.machines:
            lines += [
                "[[place]]",
                f'place = "{machine.name}"',
                f'role = "{machine.role}"',
                f"capacity_eggs = {machine.eggs}",
            ]
        for role, floor in (("brooder", self.brooder_m2), ("pen", self.pen_m2)):
            if floor is not None:
                lines += ["[[place]]", f'place = "the {role}"', f'role = "{role}"']
                lines.append(f"floor_m2 = {floor}")
        for one in self.sellers:
            lines += [
                "[[source]]",
                f'source = "{one.name}"',
                f'route = "{one.route}"',
                f"price_per_egg = {one.price}",
                f"postage = {one.postage}",
                f"least_eggs = {one.least}",
            ]
            if one.most is not None:
                lines.append(f"most_eggs = {one.most}")
        return "\n".join(lines) + "\n"

    def journal(self) -> list[Entry]:
        """The few entries of a keeper who has birds, or of one who has none."""
        entries = [
            _entry(
                1,
                "holding",
                self.on - timedelta(days=90),
                name="home",
                latitude=self.latitude,
                # Who has birds under a lamp says so, else the program cannot know it of the past.
                **({"light_target_h": self.lamp_h} if self.lamp_h and self.held else {}),
            )
        ]
        for number, group in enumerate(self.held):
            came = self.on
            entries.append(
                _entry(
                    2 + number,
                    "group",
                    came,
                    group=group.group,
                    place=f"pen of {group.group}",
                    hens=group.hens,
                    cocks=group.cocks,
                    hatched_on=(self.on + timedelta(days=group.hatched)).isoformat(),
                )
            )
        return entries


def _entry(number: int, kind: str, at: date, **fields: object) -> Entry:
    plain = {"id": f"{number:08x}-0000-4000-8000-{number:012x}", "kind": kind}
    entry: Entry = msgspec.convert({**plain, "at": at.isoformat(), **fields}, AnyEntry)
    return entry


def invent(number: int, seed: int) -> Invented:
    """Brief `number` of a seed."""
    rng = np.random.default_rng([seed, number])
    kind = KINDS[number % len(KINDS)]
    on = date(2027, 1, 1) + timedelta(days=int(rng.integers(0, 365)))
    away = rng.uniform(0.0, 58.0)
    latitude = round(float(-away if rng.random() < 0.4 else away), 1)
    lamp: float | None = float(rng.choice((14.0, 15.0, 16.0)))
    eggs = int(np.exp(rng.uniform(np.log(20.0), np.log(250.0))))
    table = int(rng.integers(1, 13)) if rng.random() < 0.4 else 0
    lead_w = int(rng.integers(15, 25))
    span_w = int(rng.integers(18, 60))
    certainty = round(float(rng.uniform(0.6, 0.95)), 2)
    tight = kind in ("tight", "many limits")
    held: tuple[Held, ...] = ()
    if kind in ("no lamp, summer", "winter without lamp"):
        lamp = None
        away = rng.uniform(38.0, 58.0)
        latitude = round(float(-away if rng.random() < 0.4 else away), 1)
    if kind == "no lamp, summer":
        # The goal holds in the long days only: from a month after the equinox to the summer's end.
        year = 2028
        begins, ends = ((5, 1), (8, 10)) if latitude > 0 else ((11, 1), (2, 10))
        first = date(year, *begins)
        last = date(year + (ends < begins), *ends)
        on = first - timedelta(weeks=int(rng.integers(17, 26)))
    elif kind == "winter without lamp":
        middle = date(2028, 12, 21) if latitude > 0 else date(2028, 6, 21)
        on = middle - timedelta(weeks=int(rng.integers(30, 50)))
        first = middle - timedelta(weeks=int(rng.integers(4, 12)))
        last = middle + timedelta(weeks=int(rng.integers(6, 20)))
    else:
        first = on + timedelta(weeks=lead_w)
        last = min(first + timedelta(weeks=span_w), on + timedelta(weeks=104))
    if kind in ("birds there", "two pens there"):
        hens = max(2, int(eggs / 6.0 * rng.uniform(0.3, 1.2)))
        cocks = max(1, round(hens / 4.0))
        held = (Held("old pen", -int(rng.integers(70, 250)), hens, cocks),)
        if kind == "two pens there":
            held = (*held, Held("young pen", -int(rng.integers(56, 80)), max(2, hens // 2), 1))
        first = on + timedelta(weeks=int(rng.integers(2, 16)))
        last = first + timedelta(weeks=span_w)
    wrong = "" if kind != KINDS[-1] else str(rng.choice(("early", "brooder", "machine", "birds")))
    if wrong == "early":
        first = on + timedelta(weeks=int(rng.integers(3, 9)))
    laying = eggs / 5.6
    need = max(14.0, 2.2 * laying / 0.6)
    room = need * (0.45 if tight else rng.uniform(0.9, 2.0))
    if wrong == "machine":
        room = max(6.0, need * 0.06)
    machines = _machines(rng, room)
    brooder, pen = _floors(rng, laying, table, tight, wrong)
    dear = kind == "dear" or kind == "many limits"
    budget = round(float(laying * 3.2 * rng.uniform(1.0, 2.2) + 40.0)) if dear else None
    minutes = round(float(15.0 + laying * 0.2 * rng.uniform(1.0, 2.0))) if dear else None
    absences: tuple[tuple[date, date], ...] = ()
    no_hatching = None
    if kind in ("tight", "many limits") or rng.random() < 0.3:
        away_on = on + timedelta(days=int(rng.integers(20, 200)))
        absences = ((away_on, away_on + timedelta(days=int(rng.integers(5, 22)))),)
    if kind == "many limits" or rng.random() < 0.2:
        month = int(rng.integers(1, 13))
        no_hatching = (month, month % 12 + 1)
    return Invented(
        number,
        kind,
        on,
        first,
        last,
        latitude,
        lamp,
        eggs,
        table,
        certainty,
        _sellers(rng, kind),
        machines,
        brooder,
        pen,
        absences,
        no_hatching,
        budget,
        minutes,
        int(1.8 * laying) if wrong == "birds" else int(7 * laying + 30) if tight else None,
        int(rng.integers(45, 70)) if rng.random() < 0.3 else None,
        round(float(rng.uniform(0.6, 1.6)), 2),
        round(float(rng.choice((0.0, 0.05, 0.1, 0.15))), 2),
        round(float(rng.uniform(0.15, 0.4)), 2),
        round(float(rng.uniform(2.0, 6.0)), 1),
        held,
    )


def _machines(rng: Generator, room: float) -> tuple[Machine, ...]:
    sizes = np.array([6, 12, 24, 42, 48, 60, 96, 120, 180, 240, 360])
    fits = int(sizes[np.argmin(np.abs(sizes - room))])
    kind = rng.random()
    if kind < 0.4:
        return (Machine("box", "incubator", fits),)
    if kind < 0.65:
        return (Machine("box", "incubator", fits), Machine("hatcher", "hatcher", fits))
    half = int(sizes[np.argmin(np.abs(sizes - 0.6 * room))])
    two = (Machine("left box", "incubator", fits), Machine("right box", "incubator", half))
    return two if kind < 0.9 else (*two, Machine("hatcher", "hatcher", fits))


def _floors(
    rng: Generator, hens: float, table: int, tight: bool, wrong: str
) -> tuple[float | None, float | None]:
    more = 1.15 if tight else rng.uniform(1.6, 4.0)
    brooder: float | None = round(float(2.4 * hens * 0.025 * more + 0.1), 2)
    pen: float | None = round(float((hens * 1.35 + table) * 0.1 * more + 0.5), 1)
    if wrong == "brooder":
        brooder = max(0.05, round(0.06 * hens * 0.025 * 2.4, 2))
    elif not tight and rng.random() < 0.4:
        brooder = pen = None
    return brooder, pen


def _sellers(rng: Generator, kind: str) -> tuple[Seller, ...]:
    names = ("creek farm", "hill farm", "post of the coast")
    number = int(rng.integers(1, 4))
    found = []
    for name in names[:number]:
        shipped = name == names[2] or rng.random() < 0.25
        found.append(
            Seller(
                name,
                "shipped" if shipped else "collected",
                round(float(rng.uniform(0.25, 1.0)), 2),
                round(float(rng.uniform(6.0, 14.0)), 1) if shipped else 0.0,
                int(rng.choice((1, 6, 12, 24))) if shipped else 1,
                int(rng.integers(30, 100)) if kind == "many limits" else None,
            )
        )
    return tuple(found)
