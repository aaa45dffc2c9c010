"""Fertility of eggs by who is mated, and how eggs hatch by the way they came and were kept."""

from typing import Literal

import numpy as np
from numpy.typing import NDArray

from quailwright.husbandry import facts
from quailwright.husbandry.age import DAYS_A_WEEK
from quailwright.husbandry.incubation import storage_loss_points
from quailwright.language import say

Array = NDArray[np.float64]
Route = Literal["own", "collected", "shipped"]


def fertility_factor(
    hens_per_cock: float | Array, cock_age_d: float | Array, hen_age_d: float | Array
) -> Array:
    """Share of eggs that are fertile, against the best: few hens a cock, both in their prime.

    Flat to 8 hens a cock, then 1.9 points lost for each further hen to 20; beyond, as many hens
    stay served as at 20. A cock is of no use before 5 weeks and in full use at 8; past 20 weeks
    of cocks and 37 of hens a little is lost each week. Times ``incubation.fertility_best`` it is
    a share of eggs; times what a flock's own eggs have shown, divided by the factor that held
    then, it is what a change of birds will do.

    Trials disagree. 19.6 % at 5 hens a cock (``incubation.fertility_five_hens``) contradicts
    92 % at 8, so it is confounded with something else and left out; most trials advise 2 or 3.
    One sees cocks fade after 20 weeks, another none to 270 days.

    Args:
        hens_per_cock: hens over cocks, 0 or more; without end where there is no cock.
        cock_age_d: mean age of the cocks [d], 0 or more; anything where there is no cock.
        hen_age_d: mean age of the hens [d], 0 or more.

    Returns:
        Factor, 0 to 1, of the shape that the arguments make together; 0 where there is no cock.

    Raises:
        ValueError: an age or a ratio below 0 or not a number.

    Source: Wechsler and Schmid 1998 (8 to 20 hens); Narinc, Aygun and Sari 2013, Agric Sci Dev
    2(1):4 (1 and 2); ages, Aktan and Camci 2005, Arch Geflügelk 69:103-106, with Petek and
    Dikmen 2004, Animal Research 53:527. Certainty: published to 20 hens, inferred for ages.
    """
    ratio, cock_d, hen_d = np.broadcast_arrays(
        np.asarray(hens_per_cock, float),
        np.asarray(cock_age_d, float),
        np.asarray(hen_age_d, float),
    )
    no_cock = np.isposinf(ratio)
    if not np.all(ratio >= 0):
        raise ValueError(say("Hens a cock are 0 or more, and without end where there is no cock."))
    if not (np.all((cock_d >= 0) | no_cock) and np.all(hen_d >= 0)):
        raise ValueError(
            say("The ages of cocks and hens are numbers of days from hatch, 0 or more.")
        )
    cock_d = np.where(no_cock, 0.0, cock_d)
    begins, full = _value("fertility_cock_from_d"), _value("fertility_cock_full_d")
    ripe = np.clip((cock_d - begins) / (full - begins), 0.0, 1.0)
    aged_d = np.maximum(0.0, cock_d - _value("fertility_cock_best_until_d"))
    aged_d = aged_d + np.maximum(0.0, hen_d - _value("fertility_hen_best_until_d"))
    kept = np.exp(-_value("fertility_age_fall_per_w") * aged_d / DAYS_A_WEEK)
    factor: Array = _by_ratio(ratio) * ripe * kept
    return factor


def _by_ratio(ratio: Array) -> Array:
    best, last = _value("fertility_best"), _value("fertility_hens_last")
    printed = np.minimum(ratio, last)
    beyond = np.maximum(0.0, printed - _value("fertility_hens_flat"))
    share = best - _value("fertility_lost_per_hen") * beyond
    served: Array = share / best * last / np.maximum(ratio, last)
    return served


def fertility_after_cock_left(days: float | Array) -> Array:
    """Share of the fertility left so many days after the last cock was taken from the hens.

    Logistic in days, 1 when he leaves. Cocks differ: half is lost after 3.75 to 9.18 days
    (``incubation.fertile_half_d``). In heat of 33 °C and more eggs of day 4 are already poor.

    Args:
        days: days since he left, 0 or more.

    Returns:
        Share of the fertility before, 0 to 1, of the shape of `days`.

    Raises:
        ValueError: days below 0 or not a number.

    Source: form and range, Reddish, Kirby and Anthony 1996, Poult Sci 75:135-139 (published);
    slope inferred.
    """
    since = np.asarray(days, float)
    if not np.all(since >= 0):
        raise ValueError(say("Days since the cock left are 0 or more."))
    half_d, slope = _value("fertile_half_d"), _value("fertile_fall_per_d")
    start = np.exp(-slope * half_d)
    fallen = np.exp(-slope * since)
    left: Array = fallen * (1.0 + start) / (fallen + start)
    return left


def hatch_of_set_prior(route: Route | None) -> tuple[float, float, float]:
    """What to expect of the eggs of a source by the way they came, before its own record.

    Args:
        route: "own" or "collected" for eggs not posted, "shipped" for posted ones, None where it
            is not known.

    Returns:
        (mean, a, b): mean of the share of eggs set that hatch, and the Beta distribution of that
        share over sources.

    Source: hatch-of-set rows of ``facts/incubation.csv``. Certainty: inferred; for posted eggs
    from keepers' records, as no trial of parcel post was found.
    """
    kind = "" if route is None else "_shipped" if route == "shipped" else "_collected"
    a, b = (_value(f"hatch_of_set{kind}_beta_{letter}") for letter in "ab")
    return a / (a + b), a, b


def storage_factor(days: float, temperature_c: float) -> float:
    """Hatch of stored eggs over that of the same eggs set fresh.

    Args:
        days: days from lay to setting, 0 or more.
        temperature_c: mean temperature of the store [°C], 4 to 29.

    Returns:
        Factor, 0 to 1.

    Raises:
        ValueError: as `storage_loss_points`.

    Source: `storage_loss_points`, over the fresh eggs of the trial at 4 °C
    (``storage.hatch_4c_day_0``). Certainty: inferred.
    """
    fresh = facts.value("storage.hatch_4c_day_0")
    return max(0.0, 1.0 - storage_loss_points(days, temperature_c) / fresh)


def _value(key: str) -> float:
    return facts.value(f"incubation.{key}")
