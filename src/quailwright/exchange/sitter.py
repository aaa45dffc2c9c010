"""The sheet for whoever looks after the birds while the keeper is away."""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, time, timedelta
from typing import Literal

from quailwright.exchange.paper_back import monday_of, week_back, whose
from quailwright.flock.held import box_holds, hold_of, lots_told, reasons_told
from quailwright.flock.state import Birds, Flock, Hatch
from quailwright.guide import away, wording
from quailwright.guide.away import Falls, PlaceNeeds, Times
from quailwright.guide.occasions import elapsed, lamp_told, turns_until
from quailwright.guide.round import units_of
from quailwright.husbandry import facts
from quailwright.husbandry.age import DAYS_A_WEEK
from quailwright.husbandry.feeding import Stage, stage
from quailwright.journal.entries import Contact, Units
from quailwright.journal.findings import BadInput
from quailwright.journal.moments import as_date
from quailwright.language import figure, mark, say, say_many
from quailwright.outlook.feed_ahead import stage_words
from quailwright.planning.problem import Span, needs_hands

MOST_DAYS = 60
"""Longest absence, and how far ahead it may begin: further on, birds hatch that nobody has set."""
_USUAL_DAYS = 7
_GROWN_D = 365
_SOONER, _LATER = timedelta(days=-1), timedelta(days=1)

Mark = Literal["feeder", "drinker", "egg", "latch", "thermometer", "birds"]
Column = Literal["warm", "feed", "water", "hot", "birds", "turn", "eggs", "latch"]

MARKS: Mapping[Column, Mark] = {
    "warm": "thermometer", "feed": "feeder", "water": "drinker", "hot": "drinker",
    "birds": "birds", "turn": "egg", "eggs": "egg", "latch": "latch",
}  # fmt: skip
"""The columns of a round, in order, and the mark that each is known by."""


@dataclass(frozen=True, slots=True)
class Asked:
    """What was asked: the days away, the clock times told, and what a scoop holds [g]."""

    first: date
    last: date
    morning: time | None = None
    midday: time | None = None
    evening: time | None = None
    scoop_g: float | None = None

    @property
    def days(self) -> list[date]:
        """Every day away."""
        return [self.first + timedelta(days=n) for n in range((self.last - self.first).days + 1)]


@dataclass(frozen=True, slots=True)
class Line:
    """One thing to do at a place: in a sentence, and short under the heading of its column."""

    column: Column
    text: str
    short: str

    @property
    def mark(self) -> Mark:
        """What it is known by."""
        return MARKS[self.column]


@dataclass(frozen=True, slots=True)
class Stop:
    """A place on a round, with what is there and what to do."""

    place: str
    holds: str
    lines: tuple[Line, ...]
    held: str

    def at(self, column: Column) -> list[Line]:
        """What to do under a heading."""
        return [line for line in self.lines if line.column == column]


@dataclass(frozen=True, slots=True)
class Visit:
    """A round at a clock time."""

    name: str
    at: time
    stops: tuple[Stop, ...]

    @property
    def columns(self) -> list[Column]:
        """The headings under which there is something to do."""
        used = {line.column for stop in self.stops for line in stop.lines}
        return [column for column in MARKS if column in used]


@dataclass(frozen=True, slots=True)
class Week:
    """One page: days of one week (Monday to Sunday), the rounds, and the counts to fill in.

    `eggs`, `deaths`, `feeds` and `waters` are the columns of the page that types a week back, by
    the same names and in the same order; of feeds only those that are given in these days.
    `feeds_usual` and `waters_usual` are what the rounds give of each in a day, in the unit that is
    written down. `days` are those away, `monday` leads to that page.
    """

    monday: date
    days: list[date]
    visits: list[Visit]
    eggs: list[str]
    deaths: list[str]
    feeds: list[str]
    feeds_usual: list[str]
    waters: list[str]
    waters_usual: list[str]

    def shows(self, step: Falls) -> bool:
        """Whether a step falls into these days."""
        first, last = step.at, step.until or step.at
        return first.isoformat()[:10] <= self.days[-1].isoformat() and (
            last.isoformat()[:10] >= self.days[0].isoformat()
        )


