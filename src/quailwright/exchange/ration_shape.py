"""The JSON shape of `ration`."""

import math
from typing import Any

from quailwright.exchange.ration_told import (
    cautions,
    clash_said,
    mixed,
    price_said,
    said,
    short_said,
    status_words,
    worth_said,
)
from quailwright.husbandry.nutrients import NUTRIENTS
from quailwright.husbandry.requirements import beside
from quailwright.planning.ration import Ration
from quailwright.planning.ration_brief import RationAsked
from quailwright.planning.ration_mix import Check, Choice, Demand, Question, checks


def ration_shape(asked: RationAsked, ration: Ration) -> dict[str, Any]:
    """`ration --json`. Money is in `currency`; shares are percent; what is unknown is null."""
    question, mix, exact = ration.question, ration.mix, ration.exact
    return {
        "status": ration.status,
        "stage": question.stage,
        "batch_kg": question.batch_kg,
        "certainty": question.certainty,
        "currency": question.currency,
        "cost": None if mix is None else _rounded(mix.cost * float(ration.kilograms.sum())),
        "cost_per_kg": None if mix is None else _rounded(mix.cost),
        "exact_cost_per_kg": None if exact is None else _rounded(exact.cost),
        "rounding_cost_per_kg": _rounded(ration.rounding_cost),
        "margin_cost_per_kg": _rounded(ration.margin_cost),
        "whole_scoops": ration.whole,
        "finer_scoop_kg": ration.finer_kg,
        "feasible_on_mean": ration.feasible_on_mean,
        "mix": [_part(ration, *one) for one in mixed(ration)],
        "exact_mix": []
        if exact is None
        else [
            {"ingredient": choice.name, "share_pct": _rounded(100 * share)}
            for choice, share in zip(question.choices, exact.shares.tolist(), strict=True)
            if share > 1e-9
        ],
        "needs": []
        if mix is None
        else [_check(check, question) for check in checks(question, mix.shares)],
        "prices": [
            {
                "nutrient": one.need.nutrient,
                "bound": "min" if one.what == "least" else "max",
                "per_unit": _rounded(one.price),
                "step": one.step,
                "step_cost_per_kg": _rounded(one.step_cost),
                "says": price_said(one, question),
            }
            for one in ration.need_prices
        ],
        "worth": [
            {
                "ingredient": one.choice.name,
                "below": _rounded(one.below),
                "why": one.why,
                "says": worth_said(one, question),
            }
            for one in ration.worths
        ],
        "clashes": [
            {
                "of": [_demand(demand, question) for demand in clash],
                "says": clash_said(clash, question),
            }
            for clash in ration.clashes
        ],
        "short": short_said(ration),
        "unchecked": list(asked.unchecked),
        "untold": {name: list(codes) for name, codes in asked.untold.items()},
        "cautions": [{"ingredient": name, "caution": text} for name, text in cautions(ration)],
        "said": [status_words(ration), *said(asked, ration)],
    }


def _part(ration: Ration, choice: Choice, kilograms: float, share: float) -> dict[str, Any]:
    return {
        "ingredient": choice.name,
        "kg": _rounded(kilograms),
        "share_pct": _rounded(100 * share),
        "scoops": round(kilograms / choice.scoop_kg) if ration.whole else None,
        "price_per_kg": choice.price,
        "certainty": choice.certainty,
        "basis": choice.basis,
    }


def _check(check: Check, question: Question) -> dict[str, Any]:
    need = check.need
    return {
        "nutrient": need.nutrient,
        "unit": NUTRIENTS[need.nutrient].unit,
        "min": _rounded(check.least),
        "max": _rounded(check.most),
        "asked_min": need.least,
        "holds": _rounded(check.holds),
        "surely": _rounded(check.surely),
        "met": check.met,
        "sources": [row.cite() for row in (need.least_from, need.most_from) if row is not None],
        "others": [row.cite() for row in beside(need.nutrient, question.stage)],
    }


def _demand(demand: Demand, question: Question) -> dict[str, Any]:
    if demand.what in ("least", "most"):
        need = question.needs[demand.number]
        least = demand.what == "least"
        return {
            "what": "min" if least else "max",
            "of": need.nutrient,
            "bound": need.least if least else need.most,
        }
    choice = question.choices[demand.number]
    bounds = {
        "limit": 100 * min(choice.limit, choice.most),
        "stock": choice.stock_kg,
        "share": 100 * choice.least,
    }
    return {"what": demand.what, "of": choice.name, "bound": bounds[demand.what]}


def _rounded(value: float | None) -> float | None:
    """To six digits behind the point; null for what is unknown or has no end."""
    return None if value is None or not math.isfinite(value) else round(value, 6)
