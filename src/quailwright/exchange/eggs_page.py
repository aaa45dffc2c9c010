"""Eggs for a page: laid by week and by group or place, the rate of lay, and where they went."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import get_args

from quailwright.exchange.journal_told import lines
from quailwright.flock.cohorts import birds_on, group_history
from quailwright.flock.planned import sets_in
from quailwright.flock.standing import standing
from quailwright.flock.state import EggLot, Flock, Group, SetToDo
from quailwright.guide.occasions import may_lay
from quailwright.husbandry import facts
from quailwright.husbandry.age import DAYS_A_WEEK
from quailwright.journal.entries import EggsOut, EggsUse, Entry, Retract
from quailwright.journal.moments import has_happened
from quailwright.language import figure, say, say_many

WEEKS_TO_CHOOSE = (4, 8, 13, 26)
USUAL_WEEKS = 8
STORED_UP_TO = "incubation.storage_best_days"
"""The figure of how old eggs to set may be."""

_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Lay:
    """Eggs a hen a day. `low` counts every day, `high` only those on which eggs were counted."""

    low: float
    high: float

    @property
    def words(self) -> str:
        """`0.81`, or `0.70 to 0.81` where days were not counted."""
        low, high = figure(self.low, ".2f"), figure(self.high, ".2f")
        return low if low == high else say("{low} to {high}", low=low, high=high)


@dataclass(frozen=True, slots=True)
class EggWeek:
    """Seven days of eggs, of all that was asked for.

    Attributes:
        first, last: the days.
        eggs: counted, None where no day was; `cracked` of them.
        days: on which eggs were counted.
        by: eggs by name of group or place, None where none was counted.
        lay: eggs a hen a day, of groups whose hens are known; None where there are none.
        set_to_hatch, out, on_hand, withheld: what became of this week's eggs by now.
    """

    first: date
    last: date
    eggs: int | None
    cracked: int
    days: int
    by: Mapping[str, int | None]
    lay: Lay | None
    set_to_hatch: int
    out: int
    on_hand: int
    withheld: int

    @property
    def whole(self) -> bool:
        """Whether eggs were counted on each of its days."""
        return self.days == DAYS_A_WEEK


@dataclass(frozen=True, slots=True)
class EggsPage:
    """What the page of eggs shows.

    Attributes:
        weeks: oldest first; `names`: of the groups or places in them.
        hens_known: whether every group that laid has its hens known, so that `lay` is of all.
        goal: eggs wanted a week, or None.
        on_hand, withheld: in the store now; `to_set`: of the others, fresh enough to set.
        fresh_days: how old those may be.
        keep: planned sets of own eggs, to be put aside for.
        used: eggs that left the store in these weeks, by use.
        layers: groups that may be laying now, to log eggs of.
    """

    weeks: list[EggWeek]
    names: list[str]
    hens_known: bool
    goal: float | None
    on_hand: int
    withheld: int
    to_set: int
    fresh_days: int
    keep: list[SetToDo]
    used: list[tuple[EggsUse, int]]
    layers: list[Group]

    @property
    def total(self) -> int:
        """Eggs of all these weeks."""
        return sum(week.eggs or 0 for week in self.weeks)

    @property
    def cracked(self) -> int:
        """Of these, cracked or soft."""
        return sum(week.cracked for week in self.weeks)

    @property
    def set_to_hatch(self) -> int:
        """Of these, set to hatch."""
        return sum(week.set_to_hatch for week in self.weeks)

    @property
    def answer(self) -> str:
        """The last week in a sentence, then what it is to be held against."""
        newest = self.weeks[-1]
        if newest.eggs is None:
            return say("No eggs are written down for these seven days.")
        counted = say_many(
            "{n} egg in the last seven days counted.",
            "{n} eggs in the last seven days counted.",
            newest.eggs,
        )
        return " ".join([counted, *self.beside])

    @property
    def beside(self) -> list[str]:
        """The week before, what is wanted, and days not counted, a sentence each."""
        newest, before = self.weeks[-1], self.weeks[-2]
        said = []
        if before.eggs is not None:
            said.append(say("The seven days before: {eggs}.", eggs=before.eggs))
        if self.goal:
            said.append(say("Wanted: {eggs:g} a week.", eggs=self.goal))
        if newest.eggs is not None and not newest.whole:
            said.append(
                say_many(
                    "Eggs were counted on {n} day of the seven.",
                    "Eggs were counted on {n} days of the seven.",
                    newest.days,
                )
            )
        return said


def eggs_page(
    flock: Flock, on: date, entries: Iterable[Entry], now: datetime, by: str, weeks: int, of: str
) -> EggsPage:
    """The eggs of the last weeks, up to the last day that is over or was counted.

    Args:
        flock: folded up to `now`, on the day `on`.
        entries: of these weeks at least (`Desk.since`).
        by: "place" or "group".
        weeks: how many, 2 or more.
        of: the one group or place that is asked for; "" for all.
    """
    last = _last_day(flock, on)
    first = last - timedelta(days=weeks * DAYS_A_WEEK - 1)
    lots = [lot for lot in flock.lots.values() if first <= lot.laid <= last]
    named = {name: _name(flock, name, by) for name in {lot.group for lot in lots}}
    layers = [group for group in flock.groups_alive() if may_lay(group, on)]
    names = sorted({*named.values(), *(_name(flock, group.name, by) for group in layers)})
    shown = [of] if of in names else names
    lots = [lot for lot in lots if named[lot.group] in shown]
    hens = {group: _hens(flock, group, first, last) for group in {lot.group for lot in lots}}
    begins = _counted_first(flock, hens)
    stands = standing(flock, on)
    fresh_days = round(facts.value(STORED_UP_TO))
    return EggsPage(
        [
            _week(flock, lots, named, shown, hens, begins, start)
            for start in (first + timedelta(days=n * DAYS_A_WEEK) for n in range(weeks))
        ],
        names,
        all(each is not None for group in hens.values() for each in group.values()),
        None if of or flock.goal is None else flock.goal.eggs_per_week,
        stands.eggs["on_hand"],
        stands.eggs["withheld"],
        sum(lot.eggs for lot in stands.lots if not lot.withheld and lot.age_days <= fresh_days),
        fresh_days,
        [one for one in sets_in(flock, on, "due", "ahead") if one.group is not None],
        used_since(entries, first, now, flock.zone),
        layers,
    )


def weeks_asked(text: str) -> int:
    """One of `WEEKS_TO_CHOOSE`, from an address."""
    return next((weeks for weeks in WEEKS_TO_CHOOSE if str(weeks) == text), USUAL_WEEKS)


def first_day(flock: Flock, on: date, weeks: int) -> date:
    """The first of so many weeks as `eggs_page` takes them."""
    return _last_day(flock, on) - timedelta(days=weeks * DAYS_A_WEEK - 1)


def used_since(
    entries: Iterable[Entry], first: date, now: datetime, zone_name: str
) -> list[tuple[EggsUse, int]]:
    """Eggs that left the store from a day on, by use, in the order of the kind's own choices."""
    # Two clocks are never two days apart.
    near = (first - _DAY).isoformat()
    telling = (
        one
        for one in entries
        if type(one) is Retract or (type(one) is EggsOut and one.at[:10] >= near)
    )
    told = lines(telling, zone_name)
    used: dict[EggsUse, int] = dict.fromkeys(get_args(EggsUse), 0)
    for line in told:
        gone = line.entry
        if (
            isinstance(gone, EggsOut)
            and line.taken_back is None
            and line.day >= first.isoformat()
            and has_happened(gone.at, now, zone_name)
        ):
            used[gone.use] += gone.eggs
    return [(use, eggs) for use, eggs in used.items() if eggs]


