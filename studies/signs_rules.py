"""Simple rules that a keeper may hold a record against, and a detector to try it out.

A rule gives a score for each pen and day, above 1 where it fires; not a number where the record is
silent. So a threshold raised by a factor is a score divided by it.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from studies.signs_keeper import BROODER, CHICKS
from studies.simulated_nature import Bools, Floats

from quailwright.flock.history import laid_days
from quailwright.flock.state import Flock
from quailwright.guide.signs import Sign
from quailwright.journal import entries as kinds
from quailwright.journal.entries import Entry

POINTS, SIGMAS, SHARE = 0.10, 2.0, 0.15
HOT_C, MILD_C = 32.0, 20.0
COLD_C, WARM_C = 16.0, 23.0
FEWEST_DAYS = 7


@dataclass(frozen=True)
class Sheet:
    """What is written, by pen and day: (pens, days); the last row is that of the chicks.

    `eggs`, `feed_g` and `water_l` are not a number on days without; `hens` are those of the record
    in the evening, `gone` those logged dead or lost. `high_c`, `low_c` are those of each pen.
    """

    eggs: Floats
    hens: Floats
    feed_g: Floats
    water_l: Floats
    gone: Floats
    high_c: Floats
    low_c: Floats


def sheet(days: Sequence[Sequence[Entry]], pens: Sequence[str], groups: Sequence[str]) -> Sheet:
    """The record as a keeper's sheet of paper."""
    rows, width = len(pens) + 1, len(days)
    rows_of = {name: row for row, name in enumerate([*pens, BROODER])}
    rows_of |= {name: row for row, name in enumerate([*groups, CHICKS])}
    silent = {
        name: np.full((rows, width), np.nan) for name in ("eggs", "feed", "water", "hi", "lo")
    }
    hens, gone = np.zeros((rows, width)), np.zeros((rows, width))
    here = np.zeros(rows)
    for day, written in enumerate(days):
        for entry in written:
            match entry:
                case kinds.Group(group=name, hens=came):
                    here[rows_of[name]] += came
                case kinds.BirdsCounted(group=name, hens=counted) if counted is not None:
                    here[rows_of[name]] = counted
                case kinds.BirdsDied(group=name):
                    here[rows_of[name]] -= entry.hens
                    gone[rows_of[name], day] += entry.hens + entry.chicks
                case kinds.BirdsOut(group=name, use=use):
                    here[rows_of[name]] -= entry.hens
                    gone[rows_of[name], day] += entry.hens if use == "lost" else 0
                case kinds.EggsCollected(group=name, eggs=eggs):
                    _plus(silent["eggs"], rows_of[name], day, eggs)
                case kinds.FeedGiven(place=place, kg=kg) if place is not None:
                    _plus(silent["feed"], rows_of[place], day, 1000.0 * kg)
                case kinds.WaterGiven(place=place, litres=litres):
                    _plus(silent["water"], rows_of[place], day, litres)
                case kinds.TemperatureSeen(place=place, lowest_c=low, highest_c=high):
                    silent["lo"][rows_of[place], day] = np.nan if low is None else low
                    silent["hi"][rows_of[place], day] = np.nan if high is None else high
        hens[:, day] = here
    return Sheet(
        silent["eggs"], hens, silent["feed"], silent["water"], gone, silent["hi"], silent["lo"]
    )


def _plus(values: Floats, row: int, day: int, amount: float) -> None:
    values[row, day] = amount + (0.0 if np.isnan(values[row, day]) else values[row, day])


def before(values: Floats, width: int, gap: int = 0) -> tuple[Floats, Floats]:
    """Mean and standard deviation of the `width` days before each day, those `gap` days off left
    out; not a number where fewer than 7 of them are written."""
    means, spreads = np.full(values.shape, np.nan), np.full(values.shape, np.nan)
    for day in range(values.shape[1]):
        window = values[:, max(0, day - gap - width) : max(0, day - gap)]
        known = (~np.isnan(window)).sum(axis=1)
        for row in np.flatnonzero(known >= FEWEST_DAYS):
            told = window[row][~np.isnan(window[row])]
            means[row, day], spreads[row, day] = told.mean(), told.std(ddof=1)
    return means, spreads


