"""The sheet of an incubator's lid typed back: all of it is written at once, or nothing.

Rows stand as on the sheet (`lid.py`). The id of each entry is made from the form's own id and its
cell, so that a form sent twice writes once.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime

from quailwright.exchange.lid import Lid, LidDay
from quailwright.exchange.paper_back import Cell, id_of, point
from quailwright.exchange.record import typed_entry
from quailwright.flock.state import Flock
from quailwright.guide import wording
from quailwright.guide.round import units_of
from quailwright.journal.entries import Entry, Units
from quailwright.journal.findings import BadInput, Finding
from quailwright.journal.moments import zone
from quailwright.language import say

MOST_TURNS = 24
"""In a day: more is a slip of the pencil."""
_KELVIN_IN_A_DEGREE_F = 5 / 9


@dataclass(frozen=True, slots=True)
class Seen:
    """A row of a weighing or a candling: the moment it falls due, and what is logged of it.

    `name` is how its fields begin; `logged` holds the moments and the two figures of each.
    """

    name: str
    due: datetime
    open: bool
    logged: list[tuple[datetime, float, float]]


@dataclass(frozen=True, slots=True)
class DayBack:
    """A day of the sheet: turns, lowest and highest temperature in the keeper's unit."""

    day: LidDay
    turns: Cell
    lowest: Cell
    highest: Cell


@dataclass(frozen=True, slots=True)
class LidBack:
    """The form of a hatch."""

    lid: Lid
    weighings: list[Seen]
    candlings: list[Seen]
    days: list[DayBack]
    units: Units
    zone: str

    @property
    def hatch(self) -> str:
        """Its name."""
        return self.lid.report.hatch.name


def lid_back(flock: Flock, lid: Lid, on: date) -> LidBack:
    """The form of the lid's sheet, on the day `on`."""
    hatch, units = lid.report.hatch, units_of(flock)
    weighed = [(at, float(eggs), grams) for at, eggs, grams in sorted(hatch.weighed)]
    candled = [(at, float(clear), float(dead)) for at, clear, dead in sorted(hatch.candled)]
    return LidBack(
        lid,
        _rows("weighed", [target.at for target in lid.weighings], weighed, on),
        _rows("candled", [step.at for step in lid.candlings], candled, on),
        [_day(flock, day, units, on) for day in lid.days],
        units,
        flock.zone,
    )


def _rows(
    name: str,
    due: Sequence[datetime],
    logged: Sequence[tuple[datetime, float, float]],
    on: date,
) -> list[Seen]:
    """A row for each that falls due; what is logged stands in the row that it lies nearest to."""
    rows = [Seen(f"{name}|{n}", at, at.date() <= on, []) for n, at in enumerate(due)]
    for each in logged:
        if rows:
            min(rows, key=lambda row: abs(row.due - each[0])).logged.append(each)
    return rows


def _day(flock: Flock, day: LidDay, units: Units, on: date) -> DayBack:
    ticks = flock.care.get(("turn_eggs", day.place), ())
    turned = sum(tick == day.day for tick in ticks)
    here = zone(flock.zone or "UTC")
    seen = [
        one
        for one in flock.air
        if one.place == day.place and one.at.astimezone(here).date() == day.day
    ]
    lows = [one.lowest_c for one in seen if one.lowest_c is not None]
    highs = [one.highest_c for one in seen if one.highest_c is not None]
    key, is_open = day.day.isoformat(), day.day <= on

    def shown(found: float | None) -> float | None:
        return None if found is None else round(_in_units(found, units), 1)

    return DayBack(
        day,
        Cell(f"turns|{key}", turned or None, is_open and day.turns > 0),
        Cell(f"lowest|{key}", shown(min(lows, default=None)), is_open),
        Cell(f"highest|{key}", shown(max(highs, default=None)), is_open),
    )


def _in_units(celsius: float, units: Units) -> float:
    return wording.fahrenheit(celsius) if units == "us" else celsius


