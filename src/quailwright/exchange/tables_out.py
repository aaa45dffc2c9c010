"""Every table that a keeper knows, as rows with heads and units: for spreadsheets and scripts."""

import json
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta, tzinfo
from typing import TYPE_CHECKING, Literal

import msgspec

from quailwright.flock.corrections import corrections
from quailwright.flock.fold import fold
from quailwright.flock.held import free_from, sell_by
from quailwright.flock.state import Birds, Flock
from quailwright.guide.round import day_at
from quailwright.journal.checks import field_notes
from quailwright.journal.entries import KINDS, Entry, Retract, as_dict
from quailwright.journal.findings import BadInput
from quailwright.journal.moments import day_text, order_key, until, zone
from quailwright.journal.readings import Bucket
from quailwright.journal.store import Store
from quailwright.language import mark, say

if TYPE_CHECKING:
    from quailwright.accounts.account import Account, MonthOf

Cell = str | float | int | bool | date | datetime | None
Takes = Literal["text", "whole", "number", "day", "moment", "flag"]
Row = tuple[Cell, ...]

_HOUR = timedelta(hours=1)
_QUARTER = timedelta(minutes=15)


@dataclass(frozen=True, slots=True)
class Column:
    """A column: its name for scripts, with its unit; its head, to be said; what it holds.

    Without a head its name stands over it in every language, so that it can be taken in again.
    """

    name: str
    head: str
    takes: Takes = "text"

    @property
    def over(self) -> str:
        """What stands over it on a sheet."""
        return say(self.head) if self.head else self.name


@dataclass(frozen=True, slots=True)
class Asked:
    """What tables are made of: the journal, what stands as of `asked`, and the file of readings.

    `whole`: the table of the journal holds every entry, those that lie ahead of `asked` too.
    `accounts` keeps what was reckoned for one table, for another.
    """

    entries: Sequence[Entry]
    flock: Flock
    store: Store
    asked: date | datetime
    whole: bool = False
    accounts: "list[Account]" = field(default_factory=list)

    @property
    def day(self) -> date:
        """The day as of which they are."""
        return day_at(self.flock, self.asked)


def tables_asked(
    entries: Sequence[Entry], store: Store, on: date | datetime | None, now: datetime
) -> Asked:
    """What tables are made of, as of `on`, or as of now with all that is written."""
    asked = now if on is None else on
    return Asked(entries, fold(entries, asked), store, asked, on is None)


@dataclass(frozen=True, slots=True)
class Table:
    """A table: its name for files and scripts, its title and what stands in it, to be said."""

    name: str
    title: str
    about: str
    columns: tuple[Column, ...]
    rows: Callable[[Asked], Iterable[Row]]


def _text(name: str, head: str) -> Column:
    return Column(name, head)


def _whole(name: str, head: str) -> Column:
    return Column(name, head, "whole")


def _number(name: str, head: str) -> Column:
    return Column(name, head, "number")


def _day(name: str, head: str) -> Column:
    return Column(name, head, "day")


def _moment(name: str, head: str) -> Column:
    return Column(name, head, "moment")


def _flag(name: str, head: str) -> Column:
    return Column(name, head, "flag")


_BIRDS = (
    _whole("chicks", mark("chicks")), _whole("hens", mark("hens")), _whole("cocks", mark("cocks"))
)  # fmt: skip
_PLACE, _GROUP = _text("place", mark("place")), _text("group", mark("group"))
_ON = _day("day", mark("day"))


def _birds(birds: Birds) -> tuple[int, int, int]:
    return birds.chicks, birds.hens, birds.cocks


# Eggs.


def _eggs(asked: Asked) -> Iterator[Row]:
    for (laid, group), lot in sorted(asked.flock.lots.items()):
        mean = lot.weighed_g / lot.weighed if lot.weighed else None
        yield laid, group, lot.place, lot.collected, lot.cracked, mean


def _egg_store(asked: Asked) -> Iterator[Row]:
    flock = asked.flock
    for (laid, group), lot in sorted(flock.stocked.items()):
        if not lot.on_hand:
            continue
        held = flock.withheld_on(group, laid)
        free = None if held is None else free_from(flock, group, held)
        apart = flock.quarantine_of(lot, asked.day)
        yield (
            laid, group, lot.on_hand, lot.boxed, sell_by(flock, laid), held is not None, free,
            None if apart is None else apart.until,
        )  # fmt: skip


