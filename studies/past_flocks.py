"""A flock with a year or two behind it: what lives of it today, and its careful keeper's journal.

The past is lived in the simulator, with the same true rates as the weeks ahead. What is not carried
over the day of planning: which hen is which, and where the level of lay stands in its wandering.
"""

from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import msgspec
import numpy as np
from numpy.random import Generator
from studies.invented_briefs import Invented
from studies.simulated_nature import Ints
from studies.simulated_plan import WEEK, Brood, Course, Going, Held, Setting, Truth, live

from quailwright.journal.entries import AnyEntry, Entry

EVERY_W = 10
SEXED_D = 28
CHOSEN_D = 17 + 42
KEPT_W = 60


def past(
    rng: Generator, brief: Invented, truth: Truth, weeks: int
) -> tuple[Invented, Truth, list[Entry]]:
    """The brief of a keeper who has had birds for so many weeks, the truth with the hatch of their
    own eggs, and the journal.

    Sets every ten weeks, from each seller in turn, would keep about the flock that the goal needs.
    """
    begun = brief.on - timedelta(days=WEEK * weeks)
    flock = brief.eggs_a_week / WEEK / 0.75
    eggs = max(12, round(flock * EVERY_W / (KEPT_W - 8.0) * 2.0 / 0.5))
    days = range(1, WEEK * weeks - CHOSEN_D - SEXED_D, WEEK * EVERY_W)
    settings = []
    for number, day in enumerate(days):
        seller = brief.sellers[number % len(brief.sellers)]
        cocks = max(1, round(eggs / 16.0))
        settings.append(Setting(day, seller.name, eggs, "old box", None, cocks, day + CHOSEN_D))
    goings = [Going(s.day + 17 + WEEK * KEPT_W, s.day, 0, 0) for s in settings]
    course = Course(begun, weeks, brief.latitude, brief.lamp_h, settings, goings)
    life = live(rng, truth, course)
    diary = _Diary(begun, WEEK * weeks)
    diary.write("holding", 0, name="home", latitude=brief.latitude, light_target_h=brief.lamp_h)
    diary.write("place", 0, place="old box", role="incubator", closed=True)
    for one in brief.sellers:
        diary.write("source", 0, source=one.name, route=one.route)
    held = []
    for number, setting in enumerate(settings):
        name = f"hatch-{number + 1}"
        diary.write(
            "eggs_set", setting.day, hatch=name, eggs=eggs, place="old box", source=setting.source
        )
        brood = next((b for b in life.broods if b.setting == number), None)
        if brood is None:
            diary.write("hatch_closed", setting.day + 20, hatch=name)
            continue
        group = f"brood-{number + 1}"
        _birds(diary, brood, name, group)
        _eggs(diary, group, life.eggs_of[life.broods.index(brood)], brood)
        here = brood.here(WEEK * weeks)
        hens, cocks = int((here & brood.hen).sum()), int((here & ~brood.hen).sum())
        if hens + cocks:
            held.append(Held(group, brood.hatched - WEEK * weeks, hens, cocks))
    hatch = dict(truth.hatch_of_set)
    hatch |= {one.group: hatch["own"] for one in held}
    with_birds = replace(brief, held=tuple(held))
    return with_birds, replace(truth, hatch_of_set=hatch), diary.entries


class _Diary:
    """Writes entries by the day of the past, 1 the first."""

    def __init__(self, begun: date, last: int) -> None:
        self.begun, self.last = begun, last
        self.entries: list[Entry] = []

    def write(self, kind: str, day: int, **fields: Any) -> None:
        """An entry of that kind, unless its day lies ahead."""
        if day > self.last:
            return
        number = len(self.entries) + 1
        plain = {"id": f"{number:08x}-0000-4000-8000-{number:012x}", "kind": kind}
        at = (self.begun + timedelta(days=day)).isoformat()
        entry: Entry = msgspec.convert({**plain, "at": at, **fields}, AnyEntry)
        self.entries.append(entry)


def _birds(diary: _Diary, brood: Brood, hatch: str, group: str) -> None:
    """Hatching, housing, telling apart, deaths and leaving."""
    for day, chicks in zip(*np.unique(brood.came, return_counts=True), strict=True):
        diary.write("chicks_hatched", int(day), hatch=hatch, chicks=int(chicks))
    housed = int(brood.came.max()) + 1
    sexed = brood.hatched + SEXED_D
    diary.write("hatch_closed", housed, hatch=hatch)
    diary.write("group", housed, group=group, place=f"pen of {group}", hatch=hatch)
    # Chicks that die in the machine are found when the others are housed.
    died = np.maximum(brood.died, housed)
    steps: list[tuple[int, int, str, int, int, int]] = []
    for day in np.unique(died[brood.died <= brood.left]).tolist():
        dead = (died == day) & (brood.died <= brood.left)
        hens, cocks = int((dead & brood.hen).sum()), int((dead & ~brood.hen).sum())
        young = day <= sexed
        steps.append(
            (
                day,
                0,
                "birds_died",
                hens + cocks if young else 0,
                *((0, 0) if young else (hens, cocks)),
            )
        )
    here = brood.here(sexed)
    hens, cocks = int((here & brood.hen).sum()), int((here & ~brood.hen).sum())
    steps.append((sexed, 1, "birds_sexed", 0, hens, cocks))
    for day in np.unique(brood.left[brood.left < brood.died]).tolist():
        gone = (brood.left == day) & (brood.left < brood.died)
        hens, cocks = int((gone & brood.hen).sum()), int((gone & ~brood.hen).sum())
        steps.append((day, 2, "birds_processed", 0, hens, cocks))
    for day, _, kind, chicks, hens, cocks in sorted(steps):
        if chicks + hens + cocks:
            young_ones = {"chicks": chicks} if chicks else {}
            diary.write(kind, day, group=group, hens=hens, cocks=cocks, **young_ones)


def _eggs(diary: _Diary, group: str, eggs: Ints, brood: Brood) -> None:
    """Every day's eggs from the first on, while there are hens."""
    begun = False
    for number, count in enumerate(eggs.tolist()):
        day = number + 1
        begun = begun or count > 0
        if begun and (brood.here(day) & brood.hen).any():
            diary.write("eggs_collected", day, group=group, eggs=count)