@dataclass(frozen=True, slots=True)
class SetFalls:
    """A planned set some of whose steps fall into the absence, and days on which none would."""

    hatch: str
    on: date
    instead_before: date | None
    instead_after: date


@dataclass(frozen=True, slots=True)
class FeedNeeded:
    """Feed of a stage for all days away, and what the record says is in the store [kg]."""

    stage: Stage
    needed_kg: float
    store_kg: float | None
    lasts_days: float | None


@dataclass(frozen=True, slots=True)
class SitterSheet:
    """All of it.

    Attributes:
        asked, on: what was asked, and the day as of which it is told.
        weeks: a page for each.
        steps: of hatches and chicks, on the sheet, before leaving or after.
        quiet_from: the first day from which an absence as long meets no step that birds die of;
            None where this one meets none.
        sets: planned sets that had better begin on another day.
        feeds: what must be in the store.
        before, after: what to do before leaving and when back.
        never, ring_if: what a sitter must not do, and when they ring.
        failing: what to do when power or heat fails.
        hands: on children and clean hands.
        contacts: whom to ring, the vet first. `lacking`: roles of whom nobody is told.
        held: what is withheld, in words, to print large.
    """

    asked: Asked
    on: date
    weeks: list[Week]
    steps: list[Falls]
    quiet_from: date | None
    sets: list[SetFalls]
    feeds: list[FeedNeeded]
    before: list[str]
    after: list[str]
    never: list[str]
    ring_if: list[str]
    failing: list[str]
    hands: list[str]
    contacts: list[Contact]
    lacking: list[str]
    held: list[str]

    @property
    def empty(self) -> bool:
        """Whether there is nothing to look after."""
        return not any(week.visits for week in self.weeks)

    @property
    def on_sheet(self) -> list[Falls]:
        """The steps that a sitter must do."""
        return [step for step in self.steps if step.when == "sheet"]


# What is asked.


def sitter_asked(
    flock: Flock,
    on: date,
    first: str,
    until: str,
    morning: str = "",
    midday: str = "",
    evening: str = "",
    scoop: str = "",
) -> Asked:
    """What was typed; a week from tomorrow where no day is. Raises BadInput.

    `scoop` is what a scoop holds as the keeper weighs it, in grams or ounces.
    """
    begins = _day(first) if first else on + timedelta(days=1)
    if begins < on:
        raise BadInput(say("{day} is past. A sitter's sheet begins today or later.", day=begins))
    # The last days of the calendar have no week after them.
    usual = min(_USUAL_DAYS - 1, (date.max - begins).days)
    ends = _day(until) if until else begins + timedelta(days=usual)
    if ends < begins:
        raise BadInput(
            say("{until} lies before {first}. Give the first day away, then the last.",
                until=ends, first=begins)
        )  # fmt: skip
    if (ends - begins).days >= MOST_DAYS or (begins - on).days > MOST_DAYS:
        raise BadInput(
            say(
                "A sitter's sheet is for at most {days} days, and begins within {days} days: birds "
                "change too much after. Make another one nearer the time.",
                days=MOST_DAYS,
            )
        )
    times = [_clock(text) for text in (morning, midday, evening)]
    told = [each for each in times if each is not None]
    if told != sorted(set(told)):
        raise BadInput(say("The clock times of the rounds are not in the order of the day."))
    return Asked(begins, ends, times[0], times[1], times[2], _scoop(scoop, units_of(flock)))


def _day(text: str) -> date:
    try:
        return as_date(text)
    except ValueError:
        raise BadInput(
            say("{text!r} is not a day. Write it as in 2027-05-02.", text=text[:40])
        ) from None


def _clock(text: str) -> time | None:
    if not text:
        return None
    try:
        return time.fromisoformat(text).replace(second=0, microsecond=0, tzinfo=None)
    except ValueError:
        raise BadInput(
            say("{text!r} is not a clock time. Write it as in 07:30.", text=text[:40])
        ) from None


def _scoop(text: str, units: Units) -> float | None:
    if not text:
        return None
    try:
        weight = wording.grams_of(float(text.replace(",", ".")), units)
    except ValueError:
        weight = 0.0
    if not 1 <= weight <= 5000:
        raise BadInput(
            say("{text!r} is not what a scoop holds. Weigh one scoop of feed, and write the number "
                "of ounces.", text=text[:40])
            if units == "us"
            else say("{text!r} is not what a scoop holds. Weigh one scoop of feed, and write the "
                     "number of grams.", text=text[:40])
        )  # fmt: skip
    return weight


