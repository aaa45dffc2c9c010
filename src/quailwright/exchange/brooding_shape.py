"""The JSON shape of `brooding`."""

import math

from quailwright.exchange.brooding_told import Told, said
from quailwright.exchange.json_types import BroodingShape
from quailwright.guide.brooding import Span


def brooding_shape(one: Told) -> BroodingShape:
    """`brooding --json`."""
    found, box = one.found, one.found.asked.box
    cut = found.cut
    return {
        "on": found.on.isoformat(),
        "group": found.group,
        "place": found.place,
        "birds": found.birds,
        "age_days": found.age_d,
        "hatched_on": found.hatched_on.isoformat(),
        "room": {
            "mean_c": _r(found.room_c),
            "coldest_c": _r(found.room_low_c),
            "told": found.room_told,
            "days_seen": found.room_seen,
        },
        "box": None
        if box is None
        else {
            "length_m": box.length_m,
            "width_m": box.width_m,
            "height_m": box.height_m,
            "wall": box.wall,
            "thickness_m": box.thickness_m,
            "lid": box.lid,
            "litter_m": box.litter_m,
            "air_changes_h": box.air_changes_h,
        },
        "watts": found.asked.watts,
        "price_per_kwh": found.asked.price,
        "held_c": _span(found.held_c),
        "weeks": [
            {
                "week": week.week,
                "from": week.first.isoformat(),
                "wanted_c": _r(week.wanted_c),
                "low_c": _r(week.low_c),
                "high_c": _r(week.high_c),
                "room_c": _r(week.room_c),
                "birds_w": _r(week.birds_w),
                "needed_w": _span(week.needed_w),
                "duty": _r(week.duty),
                "kwh_a_day": _span(week.kwh_a_day),
                "enough": week.enough,
            }
            for week in found.weeks
        ],
        "kwh": _span(found.kwh),
        "cost": None
        if found.kwh is None or found.asked.price is None
        else _span(Span(*(kwh * found.asked.price for kwh in found.kwh))),
        "heat_days": found.heat_days,
        "power_cut": None
        if cut is None
        else {
            "from_c": _r(cut.from_c),
            "cold_c": _r(cut.cold_c),
            "danger_c": _r(cut.danger_c),
            "danger_low_c": _r(cut.danger_low_c),
            "hours_to_cold": _span(cut.to_cold_h),
            "hours_to_danger": _span(cut.to_danger_h),
        },
        "changes": [{"what": each.what, "needed_w": _r(each.needed_w)} for each in found.changes],
        "seen": [
            {
                "on": day.air.day.isoformat(),
                "spot": day.air.spot,
                "by_readings": day.air.by_readings,
                "lowest_c": _r(day.air.lowest_c),
                "highest_c": _r(day.air.highest_c),
                "wanted_c": _r(day.wanted_c),
                "danger_c": _r(day.danger_c),
                "verdict": day.verdict,
            }
            for day in found.seen
        ],
        "heat_ends": {
            "room_enough_on": None
            if found.out.room_enough_on is None
            else found.out.room_enough_on.isoformat(),
            "feathered_on": [day.isoformat() for day in found.out.feathered_on],
            "earliest_and_latest": [day.isoformat() for day in found.out.heat_ends_on],
        },
        "out": {
            "earliest_and_latest": [day.isoformat() for day in found.out.out_on],
            "nights": [
                {"of": night.of, "lowest_c": _r(night.lowest_c), "nights": night.nights}
                for night in found.out.nights
            ],
            "allows": found.out.allows,
        },
        "cautions": one.cautions,
        "said": said(one),
    }


def _r(number: float | None) -> float | None:
    """Rounded for JSON; what has no end is null."""
    return None if number is None or not math.isfinite(number) else round(number, 3)


def _span(span: Span | None) -> dict[str, float | None] | None:
    if span is None:
        return None
    return {"least": _r(span.least), "usual": _r(span.usual), "most": _r(span.most)}
