"""The outlook as a page tells it: weeks against the goal, and what a question would change."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import TypeVar

from quailwright.exchange import outlook_told
from quailwright.exchange.fan_chart import FanChart, WeekTold, fan_chart, weeks_told
from quailwright.exchange.outlook_told import Believed, as_it_stands, believed, rests_on
from quailwright.exchange.typed import local
from quailwright.flock.state import Flock
from quailwright.husbandry import facts
from quailwright.journal.entries import Goal, Source
from quailwright.journal.findings import BadInput
from quailwright.journal.store import Store
from quailwright.language import mark, say, with_point
from quailwright.outlook.forecast import Outlook, Question
from quailwright.outlook.hatching import PlannedSet
from quailwright.outlook.report import FIGURES, NAMES, as_published, chance_of_goal, compared

WEEKS, DRAWS, SEED = 26, 2000, 1
_LONGEST_LAMP_H = 24.0
_MOST_BIRDS = 10_000
_MOST_EGGS = 10_000
_LIT_LONG_H = 17
_SET_IN = timedelta(weeks=1)
_USUAL_EGGS = "planning.eggs_a_set"

Made = TypeVar("Made")
Once = Callable[[str, Callable[[], Made]], Made]
"""What is made under a name, made once for all who ask for it."""


@dataclass(frozen=True, slots=True)
class Beside:
    """Hens and feed [kg] of a week: the middle, and four times in five."""

    first_day: date
    hens: tuple[float, float, float]
    feed_kg: tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class OutlookPage:
    """The weeks ahead.

    Attributes:
        weeks, chart: of eggs; no weeks and no chart where there is nothing to tell of.
        otherwise: the same weeks as things stand, where something is asked.
        hens_and_feed: by week.
        said: what is to be said with it; `published`: figures that nobody's record has moved yet,
            in words, with their keys.
        asked: of `ASKS`; "" where nothing is asked. `words` says it.
        answer: what it would change, in sentences.
        typed: what the questions offer, by the names of their fields.
        sources: whose eggs may be set: what the field takes, and words.
        last_day: on which eggs can be set in these weeks.
        hens, cocks: how many there are; `hatching`, `planned`: whether there is any.
    """

    goal: Goal | None
    weeks: list[WeekTold]
    chart: FanChart | None
    otherwise: list[WeekTold]
    hens_and_feed: list[Beside]
    said: list[str]
    published: list[tuple[str, str]]
    asked: str
    words: str
    answer: list[str]
    typed: dict[str, str]
    sources: list[tuple[str, str]]
    first_day: date
    last_day: date
    hens: int
    cocks: int
    hatching: bool
    planned: bool


ASKS = ("lamp", "fewer_cocks", "fewer_hens", "set", "no_hatches", "no_planned")

FIELDS = ("lamp_h", "fewer_cocks", "fewer_hens", "set_eggs", "set_on", "set_of")
"""Of the questions, as the page has them."""

NEW = {"new collected": mark("new eggs, fetched nearby"), "new shipped": mark("new eggs, by post")}
"""Eggs of a source that the journal does not know, by their route."""
_KNOWN = "of "


def outlook_page(
    store: Store,
    flock: Flock,
    now: datetime,
    typed: Mapping[str, str],
    once: Once[tuple[Believed, Outlook]] | None = None,
) -> OutlookPage:
    """The weeks after `now`; `flock` is folded up to then.

    Args:
        typed: `ask` (of `ASKS`, or ""), and `FIELDS`, as text.
        once: keeps how things stand for others who ask within the hour.

    Raises:
        BadInput: the question cannot be asked.
    """
    known, plain = as_things_are(store, flock, now, once)
    stands = plain.asked
    asked = typed.get("ask", "")
    fields = {name: typed.get(name, "").strip() for name in FIELDS}
    sources = list(_sources(flock))
    usual = _usual(known.day, sources)
    fields = {name: text or usual[name] for name, text in fields.items()}
    supposed, question = _question(asked, fields, stands, known)
    drawn = outlook_told.ahead(supposed, WEEKS, DRAWS, SEED, question) if asked else plain
    table, said = rests_on(supposed, drawn, SEED)
    weeks = _weeks(drawn, flock)
    otherwise = _weeks(plain, flock) if asked else []
    alive = [group.alive for group in flock.groups_alive()]
    return OutlookPage(
        flock.goal,
        weeks,
        fan_chart(weeks, otherwise) if weeks else None,
        otherwise,
        _hens_and_feed(drawn) if weeks else [],
        said,
        [(say(NAMES[name]), FIGURES[name]) for name in as_published(table)],
        asked,
        say("the plan left out") if asked == "no_planned" else question.words,
        _change(drawn, plain, question) if asked else [],
        fields,
        sources,
        known.day + timedelta(days=1),
        known.day + timedelta(weeks=WEEKS),
        sum(birds.hens for birds in alive),
        sum(birds.cocks for birds in alive),
        any(flock.hatches_open()) or bool(stands.planned.sets),
        bool(stands.planned.sets or stands.planned.culls),
    )


def as_things_are(
    store: Store,
    flock: Flock,
    now: datetime,
    once: Once[tuple[Believed, Outlook]] | None = None,
) -> tuple[Believed, Outlook]:
    """The weeks after `now` as things stand, planned sets among it; kept by `once` for an hour."""

    def drawn() -> tuple[Believed, Outlook]:
        known = believed(store, flock, now)
        return known, outlook_told.ahead(known, WEEKS, DRAWS, SEED, as_it_stands(known, WEEKS))

    hour = f"outlook at {local(now, flock.zone):%H}"
    return once(hour, drawn) if once is not None else drawn()


def as_asked(store: Store, flock: Flock, asked: date | datetime) -> Outlook:
    """The weeks after a day or an instant as things stand; `flock` is folded up to then."""
    known = believed(store, flock, asked)
    return outlook_told.ahead(known, WEEKS, DRAWS, SEED, as_it_stands(known, WEEKS))


def _sources(flock: Flock) -> Iterator[tuple[str, str]]:
    """Whose eggs may be set: known sources, own groups with hens and cocks, and new ones."""
    own = {group.name for group in flock.groups_alive() if group.alive.hens and group.alive.cocks}
    for name in sorted({*flock.sources, *own}):
        yield f"{_KNOWN}{name}", name
    for value, words in NEW.items():
        yield value, say(words)


def _usual(on: date, sources: list[tuple[str, str]]) -> dict[str, str]:
    return {
        "lamp_h": f"{facts.value('laying.light_target_h'):g}",
        "fewer_cocks": "1",
        "fewer_hens": "1",
        "set_eggs": f"{facts.value(_USUAL_EGGS):g}",
        "set_on": (on + _SET_IN).isoformat(),
        "set_of": sources[0][0],
    }


def _question(
    asked: str, fields: Mapping[str, str], stands: Question, known: Believed
) -> tuple[Believed, Question]:
    """What is asked, and the flock that it is asked of: with a new source where its eggs are."""
    match asked:
        case "":
            return known, stands
        case "no_planned":
            return known, as_it_stands(known, WEEKS, with_planned=False)
        case "lamp":
            hours = _number(fields["lamp_h"], say("Hours of light a day"), _LONGEST_LAMP_H)
            return known, replace(stands, lamp_h=hours)
        case "fewer_cocks":
            cocks = _number(fields["fewer_cocks"], say("Cocks that go"), _MOST_BIRDS)
            return known, replace(stands, fewer_cocks=round(cocks))
        case "fewer_hens":
            hens = _number(fields["fewer_hens"], say("Hens that go"), _MOST_BIRDS)
            return known, replace(stands, fewer_hens=round(hens))
        case "no_hatches":
            return known, replace(stands, no_hatches=True)
        case "set":
            return _with_set(fields, stands, known)
    raise BadInput(say("That cannot be asked. Press one of the buttons."))


def _with_set(
    fields: Mapping[str, str], stands: Question, known: Believed
) -> tuple[Believed, Question]:
    eggs = round(_number(fields["set_eggs"], say("Eggs to set"), _MOST_EGGS))
    try:
        on = date.fromisoformat(fields["set_on"])
    except ValueError:
        raise BadInput(
            say("The day to set them: as 2027-06-01, not '{text}'.", text=fields["set_on"][:20])
        ) from None
    last = known.day + timedelta(weeks=WEEKS)
    if not known.day < on <= last:
        raise BadInput(
            say("The day to set them: after {day} and up to {last}.", day=known.day, last=last)
        )
    whose = fields["set_of"]
    if whose in NEW:
        name = say(NEW[whose])
        new = Source(
            id="", at=f"{known.day}", source=name,
            route="shipped" if whose.endswith("shipped") else "collected",
        )  # fmt: skip
        sources = {**known.flock.sources, name: new}
        known = replace(known, flock=replace(known.flock, sources=sources))
    else:
        name = whose.removeprefix(_KNOWN)
        if (whose, name) not in list(_sources(known.flock)):
            raise BadInput(say("Choose whose eggs they are from the list."))
    return known, replace(stands, sets=(PlannedSet(on, max(1, eggs), name),))


def _number(text: str, what: str, most: float) -> float:
    try:
        value = float(with_point(text))
    except ValueError:
        value = -1.0
    if not 0 < value <= most:
        raise BadInput(
            say(
                "{what}: a number above 0 and up to {most:g}, not '{text}'.",
                what=what, most=most, text=text[:20],
            )
        )  # fmt: skip
    return value


def _weeks(drawn: Outlook, flock: Flock) -> list[WeekTold]:
    if not any(own.any() for own in drawn.samples.values()):
        return []
    chances = chance_of_goal(drawn, flock) or [None] * drawn.weeks
    eggs = flock.goal.eggs_per_week if flock.goal is not None else None
    wanted = [None if chance is None else eggs for chance in chances]
    days = [drawn.first_day(week) for week in range(drawn.weeks)]
    return weeks_told(drawn.samples["eggs"], days, wanted, chances)


def _hens_and_feed(drawn: Outlook) -> list[Beside]:
    days = [drawn.first_day(week) for week in range(drawn.weeks)]
    nothing: list[None] = [None] * drawn.weeks
    hens = weeks_told(drawn.samples["hens"], days, nothing, nothing)
    feed = weeks_told(drawn.samples["feed_kg"], days, nothing, nothing)
    return [
        Beside(one.first_day, (one.middle, one.low, one.high), (kg.middle, kg.low, kg.high))
        for one, kg in zip(hens, feed, strict=True)
    ]


_NO_CHANGE = {"eggs": mark("No change in eggs."), "feed_kg": mark("No change in feed.")}
_CHANGE = {
    "eggs": mark("{middle:+} eggs, likely {low:+} to {high:+}."),
    "feed_kg": mark("{middle:+} kg of feed, likely {low:+} to {high:+}."),
}


def _change(drawn: Outlook, plain: Outlook, question: Question) -> list[str]:
    said = []
    for name, spread in compared(drawn, plain).items():
        low, middle, high = (round(spread[q]) for q in ("q10", "q50", "q90"))
        if low == middle == high == 0:
            said.append(say(_NO_CHANGE[name]))
        else:
            said.append(say(_CHANGE[name], low=low, middle=middle, high=high))
    if question.lamp_h is not None and question.lamp_h > _LIT_LONG_H:
        said.append(
            say("Birds need a dark rest: keepers light to 14 to 17 h, and more adds no eggs.")
        )
    return said
