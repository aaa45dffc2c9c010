"""The JSON shape of `outlook --feed`."""

from datetime import date
from typing import cast

import numpy as np
from numpy.typing import NDArray

from quailwright.exchange.json_types import (
    BagShape,
    FeedOfShape,
    FeedShape,
    QuantileDays,
    Quantiles,
)
from quailwright.outlook.feed_ahead import EARLY, LATE, MIDDLE, Bag, FeedAhead, FeedOf
from quailwright.outlook.report import spread_of

Array = NDArray[np.float64]


def feed_shape(found: FeedAhead, draws: int, seed: int) -> FeedShape:
    """`outlook --feed --json`."""
    usual, low, high = found.spill
    return {
        "as_of": found.on.isoformat(),
        "draws": draws,
        "seed": seed,
        "weeks": [
            {
                "from": found.first_day(week).isoformat(),
                "starter": _spread(found.by_stage["starter"][:, week]),
                "grower": _spread(found.by_stage["grower"][:, week]),
                "layer": _spread(found.by_stage["layer"][:, week]),
            }
            for week in range(found.weeks)
        ],
        "feeds": [_feed(found, one) for one in found.feeds],
        "unserved": [
            {"stage": stage, "kg_a_week": round(kg, 3)} for stage, kg in found.unserved.items()
        ],
        "use": None
        if found.use is None
        else {
            "days": found.use.days,
            "kg": round(found.use.kg, 3),
            "expected_kg": round(found.use.expected_kg, 3),
            "low_kg": round(found.use.low_kg, 3),
            "high_kg": round(found.use.high_kg, 3),
            "by_own_record": found.use.by_own,
            "is_odd": found.use.is_odd,
        },
        "spill": {"share": usual, "low": low, "high": high},
        "said": found.said,
    }


def _spread(samples: Array) -> Quantiles:
    rounded = {name: round(value, 3) for name, value in spread_of(samples).items()}
    return cast(Quantiles, rounded)


def _feed(found: FeedAhead, one: FeedOf) -> FeedOfShape:
    return {
        "feed": one.feed,
        "stage": one.stage,
        "serves": list(one.serves),
        "kg": round(one.kg, 3),
        "runs_out": _days(found, one.runs_out),
        "delivery_days": one.delivery_d,
        "order_by": _iso(one.order_by),
        "keeps_days": one.keeps_d,
        "keeps_told": one.keeps_told,
        "bags": [_bag(found, bag) for bag in one.bags],
    }


def _bag(found: FeedAhead, bag: Bag) -> BagShape:
    return {
        "kg": round(bag.kg, 3),
        "bought_on": _iso(bag.bought_on),
        "mixed_on": _iso(bag.mixed_on),
        "runs_out": _days(found, bag.runs_out),
        "keeps_until": _iso(bag.keeps_until),
        "left_then_kg": None if bag.left_kg is None else _spread(bag.left_kg),
    }


def _days(found: FeedAhead, runs_out: Array) -> QuantileDays:
    """Quantiles of the day; null beyond the weeks."""
    early, middle, late = (_iso(found.day(runs_out, share)) for share in (EARLY, MIDDLE, LATE))
    return {"q10": early, "q50": middle, "q90": late}


def _iso(day: date | None) -> str | None:
    return None if day is None else day.isoformat()
