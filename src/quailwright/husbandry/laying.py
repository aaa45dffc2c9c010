"""Eggs by age and by light."""

import math
from typing import Literal

from quailwright.husbandry import facts
from quailwright.husbandry.age import DAYS_A_WEEK, checked_age_d
from quailwright.language import say

Care = Literal["ordinary", "good"]


def hen_day_rate(age_d: float, care: Care = "ordinary") -> float:
    """Share of living hens of this age that lay on a day: the mean curve of a flock.

    peak / (1 + exp(-(w - mid) / spread)) * exp(-decline * max(0, w - from)), age w in weeks; 0
    before the earliest first egg published. Holds in full light (`light_response` of 1), without
    heat above about 35 °C, in the first year or so of lay; no coefficients for quail could be
    found in print, so counts should take over from it.

    Args:
        age_d: age [d] from hatch, 0 or more.
        care: "good" follows the best recorded flocks, "ordinary" a backyard.

    Returns:
        Eggs a hen a day, 0 to 1.

    Raises:
        ValueError: age below 0.

    Source: between Rahimzadeh 2016, Sonoda et al. 1985, the Aichi 60-week trial and the
    Maiduguri 52-week trial. Certainty: inferred.
    """
    earliest_d, _ = facts.spread("laying.first_egg_age_d")
    if checked_age_d(age_d) < earliest_d:
        return 0.0
    curve = f"laying.curve_{care}"
    weeks = age_d / DAYS_A_WEEK
    rise = 1.0 / (
        1.0 + math.exp(-(weeks - facts.value(f"{curve}_mid_w")) / facts.value(f"{curve}_spread_w"))
    )
    past = max(0.0, weeks - facts.value(f"{curve}_decline_from_w"))
    fall = math.exp(-facts.value(f"{curve}_decline_per_w") * past)
    return facts.value(f"{curve}_peak") * rise * fall


def light_response(hours: float) -> float:
    """How far a day of this length brings hens into lay, 0 none to 1 full.

    Counts from first to last light, lamp included; brightness matters little. The straight line
    between the two published ends is an assumption: 11 to 12 h gave part response.

    Args:
        hours: light a day [h], 0 to 24.

    Returns:
        0 at 10 h or less, 1 at 13 h or more, a straight line between.

    Raises:
        ValueError: hours outside 0 to 24.

    Source: Reproductive response to intermittent light regimens in Coturnix, Poult Sci 1975,
    54:1918-1926. Certainty: published ends, inferred between.
    """
    if not 0 <= hours <= 24:
        raise ValueError(say("A day has 24 hours; {hours:g} h of light cannot be.", hours=hours))
    none_h = facts.value("laying.light_none_h")
    full_h = facts.value("laying.light_full_h")
    return min(1.0, max(0.0, (hours - none_h) / (full_h - none_h)))