def last(values: Floats, width: int) -> Floats:
    """The mean of the last `width` days, of which all but one at most are written."""
    means = np.full(values.shape, np.nan)
    for day in range(width - 1, values.shape[1]):
        window = values[:, day - width + 1 : day + 1]
        known = ~np.isnan(window)
        rows = np.flatnonzero(known.sum(axis=1) >= max(1, width - 1))
        means[rows, day] = np.nanmean(window[rows], axis=1) if rows.size else np.nan
    return means


def scores(record: Sheet) -> dict[str, Floats]:
    """Every rule's score by pen and day: above 1 it fires."""
    with np.errstate(divide="ignore", invalid="ignore"):
        lay = np.where(record.hens > 0, record.eggs / record.hens, np.nan)
        eaten = np.where(record.hens > 0, record.feed_g / record.hens, np.nan)
        drunk = np.where(record.hens > 0, record.water_l / record.hens, np.nan)
        mean_14, _ = before(lay, 14)
        mean_14_3, _ = before(lay, 14, gap=2)
        made = {
            "10 points, 1 day": (mean_14 - lay) / POINTS,
            "10 points, 3 days": (mean_14_3 - last(lay, 3)) / POINTS,
        }
        for width in (14, 28):
            mean, spread = before(record.eggs, width)
            made[f"two sigma, {width} days"] = (mean - record.eggs) / spread / SIGMAS
        made["feed 15 % down"] = (1.0 - eaten / before(eaten, 14)[0]) / SHARE
        made["water 15 % down"] = (1.0 - drunk / before(drunk, 14)[0]) / SHARE
    made["any death"] = 2.0 * record.gone
    made["over 32 C"] = (record.high_c - MILD_C) / (HOT_C - MILD_C)
    made["chicks under 16 C"] = (WARM_C - record.low_c) / (WARM_C - COLD_C)
    # A pen's cold nights are no matter for the rule of chicks.
    made["chicks under 16 C"][:-1] = np.nan
    with np.errstate(invalid="ignore"):
        for lay_rule in ("10 points, 1 day", "two sigma, 14 days"):
            parts = [np.nan_to_num(made[name], nan=-9.0) for name in (lay_rule, *_OTHERS)]
            made[f"{lay_rule}, and all others"] = np.maximum.reduce(parts)
    return made


_OTHERS = ("feed 15 % down", "water 15 % down", "any death", "over 32 C", "chicks under 16 C")
LAY_RULES = (
    "10 points, 1 day",
    "10 points, 3 days",
    "two sigma, 14 days",
    "two sigma, 28 days",
)
TOGETHER = tuple(f"{rule}, and all others" for rule in ("10 points, 1 day", "two sigma, 14 days"))
RULES = (*LAY_RULES, *_OTHERS, *TOGETHER)


def fires(score: Floats, factor: float = 1.0) -> Bools:
    """Whether a rule fires, its threshold raised by a factor."""
    fired: Bools = np.nan_to_num(score, nan=-np.inf) > factor
    return fired


def stand_in(flock: Flock, on: date) -> Iterator[Sign]:
    """Not the program's: eggs of three days far below chance, to try the study out alone."""
    for name, counts in laid_days(flock, on - timedelta(days=31), on).items():
        group = flock.groups.get(name)
        daily = {laid.day: laid.eggs for laid in counts if laid.days_since <= 1}
        recent = [eggs for day, eggs in daily.items() if day > on - timedelta(days=3)]
        usual = [eggs for day, eggs in daily.items() if day <= on - timedelta(days=3)]
        if group is None or len(recent) < 2 or len(usual) < FEWEST_DAYS:
            continue
        due = len(recent) * sum(usual) / len(usual)
        if sum(recent) < due - 4.0 * np.sqrt(due + 0.5):
            yield Sign("lay of the stand-in", group.place, on, "", "Look at water and lamp.")