# The sheet.


def sitter_sheet(flock: Flock, on: date, asked: Asked) -> SitterSheet:
    """The sheet of an absence, as the record stands on the day `on`."""
    steps = away.steps_falling(flock, on, asked.first, asked.last)
    sets = list(_sets_falling(flock, on, asked))
    quiet = None
    if any(step.critical for step in steps):
        quiet = away.quiet_from(flock, on, asked.first, asked.last)
    feeds = list(_feeds_needed(flock, on, asked))
    whole = away.place_needs(flock, on, asked.days)
    contacts = _contacts(flock)
    held = [*_held(flock, asked), *_held_in_store(flock, on)]
    return SitterSheet(
        asked,
        on,
        list(_weeks(flock, on, asked)),
        steps,
        quiet,
        sets,
        feeds,
        list(_before(flock, on, asked, feeds, steps, sets, whole, quiet)),
        list(_after(steps)),
        list(_never(whole, held)),
        list(_ring_if(flock, whole)),
        list(_failing(flock, any(each.brooder for each in whole), asked)),
        _said(_HANDS),
        contacts,
        [role for role in ("vet", "animal_health") if role not in {one.role for one in contacts}],
        held,
    )


_ROLES = ("vet", "animal_health", "helper", "sitter", "other")


def _contacts(flock: Flock) -> list[Contact]:
    return sorted(flock.contacts.values(), key=lambda one: _ROLES.index(one.role))


def _weeks(flock: Flock, on: date, asked: Asked) -> Iterator[Week]:
    monday = monday_of(asked.first)
    while monday <= asked.last:
        week = [monday + timedelta(days=n) for n in range(DAYS_A_WEEK)]
        days = [day for day in week if asked.first <= day <= asked.last]
        back = week_back(flock, monday, on)
        needs = away.place_needs(flock, on, days)
        of_feed = _given_kg(flock, needs)
        feeds = [name for name in back.feeds if name in of_feed]
        of_place = {each.place: each.water_l for each in needs}
        yield Week(
            monday,
            days,
            list(_visits(flock, on, asked, days)),
            back.groups,
            [whose(group, name) for _, group, name in back.who],
            feeds,
            [figure(of_feed[name], ".2f") if of_feed[name] else "" for name in feeds],
            back.waters,
            [
                figure(wording.litres_filled(of_place[name], units_of(flock)), "g")
                for name in back.waters
            ],
        )
        monday = week[-1] + timedelta(days=1)


def _given_kg(flock: Flock, needs: Sequence[PlaceNeeds]) -> dict[str, float]:
    """What is given of each feed in a day [kg]; 0 where a place has several feeds."""
    given: dict[str, float] = {}
    shared = set()
    for each in needs:
        names = _names_at(flock, each)
        for name in names:
            kg = wording.portion_g(each.feed_g, units_of(flock)) / 1000
            given[name] = given.get(name, 0.0) + kg
        if len(names) > 1:
            shared.update(names)
    return {name: 0.0 if name in shared else kg for name, kg in given.items()}


def _visits(flock: Flock, on: date, asked: Asked, days: Sequence[date]) -> Iterator[Visit]:
    needs = away.place_needs(flock, on, days)
    machines = _machines(flock, days)
    turned = away.turning(flock, days[0])
    at_midday = any(each.brooder for each in needs) or bool(turned)
    times = away.times_of(flock, days, at_midday or asked.midday is not None)
    times = Times(
        asked.morning or times.morning, asked.midday or times.midday, asked.evening or times.evening
    )
    units = units_of(flock)
    rounds: list[tuple[str, away.Round, time | None]] = [
        (say("Morning"), "morning", times.morning),
        (say("Midday"), "midday", times.midday),
        (say("Evening"), "evening", times.evening),
    ]
    for name, when, at in rounds:
        if at is None:
            continue
        stops = [_stop(flock, each, when, asked, units) for each in needs]
        stops += [
            _machine(place, units, [hatch for hatch in turned if hatch.place == place])
            for place in machines
        ]
        if when == "midday" and any(not each.brooder for each in needs):
            stops.append(_pens_at_midday(units))
        walk = {place.name: n for n, place in enumerate(flock.in_walking_order())}
        stops = sorted(
            (stop for stop in stops if stop.lines), key=lambda stop: walk.get(stop.place, len(walk))
        )
        if stops:
            yield Visit(name, at, tuple(stops))


