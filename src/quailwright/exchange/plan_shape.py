"""The JSON shape of `plan`."""

from typing import Any

import numpy as np

from quailwright.exchange.json_types import PlanShape
from quailwright.language import say
from quailwright.outlook.report import spread_of
from quailwright.planning.answer import Answer
from quailwright.planning.calendar import steps
from quailwright.planning.choices import hatches
from quailwright.planning.plan import Plan
from quailwright.planning.problem import chosen_on


def answer_shape(answer: Answer, seed: int, accepted: int) -> PlanShape:
    """`plan --json`; `accepted` is the number of entries that were written."""
    shape: Any = {
        **plan_shape(answer.plan),
        "seed": seed,
        "choice": answer.choice,
        "reasons": [say(sentence) for sentence in answer.reasons],
        "alternatives": [
            {
                "what": say(way.what),
                "status": way.status,
                "chance_met_overall": round(way.chance, 3),
                "cost_more": round(way.cost_more, 2),
            }
            for way in answer.ways
        ],
        "choices": [
            {"name": one.name, "aim": say(one.aim), **_beside(one.plan)} for one in answer.choices
        ],
        "said": [say(sentence) for sentence in answer.said],
        "accepted_entries": accepted,
    }
    if answer.what_if is not None:
        told, other = answer.what_if
        shape["what_if"] = {"told": list(told), **plan_shape(other)}
    if answer.again is not None:
        shape["again"] = {
            "accepted_on": answer.again.accepted_on.isoformat(),
            "changes": [change.words for change in answer.again.changes if change.words],
            "why": [say(sentence) for sentence in answer.again.why],
        }
    whole: PlanShape = shape
    return whole


def _beside(plan: Plan) -> dict[str, Any]:
    return {
        "status": plan.status,
        "chance_met_overall": round(plan.chance_overall, 3),
        "chance_met_every_week": round(plan.chance_every_week, 3),
        "cost": round(float(plan.cost.mean()), 2),
        "hatches": hatches(plan),
        "minutes_per_day": round(float(plan.minutes_by_day.mean()), 1),
    }


def plan_shape(plan: Plan) -> dict[str, Any]:
    """One plan."""
    problem = plan.problem
    busiest, minutes = plan.busiest_day
    low, high = np.quantile(plan.cost, (0.1, 0.9))
    return {
        "as_of": problem.on.isoformat(),
        "status": plan.status,
        "out_of_reach": list(plan.out_of_reach),
        "stopped": plan.stopped,
        "certainty": problem.wanted.certainty,
        "sets": [
            {
                "on": one.on.isoformat(),
                "source": one.source,
                "eggs": one.eggs,
                "place": one.place,
                "keep_hens": one.keep_hens,
                "keep_cocks": one.keep_cocks,
                "choose_on": chosen_on(problem, one.on).isoformat(),
            }
            for one in plan.draft.sets
        ],
        "culls": [
            {
                "on": cull.on.isoformat(),
                "of": str(cull.of),
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
        "busiest_day": {"on": busiest.isoformat(), "minutes": round(minutes, 1)},
        "gap": round(plan.gap, 4),
        "calendar": [
            {
                "on": step.on.isoformat(),
                "do": step.doing,
                "of": str(step.of),
                "words": say(step.words),
            }
            for step in steps(plan)
        ],
    }


def _rounded(spread: dict[str, float]) -> dict[str, float]:
    return {name: round(value, 2) for name, value in spread.items()}
