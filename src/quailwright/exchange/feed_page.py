"""Feed ahead as a page tells it: when each feed runs out, what to order, and what was used."""

from dataclasses import dataclass
from datetime import date

import numpy as np

from quailwright.exchange.fan_chart import FanChart, fan_chart, weeks_told
from quailwright.flock.remark import Remark
from quailwright.flock.state import Flock
from quailwright.guide import wording
from quailwright.guide.round import units_of
from quailwright.husbandry.feeding import STAGES, Stage
from quailwright.journal.entries import Units
from quailwright.language import figure, mark, say
from quailwright.outlook.feed_ahead import (
    EARLY,
    LATE,
    MIDDLE,
    Array,
    FeedAhead,
    FeedOf,
    feed_ahead,
    of_store,
    stage_words,
    use_words,
)
from quailwright.outlook.forecast import Outlook
from quailwright.outlook.report import spread_of

CAUTIONS = (
    mark(
        "No layer feed and no shell for chicks and growers: so much calcium harms them. Not before "
        "they are about to lay."
    ),
    mark(
        "A feed with a medicine in it: only for the species and age that its label names, and with "
        "the withdrawal days for eggs and meat. Ask a vet."
    ),
)
"""What could harm birds or people with any feed. Common practice, no source."""

_MANY_KG = 1000.0
"""So many that their number of pounds is not rounded much."""


@dataclass(frozen=True, slots=True)
class FeedRow:
    """A feed in the store: how much, for whom, and until when."""

    feed: str
    amount: str
    serves: str
    lasts: str


@dataclass(frozen=True, slots=True)
class BagRow:
    """A bag, in the order in which they are opened."""

    feed: str
    amount: str
    bought_on: date | None
    runs_out: str
    keeps_until: date | None


@dataclass(frozen=True, slots=True)
class StageWeek:
    """A week: what is used of feed of each stage, likely, in words."""

    first_day: date
    by_stage: list[str]


@dataclass(frozen=True, slots=True)
class FeedPage:
    """All of it, said.

    Attributes:
        answer: what runs out first; why nothing can be told, where nothing can.
        remarks: what to order, what grows too old, and which birds no feed is for.
        is_odd: whether what was used of late is.
        use: what was used of late, in sentences.
        weeks_answer, chart: feed of all stages; no chart where nothing is eaten.
    """

    on: date
    unit: str
    answer: str
    feeds: list[FeedRow]
    bags: list[BagRow]
    remarks: list[Remark]
    is_odd: bool
    use: list[str]
    weeks_answer: str
    stages: list[str]
    weeks: list[StageWeek]
    chart: FanChart | None
    spill: str


def feed_page(outlook: Outlook, flock: Flock) -> FeedPage:
    """The page of an outlook of this flock."""
    found, units = feed_ahead(outlook, flock), units_of(flock)
    stages = [stage for stage in STAGES if found.by_stage[stage].max() > 0]
    whole = np.sum([found.by_stage[stage] for stage in STAGES], axis=0)
    in_unit = whole * wording.feed_mass(_MANY_KG, units) / _MANY_KG
    usual, low, high = found.spill
    return FeedPage(
        found.on,
        wording.feed_unit(units),
        _answer(found),
        [_feed(found, one, units) for one in found.feeds],
        [
            BagRow(
                one.feed,
                _amount(bag.kg, units),
                bag.bought_on,
                _lasts(found, one, bag.runs_out),
                bag.keeps_until,
            )
            for one in found.feeds
            for bag in one.bags
        ],
        of_store(found),
        found.use is not None and found.use.is_odd,
        _use(found, units),
        _weeks_answer(in_unit, found.weeks, units) if stages else "",
        [stage_words(stage) for stage in stages],
        _weeks(found, stages, units),
        _chart(in_unit, found) if stages else None,
        say(
            "With spill: about {usual:.0%} of it, {low:.0%} to {high:.0%} (from memory), unless "
            "your record says otherwise.",
            usual=usual,
            low=low,
            high=high,
        ),
    )


