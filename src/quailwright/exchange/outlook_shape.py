"""The JSON shape of `outlook` (apart, so that the round does not wait for the forecast)."""

from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Any

import numpy as np
from msgspec import convert, to_builtins

from quailwright.exchange.json_types import OutlookShape, Quantiles, QuantileTimes
from quailwright.flock.state import Flock
from quailwright.husbandry.proportion import QUANTILES
from quailwright.journal.moments import zone
from quailwright.outlook.forecast import Outlook
from quailwright.outlook.report import (
    Array,
    Rate,
    chance_of_goal,
    money_ahead,
    prices_of,
    spread_of,
)
from quailwright.outlook.scores import Score


def outlook_shape(
    outlook: Outlook, flock: Flock, seed: int, table: Sequence[Rate], said: Sequence[str]
) -> OutlookShape:
    """`outlook --json`."""
    money = money_ahead(outlook, prices_of(flock, outlook.as_of))
    goal = chance_of_goal(outlook, flock)
    return {
        "as_of": outlook.as_of.isoformat(),
        "question": outlook.asked.words or None,
        "planned": {
            "sets": [
                {
                    "hatch": str(one.name),
                    "on": one.on.isoformat(),
                    "eggs": one.eggs,
                    "of": one.source,
                    "place": one.machine,
                }
                for one in outlook.asked.planned_sets
            ],
            "culls": [
                {
                    "on": cull.stay.on.isoformat(),
                    "of": str(cull.of),
                    "keep_hens": cull.stay.hens,
                    "keep_cocks": cull.stay.cocks,
                }
                for cull in outlook.asked.planned.culls
            ],
        },
        "draws": outlook.draws,
        "seed": seed,
        "weeks": [
            {
                "from": outlook.first_day(week).isoformat(),
                **{name: _spread(own[:, week]) for name, own in outlook.samples.items()},
                **{name: _spread(own[:, week]) for name, own in money.items()},
                **({} if goal is None else {"chance_of_goal": _chance(goal[week])}),
            }
            for week in range(outlook.weeks)
        ],
        "hatches": [
            {
                "hatch": str(one.hatch),
                "is_set": one.hatch in flock.hatches,
                "chicks": _spread(one.chicks_samples),
                "first_hatch_at": _times(one.first_at, flock.zone),
                "hens_at_8_weeks": _spread(one.hens_at_8_weeks),
            }
            for one in outlook.hatches
        ],
        "rates": [
            {
                "name": rate.name,
                "for": rate.of,
                "mean": _round(rate.mean),
                "q05": _round(rate.q05),
                "q95": _round(rate.q95),
                "prior_mean": _round(rate.prior_mean),
                "records": rate.records,
                "records_in": rate.unit,
                "weight_published": round(rate.weight_published, 3),
                "weight_others": round(rate.weight_others, 3),
                "weight_own": round(rate.weight_own, 3),
            }
            for rate in table
        ],
        "said": list(said),
    }


def scores_shape(scores: Sequence[Score]) -> list[dict[str, Any]]:
    """`outlook --past --json`."""
    return [{**to_builtins(score), "sentence": score.sentence} for score in scores]


def _spread(samples: Array) -> Quantiles:
    return convert({n: round(value, 3) for n, value in spread_of(samples).items()}, Quantiles)


def _chance(share: float | None) -> float | None:
    return None if share is None else round(share, 3)


def _round(value: float) -> float:
    return float(f"{value:.4g}")


def _times(instants: Array, zone_name: str) -> QuantileTimes | None:
    """Quantiles of an instant, of the draws in which it comes; None where it hardly ever does."""
    known = instants[~np.isnan(instants)]
    if len(known) < len(instants) / 2:
        return None
    found = {"mean": float(known.mean())}
    found |= {name: float(np.quantile(known, share)) for name, share in QUANTILES.items()}
    place = zone(zone_name) if zone_name else UTC
    told = {
        name: datetime.fromtimestamp(at, place).replace(second=0, microsecond=0).isoformat()
        for name, at in found.items()
    }
    return convert(told, QuantileTimes)