def _eggs_out(asked: Asked) -> Iterator[Row]:
    for gone in asked.flock.eggs_gone:
        laid = sorted(each.laid for each in gone.lots)
        yield (
            gone.day, gone.use, gone.eggs, gone.to, gone.order, laid[0] if laid else None,
            laid[-1] if laid else None, gone.income_told,
        )  # fmt: skip


# Hatches.


def _hatches(asked: Asked) -> Iterator[Row]:
    from quailwright.exchange.hatch_told import hatch_told

    for name, hatch in asked.flock.hatches.items():
        whose = sorted({c.group or c.source or "" for c in hatch.clutches} - {""})
        found = hatch_told(asked.store, asked.flock, name, asked.asked).result
        shares: tuple[float | None, ...] = (None, None, None)
        if found is not None:
            of_fertile = found.hatch_of_fertile
            shares = (
                100 * found.fertility.value,
                100 * found.hatch_of_set.value,
                None if of_fertile is None else 100 * of_fertile.value,
            )
        opened = hatch.opened
        yield (
            name, hatch.set_at, hatch.set_in, ", ".join(whose), hatch.eggs_set, hatch.clear,
            hatch.dead, hatch.turning_stopped_at, hatch.hatched, opened["infertile"],
            opened["early"], opened["middle"], opened["late"], opened["pipped"],
            opened["contaminated"], hatch.closed_at, *shares,
        )  # fmt: skip


def _egg_weights(asked: Asked) -> Iterator[Row]:
    for name, hatch in asked.flock.hatches.items():
        for at, eggs, total_g in hatch.weighed:
            yield name, at, eggs, total_g, total_g / eggs


# Birds.


def _groups(asked: Asked) -> Iterator[Row]:
    for group in asked.flock.groups.values():
        yield (
            group.name, group.place, *_birds(group.alive), group.alive.total, group.oldest,
            group.youngest, group.age_days(asked.day), group.since, ", ".join(group.hatches),
            group.counted_on, group.sexed_on,
        )  # fmt: skip


def _changes(asked: Asked) -> Iterator[Row]:
    found = [
        (change.day, group.name, change.why, *_birds(change.birds), change.other, change.hatch,
         change.source)
        for group in asked.flock.groups.values()
        for change in group.changes
    ]  # fmt: skip
    yield from sorted(found, key=lambda row: row[0])


def _ringed(asked: Asked) -> Iterator[Row]:
    for bird in asked.flock.birds.values():
        weighed_on, mass_g = bird.weights[-1] if bird.weights else (None, None)
        yield (
            bird.name, bird.sex, bird.group, bird.hatch, bird.hatched_on, bird.sire, bird.dam,
            bird.plumage, bird.genotype, mass_g, weighed_on, bird.left, bird.left_on,
        )  # fmt: skip


def _deaths(asked: Asked) -> Iterator[Row]:
    found = [
        (death.day, group.name, *_birds(death.birds), death.found, death.together)
        for group in asked.flock.groups.values()
        for death in group.deaths
    ]
    yield from sorted(found, key=lambda row: row[0])


def _weights(asked: Asked) -> Iterator[Row]:
    flock = asked.flock
    found: list[tuple[date, str, str, int, float, str | None]] = [
        (each.day, group.name, "", each.birds, each.mean_g, each.sex)
        for group in flock.groups.values()
        for each in group.weighings
    ]
    found += [
        (day, bird.group or "", bird.name, 1, mass_g, bird.sex)
        for bird in flock.birds.values()
        for day, mass_g in bird.weights
    ]
    yield from sorted(found, key=lambda row: row[:3])


def _hens_laid(asked: Asked) -> Iterator[Row]:
    for bird in asked.flock.birds.values():
        for day, laid in bird.laid:
            yield day, bird.name, laid.eggs, laid.days, laid.total_g


def _pairings(asked: Asked) -> Iterator[Row]:
    for day, pairing in asked.flock.paired:
        yield day, pairing.pen, ", ".join(pairing.cocks), ", ".join(pairing.hens)


# Feed, water, care.


def _feed_bought(asked: Asked) -> Iterator[Row]:
    found = [
        (each.day, name, each.kg, each.cost, each.mixed_on)
        for name, stock in asked.flock.feeds.items()
        for each in stock.bought
    ]
    yield from sorted(found, key=lambda row: row[:2])


