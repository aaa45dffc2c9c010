"""The outlook as both faces ask for it: what is believed as of a moment, then the weeks drawn."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime

import numpy as np

from quailwright.exchange.hatch_times import hatch_times
from quailwright.exchange.typed import local
from quailwright.flock.state import Flock
from quailwright.guide.round import day_at
from quailwright.husbandry.age import DAYS_A_WEEK
from quailwright.journal.findings import BadInput
from quailwright.journal.store import Store
from quailwright.language import figure, mark, say
from quailwright.outlook.forecast import Outlook, Question, evening, forecast, learn
from quailwright.outlook.hatching import NOTHING_PLANNED, HatchTime, PlannedSet
from quailwright.outlook.planned import planned_of
from quailwright.outlook.rates import Rates
from quailwright.outlook.report import Rate, rates_table, says

_EVENING_H = 21
_MOST_EGGS = 100_000


@dataclass(frozen=True, slots=True)
class Believed:
    """The flock as of a day, and what is believed of its hatches and rates then."""

    flock: Flock
    day: date
    times: dict[str, HatchTime]
    rates: Rates


def believed(store: Store, flock: Flock, asked: date | datetime) -> Believed:
    """What is believed as of `asked`; `flock` is folded up to then."""
    day = day_at(flock, asked)
    times = hatch_times(store, flock, evening(flock, day))
    return Believed(flock, day, times, learn(flock, day, is_whole(asked, flock.zone)))


def is_whole(asked: date | datetime, zone_name: str) -> bool:
    """Whether the day's eggs are all in: most are laid in the evening."""
    return not isinstance(asked, datetime) or local(asked, zone_name).hour >= _EVENING_H


def as_it_stands(known: Believed, weeks: int, *, with_planned: bool = True) -> Question:
    """Nothing asked: how things stand, what the keeper has planned among it unless left out."""
    if not with_planned:
        return Question(planned=NOTHING_PLANNED)
    return Question(planned=planned_of(known.flock, known.day, weeks))


def ahead(
    known: Believed,
    weeks: int,
    draws: int,
    seed: int,
    question: Question | None = None,
    progress: Callable[[int], None] | None = None,
) -> Outlook:
    """The weeks drawn; where nothing is asked, as it stands.

    Raises BadInput when a question cannot be asked of this flock.
    """
    try:
        return forecast(
            known.flock,
            known.day,
            rng=np.random.default_rng(seed),
            weeks=weeks,
            draws=draws,
            question=question or as_it_stands(known, weeks),
            times=known.times,
            rates=known.rates,
            progress=progress,
        )
    except ValueError as error:
        raise BadInput(str(error)) from None


def rests_on(known: Believed, drawn: Outlook, seed: int) -> tuple[list[Rate], list[str]]:
    """The rates that an outlook rests on, and what is to be said with it."""
    table = rates_table(known.rates, np.random.default_rng(seed))
    return table, says(drawn, known.flock, table)


def asked_set(name: str, text: str, day: date, weeks: int) -> PlannedSet:
    """A set that is asked about: `2027-06-01 40 creek-farm`, the day, the eggs, whose they are.

    Args:
        name: of the option or parameter, for what is wrong with it.
        day: as of which the weeks ahead are looked at, so many `weeks`.

    Raises:
        BadInput: it is not understood, or lies outside these weeks.
    """
    parts = text.split(maxsplit=2)
    try:
        on, eggs, source = date.fromisoformat(parts[0]), int(parts[1]), parts[2]
    except (ValueError, IndexError):
        raise BadInput(
            say(
                "{name} '{text}' is not understood: a day, a number of eggs and whose they are, as "
                "in {name} '2027-06-01 40 creek-farm'.",
                name=name,
                text=text,
            )
        ) from None
    if on <= day:
        raise BadInput(
            say(
                "{name} '{text}': that day is not ahead. Log eggs_set for eggs that are set.",
                name=name,
                text=text,
            )
        )
    if (on - day).days > DAYS_A_WEEK * weeks:
        raise BadInput(
            say(
                "{name} '{text}': that is after the {weeks} weeks looked at.",
                name=name,
                text=text,
                weeks=weeks,
            )
        )
    if not 1 <= eggs <= _MOST_EGGS:
        raise BadInput(
            say("{name} '{text}': 1 to {most:,} eggs.", name=name, text=text, most=_MOST_EGGS)
        )
    return PlannedSet(on, eggs, source)


def rate_words(name: str) -> str:
    """What a rate is called, in words."""
    return say(_RATES.get(name, name.replace("_", " ")))


_RATES = {
    "hatch_of_set": mark("hatch of set"),
    "fertility": mark("fertility"),
    "deaths_a_week_week_1": mark("deaths a week week 1"),
    "deaths_a_week_week_2": mark("deaths a week week 2"),
    "deaths_a_week_week_3": mark("deaths a week week 3"),
    "deaths_a_week_grower": mark("deaths a week grower"),
    "deaths_a_week_adult": mark("deaths a week adult"),
    "lay": mark("lay"),
    "feed_used_over_eaten": mark("feed used over eaten"),
    "weight_over_usual": mark("weight over usual"),
}


def rate_figure(share: float, of: str = "") -> str:
    """A rate as it is read: a share, or how many times as much as usual."""
    if of in ("feed_used_over_eaten", "weight_over_usual"):
        return figure(share, ".2f")
    return figure(share, ".0%" if share >= 0.1 else ".1%")
