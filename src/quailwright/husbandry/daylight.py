"""Length of the day by place and date."""

import math
from datetime import date

from quailwright.husbandry import facts
from quailwright.language import say

HOURS_A_DAY = 24.0


def day_length_h(latitude_deg: float, on: date) -> float:
    """Hours from sunrise to sunset, on level ground, by the CBM model.

    Agrees with a solar almanac to about 4 minutes within 35 degrees of latitude, 9 minutes within
    60 and a quarter of an hour at 65; hills and trees shorten the day, cloud does not.

    Args:
        latitude_deg: latitude [deg], north above 0, south below, -90 to 90.
        on: the date.

    Returns:
        Day length [h], 0 in polar night and 24 in polar day.

    Raises:
        ValueError: latitude outside -90 to 90.

    Source: Forsythe, Rykiel, Stahl, Wu and Schoolfield 1995, A model comparison for daylength as a
    function of latitude and day of year, Ecological Modelling 80:87-95, equations 1 to 3 with
    the sun's upper edge on the refracted horizon. Certainty: published.
    """
    if not -90 <= latitude_deg <= 90:
        raise ValueError(
            say(
                "A latitude lies between -90 and 90 degrees, not {degrees:g}.", degrees=latitude_deg
            )
        )
    days = on.timetuple().tm_yday - facts.value("daylight.cbm_reference_day")
    revolution = facts.value("daylight.cbm_phase") + 2.0 * math.atan(
        facts.value("daylight.cbm_eccentric") * math.tan(facts.value("daylight.cbm_rate") * days)
    )
    declination = math.asin(facts.value("daylight.cbm_sin_obliquity") * math.cos(revolution))
    latitude = math.radians(latitude_deg)
    depression = math.radians(facts.value("daylight.sunrise_depression_deg"))
    cosine = (math.sin(depression) + math.sin(latitude) * math.sin(declination)) / (
        math.cos(latitude) * math.cos(declination)
    )
    return HOURS_A_DAY - HOURS_A_DAY / math.pi * math.acos(max(-1.0, min(1.0, cosine)))