def _machines(flock: Flock, days: Sequence[date]) -> list[str]:
    """The machines that hold eggs in these days."""
    late = facts.value("incubation.hatch_day_late")
    return list(
        dict.fromkeys(
            hatch.place
            for hatch in flock.hatches_open()
            if hatch.alive > 0
            and hatch.set_at.date() <= days[-1]
            and days[0] <= elapsed(hatch.set_at, late).date()
        )
    )


def _machine(place: str, units: Units, turned: Sequence[Hatch]) -> Stop:
    heat = wording.temperature(facts.value("incubation.temperature"), units)
    if not turned:
        text = say("Read the thermometer: {heat}. Leave the lid shut.", heat=heat)
        shut = say("{heat}, lid shut", heat=heat)
        return Stop(place, say("eggs to hatch"), (Line("warm", text, shut),), "")
    lines = [Line("warm", say("Read the thermometer: {heat}.", heat=heat), heat)]
    for hatch in turned:
        until = wording.clock(turns_until(hatch))
        text = say(
            "Turn the eggs of {hatch} until {when}, unless the machine does it.",
            hatch=hatch.name,
            when=until,
        )
        lines.append(Line("turn", text, say("{hatch}, until {when}", hatch=hatch.name, when=until)))
    return Stop(place, say("eggs to hatch"), tuple(lines), "")


def hot_day(flock: Flock) -> str:
    """From what temperature a day is hot for a sitter, in words."""
    return wording.heat(facts.value("away.hot_day_c"), units_of(flock))


def _pens_at_midday(units: Units) -> Stop:
    hot = wording.heat(facts.value("away.hot_day_c"), units)
    text = say("Hot day, {hot} or more: is there water? Fill up.", hot=hot)
    return Stop(say("every pen"), "", (Line("hot", text, say("water there? fill up")),), "")


def _stop(flock: Flock, needs: PlaceNeeds, when: away.Round, asked: Asked, units: Units) -> Stop:
    birds = Birds(needs.chicks, needs.hens, needs.cocks)
    held = []
    if needs.eggs_held == date.max:
        held.append(say("EGGS WITHHELD, no end told: keep apart."))
    elif needs.eggs_held is not None:
        day = wording.weekday(needs.eggs_held)
        held.append(say("EGGS WITHHELD to {day}: keep apart.", day=day))
    if needs.birds_held is not None:
        day = wording.weekday(needs.birds_held)
        held.append(say("QUARANTINE to {day}: come here last.", day=day))
    lines = {"morning": _morning, "midday": _midday, "evening": _evening}[when]
    return Stop(needs.place, str(birds), tuple(lines(flock, needs, asked, units)), " ".join(held))


def _morning(flock: Flock, needs: PlaceNeeds, asked: Asked, units: Units) -> Iterator[Line]:
    if needs.brooder:
        yield _warm(needs)
    feed = _given_of_late(flock, needs) or " / ".join(
        _feed_name(flock, each) for each in needs.stages
    )
    amount = wording.portion(needs.feed_g, units)
    if asked.scoop_g is not None:
        scoops = wording.scoops(needs.feed_g, asked.scoop_g)
        short = say("{scoops} ({amount}) of {feed}", scoops=scoops, amount=amount, feed=feed)
        yield Line("feed", say("Feed: {amount}.", amount=short), short)
    else:
        short = say("{amount} of {feed}", amount=amount, feed=feed)
        yield Line("feed", say("Feed: {amount}.", amount=short), short)
    water = wording.filled(needs.water_l, units)
    if needs.pebbles:
        yield Line(
            "water",
            say("Water: wash the drinker, keep the pebbles in, fill in {water}.", water=water),
            say("{water}, pebbles in", water=water),
        )
    else:
        yield Line("water", say("Water: wash the drinker, fill in {water}.", water=water), water)
    if not needs.brooder:
        hot = wording.heat(facts.value("away.hot_day_c"), units)
        more = wording.filled(needs.water_hot_l, units)
        yield Line(
            "hot", say("Hot day, {hot} or more: {water}, and shade.", hot=hot, water=more), more
        )
    birds = needs.chicks + needs.hens + needs.cocks
    yield Line("birds", say_many("Count {n} bird.", "Count {n} birds.", birds), figure(birds))


