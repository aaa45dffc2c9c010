"""A week of paper typed back: one cell a day and group, all written at once or not at all.

The id of each entry is made from the form's own id and its cell, so that a form sent twice writes
once.
"""

import re
import uuid
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from quailwright.exchange.record import typed_entry
from quailwright.flock.state import CLASSES, Flock, Group
from quailwright.guide import wording
from quailwright.guide.occasions import may_lay
from quailwright.husbandry.age import DAYS_A_WEEK
from quailwright.journal.entries import Entry
from quailwright.journal.findings import BadInput, Finding
from quailwright.language import say

MOST_DEATHS = 4
"""Rows for deaths: a week with more is one to write down one by one."""
MOST_COLUMNS = 20
"""Groups, feeds and places with water in one form: a form of ours has at most 200 fields."""


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell: its field's name, and what the journal holds already (None: nothing)."""

    name: str
    logged: float | None = None
    open: bool = True


@dataclass(frozen=True, slots=True)
class Day:
    """A row: the day, and a cell for each column."""

    day: date
    eggs: list[Cell]
    feed: list[Cell]
    water: list[Cell]


@dataclass(frozen=True, slots=True)
class WeekBack:
    """The form of a week.

    Attributes:
        first: its first day, a Monday.
        rows: its days; cells of days to come are not open.
        groups, feeds, waters: the columns; the last are places where water is filled in.
        who: whose deaths may be told: `group|class`, and words for it.
        days_open: days that may be written.
        left_out: groups that found no room in the form.
    """

    first: date
    rows: list[Day]
    groups: list[str]
    feeds: list[str]
    waters: list[str]
    who: list[tuple[str, str, str]]
    days_open: list[date]
    left_out: list[str]

    @property
    def before(self) -> date:
        """The first day of the week before."""
        return week_before(self.first)

    @property
    def after(self) -> date:
        """The first day of the week after."""
        return self.first + timedelta(days=DAYS_A_WEEK)


def week_before(monday: date) -> date:
    """The first day of the week before."""
    return monday - timedelta(days=DAYS_A_WEEK)


def monday_of(day: date) -> date:
    """The first day of a day's week (ISO 8601)."""
    return day - timedelta(days=day.weekday())


def week_back(flock: Flock, first: date, on: date) -> WeekBack:
    """The form of the seven days from `first`, on the day `on`."""
    days = [first + timedelta(days=n) for n in range(DAYS_A_WEEK)]
    all_groups = _columns(flock, days)
    groups = all_groups[:MOST_COLUMNS]
    feeds = [
        name
        for name, stock in flock.feeds.items()
        if stock.kg > 0 or (stock.last_given is not None and stock.last_given >= first - _MONTH)
    ][: MOST_COLUMNS - len(groups)]
    waters = [place.name for place in flock.in_walking_order() if flock.groups_at(place.name)]
    waters = waters[: MOST_COLUMNS - len(groups) - len(feeds)]
    return WeekBack(
        first,
        [
            Day(
                day,
                [_eggs_cell(flock, day, group, on) for group in groups],
                [_feed_cell(flock, day, feed, on) for feed in feeds],
                [_water_cell(flock, day, place, on) for place in waters],
            )
            for day in days
        ],
        groups,
        feeds,
        waters,
        [
            (f"{group.name}|{name}", group.name, name)
            for group in _as_walked(flock, flock.groups.values())
            for name in CLASSES
            if getattr(group.alive, name) or _died_since(group, name, first)
        ],
        [day for day in days if day <= on],
        all_groups[MOST_COLUMNS:],
    )


_MONTH = timedelta(days=30)


def _columns(flock: Flock, days: Sequence[date]) -> list[str]:
    """Groups that lay, or whose eggs were counted, in these days; in the order of the walk."""
    counted = {
        name
        for name in flock.groups
        for day in days
        if (lot := flock.lots.get((day, name))) is not None and lot.counts
    }

    def lays(group: Group) -> bool:
        return group.alive.total > 0 and may_lay(group, days[-1])

    found = [group for group in flock.groups.values() if group.name in counted or lays(group)]
    return [group.name for group in _as_walked(flock, found)]


def _died_since(group: Group, name: str, first: date) -> bool:
    """Whether birds of that class died since: the last of them may be typed back, or sent again."""
    return any(getattr(death.birds, name) for death in group.deaths if death.day >= first)


def _as_walked(flock: Flock, groups: Iterable[Group]) -> list[Group]:
    """Groups in the order of the walk."""
    walk = {place.name: n for n, place in enumerate(flock.in_walking_order())}
    return sorted(groups, key=lambda group: walk.get(group.place, len(walk)))


def _eggs_cell(flock: Flock, day: date, group: str, on: date) -> Cell:
    lot = flock.lots.get((day, group))
    logged = lot.collected if lot is not None and lot.counts else None
    return Cell(f"eggs|{day}|{group}", logged, day <= on)


def _feed_cell(flock: Flock, day: date, feed: str, on: date) -> Cell:
    given = [kg for when, kg in flock.feeds[feed].given if when == day]
    return Cell(f"feed|{day}|{feed}", sum(given) if given else None, day <= on)


def _water_cell(flock: Flock, day: date, place: str, on: date) -> Cell:
    filled = [each.litres for each in flock.water if (each.day, each.place) == (day, place)]
    return Cell(f"water|{day}|{place}", sum(filled) if filled else None, day <= on)


