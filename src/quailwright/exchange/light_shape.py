"""The JSON shape of `light`."""

from datetime import datetime, timedelta

from quailwright.exchange.json_types import LightShape, LightTurn
from quailwright.exchange.light_page import LightPage
from quailwright.guide.light import Light, Turn
from quailwright.husbandry.age import DAYS_A_WEEK


def light_shape(found: Light, told: LightPage) -> LightShape:
    """`light --json`."""
    sun = found.sun
    return {
        "as_of": found.on.isoformat(),
        "until": found.last.isoformat(),
        "latitude": found.place.latitude_deg,
        "longitude": found.place.longitude_deg,
        "timezone": found.place.zone_name,
        "place_by_timezone": found.place.by_zone,
        "sun": {
            "dawn": _iso(sun.dawn),
            "sunrise": _iso(sun.sunrise),
            "noon": _iso(sun.noon),
            "sunset": _iso(sun.sunset),
            "dusk": _iso(sun.dusk),
        },
        "day_h": round(sun.day_h, 3),
        "lamp": None if found.told is None else list(found.told),
        "light_h": round(found.now_h, 3),
        "wanted_h": found.wanted_h,
        "wanted_told": found.wanted_told,
        "end": found.end,
        "rests": found.rests,
        "steps": [
            {
                "on": one.on.isoformat(),
                "lamp": [list(pair) for pair in one.lamp],
                "day_h": round(one.day_h, 3),
                "light_h": round(one.lit_h, 3),
                "clock_h": one.clock_h,
            }
            for one in found.steps
        ],
        "weeks": [
            {
                "from": (found.on + timedelta(days=n)).isoformat(),
                "day_h": round(float(found.day_h[n]), 3),
                "light_h": round(float(found.lit_h[n]), 3),
                "lay_with_lamp": round(float(found.with_lamp[n]), 3),
                "lay_without": round(float(found.without[n]), 3),
                "lay_without_low": round(float(found.without_low[n]), 3),
                "lay_without_high": round(float(found.without_high[n]), 3),
            }
            for n in range(0, found.days, int(DAYS_A_WEEK))
        ],
        "lay_stops": _turn(found.stops),
        "lay_starts": _turn(found.starts),
        "hens": found.hens,
        "eggs": round(found.eggs, 1),
        "lamp_burns_h": round(found.burns_h, 1),
        "kwh": None if found.kwh is None else round(found.kwh, 3),
        "cost": None if found.cost is None else round(found.cost, 2),
        "clock_changes": [
            {"on": day.isoformat(), "forward_h": hours} for day, hours in found.clock_changes
        ],
        "too_young": [{"group": group, "until": day.isoformat()} for group, day in found.young],
        "said": [told.summary, *told.answer, *told.if_not, told.year, *told.rest, *told.notes],
    }


def _iso(moment: datetime | None) -> str | None:
    return None if moment is None else moment.isoformat(timespec="seconds")


def _turn(turn: Turn | None) -> LightTurn | None:
    if turn is None:
        return None
    return {
        "early": turn.early.isoformat(),
        "middle": turn.middle.isoformat(),
        "late": turn.late.isoformat(),
        "some_never": turn.some_never,
    }
