"""What is injected into simulated flocks: faults, and what is none though it looks like one.

`draw_flock(rng, kind)` draws circumstances in which the kind can happen, and what it does. How
deep, how soon and how long: ranges of judgement, except where a source is named. A disease is here
a pattern of counts, nothing more.
"""

from collections.abc import Callable
from datetime import date, timedelta

import numpy as np
from numpy.random import Generator
from studies.signs_world import Effects, Setting, draw_pens, draw_world
from studies.simulated_nature import daylight_h

FAULTS = (
    "water",
    "timer",
    "heat",
    "predator",
    "deaths",
    "chill",
    "swapped",
    "double",
    "digit",
    "nothing",
)
"""Of which "nothing" is none: it shows what comes by chance in as many days at one pen."""
QUIET = ("plain", "young", "ageing", "autumn", "resting", "moves", "holiday", "chicks")
"""Nothing is wrong in these: every alarm is a false one."""

WATCHED_D = 28
QUARTER_D = 91
_MOST_BEFORE_D = 120
NATURAL_H_OF_FAILED_LAMP = 10.0
"""No light below this stimulates (Poult Sci 1975, 54:1918)."""


def draw_flock(rng: Generator, kind: str, pens: int | None = None) -> tuple[Setting, Effects]:
    """Circumstances for one kind of event, and the event. `pens`: so many, else 1 to 6."""
    number = pens or int(rng.integers(1, 7))
    watched = QUARTER_D if kind in QUIET else WATCHED_D
    onset = int(rng.integers(35, _MOST_BEFORE_D))
    age, lamp, latitude = (70, 330), True, rng.uniform(25.0, 58.0)
    if kind == "young":
        onset, age = 14, (40, 46)
    elif kind == "ageing":
        age = (330, 520)
    elif kind in ("autumn", "resting"):
        lamp, latitude = False, rng.uniform(35.0, 58.0)
    elif kind == "timer":
        latitude = rng.uniform(40.0, 58.0)
    south = rng.random() < 0.35
    latitude = round(-latitude if south else latitude, 1)
    watched_from = _season(rng, kind, latitude)
    chicks = int(rng.integers(16, 61)) if kind in ("chill", "chicks") else 0
    hatched = onset - int(rng.integers(1, 6)) if kind == "chill" else onset
    setting = draw_world(
        rng, kind, watched_from - timedelta(days=onset), onset, onset + watched, latitude, lamp,
        draw_pens(rng, number, age), chicks, hatched,
    )  # fmt: skip
    effects = Effects.none(number, setting.days)
    if kind in _INJECT:
        _INJECT[kind](rng, setting, effects)
    return setting, effects


def _season(rng: Generator, kind: str, latitude: float) -> date:
    """The day from which it is watched. A summer day for heat, a short one for a failed lamp."""
    start = date(2025, 1, 1)
    day = int(rng.integers(0, 365))
    half = 0 if latitude >= 0.0 else 182
    if kind in ("autumn", "resting"):
        day = (int(rng.integers(225, 285)) + half) % 365
    elif kind == "heat":
        day = (int(rng.integers(165, 230)) + half) % 365
    elif kind == "timer":
        hours = daylight_h(latitude, start, np.arange(365))
        day = int(rng.choice(np.flatnonzero(hours < NATURAL_H_OF_FAILED_LAMP)))
    return start + timedelta(days=day)


def _ramp(effects: np.ndarray, first: float, falls: float, to: float) -> None:
    """Multiplies a series of days by a factor that falls from 1 at `first` to `to` in `falls`."""
    days = np.arange(effects.size)
    effects *= np.interp(days, [first - 1.0, first - 1.0 + falls], [1.0, to])


def _mend(effects: np.ndarray, day: int, takes: float) -> None:
    """Brings a series back to 1 from a day on."""
    at = np.arange(effects.size)
    back = np.clip((at - day + 1) / takes, 0.0, 1.0)
    effects[:] = effects + (1.0 - effects) * back


def _water(rng: Generator, setting: Setting, effects: Effects) -> None:
    """Drink falls at once, feed within a day, lay one to three days later, over some days."""
    place, onset = int(rng.integers(len(setting.pens))), setting.onset
    drink = rng.uniform(0.25, 0.7)
    feed = 1.0 - (1.0 - drink) * rng.uniform(0.4, 0.8)
    lay = rng.uniform(0.2, 0.75)
    _ramp(effects.drink[place], onset, 1.0, drink)
    _ramp(effects.feed[place], onset + int(rng.integers(0, 2)), rng.uniform(1.0, 2.0), feed)
    _ramp(effects.lay[place], onset + int(rng.integers(1, 4)), rng.uniform(2.0, 8.0), lay)
    if rng.random() < 0.5:
        mended = onset + int(rng.integers(2, 11))
        _mend(effects.drink[place], mended, 1.0)
        _mend(effects.feed[place], mended, rng.uniform(1.0, 3.0))
        _mend(effects.lay[place], mended + 2, rng.uniform(5.0, 14.0))
        effects.told = f"mended on day {mended - onset}"
    effects.places = (place,)


def _timer(rng: Generator, setting: Setting, effects: Effects) -> None:
    """The lamp of all pens stays dark."""
    effects.lamp_works[setting.onset :] = False
    effects.places = tuple(range(len(setting.pens)))


