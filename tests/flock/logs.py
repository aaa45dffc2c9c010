"""Invented logs of a sensor, for tests of what is made of readings."""

from datetime import UTC, datetime

import numpy as np
from numpy.typing import NDArray

from quailwright.journal.readings import Readings, to_ms

BEGIN = datetime(2027, 5, 2, 12, tzinfo=UTC)
DAYS = 4
Floats = NDArray[np.float64]


def log(kind: str, every_s: int) -> Readings:
    """Four days of a machine at 37.5 °C, read every so many seconds, with what `kind` names.

    The machine swings by its thermostat, the sensor adds noise and shows two decimals.
    """
    chance = np.random.default_rng(len(kind) + every_s)
    seconds = np.arange(0, DAYS * 86_400, every_s)
    warm = 37.5 + 0.15 * np.sin(2 * np.pi * seconds / 420)
    damp = 45 + 3 * np.sin(2 * np.pi * seconds / 7_000)
    if kind == "doors":  # open for 3 minutes, every 8 hours: out of the band for a while
        for opened in range(5_000, seconds[-1], 28_800):
            warm -= _dip(seconds, opened, 180, 6.0, 240)
            damp -= _dip(seconds, opened, 180, 20.0, 300)
    elif kind == "power cut":  # 40 minutes, and as long again to warm up
        warm -= _dip(seconds, 100_000, 2_400, 9.0, 1_500)
    elif kind == "drift":  # from well below the band to well above it
        warm += np.linspace(-1.2, 1.2, len(seconds))
    warm += chance.normal(0, 0.03, len(seconds))
    damp += chance.normal(0, 0.3, len(seconds))
    warm, damp = np.round(warm, 2), np.round(damp, 1)
    if kind == "spike":
        warm[len(warm) // 3] = 85.0
    elif kind == "stuck":
        stuck = (seconds > 90_000) & (seconds < 90_000 + 9 * 3_600)
        warm[stuck] = warm[np.flatnonzero(stuck)[0]]
    elif kind == "coarse":
        warm, damp = np.round((warm - 0.25) * 2) / 2, np.round(damp)
    at = to_ms(BEGIN) + seconds * 1000
    if kind == "pauses":  # a logger that forgets an hour, and one of 25 minutes, now and then
        hour = seconds // 3_600
        read = ~((hour % 11 == 5) | ((hour % 7 == 3) & (seconds % 3_600 < 1_500)))
        at, warm, damp = at[read], warm[read], damp[read]
    return Readings("box", "", at, warm, damp)


def _dip(seconds: NDArray[np.int64], begin: int, length: int, depth: float, slow: float) -> Floats:
    """Falls from `begin` on by up to `depth`, and after `length` comes back, both by degrees."""
    fallen = 1 - np.exp(-np.clip(seconds - begin, 0, length) / (length / 3))
    back = np.exp(-np.clip(seconds - begin - length, 0, None) / slow)
    return np.where(seconds < begin, 0.0, depth * fallen * back)


KINDS = ("steady", "doors", "power cut", "drift", "spike", "stuck", "coarse", "pauses")
