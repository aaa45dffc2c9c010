"""Makers of small flocks for the tests of the outlook. All of it is invented."""

from collections.abc import Sequence
from datetime import date, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray
from tests.makers import made

from quailwright.flock.fold import fold
from quailwright.journal.entries import Entry
from quailwright.outlook.forecast import Outlook, Question, forecast, learn
from quailwright.outlook.report import Rate, rates_table

Array = NDArray[np.float64]

ON = date(2027, 6, 1)
LISBON = made(
    "holding", "2026-01-01", name="home", timezone="Europe/Lisbon", latitude=38.7, light_target_h=15
)
NOWHERE = made("holding", "2026-01-01", name="home", latitude=0, light_target_h=15)
"""A holding where days are long enough all year, with a lamp on top."""
UNTOLD = made("holding", "2026-01-01", name="home")
"""A holding that does not tell where it is."""


def hens(
    number: int,
    group: str = "hens",
    at: str = "2027-01-01",
    hatched_on: str | None = "2026-10-01",
    **more: Any,
) -> Entry:
    """Hens that came grown."""
    return made(
        "group", at, group=group, place=f"pen {group}", hens=number, hatched_on=hatched_on, **more
    )


def laid(counts: Sequence[float], last: date = ON, group: str = "hens") -> list[Entry]:
    """So many eggs on each of the days that end with `last`; a negative count is a day missed."""
    first = last - timedelta(days=len(counts) - 1)
    return [
        made("eggs_collected", first + timedelta(days=n), group=group, eggs=int(eggs))
        for n, eggs in enumerate(counts)
        if eggs >= 0
    ]


def binomial(number: int, rate: float, days: int, seed: int = 1) -> list[int]:
    """Eggs of so many hens on so many days."""
    return [int(eggs) for eggs in np.random.default_rng(seed).binomial(number, rate, days)]


def outlook(
    entries: Sequence[Entry],
    on: date = ON,
    *,
    seed: int = 1,
    weeks: int = 10,
    draws: int = 500,
    question: Question | None = None,
) -> Outlook:
    """The outlook of a journal."""
    return forecast(
        fold(entries, on),
        on,
        rng=np.random.default_rng(seed),
        weeks=weeks,
        draws=draws,
        question=question,
    )


def rate(entries: Sequence[Entry], name: str, of: str = "", on: date = ON) -> Rate:
    """One rate as the keeper sees it."""
    believed = learn(fold(entries, on), on)
    (found,) = (
        row
        for row in rates_table(believed, np.random.default_rng(1))
        if (row.name, row.of) == (name, of)
    )
    return found


def hatch_over(
    name: str, at: date, eggs: int, chicks: int, source: str = "creek", clear: int | None = None
) -> list[Entry]:
    """A hatch that is over, its chicks sold as they dried."""
    out = at + timedelta(days=17)
    candled = (
        []
        if clear is None
        else [made("eggs_candled", at + timedelta(days=8), hatch=name, clear=clear, dead=0)]
    )
    housed = (
        [
            made("group", out, group=f"chicks {name}", place=f"box {name}", hatch=name),
            made("birds_out", out, group=f"chicks {name}", use="sold", chicks=chicks),
        ]
        if chicks
        else []
    )
    return [
        made("eggs_set", at, hatch=name, eggs=eggs, place="machine", source=source),
        *candled,
        made("chicks_hatched", out, hatch=name, chicks=chicks),
        *housed,
        made("hatch_closed", out + timedelta(days=2), hatch=name),
    ]
