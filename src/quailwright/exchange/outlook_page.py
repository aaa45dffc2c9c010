"""The outlook as a page tells it: weeks against the goal, and what a question would change."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime

from quailwright.exchange.fan_chart import FanChart, WeekTold, fan_chart, weeks_told
from quailwright.exchange.outlook_told import ahead, as_it_stands, believed, rests_on
from quailwright.flock.state import Flock
from quailwright.husbandry import facts
from quailwright.journal.entries import Goal
from quailwright.journal.findings import BadInput
from quailwright.journal.store import Store
from quailwright.outlook.forecast import Outlook, Question
from quailwright.outlook.report import chance_of_goal, compared

WEEKS, DRAWS, SEED = 26, 2000, 1
_LONGEST_LAMP_H = 24.0
_MOST_COCKS = 10_000
_LIT_LONG_H = 17


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
        hens_and_feed: by week.
        said: what is to be said with it.
        asked: of `ASKS`; "" where nothing is asked. `words` says it.
        answer: what it would change, in sentences.
        lamp_h, fewer_cocks: what the questions offer.
        cocks: how many there are; `hatching`, `planned`: whether there is any.
    """

    goal: Goal | None
    weeks: list[WeekTold]
    chart: FanChart | None
    hens_and_feed: list[Beside]
    said: list[str]
    asked: str
    words: str
    answer: list[str]
    lamp_h: str
    fewer_cocks: str
    cocks: int
    hatching: bool
    planned: bool


ASKS = ("lamp", "fewer_cocks", "no_hatches", "no_planned")


def outlook_page(
    store: Store, flock: Flock, now: datetime, typed: Mapping[str, str]
) -> OutlookPage:
    """The weeks after `now`; `flock` is folded up to then.

    Args:
        typed: `ask` (of `ASKS`, or ""), `lamp_h`, `fewer_cocks`, as text.

    Raises:
        BadInput: the question cannot be asked.
    """
    known = believed(store, flock, now)
    stands = as_it_stands(known, WEEKS)
    lamp_h = typed.get("lamp_h") or f"{facts.value('laying.light_target_h'):g}"
    fewer = typed.get("fewer_cocks") or "1"
    asked = typed.get("ask", "")
    question = _question(asked, lamp_h, fewer, stands)
    if asked == "no_planned":
        question = as_it_stands(known, WEEKS, with_planned=False)
    plain = ahead(known, WEEKS, DRAWS, SEED, stands)
    drawn = ahead(known, WEEKS, DRAWS, SEED, question) if asked else plain
    _, said = rests_on(known, drawn, SEED)
    weeks = _weeks(drawn, flock)
    return OutlookPage(
        flock.goal,
        weeks,
        fan_chart(weeks) if weeks else None,
        _hens_and_feed(drawn) if weeks else [],
        said,
        asked,
        "the plan left out" if asked == "no_planned" else question.words,
        _change(drawn, plain, question) if asked else [],
        lamp_h,
        fewer,
        sum(group.alive.cocks for group in flock.groups_alive()),
        any(flock.hatches_open()) or bool(stands.planned.sets),
        bool(stands.planned.sets or stands.planned.culls),
    )


def _question(asked: str, lamp_h: str, fewer_cocks: str, stands: Question) -> Question:
    match asked:
        case "" | "no_planned":
            return stands
        case "lamp":
            hours = _number(lamp_h, "Hours of light a day", _LONGEST_LAMP_H)
            return replace(stands, lamp_h=hours)
        case "fewer_cocks":
            cocks = _number(fewer_cocks, "Cocks that go", _MOST_COCKS)
            return replace(stands, fewer_cocks=round(cocks))
        case "no_hatches":
            return replace(stands, no_hatches=True)
    raise BadInput("That cannot be asked. Press one of the buttons.")


def _number(text: str, what: str, most: float) -> float:
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        value = -1.0
    if not 0 < value <= most:
        raise BadInput(f"{what}: a number above 0 and up to {most:g}, not {text[:20]!r}.")
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


def _change(drawn: Outlook, plain: Outlook, question: Question) -> list[str]:
    names = {"eggs": "eggs", "feed_kg": "kg of feed"}
    said = []
    for name, spread in compared(drawn, plain).items():
        low, middle, high = (round(spread[q]) for q in ("q10", "q50", "q90"))
        if low == middle == high == 0:
            said.append(f"No change in {names[name].removeprefix('kg of ')}.")
        else:
            said.append(f"{middle:+} {names[name]}, likely {low:+} to {high:+}.")
    if question.lamp_h is not None and question.lamp_h > _LIT_LONG_H:
        said.append("Birds need a dark rest: keepers light to 14 to 17 h, and more adds no eggs.")
    return said