def _midday(_: Flock, needs: PlaceNeeds, __: Asked, ___: Units) -> Iterator[Line]:
    if needs.brooder:
        yield _warm(needs)
        yield Line("water", say("Water there? Feed there?"), say("and feed: is there any?"))


def _evening(_: Flock, needs: PlaceNeeds, __: Asked, ___: Units) -> Iterator[Line]:
    if needs.brooder:
        yield _warm(needs)
    yield Line("water", say("Is there water until morning? Fill up if not."), say("until morning?"))
    if needs.lays:
        yield _eggs_line(needs)
    yield Line("latch", say("Shut and latch. Everyone in?"), say("shut; all in?"))


def _eggs_line(needs: PlaceNeeds) -> Line:
    if needs.eggs is None:
        return Line("eggs", say("Collect and count the eggs."), say("count them"))
    short = say_many(
        "about {n} ({fewest} to {most})",
        "about {n} ({fewest} to {most})",
        round(needs.eggs.mean),
        fewest=needs.eggs.fewest,
        most=needs.eggs.most,
    )
    return Line("eggs", say("Collect and count the eggs: {usual} a day.", usual=short), short)


def _warm(needs: PlaceNeeds) -> Line:
    text = say("{heat} at chick level. Spread out is right; in a heap is cold.", heat=needs.heat)
    return Line("warm", text, needs.heat)


def _names_at(flock: Flock, needs: PlaceNeeds) -> list[str]:
    late = _given_of_late(flock, needs)
    if late:
        return [late]
    return list(dict.fromkeys(name for of in needs.stages for name in _stocks(flock, of)))


def _given_of_late(flock: Flock, needs: PlaceNeeds) -> str:
    """The one feed that grown birds of a place were given of late, whatever their age says; ""
    where none or several were. Young birds change their feed: theirs goes by age."""
    if needs.stages != ("layer",) or flock.last_day is None:
        return ""
    since = flock.last_day - timedelta(days=facts.value("signs.recent_event_d"))
    given = set()
    for feeding in reversed(flock.feedings):
        if feeding.day < since:
            break
        if feeding.place == needs.place and flock.feeds[feeding.feed].kg > 0:
            given.add(feeding.feed)
    return given.pop() if len(given) == 1 else ""


def _feed_name(flock: Flock, of: Stage) -> str:
    """The keeper's own name for the feed of a stage, where the record tells it."""
    stocks = _stocks(flock, of)
    return stocks[0] if stocks else stage_words(of)


def _stocks(flock: Flock, of: Stage) -> list[str]:
    labelled = [
        name
        for name, stock in flock.feeds.items()
        if stock.label is not None and stock.label.stage == of and stock.kg > 0
    ]
    if labelled:
        return labelled
    others = [
        name
        for name, stock in flock.feeds.items()
        if stock.kg > 0 and (stock.label is None or stock.label.stage is None)
    ]
    # One feed that says nothing of itself is given to all.
    return others if len(others) == 1 else []


def _feeds_needed(flock: Flock, on: date, asked: Asked) -> Iterator[FeedNeeded]:
    grams: dict[Stage, float] = {}
    for group in flock.groups_alive():
        for day in asked.days:
            age = group.age_days(day)
            of = stage(_GROWN_D if age is None else age)
            grams[of] = grams.get(of, 0.0) + away.eaten_g(group, day)
    for hatch in away.hatching(flock, on, asked.last):
        eaten = sum(away.hatching_g(hatch, day) for day in asked.days)
        grams[stage(0)] = grams.get(stage(0), 0.0) + eaten
    stocks = {of: _stocks(flock, of) for of in grams}
    shared = [name for names in stocks.values() for name in names]
    for of, eaten in grams.items():
        needed = eaten / 1000 / (1.0 - facts.value("feeding.wastage"))
        alone = stocks[of] and all(shared.count(name) == 1 for name in stocks[of])
        store = sum(flock.feeds[name].kg for name in stocks[of]) if alone else None
        lasts = None if store is None else store / (needed / len(asked.days))
        yield FeedNeeded(of, needed, store, lasts)


