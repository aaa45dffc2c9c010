"""Simulated home flocks with records kept the way people keep them, to check forecasts against.

`simulate(rng, today)` lives a flock up to 26 weeks after today and gives the journal up to today
and the truth. True rates differ from flock to flock as published; what a keeper writes down has
gaps, late sums, double counts and deaths that nobody logged. After today nothing is bought, sold,
taken out or set: chicks of hatches under way hatch, are housed, and are sexed at the age at which
this keeper always does it (24 to 42 days). The parts: `simulated_nature` (true rates),
`simulated_story` (what happens), `simulated_keeper` (what is written down).
"""

from collections.abc import Collection
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from numpy.random import Generator
from studies.simulated_keeper import PERFECT, Keeper, draw_keeper, keep_record
from studies.simulated_nature import (
    WEEKS_AHEAD,
    Floats,
    Ints,
    Nature,
    Site,
    draw_nature,
    draw_site,
)
from studies.simulated_story import Hatching, Story, tell

from quailwright.journal.entries import Entry

LONGEST_HISTORY_DAYS = 3 * 365

TROUBLES = ("gaps", "drops", "light")
"""What may be taken out: a record with gaps and slips; sudden drops, slow drift and attacks; short
days (without them every flock has a lamp for 16 hours, and says so)."""


@dataclass(frozen=True)
class HatchTruth:
    """A hatch that the journal has not closed. `first_hatch_at` is None where no chick hatches;
    `under_way` is false where the chicks are housed, and somebody forgot to close it."""

    hatch: str
    eggs: int
    set_on: date
    under_way: bool
    chicks: int
    first_hatch_at: datetime | None


@dataclass(frozen=True)
class Truth:
    """What happens in the 26 weeks from the day after today, (26,) each, and what was before.

    `eggs` (cracked ones too), `deaths` (chicks too) and `feed_kg` (spill too) are those of a week;
    `hens`, `cocks` and `chicks` (not sexed yet) live at its end. `standing` is hens, cocks and
    chicks this evening; `eggs_before` are the eggs of each day of the record, today's the last.
    """

    eggs: Ints
    hens: Ints
    cocks: Ints
    chicks: Ints
    deaths: Ints
    feed_kg: Floats
    hatches: list[HatchTruth]
    standing: tuple[int, int, int]
    eggs_before: Ints


@dataclass(frozen=True)
class SimulatedFlock:
    """A journal, the truth behind and ahead of it, and the circumstances for a breakdown."""

    today: date
    entries: list[Entry]
    truth: Truth
    site: Site
    nature: Nature
    keeper: Keeper
    history_days: int


def simulate(
    rng: Generator, today: date, without: Collection[str] = ()
) -> SimulatedFlock:  # fmt: skip
    """One flock. `without` takes out troubles (of `TROUBLES`), to see what each of them costs a
    forecast; the same generator does not give the same flock without them."""
    site, nature, keeper = draw_site(rng), draw_nature(rng), draw_keeper(rng)
    if "gaps" in without:
        keeper = replace(PERFECT, sexing_day=keeper.sexing_day)
    if "drops" in without:
        nature = replace(nature, drops_year=0.0, attacks_year=0.0, drift=0.0)
    if "light" in without:
        site = replace(site, lamp_h=16.0, tells_lamp=True, tells_latitude=True)
    history = int(np.exp(rng.uniform(np.log(7.0), np.log(LONGEST_HISTORY_DAYS))))
    story = tell(rng, today, site, nature, history, keeper.sexing_day)
    entries = keep_record(rng, today, story, keeper)
    return SimulatedFlock(today, entries, _truth(story, today), site, nature, keeper, history)


def _truth(story: Story, today: date) -> Truth:
    ahead = slice(story.today + 1, story.today + 1 + 7 * WEEKS_AHEAD)
    ends = story.today + 7 * np.arange(1, WEEKS_AHEAD + 1)
    birds = {
        name: np.sum([getattr(c, name) for c in story.counts.values()], axis=0)
        for name in ("hens", "cocks", "chicks")
    }
    eggs = np.sum(list(story.laid.values()), axis=0)
    died = np.concatenate([b.died[b.died <= b.left] for b in story.batches])
    deaths = np.bincount(died[(died > 0) & (died <= 7 * WEEKS_AHEAD)] - 1, minlength=7 * 26)
    hens, cocks, chicks = (int(birds[name][story.today]) for name in ("hens", "cocks", "chicks"))
    return Truth(
        eggs=eggs[ahead].reshape(WEEKS_AHEAD, 7).sum(axis=1),
        hens=birds["hens"][ends],
        cocks=birds["cocks"][ends],
        chicks=birds["chicks"][ends],
        deaths=deaths.reshape(WEEKS_AHEAD, 7).sum(axis=1),
        feed_kg=story.feed_kg[ahead].reshape(WEEKS_AHEAD, 7).sum(axis=1),
        hatches=[
            _hatch(hatching, story, today)
            for hatching in story.hatchings
            if hatching.closed_on is None or hatching.closed_on > 0
        ],
        standing=(hens, cocks, chicks),
        eggs_before=eggs[story.place_of(-story.history_days) : story.today + 1],
    )


def _hatch(hatching: Hatching, story: Story, today: date) -> HatchTruth:
    set_on = today + timedelta(days=hatching.set_on)
    zone = ZoneInfo(story.site.zone or "UTC")
    first = None
    if hatching.outcome.chicks:
        set_at = datetime.combine(set_on, time(hatching.set_hour), tzinfo=zone)
        waits = timedelta(hours=float(hatching.outcome.hours[0]))
        first = (set_at.astimezone(UTC) + waits).astimezone(zone)
    return HatchTruth(
        hatching.name,
        hatching.outcome.eggs,
        set_on,
        hatching.housed_on > 0,
        hatching.outcome.chicks,
        first,
    )