def _feed_given(asked: Asked) -> Iterator[Row]:
    at_places = {(day, name): 0.0 for day, _, name, _ in asked.flock.feedings}
    for day, place, name, kg in asked.flock.feedings:
        at_places[day, name] += kg
        yield day, name, kg, place
    for name, stock in asked.flock.feeds.items():
        given: dict[date, float] = defaultdict(float)
        for day, kg in stock.given:
            given[day] += kg
        for day, kg in given.items():
            # What was given at no place that is named.
            rest = kg - at_places.get((day, name), 0.0)
            if rest > 1e-9:
                yield day, name, rest, None


def _feed_store(asked: Asked) -> Iterator[Row]:
    for name, stock in asked.flock.feeds.items():
        label = stock.label
        yield (
            name,
            None if label is None else label.stage,
            stock.kg,
            stock.price_per_kg,
            None if label is None else label.protein_pct,
            None if label is None else label.me_kcal_kg,
            None if label is None else label.calcium_pct,
            None if label is None else label.bag_kg,
            stock.last_given,
            stock.counted_on,
        )


def _water(asked: Asked) -> Iterable[Row]:
    return asked.flock.water


def _care(asked: Asked) -> Iterator[Row]:
    for tick in asked.flock.ticks:
        yield tick.day, tick.task, tick.place, tick.minutes


def _treatments(asked: Asked) -> Iterator[Row]:
    for held in asked.flock.withholdings:
        yield (
            held.since, held.group, held.given_to, held.product, held.eggs_until, held.meat_until,
        )  # fmt: skip


def _quarantines(asked: Asked) -> Iterable[Row]:
    return asked.flock.quarantines


def _outages(asked: Asked) -> Iterator[Row]:
    for day, outage in asked.flock.outages:
        yield day, outage.place, outage.minutes, outage.lowest_c, outage.highest_c


def _temperatures(asked: Asked) -> Iterable[Row]:
    return asked.flock.air


# Money.


def _money(asked: Asked) -> Iterator[Row]:
    for paid in asked.flock.payments:
        yield paid.day, paid.amount, paid.category, paid.entry, paid.group, paid.lasts_years


def _months_of(asked: Asked) -> "list[MonthOf]":
    """The months from the first entry on."""
    from quailwright.accounts.account import account

    first = asked.flock.first_day
    if first is None or first > asked.day:
        return []
    if not asked.accounts:
        asked.accounts.append(account(asked.flock, first, asked.day))
    return asked.accounts[0].months


def _costs(asked: Asked) -> Iterator[Row]:
    from quailwright.exchange.costs_told import kind_words

    for month in _months_of(asked):
        first = date(*month.month, 1)
        for what, sign, kinds in (("cost", -1, month.costs), ("income", 1, month.income)):
            for kind, amount in kinds.items():
                yield first, what, kind_words(kind), sign * amount


def _months(asked: Asked) -> Iterator[Row]:
    for month in _months_of(asked):
        yield (
            date(*month.month, 1), month.eggs, month.gone["sold"], month.gone["eaten"],
            month.gone["given"], month.gone["discarded"], month.feed_kg, month.hen_days,
            month.bird_days, month.minutes, sum(month.costs.values()),
            sum(month.income.values()), month.result, month.cash,
        )  # fmt: skip


# What was set up and planned.


def _places(asked: Asked) -> Iterator[Row]:
    for place in asked.flock.in_walking_order():
        yield (
            place.name, place.role, place.capacity_eggs, place.floor_m2, place.height_m,
            place.floor_kind, place.heater_w, place.walk_order, place.closed,
        )  # fmt: skip


def _sources(asked: Asked) -> Iterator[Row]:
    for source in asked.flock.sources.values():
        yield source.source, source.route, source.price_per_egg


def _instruments(asked: Asked) -> Iterator[Row]:
    for each in asked.flock.instruments.values():
        yield each.instrument, each.place, each.temperature_offset_c, each.humidity_offset_pct


def _goals(asked: Asked) -> Iterator[Row]:
    goal = asked.flock.goal
    if goal is not None:
        yield (
            goal.eggs_per_week, goal.table_birds_per_month, goal.from_, goal.until, goal.certainty
        )  # fmt: skip


