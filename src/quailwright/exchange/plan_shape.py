"""The JSON shape of `plan`."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from quailwright.outlook.report import spread_of
from quailwright.planning.plan import Plan
from quailwright.planning.ways_out import WayOut


def plan_shape(
    plan: Plan, reasons: Sequence[str], ways: Sequence[WayOut], said: Sequence[str], seed: int
) -> dict[str, Any]:
    """`plan --json`."""
    problem = plan.problem
    low, high = np.quantile(plan.cost, (0.1, 0.9))
    return {
        "as_of": problem.on.isoformat(),
        "seed": seed,
        "status": plan.status,
        "certainty": problem.wanted.certainty,
        "sets": [
            {
                "on": one.on.isoformat(),
                "source": one.source,
                "eggs": one.eggs,
                "place": one.place,
                "keep_hens": one.keep_hens,
                "keep_cocks": one.keep_cocks,
            }
            for one in plan.draft.sets
        ],
        "culls": [
            {
                "on": cull.on.isoformat(),
                "of": cull.of,
                "keep_hens": cull.keep_hens,
                "keep_cocks": cull.keep_cocks,
            }
            for cull in plan.draft.culls
        ],
        "weeks": [
            {
                "from": problem.first_day(week).isoformat(),
                "eggs": _rounded(spread_of(plan.ahead.samples["eggs"][:, week])),
                "wanted": round(float(problem.wanted.eggs[week]), 2),
                "chance_met": None
                if np.isnan(plan.chance_met[week])
                else round(float(plan.chance_met[week]), 3),
            }
            for week in range(problem.weeks)
        ],
        "chance_met_overall": round(plan.chance_overall, 3),
        "chance_met_every_week": round(plan.chance_every_week, 3),
        "chance_table_birds": None if plan.table_met is None else round(plan.table_met, 3),
        "cost": {
            "mean": round(float(plan.cost.mean()), 2),
            "q10": round(float(low), 2),
            "q90": round(float(high), 2),
            "parts": {name: round(value, 2) for name, value in plan.parts.items()},
            "currency": problem.prices.currency,
        },
        "minutes_per_day": [round(float(minutes), 1) for minutes in plan.minutes_a_day],
        "peak": {name: round(value, 1) for name, value in plan.peak.items()},
        "gap": round(plan.gap, 4),
        "reasons": list(reasons),
        "alternatives": [
            {
                "what": way.what,
                "status": way.status,
                "chance_met_overall": round(way.chance, 3),
                "cost_more": round(way.cost_more, 2),
            }
            for way in ways
        ],
        "said": list(said),
    }


def _rounded(spread: dict[str, float]) -> dict[str, float]:
    return {name: round(value, 2) for name, value in spread.items()}
