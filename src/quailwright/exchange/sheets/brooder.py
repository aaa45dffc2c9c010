"""The card of a brooder: heat to hold by week, feed, boxes for each day, and when to move."""

from datetime import date, timedelta
from typing import Any

from quailwright.exchange.brooding_asked import brooder_group
from quailwright.exchange.brooding_told import Told, brooding_of
from quailwright.exchange.sheets.press import Press, cautions, in_address, pdf
from quailwright.guide import wording
from quailwright.guide.brooding import Week
from quailwright.husbandry import facts, feeding
from quailwright.husbandry.age import DAYS_A_WEEK
from quailwright.husbandry.feeding import Stage
from quailwright.journal.findings import BadInput
from quailwright.language import say, say_many
from quailwright.outlook.feed_ahead import stage_words


def brooder_pdf(press: Press, place: str) -> bytes:
    """The card of that place. Raises BadInput where no chicks that need heat are there."""
    flock, on = press.flock, press.on
    if place not in flock.places:
        raise BadInput(say("There is no place {place!r}.", place=place))
    group = brooder_group(flock, on, place)
    if group is None:
        raise BadInput(
            say("No chicks that may need heat are at {place}: a card tells of chicks.", place=place)
        )
    told = brooding_of(press.store, flock, on, {"group": group.name, "place": place})
    found = told.found
    opens = say("Opens {place}", place=place)
    title = say("{place}: {group}", place=place, group=group.name)
    last = max(found.out.heat_ends_on[1], on)
    return pdf(
        press,
        "brooder",
        title,
        {
            "name": title,
            "says": [
                say_many(
                    "{n} chick, hatched {day}.",
                    "{n} chicks, hatched {day}.",
                    found.birds,
                    day=wording.full_day(found.hatched_on),
                ),
                say("Hold the warmth at the height of the chicks' backs, under the heat."),
            ],
            "codes": [press.code(f"/places/{in_address(place)}", opens)],
            "heat_heading": say("Heat and feed by week"),
            "heat_columns": [
                say("week"), say("from"), say("hold"), say("sources want"), say("feed"),
                say("changed"),
            ],
            "weeks": [_week(week, found.hatched_on, press) for week in found.weeks],
            "moves_heading": say("When to move"),
            "moves": _moves(told),
            "water": say(
                "Water: a shallow drinker with pebbles or marbles for the first {days:g} days.",
                days=facts.value("brooding.pebbles_until_d"),
            ),
            "failing_heading": say("If the power fails"),
            "failing": told.if_power_fails,
            "days_heading": say("Day by day"),
            "day_columns": [
                say("date"), say("age, days"), say("lowest, {unit}", unit=_unit(press)),
                say("highest, {unit}", unit=_unit(press)), say("feed and water"), say("alive"),
                say("dead"),
            ],
            "days": [
                {
                    "date": wording.weekday(day),
                    "age": str((day - found.hatched_on).days),
                }
                for day in _days(on, last)
            ],
            "cautions": cautions("command:brooding"),
            "cautions_heading": say("To mind"),
        },
    )  # fmt: skip


def _days(first: date, last: date) -> list[date]:
    return [first + timedelta(days=n) for n in range((last - first).days + 1)]


def _week(week: Week, hatched_on: date, press: Press) -> dict[str, Any]:
    age = (week.first - hatched_on).days
    stages = [feeding.stage(max(0, age + n)) for n in range(DAYS_A_WEEK)]
    return {
        "week": say("week {number}", number=week.week),
        "from": wording.weekday(week.first),
        "hold": wording.heat(week.wanted_c, press.units),
        "range": wording.heats(week.low_c, week.high_c, press.units),
        "feed": " / ".join(_feed(press, stage) for stage in dict.fromkeys(stages)),
    }


def _feed(press: Press, stage: Stage) -> str:
    """A stage of feed, and what the keeper has of it."""
    names = [
        name
        for name, stock in press.flock.feeds.items()
        if stock.kg > 0 and stock.label is not None and stock.label.stage == stage
    ]
    words = stage_words(stage)
    return f"{words} ({', '.join(names)})" if names else words


def _unit(press: Press) -> str:
    return "°F" if press.units == "us" else "°C"


def _moves(told: Told) -> list[str]:
    return [*told.ends, *told.out]