def _sets_falling(flock: Flock, on: date, asked: Asked) -> Iterator[SetFalls]:
    span = Span(asked.first, asked.last)
    for one in flock.planned_sets.values():
        if one.set_as is not None or one.on < on or not needs_hands(one.on, span):
            continue
        yield SetFalls(
            one.hatch,
            one.on,
            _free_day(one.on, span, _SOONER, on),
            _free_day(one.on, span, _LATER, None) or one.on,
        )


def _free_day(day: date, span: Span, way: timedelta, until: date | None) -> date | None:
    """The nearest day that way from which no step needs hands in the span; None past `until`."""
    while needs_hands(day, span):
        day += way
        if until is not None and day < until:
            return None
    return day


def _held(flock: Flock, asked: Asked) -> Iterator[str]:
    for one in flock.withholdings:
        if one.eggs_until is None:
            yield say(
                "Eggs of {group} laid from {since} on: WITHHELD, and nobody has told until when. "
                "Do not eat, sell or give them away, then or later.",
                group=one.group,
                since=wording.full_day(one.since),
            )
        elif one.eggs_until >= asked.first:
            yield say(
                "Eggs of {group} laid up to and on {day}: WITHHELD. Do not eat, sell or give them "
                "away, then or later.",
                group=one.group,
                day=wording.full_day(one.eggs_until),
            )
    for place in flock.places.values():
        if place.quarantined_until is not None and place.quarantined_until >= asked.first:
            yield say(
                "{place}: QUARANTINE up to and on {day}. Go there last; no bird, egg or thing "
                "leaves it.",
                place=place.name,
                day=wording.full_day(place.quarantined_until),
            )


def _held_in_store(flock: Flock, on: date) -> Iterator[str]:
    """Boxes and loose eggs of the store that nobody may have."""
    boxed: dict[tuple[date, str], int] = {}
    for box in flock.boxes.values():
        for key, eggs in box.lots.items():
            boxed[key] = boxed.get(key, 0) + eggs
        if box.eggs and (holds := box_holds(flock, box, on, "sold")):
            yield say(
                "Box {box} in the store: HELD, all {eggs} eggs. Nobody takes it. {why}",
                box=box.name,
                eggs=box.eggs,
                why=say(reasons_told(flock, holds)),
            )
    loose = [
        hold
        for key, lot in sorted(flock.lots.items())
        if (eggs := lot.on_hand - boxed.get(key, 0)) > 0
        and (hold := hold_of(flock, lot, on, "sold", eggs)) is not None
    ]
    if loose:
        yield say(
            "Loose in the store: {lots}: HELD. Nobody takes them. {why}",
            lots=say(lots_told(loose)),
            why=say(reasons_told(flock, loose)),
        )


# What to do before and after, and what not to do.