def _plan(asked: Asked) -> Iterator[Row]:
    flock = asked.flock
    for planned in sorted(flock.planned_sets.values(), key=lambda each: each.on):
        yield (
            planned.on, "set", planned.hatch, planned.whose, planned.eggs, planned.place, None,
            None, planned.set_as,
        )  # fmt: skip
    for cull in sorted(flock.planned_culls.values(), key=lambda each: each.on):
        yield (
            cull.on, "cull", cull.hatch, cull.group, None, None, cull.keep_hens, cull.keep_cocks,
            None,
        )  # fmt: skip


# Readings.


def _zone_of(asked: Asked) -> tzinfo:
    return zone(asked.flock.zone) if asked.flock.zone else UTC


def _buckets(asked: Asked) -> Iterator[tuple[str, timedelta, list[Bucket]]]:
    """By place, steps that fit into hours and days of the holding's clock."""
    where = _zone_of(asked)
    end = until(asked.asked, asked.flock.zone).moment(asked.flock.zone)
    for place in sorted({each.place for each in asked.store.reading_extents()}):
        extents = asked.store.reading_extents(place)
        edges = (min(each.first for each in extents), max(each.last for each in extents))
        offsets = [each.astimezone(where).utcoffset() or timedelta(0) for each in edges]
        step = _QUARTER if any(offset % _HOUR for offset in offsets) else _HOUR
        yield place, step, asked.store.reading_buckets(place, step, None, end)


def _summed(asked: Asked, by_day: bool) -> Iterator[Row]:
    where = _zone_of(asked)
    for place, _, buckets in _buckets(asked):
        whole: dict[tuple[str, datetime], list[Bucket]] = {}
        for bucket in buckets:
            local = bucket.start.astimezone(where)
            start = local.replace(minute=0, second=0, microsecond=0)
            if by_day:
                start = start.replace(hour=0, tzinfo=None)
            whole.setdefault((bucket.instrument, start), []).append(bucket)
        for (instrument, start), some in sorted(
            whole.items(), key=lambda each: (each[0][0], each[0][1])
        ):
            at: date | datetime = start.date() if by_day else start
            yield (
                at, place, instrument, sum(each.readings for each in some),
                *_three(some, "temperature", "_c"), *_three(some, "humidity", "_pct"),
            )  # fmt: skip


def _three(some: Sequence[Bucket], name: str, unit: str) -> tuple[float | None, ...]:
    """Mean, lowest and highest of steps together; readings count alike."""
    told = [
        (each.readings, value) for each in some
        if (value := getattr(each, f"{name}{unit}")) is not None
    ]  # fmt: skip
    if not told:
        return None, None, None
    mean = sum(n * value for n, value in told) / sum(n for n, _ in told)
    lows = [v for each in some if (v := getattr(each, f"{name}_low{unit}")) is not None]
    highs = [v for each in some if (v := getattr(each, f"{name}_high{unit}")) is not None]
    return mean, min(lows), max(highs)


def _by_hour(asked: Asked) -> Iterator[Row]:
    return _summed(asked, False)


def _by_day(asked: Asked) -> Iterator[Row]:
    return _summed(asked, True)


_OF_READINGS = (
    _PLACE, _text("instrument", mark("instrument")), _whole("readings", mark("readings")),
    _number("temperature_c", mark("mean temperature, °C")),
    _number("temperature_low_c", mark("lowest temperature, °C")),
    _number("temperature_high_c", mark("highest temperature, °C")),
    _number("humidity_pct", mark("mean humidity, %")),
    _number("humidity_low_pct", mark("lowest humidity, %")),
    _number("humidity_high_pct", mark("highest humidity, %")),
)  # fmt: skip


# The journal.

BESIDE = ("date", "taken_back")
"""Columns of the journal's table that are no field of an entry."""


def _journal_columns() -> tuple[Column, ...]:
    fields: dict[str, Column] = {}
    kinds: Mapping[str, Takes] = {"whole": "whole", "number": "number", "flag": "flag"}
    for kind in KINDS:
        for note in field_notes(kind):
            takes: Takes = kinds.get(note.takes, "text")
            known = fields.get(note.name)
            if known is not None and known.takes != takes:
                takes = "text" if "text" in (known.takes, takes) else "number"
            fields[note.name] = Column(note.name, "", takes)
    first = ("id", "kind", "at")
    rest = [column for name, column in fields.items() if name not in first]
    return (
        _day("date", ""), _text("kind", ""), _text("at", ""), *rest,
        _flag("taken_back", ""), _text("id", ""),
    )  # fmt: skip