def _last_day(flock: Flock, on: date) -> date:
    """Today where its eggs are counted already, else yesterday."""
    todays = (flock.lots.get((on, group)) for group in flock.groups)
    return on if any(lot is not None and lot.counts for lot in todays) else on - _DAY


def _name(flock: Flock, group: str, by: str) -> str:
    """The name under which a group's eggs are told: its own, or that of where it lives now."""
    known = flock.groups.get(group)
    return known.place if by == "place" and known is not None else group


def _counted_first(flock: Flock, groups: Collection[str]) -> dict[str, date]:
    """The day on which the eggs of each of these groups were counted first."""
    begins: dict[str, date] = {}
    for (laid, group), lot in flock.lots.items():
        if group in groups and lot.counts and laid < begins.get(group, date.max):
            begins[group] = laid
    return begins


def _hens(flock: Flock, group: str, first: date, last: date) -> dict[date, float | None]:
    """Hens of a group by day; None while it holds birds that nobody has sexed, or is not known."""
    days = [first + timedelta(days=n) for n in range((last - first).days + 1)]
    if group not in flock.groups:
        return dict.fromkeys(days)
    there = birds_on(group_history(flock.groups[group], last), days)
    return {
        day: None if any(c.chicks for c in cohorts) else sum(c.hens for c in cohorts)
        for day, cohorts in zip(days, there, strict=True)
    }


def _week(
    flock: Flock,
    lots: Sequence[EggLot],
    named: Mapping[str, str],
    names: Sequence[str],
    hens: Mapping[str, Mapping[date, float | None]],
    begins: Mapping[str, date],
    first: date,
) -> EggWeek:
    last = first + timedelta(days=DAYS_A_WEEK - 1)
    laid = [lot for lot in lots if first <= lot.laid <= last]
    counted = [lot for lot in laid if lot.counts]
    by: dict[str, int | None] = dict.fromkeys(names)
    for lot in counted:
        by[named[lot.group]] = (by[named[lot.group]] or 0) + lot.collected
    return EggWeek(
        first,
        last,
        sum(lot.collected for lot in counted) if counted else None,
        sum(lot.cracked for lot in counted),
        len({lot.laid for lot in counted}),
        by,
        _lay(counted, hens, begins, first, last),
        sum(lot.set_to_hatch for lot in laid),
        sum(lot.out for lot in laid),
        sum(max(0, lot.on_hand) for lot in laid),
        sum(
            max(0, lot.on_hand)
            for lot in laid
            if flock.withheld_on(lot.group, lot.laid) is not None
        ),
    )


def _lay(
    counted: Sequence[EggLot],
    hens: Mapping[str, Mapping[date, float | None]],
    begins: Mapping[str, date],
    first: date,
    last: date,
) -> Lay | None:
    """Eggs a hen a day (hen-day lay) of the groups whose hens are known on each of these days."""
    eggs, on_counted_days, on_all_days = 0, 0.0, 0.0
    for group in {lot.group for lot in counted}:
        lots = [lot for lot in counted if lot.group == group]
        begin = max(first, begins[group])
        week = [begin + timedelta(days=n) for n in range((last - begin).days + 1)]
        there = [hens[group][day] for day in week]
        if any(each is None for each in there):
            continue
        eggs += sum(lot.collected for lot in lots)
        on_counted_days += sum(hens[group][lot.laid] or 0.0 for lot in lots)
        on_all_days += sum(each or 0.0 for each in there)
    if on_counted_days <= 0:
        return None
    return Lay(eggs / max(on_all_days, on_counted_days), eggs / on_counted_days)