def _before(
    flock: Flock,
    on: date,
    asked: Asked,
    feeds: Sequence[FeedNeeded],
    steps: Sequence[Falls],
    sets: Sequence[SetFalls],
    needs: Sequence[PlaceNeeds],
    quiet: date | None,
) -> Iterator[str]:
    units = units_of(flock)
    if quiet is not None:
        yield say(
            "A hatch needs hands in these days. Leave on or after {day} instead; or let somebody "
            "come who has hatched before, shown each step.",
            day=wording.full_day(quiet),
        )
    for step in steps:
        if step.when == "before" and step.by is not None:
            yield say(
                "By {day}, before you leave: {task} ({subject}).",
                day=wording.weekday(step.by),
                task=step.task,
                subject=step.subject,
            )
        elif step.when == "missed":
            yield say(
                "Left out: {task} ({subject}, {day}). {instead}",
                task=step.task,
                subject=step.subject,
                day=wording.weekday(step.at),
                instead=step.instead,
            ).rstrip()
    for one in sets:
        yield _set_instead(one)
    for cull in flock.planned_culls.values():
        if asked.first <= cull.on <= asked.last:
            yield say(
                "The plan lets birds of {whose} go on {day}: do it before you leave or when back.",
                whose=say(cull.whose),
                day=wording.weekday(cull.on),
            )
    yield from _orders_told(flock, asked)
    yield from _held_in_store(flock, on)
    for feed in feeds:
        yield _feed_told(feed, units)
    for hatch in away.hatching(flock, on, asked.last):
        yield say(
            "The starter feed is reckoned as if all {eggs} eggs of {hatch} hatched.",
            eggs=hatch.alive,
            hatch=hatch.name,
        )
    water = sum(each.water_hot_l for each in needs)
    if water:
        yield say(
            "Stand clean water by in cans: {water}, a hot day's worth, for a tap that freezes or "
            "fails.",
            water=wording.filled(water, units),
        )
    lamp = lamp_told(flock)
    if lamp is not None:
        yield say(
            "Look that the timer switches the lamp at {on} and {off}, and keeps its time after a "
            "power cut.",
            on=lamp[0],
            off=lamp[1],
        )
    else:
        yield say("Look that every timer is right, and keeps its time after a power cut.")
    yield from _said(_BEFORE)


def _orders_told(flock: Flock, asked: Asked) -> Iterator[str]:
    """The orders of eggs that are still to be filled when the keeper is away."""
    due = [order for order in flock.orders.values() if order.left and order.on <= asked.last]
    for order in sorted(due, key=lambda order: (order.on, order.name)):
        whose = (
            say("{order}, for {person}", order=order.name, person=order.to)
            if order.to
            else order.name
        )
        yield say_many(
            "Order {order}: {n} egg for {day}. Fill it before you leave, call it off, or tell the "
            "sitter who comes for it.",
            "Order {order}: {n} eggs for {day}. Fill it before you leave, call it off, or tell the "
            "sitter who comes for them.",
            order.left,
            order=whose,
            day=wording.weekday(order.on),
        )
    if not due:
        yield say("No order of eggs is due in these days: take none, or tell who comes for it.")


def _set_instead(one: SetFalls) -> str:
    if one.instead_before is None:
        return say(
            "The plan sets {hatch} on {on}; its steps would fall into these days. Set it on or "
            "after {after} instead.",
            hatch=one.hatch,
            on=wording.weekday(one.on),
            after=wording.weekday(one.instead_after),
        )
    return say(
        "The plan sets {hatch} on {on}; its steps would fall into these days. Set it on or after "
        "{after} instead, or on {before}.",
        hatch=one.hatch,
        on=wording.weekday(one.on),
        after=wording.weekday(one.instead_after),
        before=wording.weekday(one.instead_before),
    )


def _feed_told(feed: FeedNeeded, units: Units) -> str:
    unit = wording.feed_unit(units)
    needed = math.ceil(wording.feed_mass(feed.needed_kg, units) * 10) / 10
    name = stage_words(feed.stage)
    if feed.store_kg is None or feed.lasts_days is None:
        return say(
            "{feed}: {needed:.1f} {unit} are needed until you are back. What is in the store is "
            "not known: weigh it.",
            feed=name,
            needed=needed,
            unit=unit,
        )
    store = wording.feed_mass(feed.store_kg, units)
    text = _ENOUGH if feed.store_kg >= feed.needed_kg else _TOO_LITTLE
    return say(
        text,
        feed=name,
        needed=needed,
        unit=unit,
        store=store,
        days=math.floor(feed.lasts_days),
        short=max(0.0, needed - store),
    )


_ENOUGH = mark(
    "{feed}: {needed:.1f} {unit} are needed until you are back; {store:.1f} {unit} by the record "
    "last {days} days. Weigh it."
)
_TOO_LITTLE = mark(
    "{feed}: {needed:.1f} {unit} are needed until you are back; {store:.1f} {unit} by the record "
    "last only {days} days. BUY {short:.1f} {unit} more."
)

_BEFORE = (
    mark("Test the smoke alarm; look at heater, guard, cables and sockets."),
    mark("Walk round the mesh and latches; cut what hangs over."),
    mark("Leave a spare drinker, a spare bulb or plate, a torch, gloves and soap."),
    mark("Write down the vet's number, and ring the vet to say that you are away."),
    mark("Walk the round once with the sitter, by this sheet, and let them do it."),
    mark("Hang the sheet with a pen where the birds are."),
)


