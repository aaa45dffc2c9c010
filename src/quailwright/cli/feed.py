"""`outlook --feed`: what feed the weeks ahead take, and when each bag runs out."""

import textwrap
from typing import TYPE_CHECKING

from quailwright.cli import show
from quailwright.flock.state import Flock
from quailwright.guide import wording
from quailwright.guide.round import units_of
from quailwright.husbandry.feeding import STAGES
from quailwright.journal.entries import Units
from quailwright.language import figure, say

if TYPE_CHECKING:
    from quailwright.outlook.feed_ahead import FeedAhead, FeedOf
    from quailwright.outlook.forecast import Outlook

_SHOWN_WEEKS = 12


def show_feed(ahead: "Outlook", flock: Flock, seed: int, as_json: bool) -> None:
    """Feed ahead on the terminal, or as JSON."""
    from quailwright.outlook.feed_ahead import feed_ahead

    found = feed_ahead(ahead, flock)
    if as_json:
        from quailwright.exchange.feed_shape import feed_shape

        show.json_document(feed_shape(found, ahead.draws, seed))
        return
    _show(found, units_of(flock))


def _show(found: "FeedAhead", units: Units) -> None:
    from quailwright.outlook.feed_ahead import stage_words

    print(say("Feed for the weeks after {day}", day=wording.full_day(found.on)))
    for sentence in found.said:
        print(textwrap.fill(sentence, 100, initial_indent="  ", subsequent_indent="  "))
    unit = wording.feed_unit(units)
    show.heading(say("Feed used, {unit}, week by week (likely is four times in five)", unit=unit))
    show.table(
        (say("week from"), *(stage_words(stage) for stage in STAGES)),
        [
            (
                wording.weekday(found.first_day(week)),
                *(_likely(found, stage_of, week, units) for stage_of in range(len(STAGES))),
            )
            for week in range(min(found.weeks, _SHOWN_WEEKS))
        ],
    )
    usual, low, high = found.spill
    print(
        "  "
        + say(
            "With spill: about {usual:.0%} of it, {low:.0%} to {high:.0%} (from memory), unless "
            "your record says otherwise.",
            usual=usual,
            low=low,
            high=high,
        )
    )
    if not found.feeds:
        return
    show.heading(say("When does each bag run out?"))
    show.table(
        (
            say("feed"),
            unit,
            say("used as"),
            say("bought on"),
            say("runs out, likely"),
            say("good until"),
            say("order by"),
        ),
        [row for one in found.feeds for row in _rows(found, one, units)],
    )


def _rows(found: "FeedAhead", one: "FeedOf", units: Units) -> list[tuple[object, ...]]:
    from quailwright.outlook.feed_ahead import EARLY, LATE, MIDDLE, stage_words

    rows: list[tuple[object, ...]] = []
    for number, bag in enumerate(one.bags):
        early, middle, late = (found.day(bag.runs_out, share) for share in (EARLY, MIDDLE, LATE))
        is_last = number == len(one.bags) - 1
        rows.append(
            (
                one.feed,
                figure(wording.feed_mass(bag.kg, units), ".1f"),
                ", ".join(map(stage_words, one.serves)),
                bag.bought_on or say("not known"),
                say("not known")
                if one.silent_since is not None
                else say("after these weeks")
                if middle is None or early is None
                else say("{day} (from {early})", day=middle, early=early)
                if late is None
                else say("{day} ({early} to {late})", day=middle, early=early, late=late),
                bag.keeps_until,
                one.order_by if is_last else None,
            )
        )
    return rows


def _likely(found: "FeedAhead", stage: int, week: int, units: Units) -> str:
    from quailwright.outlook.report import spread_of

    spread = spread_of(found.by_stage[STAGES[stage]][:, week])
    low, middle, high = (
        figure(wording.feed_mass(spread[name], units), ".1f") for name in ("q10", "q50", "q90")
    )
    if low == high:
        return middle
    return say("{middle} ({low} to {high})", middle=middle, low=low, high=high)