_JOURNAL = _journal_columns()
_AT = {column.name: number for number, column in enumerate(_JOURNAL)}
"""Where each field stands in a row of the journal's table."""


def _journal(asked: Asked) -> Iterator[Row]:
    """Every entry up to then, as written; lists and whole entries as JSON."""
    limit = until(asked.asked, asked.flock.zone)
    entries = [
        entry
        for entry in asked.entries
        if asked.whole or limit.includes(order_key(entry.at, 0, entry.id, asked.flock.zone))
    ]
    retracts = [entry for entry in entries if isinstance(entry, Retract)]
    retracts.sort(key=lambda entry: order_key(entry.at, 0, entry.id, asked.flock.zone))
    gone, _, _ = corrections(retracts)
    for entry in entries:
        plain = as_dict(entry)
        day = date.fromisoformat(day_text(entry.at, asked.flock.zone))
        row: list[Cell] = [None] * len(_JOURNAL)
        row[_AT["date"]] = day
        row[_AT["taken_back"]] = entry.id in gone or None
        for name, value in plain.items():
            row[_AT[name]] = _plain(value)
        yield tuple(row)


def _plain(value: object) -> Cell:
    if isinstance(value, list | dict):
        return msgspec.json.encode(value).decode()
    return value  # type: ignore[return-value]


def of_text(kind: str, name: str, text: str) -> object:
    """The value of an entry's field from its cell, where that is a text: as `_journal` wrote it.

    Raises ValueError where it is none.
    """
    takes = next((note.takes for note in field_notes(kind) if note.name == name), "text")
    match takes:
        case "whole" | "number":
            number = float(text)
            return int(number) if number == int(number) and "." not in text else number
        case "flag":
            return text.casefold() == "true"
        case "numbers" | "names" | "entry":
            return json.loads(text)
        case _:
            return text