def entries_back(
    back: LidBack,
    typed: Mapping[str, str],
    form_id: str,
    by: str,
    now: datetime,
    known: Mapping[str, Entry],
) -> list[Entry]:
    """The entries of every cell that was filled in, as `paper_back.entries_back`.

    Args:
        back: the form, as it is now.
        typed: what was typed, by cell; names that are no cell of the form are left out.
        form_id: the id that the form was given when it was shown.
        by: who types.
        now: the present instant; nothing is written of a later one.
        known: entries of the journal by id.

    Raises:
        BadInput: with one finding for each cell that will not do.
    """
    entries: list[Entry] = []
    findings: list[Finding] = []
    for name, where, fields, logged in _filled(back, typed, now):
        if isinstance(fields, str):
            findings.append(Finding("shape", fields, field=where))
            continue
        entry_id = id_of(form_id, name)
        if logged and entry_id not in known:
            findings.append(
                Finding(
                    "conflict",
                    say("something is written down for it already."),
                    say("Empty the cells; correct the entry in the journal if it is wrong."),
                    field=where,
                )
            )
            continue
        before = known.get(entry_id)
        signed = {"by": by} if by else {}
        if before is not None:
            signed["at"] = before.at  # Sent again later, it is of the moment that it was of.
        try:
            entry = typed_entry({**fields, **signed}, now, entry_id, back.zone)
        except BadInput as error:
            findings += [replace(finding, field=where) for finding in error.findings]
            continue
        if before is not None and before != entry:
            findings.append(
                Finding(
                    "conflict",
                    say("this form has written another figure there already."),
                    say("Empty the cell, and correct the entry in the journal."),
                    field=where,
                )
            )
        entries.append(entry)
    if findings:
        raise BadInput(say("Nothing of the sheet was written."), tuple(findings))
    if not entries:
        raise BadInput(say("No cell is filled in: type what stands on the paper."))
    return entries


Filled = tuple[str, str, "dict[str, str] | str", bool]
"""Name of the cell, where it stands in words, its entry's fields (or why not), if it is logged."""


def _filled(back: LidBack, typed: Mapping[str, str], now: datetime) -> Iterator[Filled]:
    for row in back.weighings:
        yield from _of_row(back, row, ("eggs", "total_g"), "eggs_weighed", typed, now)
    for row in back.candlings:
        yield from _of_row(back, row, ("clear", "dead"), "eggs_candled", typed, now)
    for day in back.days:
        yield from _of_day(back, day, typed)


def _of_row(
    back: LidBack,
    row: Seen,
    fields: tuple[str, str],
    kind: str,
    typed: Mapping[str, str],
    now: datetime,
) -> Iterator[Filled]:
    """A weighing or candling: at the hour of setting on the day that it was done."""
    values = {name: typed.get(f"{row.name}|{name}", "").strip() for name in fields}
    if not any(values.values()):
        return
    day = typed.get(f"{row.name}|on", "").strip() or row.due.date().isoformat()
    what = say("Weighing") if kind == "eggs_weighed" else say("Candling")
    where = say("{what}, due {day}", what=what, day=wording.weekday(row.due))
    if not all(values.values()):
        yield row.name, where, say("two figures belong to it; one is missing."), False
        return
    try:
        done = date.fromisoformat(day)
    except ValueError:
        yield row.name, where, say("its day is not one: write it as in 2027-05-02."), False
        return
    if done < back.lid.report.hatch.set_at.date():
        yield row.name, where, say("its day lies before the eggs were set."), False
        return
    here = zone(back.zone or "UTC")
    at = datetime.combine(done, row.due.astimezone(here).time(), tzinfo=here)
    if at > now and done == now.astimezone(here).date():
        at = now.astimezone(here).replace(second=0, microsecond=0)
    figures = {name: point(value) for name, value in values.items()}
    told = {"kind": kind, "at": at.isoformat(), "hatch": back.hatch, **figures}
    yield row.name, where, told, bool(row.logged)


def _of_day(back: LidBack, day: DayBack, typed: Mapping[str, str]) -> Iterator[Filled]:
    at, place = day.day.day.isoformat(), day.day.place
    where = wording.weekday(day.day.day)
    turns = typed.get(day.turns.name, "").strip()
    if turns and day.turns.open:
        if not turns.isdecimal() or len(turns) > 9 or int(turns) > MOST_TURNS:
            text = say("turns are a whole number, {most} at most.", most=MOST_TURNS)
            yield day.turns.name, where, text, False
        else:
            fields = {"kind": "care", "at": at, "task": "turn_eggs", "place": place}
            for n in range(int(turns)):
                yield f"{day.turns.name}|{n}", where, fields, day.turns.logged is not None
    cells = {"lowest_c": day.lowest, "highest_c": day.highest}
    told = {
        name: point(text)
        for name, cell in cells.items()
        if cell.open and (text := typed.get(cell.name, "").strip())
    }
    if told:
        logged = any(cells[name].logged is not None for name in told)
        if back.units == "us":
            told = {name: _in_celsius(text) for name, text in told.items()}
        seen = {"kind": "temperature_seen", "at": at, "place": place, **told}
        yield day.lowest.name, where, seen, logged


def _in_celsius(fahrenheit: str) -> str:
    """What was typed in degrees Fahrenheit; what is no number is left for its check to refuse."""
    try:
        celsius = (float(fahrenheit) - 32.0) * _KELVIN_IN_A_DEGREE_F
    except ValueError:
        return fahrenheit
    return f"{celsius:.2f}"