def _amount(kg: float, units: Units) -> str:
    return f"{figure(wording.feed_mass(kg, units), '.1f')} {wording.feed_unit(units)}"


def _answer(found: FeedAhead) -> str:
    if not found.feeds:
        return say("No feed is in the store by the record.")
    ends = [(day, one) for one in found.feeds if (day := found.day(one.runs_out, MIDDLE))]
    if not ends and any(one.silent_since is not None for one in found.feeds):
        return say("When feed runs out is not known: what was used of it is not told.")
    if not ends:
        return say("What is there lasts beyond the {weeks} weeks looked at.", weeks=found.weeks)
    _, first = min(ends, key=lambda pair: pair[0])
    return say(
        "{feed} runs out first: {when}.", feed=first.feed, when=_runs_out(found, first.runs_out)
    )


def _runs_out(found: FeedAhead, days: Array) -> str:
    """The day in words, with the range of four times in five."""
    early, middle, late = (found.day(days, share) for share in (EARLY, MIDDLE, LATE))
    if early is None:
        return say("after these weeks")
    if middle is None:
        return say("{early} at the earliest", early=wording.weekday(early))
    if late is None:
        return say(
            "{day}, likely from {early} on",
            day=wording.weekday(middle),
            early=wording.weekday(early),
        )
    if early == late:
        return wording.weekday(middle)
    return say(
        "{day}, likely {early} to {late}",
        day=wording.weekday(middle),
        early=wording.weekday(early),
        late=wording.weekday(late),
    )


def _feed(found: FeedAhead, one: FeedOf, units: Units) -> FeedRow:
    serves = ", ".join(map(stage_words, one.serves))
    return FeedRow(
        one.feed,
        _amount(one.kg, units),
        say("used as {stages}", stages=serves) if serves else say("no birds here eat it"),
        _lasts(found, one, one.runs_out),
    )


def _lasts(found: FeedAhead, one: FeedOf, days: Array) -> str:
    return say("not known") if one.silent_since is not None else _runs_out(found, days)


def _use(found: FeedAhead, units: Units) -> list[str]:
    use = found.use
    if use is None:
        return [
            say(
                "Feed given was not written down day by day of late, so its use cannot be held "
                "against that of before. It is an early sign: birds eat less before they lay less."
            )
        ]
    if use.is_odd:
        return use_words(use)
    return [
        say(
            "As usual: {used} given on {days} days, {expected} expected, likely {low} to {high}.",
            used=_amount(use.kg, units),
            days=use.days,
            expected=_amount(use.expected_kg, units),
            low=_amount(use.low_kg, units),
            high=_amount(use.high_kg, units),
        )
    ]


def _weeks_answer(in_unit: Array, weeks: int, units: Units) -> str:
    first, last = spread_of(in_unit[:, 0]), spread_of(in_unit[:, -1])
    return say(
        "{first:.1f} {unit} next week, likely {low:.1f} to {high:.1f}; {last:.1f} in week {week}, "
        "likely {last_low:.1f} to {last_high:.1f}.",
        first=first["q50"],
        unit=wording.feed_unit(units),
        low=first["q10"],
        high=first["q90"],
        last=last["q50"],
        week=weeks,
        last_low=last["q10"],
        last_high=last["q90"],
    )


def _weeks(found: FeedAhead, stages: list[Stage], units: Units) -> list[StageWeek]:
    return [
        StageWeek(
            found.first_day(week),
            [_likely(found.by_stage[stage][:, week], units) for stage in stages],
        )
        for week in range(found.weeks)
    ]


def _likely(samples: Array, units: Units) -> str:
    spread = spread_of(samples)
    low, middle, high = (
        figure(wording.feed_mass(spread[name], units), ".1f") for name in ("q10", "q50", "q90")
    )
    if low == high:
        return middle
    return say("{middle} ({low} to {high})", middle=middle, low=low, high=high)


def _chart(in_unit: Array, found: FeedAhead) -> FanChart:
    days = [found.first_day(week) for week in range(found.weeks)]
    nothing: list[float | None] = [None] * found.weeks
    return fan_chart(weeks_told(in_unit, days, nothing, nothing))