TABLES: tuple[Table, ...] = (
    Table("eggs", mark("Eggs by day"), mark("eggs gathered, by lay date and group"), (
        _day("laid", mark("laid")), _GROUP, _PLACE, _whole("eggs", mark("eggs")),
        _whole("cracked", mark("of these cracked")), _number("mean_g", mark("mean weight, g"))),
        _eggs),
    Table("egg_store", mark("Egg store"), mark("eggs on hand, by lay date and group"), (
        _day("laid", mark("laid")), _GROUP, _whole("eggs", mark("eggs")),
        _whole("boxed", mark("of these in boxes")), _day("sell_by", mark("sell by")),
        _flag("withheld", mark("withheld")), _day("free_from", mark("free from")),
        _day("quarantine_until", mark("quarantine until"))), _egg_store),
    Table("eggs_out", mark("Eggs that left"), mark("eggs eaten, sold, given and discarded"), (
        _ON, _text("use", mark("use")), _whole("eggs", mark("eggs")), _text("to", mark("to")),
        _text("order", mark("order")), _day("laid_from", mark("laid from")),
        _day("laid_to", mark("laid to")), _flag("income_told", mark("income told"))), _eggs_out),
    Table("hatches", mark("Hatches"), mark("each hatch from setting to result"), (
        _text("hatch", mark("hatch")), _moment("set_at", mark("set at")), _PLACE,
        _text("whose", mark("whose eggs")), _whole("eggs_set", mark("eggs set")),
        _whole("clear", mark("clear")), _whole("dead", mark("dead")),
        _moment("turning_stopped_at", mark("turning stopped")),
        _whole("hatched", mark("hatched")), _whole("infertile", mark("infertile")),
        _whole("early", mark("early")), _whole("middle", mark("middle")),
        _whole("late", mark("late")), _whole("pipped", mark("pipped")),
        _whole("contaminated", mark("contaminated")), _moment("closed_at", mark("closed at")),
        _number("fertility_pct", mark("fertility, %")),
        _number("hatch_of_set_pct", mark("hatch of set, %")),
        _number("hatch_of_fertile_pct", mark("hatch of fertile, %"))), _hatches),
    Table("egg_weights", mark("Eggs weighed in hatches"), mark("weighings during incubation"), (
        _text("hatch", mark("hatch")), _moment("at", mark("at")), _whole("eggs", mark("eggs")),
        _number("total_g", mark("weight together, g")), _number("mean_g", mark("mean weight, g"))),
        _egg_weights),
    Table("groups", mark("Groups"), mark("groups and the birds that stand in them"), (
        _GROUP, _PLACE, *_BIRDS, _whole("birds", mark("birds")),
        _day("oldest", mark("oldest hatched")),
        _day("youngest", mark("youngest hatched")), _whole("age_days", mark("age, days")),
        _day("since", mark("since")), _text("hatches", mark("hatches")),
        _day("counted_on", mark("counted on")), _day("sexed_on", mark("sexed on"))), _groups),
    Table("changes", mark("Birds that came and went"), mark("every change of every group"), (
        _ON, _GROUP, _text("why", mark("why")), *_BIRDS, _text("other", mark("other group")),
        _text("hatch", mark("hatch")), _text("source", mark("source"))), _changes),
    Table("ringed_birds", mark("Ringed birds"), mark("each bird with a ring, with its parents"), (
        _text("bird", mark("bird")), _text("sex", mark("sex")), _GROUP,
        _text("hatch", mark("hatch")), _day("hatched_on", mark("hatched on")),
        _text("sire", mark("sire")), _text("dam", mark("dam")), _text("plumage", mark("plumage")),
        _text("genotype", mark("genotype")), _number("mass_g", mark("last weight, g")),
        _day("weighed_on", mark("weighed on")), _text("left", mark("left")),
        _day("left_on", mark("left on"))), _ringed),
    Table("pairings", mark("Pairings"), mark("which cocks ran with which hens"), (
        _ON, _text("pen", mark("pen")), _text("cocks", mark("cocks")),
        _text("hens", mark("hens"))), _pairings),
    Table("deaths", mark("Deaths"), mark("birds found dead or put down"), (
        _ON, _GROUP, *_BIRDS, _text("found", mark("found")),
        _flag("together", mark("in a heap"))), _deaths),
    Table("weights", mark("Weights of birds"), mark("groups and ringed birds weighed"), (
        _ON, _GROUP, _text("bird", mark("bird")), _whole("birds", mark("birds")),
        _number("mean_g", mark("mean weight, g")), _text("sex", mark("sex"))), _weights),
    Table("hens_laid", mark("Eggs of single hens"), mark("eggs known to be of one ringed hen"), (
        _ON, _text("bird", mark("bird")), _whole("eggs", mark("eggs")),
        _whole("days", mark("days")), _number("total_g", mark("weight together, g"))),
        _hens_laid),
    Table("feed_bought", mark("Feed bought"), mark("feed that came into the store"), (
        _ON, _text("feed", mark("feed")), _number("kg", mark("kg")), _number("cost", mark("cost")),
        _day("mixed_on", mark("mixed on"))), _feed_bought),
    Table("feed_given", mark("Feed given"), mark("feed taken from the store, by day and place"), (
        _ON, _text("feed", mark("feed")), _number("kg", mark("kg")), _PLACE), _feed_given),
    Table("feed_store", mark("Feed store"), mark("feeds, their labels and what is left"), (
        _text("feed", mark("feed")), _text("stage", mark("stage")),
        _number("kg", mark("in the store, kg")), _number("price_per_kg", mark("price of a kg")),
        _number("protein_pct", mark("protein, %")),
        _number("me_kcal_kg", mark("energy, kcal a kg")),
        _number("calcium_pct", mark("calcium, %")), _number("bag_kg", mark("bag, kg")),
        _day("last_given", mark("last given")), _day("counted_on", mark("counted on"))),
        _feed_store),
    Table("water", mark("Water"), mark("water filled in, by day and place"), (
        _ON, _PLACE, _number("litres", mark("litres"))), _water),
    Table("care", mark("Care"), mark("tasks done"), (
        _ON, _text("task", mark("task")), _PLACE, _number("minutes", mark("minutes"))), _care),
    Table("treatments", mark("Treatments"),
        mark("treatments, and until when eggs and meat are withheld"), (
        _day("since", mark("since")), _GROUP, _text("treated", mark("treated group")),
        _text("product", mark("product")), _day("eggs_until", mark("eggs withheld until")),
        _day("meat_until", mark("meat withheld until"))), _treatments),
    Table("quarantines", mark("Quarantines"), mark("places that were kept apart"), (
        _PLACE, _day("since", mark("since")), _day("until", mark("until"))), _quarantines),
    Table("outages", mark("Power cuts"), mark("power or heat that failed"), (
        _ON, _PLACE, _number("minutes", mark("minutes")), _number("lowest_c", mark("lowest, °C")),
        _number("highest_c", mark("highest, °C"))), _outages),
    Table("temperatures", mark("Temperatures seen"),
        mark("lowest and highest, as somebody read them"), (
        _moment("at", mark("at")), _PLACE, _number("lowest_c", mark("lowest, °C")),
        _number("highest_c", mark("highest, °C")), _text("spot", mark("spot"))), _temperatures),
    Table("money", mark("Money"), mark("every payment; spent is negative"), (
        _ON, _number("amount", mark("amount")), _text("category", mark("category")),
        _text("entry", mark("kind of entry")), _GROUP,
        _number("lasts_years", mark("spread over years"))), _money),
    Table("months", mark("Months"), mark("eggs, feed, costs and income by month"), (
        _day("month", mark("month")), _whole("eggs_laid", mark("eggs laid")),
        _whole("eggs_sold", mark("sold, eggs")), _whole("eggs_eaten", mark("eaten, eggs")),
        _whole("eggs_given", mark("given, eggs")),
        _whole("eggs_discarded", mark("discarded, eggs")), _number("feed_kg", mark("feed, kg")),
        _number("hen_days", mark("hen-days")), _number("bird_days", mark("bird-days")),
        _number("minutes", mark("minutes")), _number("cost", mark("all costs")),
        _number("income", mark("all income")), _number("result", mark("money left")),
        _number("cash", mark("paid in less paid out"))), _months),
    Table("costs", mark("Costs by month"), mark("what it cost and brought, by month and kind"), (
        _day("month", mark("month")), _text("what", mark("cost or income")),
        _text("kind", mark("kind")), _number("amount", mark("amount"))), _costs),
    Table("places", mark("Places"), mark("machines, brooders, pens and egg stores"), (
        _PLACE, _text("role", mark("role")), _whole("capacity_eggs", mark("capacity eggs")),
        _number("floor_m2", mark("floor, m²")), _number("height_m", mark("height, m")),
        _text("floor_kind", mark("floor kind")), _number("heater_w", mark("heater, W")),
        _whole("walk_order", mark("walk order")), _flag("closed", mark("closed"))), _places),
    Table("sources", mark("Sources"), mark("where hatching eggs come from"), (
        _text("source", mark("source")), _text("route", mark("route")),
        _number("price_per_egg", mark("price per egg"))), _sources),
    Table("instruments", mark("Instruments"), mark("instruments and how far they are off"), (
        _text("instrument", mark("instrument")), _PLACE,
        _number("temperature_offset_c", mark("shows too warm, °C")),
        _number("humidity_offset_pct", mark("shows too humid, points"))), _instruments),
    Table("goals", mark("Goal"), mark("what the flock is kept for, in figures"), (
        _number("eggs_per_week", mark("eggs per week")),
        _number("table_birds_per_month", mark("table birds per month")),
        _day("from", mark("from")), _day("until", mark("until")),
        _number("certainty", mark("certainty"))), _goals),
    Table("plan", mark("Plan"), mark("eggs to set and birds to keep, as planned"), (
        _day("on", mark("on")), _text("what", mark("set or cull")), _text("hatch", mark("hatch")),
        _text("whose", mark("whose")), _whole("eggs", mark("eggs")), _PLACE,
        _whole("keep_hens", mark("keep hens")), _whole("keep_cocks", mark("keep cocks")),
        _text("set_as", mark("set as"))), _plan),
    Table("readings_by_day", mark("Readings by day"), mark("of every instrument, each day"), (
        _ON, *_OF_READINGS), _by_day),
    Table("readings_by_hour", mark("Readings by hour"), mark("of every instrument, each hour"), (
        _moment("hour", mark("hour")), *_OF_READINGS), _by_hour),
    Table("journal", mark("Journal"),
        mark("every entry as it was written; it can be taken in again"),
        _JOURNAL, _journal),
)  # fmt: skip


def table_named(name: str) -> Table:
    """The table of that name. Raises BadInput."""
    for table in TABLES:
        if table.name == name:
            return table
    raise BadInput(
        say(
            "There is no table {name!r}. There are {names}.",
            name=name,
            names=", ".join(table.name for table in TABLES),
        )
    )
