"""The JSON shape of `costs`."""

import math
from collections.abc import Mapping
from typing import Any

from quailwright.accounts.account import Each, MonthOf
from quailwright.accounts.batches import Batch
from quailwright.accounts.what_moves import WhatMoves
from quailwright.exchange.costs_told import Costs, month_words, per_dozen_of
from quailwright.exchange.json_types import CostsShape
from quailwright.planning.costs_met import MonthMet


def costs_shape(costs: Costs) -> CostsShape:
    """`costs --json`. What cannot be told is null, and `said` says why."""
    found = costs.account
    return {
        "from": found.first.isoformat(),
        "until": found.last.isoformat(),
        "currency": found.currency,
        "per_egg": _each(found.per_egg),
        "per_dozen": _each(found.per_dozen),
        "per_hen_at_lay": {
            **_each(found.per_hen_at_lay),
            "birds": _round(found.raised),
            "if_cocks_bear_nothing": _round(found.per_hen_if_cocks_bear_none),
        },
        "per_dressed_bird": {**_each(found.per_dressed_bird), "birds": _round(found.dressed)},
        "per_hour": {
            **_each(found.per_hour),
            "hours": _round(found.minutes.hours),
            "hours_noted": _round(found.minutes.noted / 60.0),
        },
        "cocks": {
            **_each(found.cocks.cost),
            "birds": _round(found.cocks.birds),
            "per_week": _round(found.cocks.per_week),
            "per_egg": _round(found.cocks.per_egg),
            "per_week_if_they_eat_as_hens": _round(found.cocks.per_week_if_as_hens),
        },
        "costs": _parts(found.costs),
        "income": _parts(found.income),
        "result": _number(found.earned),
        "shares": {who: _parts(parts) for who, parts in found.by_bearer.items()},
        "eggs": {
            "laid": found.eggs,
            **{use: found.gone[use] for use in ("sold", "eaten", "given", "discarded")},
        },
        "break_even": {
            "per_dozen": _round(found.break_even_dozen),
            "per_dozen_sold": _round(found.break_even_dozen_sold),
            "paid_per_dozen": _round(found.paid_per_dozen),
        },
        "feed": {
            "used_kg": _number(found.feed_kg),
            "in_store": [
                {"feed": name, "kg": _number(left.kg), "value": _number(left.value)}
                for name, left in found.feed_in_store.items()
            ],
        },
        "months": [_month(month) for month in found.months],
        "hatches": [_batch(batch) for batch in found.batches_of_these_days],
        "what_moves": None if costs.moves is None else _moves(costs.moves),
        "plan": [_met(month) for month in costs.met],
        "said": found.said,
    }


def _each(each: Each) -> dict[str, Any]:
    return {"value": _round(each.value), "parts": _parts(each.parts)}


def _parts(parts: Mapping[str, float]) -> dict[str, float]:
    return {kind: _number(amount) for kind, amount in parts.items()}


def _month(month: MonthOf) -> dict[str, Any]:
    return {
        "month": month_words(month.month),
        "costs": _parts(month.costs),
        "income": _parts(month.income),
        "result": _number(month.result),
        "cash": _number(month.cash),
        "eggs": month.eggs,
        **{use: month.gone[use] for use in ("sold", "eaten", "given", "discarded")},
        "feed_kg": _number(month.feed_kg),
        "hen_days": _number(month.hen_days),
        "minutes": _number(month.minutes),
        "per_dozen": _round(per_dozen_of(month)),
    }


def _batch(batch: Batch) -> dict[str, Any]:
    return {
        "hatch": batch.hatch,
        "hatched_on": None if batch.hatched_on is None else batch.hatched_on.isoformat(),
        "grown_on": None if batch.grown_on is None else batch.grown_on.isoformat(),
        "chicks": _number(batch.chicks),
        "hens": _number(batch.hens),
        "cocks": _number(batch.cocks),
        "left_young": _number(batch.left_young),
        "cost": _number(batch.cost),
        "parts": _parts(batch.parts),
        "each": _round(batch.each),
    }


def _moves(moves: WhatMoves) -> dict[str, Any]:
    return {
        "per_dozen": _round(moves.keeping.per_dozen),
        "parts": _parts(moves.keeping.parts),
        "bars": [
            {
                "what": bar.what,
                "now": _number(bar.now),
                "low": _number(bar.low),
                "high": _number(bar.high),
                "at_low": _round(bar.at_low),
                "at_high": _round(bar.at_high),
                "basis": bar.basis,
            }
            for bar in moves.bars
        ],
    }


def _met(month: MonthMet) -> dict[str, Any]:
    low, middle, high = month.likely
    return {
        "month": month_words(month.month),
        "in": "kg" if month.feed is None else "money",
        "reckoned": {"q10": _number(low), "q50": _number(middle), "q90": _number(high)},
        "came": _number(month.came),
    }


_DIGITS = 6


def _number(value: float) -> float:
    return round(value, _DIGITS) + 0.0


def _round(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else _number(value)