LAY_FALLS_FROM_C = 35.0
"""Lay fell at 36 C, not at 24 to 33 (UNESP, cyclic heat)."""


def _heat(rng: Generator, setting: Setting, effects: Effects) -> None:
    """Some days of 34 to 40 C: less feed and more water by the degree, lay falls from 36 C on."""
    onset, lasts = setting.onset, int(rng.integers(3, 9))
    top = rng.uniform(34.0, 40.0)
    effects.hotter_c[onset : onset + lasts] = top - 28.0
    loses = np.clip((top - LAY_FALLS_FROM_C) * rng.uniform(0.03, 0.09), 0.0, 0.5)
    for place in range(len(setting.pens)):
        _ramp(effects.lay[place], onset + 1, 3.0, 1.0 - loses)
        _mend(effects.lay[place], onset + lasts + 2, rng.uniform(4.0, 10.0))
        effects.hazard[place, onset : onset + lasts] += max(0.0, top - 37.0) * 0.004
    effects.places = tuple(range(len(setting.pens)))
    effects.told = f"{top:.0f} C for {lasts} days"


def _predator(rng: Generator, setting: Setting, effects: Effects) -> None:
    """One to four birds of one pen are missing on some mornings; the others are frightened."""
    place, onset = int(rng.integers(len(setting.pens))), setting.onset
    hens = setting.pens[place].hens
    nights = {onset, *(onset + rng.integers(1, 14, rng.poisson(1.5))).tolist()}
    for night in nights:
        most = max(1, round(0.4 * hens)) if rng.random() < 0.2 else min(4, max(1, hens // 2))
        effects.taken[place, night] = rng.integers(1, most + 1)
        fright = np.ones(setting.days)
        _ramp(fright, night, 1.0, rng.uniform(0.6, 0.95))
        _mend(fright, night + int(rng.integers(2, 7)), 3.0)
        effects.lay[place] *= fright
    effects.places = (place,)
    effects.told = str(rng.choice(("predator", "lost", "counted"), p=(0.5, 0.25, 0.25)))


def _deaths(rng: Generator, setting: Setting, effects: Effects) -> None:
    """More and more deaths in one pen, less lay and feed, and then in the next pens."""
    number, day = len(setting.pens), setting.onset
    order = np.roll(np.arange(number), -int(rng.integers(number)))
    for place in order:
        if day >= setting.days:
            break
        at = np.arange(setting.days)
        grows = np.clip((at - day + 1) / rng.uniform(5.0, 10.0), 0.0, 1.0)
        effects.hazard[place] += grows * rng.uniform(0.02, 0.08) * (at >= day)
        _ramp(effects.lay[place], day + 1, rng.uniform(3.0, 8.0), rng.uniform(0.4, 0.8))
        _ramp(effects.feed[place], day, rng.uniform(2.0, 6.0), rng.uniform(0.7, 0.9))
        effects.drink[place] *= effects.feed[place]
        day += int(rng.integers(4, 10))
    effects.places = tuple(int(place) for place in order)


def _chill(rng: Generator, setting: Setting, effects: Effects) -> None:
    """One cold night; the chicks are found dead in the morning, most together, some a day later."""
    effects.chilled = (setting.onset, rng.uniform(9.0, 15.0), rng.uniform(0.05, 0.25))


def _nothing(rng: Generator, setting: Setting, effects: Effects) -> None:
    effects.places = (int(rng.integers(len(setting.pens))),)


def _slips(kind: str) -> Callable[[Generator, Setting, Effects], None]:
    def inject(rng: Generator, setting: Setting, effects: Effects) -> None:
        place = int(rng.integers(len(setting.pens)))
        times = int(rng.integers(1, 4)) if kind == "swapped" else 1
        effects.slips = [(kind, place, setting.onset + day) for day in range(times)]
        effects.places = (place,)

    return inject


def _moves(rng: Generator, setting: Setting, effects: Effects) -> None:
    """Hens are let go, and others come; all of it is logged."""
    for _ in range(int(rng.integers(1, 5))):
        place = int(rng.integers(len(setting.pens)))
        day = setting.onset + int(rng.integers(2, QUARTER_D - 10))
        hens = setting.pens[place].hens
        if rng.random() < 0.6:
            effects.left[place, day] += int(rng.integers(1, max(2, hens // 2 + 1)))
        else:
            effects.came[place, day] += int(rng.integers(1, max(2, hens // 2 + 1)))


def _holiday(rng: Generator, setting: Setting, effects: Effects) -> None:
    """Nobody writes for 5 to 21 days."""
    start = setting.onset + int(rng.integers(5, 40))
    effects.silent = (start, start + int(rng.integers(5, 22)))


_INJECT: dict[str, Callable[[Generator, Setting, Effects], None]] = {
    "water": _water,
    "timer": _timer,
    "heat": _heat,
    "predator": _predator,
    "deaths": _deaths,
    "chill": _chill,
    "swapped": _slips("swapped"),
    "double": _slips("double"),
    "digit": _slips("digit"),
    "nothing": _nothing,
    "moves": _moves,
    "holiday": _holiday,
}