def whose(group: str, birds: str) -> str:
    """Whose deaths are told: the group, and which of its birds."""
    match birds:
        case "hens":
            return say("{group}: hens", group=group)
        case "cocks":
            return say("{group}: cocks", group=group)
        case _:
            return say("{group}: not sexed", group=group)


@dataclass(frozen=True, slots=True)
class Counts:
    """Rows of counts on paper, under the heading that they have where a week is typed back."""

    heading: str
    rows: list[str]


def counts_of(weeks: Sequence[WeekBack]) -> list[Counts]:
    """What a sheet of these weeks has blanks for: what the form asks, by its names and order."""

    def once(rows: Iterable[str]) -> list[str]:
        return list(dict.fromkeys(rows))

    found = [
        Counts(say("Eggs collected"), once(name for week in weeks for name in week.groups)),
        Counts(
            say("Deaths"),
            once(whose(group, birds) for week in weeks for _, group, birds in week.who),
        ),
        Counts(say("Feed given, kg"), once(name for week in weeks for name in week.feeds)),
        Counts(
            say("Water filled in, litres"), once(name for week in weeks for name in week.waters)
        ),
    ]
    return [each for each in found if each.rows]


def entries_back(
    week: WeekBack,
    typed: Mapping[str, str],
    form_id: str,
    by: str,
    now: datetime,
    zone_name: str,
    known: Mapping[str, Entry],
) -> list[Entry]:
    """The entries of every cell that was filled in.

    Args:
        week: the form, as it is now.
        typed: what was typed, by cell; names that are no cell of the week are left out.
        form_id: the id that the form was given when it was shown.
        by: who types.
        known: entries of the journal by id: a cell that this very form wrote is no clash.

    Raises:
        BadInput: with one finding for each cell that will not do, among them those that somebody
            has logged since the form was shown.
    """
    entries: list[Entry] = []
    findings: list[Finding] = []
    for name, place, fields, logged in _filled(week, typed):
        entry_id = id_of(form_id, name)
        if logged is not None and entry_id not in known:
            findings.append(
                Finding(
                    "conflict",
                    say("{logged:g} is written down for it already.", logged=logged),
                    say("Empty the cell; correct the entry in the journal if it is wrong."),
                    field=place,
                )
            )
            continue
        signed = {"by": by} if by else {}
        try:
            entry = typed_entry({**fields, **signed}, now, entry_id, zone_name)
        except BadInput as error:
            findings += [replace(finding, field=place) for finding in error.findings]
            continue
        if known.get(entry_id, entry) != entry:
            findings.append(
                Finding(
                    "conflict",
                    say("this form has written another figure there already."),
                    say("Empty the cell, and correct the entry in the journal."),
                    field=place,
                )
            )
        entries.append(entry)
    if findings:
        raise BadInput(say("Nothing of the week was written."), tuple(findings))
    if not entries:
        raise BadInput(say("No cell is filled in: type what stands on the paper."))
    return entries


Filled = tuple[str, str, dict[str, str], float | None]
"""Name of the cell, where it stands in words, the fields of its entry, and what is logged."""


def _filled(week: WeekBack, typed: Mapping[str, str]) -> list[Filled]:
    found: list[Filled] = []
    for row in week.rows:
        at = row.day.isoformat()
        for group, cell in zip(week.groups, row.eggs, strict=True):
            text = typed.get(cell.name, "").strip()
            if text and cell.open:
                fields = {"kind": "eggs_collected", "at": at, "group": group, "eggs": text}
                found.append((cell.name, _where(row.day, group), fields, cell.logged))
        for feed, cell in zip(week.feeds, row.feed, strict=True):
            text = typed.get(cell.name, "").strip()
            if text and cell.open:
                fields = {"kind": "feed_given", "at": at, "feed": feed, "kg": point(text)}
                found.append((cell.name, _where(row.day, feed), fields, cell.logged))
        for place, cell in zip(week.waters, row.water, strict=True):
            text = typed.get(cell.name, "").strip()
            if text and cell.open:
                litres = point(text)
                fields = {"kind": "water_given", "at": at, "place": place, "litres": litres}
                found.append((cell.name, _where(row.day, place), fields, cell.logged))
    days = {day.isoformat(): day for day in week.days_open}
    known = {key: (group, name) for key, group, name in week.who}
    for n in range(MOST_DEATHS):
        count, day, whose = (
            typed.get(f"dead|{n}|{part}", "").strip() for part in ("count", "day", "who")
        )
        if count and day in days and whose in known:
            group, name = known[whose]
            fields = {"kind": "birds_died", "at": day, "group": group, name: count}
            found.append((f"dead|{n}", _where(days[day], group), fields, None))
        elif count:
            raise BadInput(say("A death needs its day, and whose it was. Nothing was written."))
    return found


_WITH_COMMA = re.compile(r"\d+,\d{1,2}\Z")
"""0,5 is a half; 1,200 may be either, and is refused."""


def point(text: str) -> str:
    """A number as typed, with a decimal point."""
    return text.replace(",", ".") if _WITH_COMMA.match(text) else text


def _where(day: date, name: str) -> str:
    return say("{name}, {day}", name=name, day=wording.weekday(day))


def id_of(form_id: str, cell: str) -> str:
    """The id of a cell's entry. Raises BadInput where the form's own id is none."""
    try:
        return str(uuid.uuid5(uuid.UUID(form_id), cell))
    except ValueError:
        raise BadInput(say("This page is not whole: load it anew. Nothing was written.")) from None