def _after(steps: Sequence[Falls]) -> Iterator[str]:
    yield from _said(_AFTER)
    for step in steps:
        if step.when == "after" and step.by is not None:
            yield say(
                "From {day}: {task} ({subject}).",
                day=wording.weekday(step.by),
                task=step.task,
                subject=step.subject,
            )


_AFTER = (
    mark("Count the birds, place by place, and log the counts."),
    mark("Weigh the feed that is left, each kind, and log it."),
    mark("Type the sheet back: eggs, deaths, feed and water."),
    mark("Wash the drinkers; look at feet, backs, litter and mesh."),
    mark("Ask the sitter what was hard to read or to do, and mend the sheet."),
)


def _never(needs: Sequence[PlaceNeeds], held: Sequence[str]) -> Iterator[str]:
    yield say("Let no bird out, sell none, give none away, bring none in.")
    yield say("Leave heater, lamp, timer and machine as they are, but for what this sheet says.")
    yield say("Give no medicine, no remedy, nothing in the water.")
    if held:
        yield say(
            "Do not eat, sell or give away eggs that are marked WITHHELD, HELD or QUARANTINE."
        )
    if any(each.lays for each in needs):
        yield say("Throw cracked eggs away. Do not wash eggs.")
        yield say(
            "Write the day on each day's eggs and keep them cool. Only those whom the keeper named "
            "fetch any."
        )
    yield say("No visitors, no other birds; come in shoes that stay here.")


def _ring_if(flock: Flock, needs: Sequence[PlaceNeeds]) -> Iterator[str]:
    yield say("Fire or smoke: everyone out, ring the fire brigade first, then the keeper.")
    yield say(
        "Two or more birds dead in a day, swelling, twisted necks, gasping, or birds that will not "
        "get up: touch nothing more, wash hands, ring the keeper, the vet or the animal-health "
        "line. Nobody takes birds or eggs away."
    )
    yield say("A drinker that cannot be filled, or feed that will not last.")
    lamp = lamp_told(flock)
    if lamp is not None:
        yield say(
            "A lamp that is dark between {on} and {off}, or burns at another time.",
            on=lamp[0],
            off=lamp[1],
        )
    for each in needs:
        if each.eggs is not None and each.eggs.mean >= 2:
            yield say_many(
                "{place}: {n} egg or fewer in a day. Look at the water first.",
                "{place}: {n} eggs or fewer in a day. Look at the water first.",
                away.few_eggs(each.eggs),
                place=each.place,
            )
    if any(each.brooder for each in needs):
        yield say("Chicks in a heap and loud, or panting at the edge.")
    yield say("A bird missing, a hole, tracks, or a bird hurt: part it from the others, and ring.")


def _failing(flock: Flock, brooding: bool, asked: Asked) -> Iterator[str]:
    yield say("Leave the fuse box alone if it is wet or smells burnt: out, and ring.")
    if brooding or _machines(flock, asked.days):
        hours = facts.value("away.chicks_watched_h")
        yield say(
            "Chicks or eggs in a machine: lid shut, a blanket over the box with air left open and "
            "no heater under it; ring at once if it lasts more than {hours:g} h.",
            hours=hours,
        )
    yield say("Grown birds: keep them dry and out of the wind; they need no heat.")
    yield say(
        "No candle, stove, grill or generator inside with people or birds: the gas kills unseen."
    )
    if brooding:
        yield say("When power is back: is the lamp's timer right, is the heater warm?")
    else:
        yield say("When power is back: is the timer right?")
    hot = hot_day(flock)
    yield say(
        "Hot day, {hot} or more: shade, air, cool water at midday too; birds that pant with wings "
        "held off need it at once.",
        hot=hot,
    )


_HANDS = (
    mark("Wash hands with soap before and after, every time; no eating or drinking here."),
    mark("Children help to collect and count with a grown-up beside them; none under five."),
    mark("A dead bird: gloves or a bag turned inside out, closed, cool, apart from food. Ring."),
)


def _said(texts: Sequence[str]) -> list[str]:
    return [say(text) for text in texts]
