"""The JSON shapes of `breeding keep` and `breeding gain`."""

import math
from typing import Any, TypedDict

from quailwright.exchange.gain_page import GainPage
from quailwright.exchange.keep_page import KeepPage
from quailwright.planning.gain_ahead import GainAhead
from quailwright.planning.keepers import Keepers, Range, Ranked


class RangeShape(TypedDict):
    """A figure, and the middle 80 % of where it may lie."""

    mean: float
    q10: float
    q90: float


class KeepShape(TypedDict):
    """`breeding keep --json`; points are usual spreads between birds."""

    as_of: str
    hatch: str | None
    goal: dict[str, float]
    goal_told: bool
    cocks: list[dict[str, Any]]
    hens: list[dict[str, Any]]
    change: dict[str, RangeShape]
    change_whatever_kin: dict[str, RangeShape]
    inbreeding_whatever_kin: float | None
    inbreeding: float | None
    inbreeding_most: float | None
    inbreeding_all: float | None
    effective_size: float | None
    pens: list[dict[str, Any]]
    records: list[dict[str, Any]]
    traits: list[dict[str, Any]]
    weight_age_days: float
    said: list[str]


class GainShape(TypedDict):
    """`breeding gain --json`."""

    as_of: str
    by: str
    cocks: int
    of_cocks: int
    hens: int
    of_hens: int
    heritability_of_record: float
    weeks_a_generation: float
    by_sisters: float
    sisters: int
    generations: list[dict[str, Any]]
    said: list[str]


def keep_shape(found: Keepers, told: KeepPage) -> KeepShape:
    """`breeding keep --json`."""
    done = found.merits
    return {
        "as_of": found.on.isoformat(),
        "hatch": found.hatch,
        "goal": {name: float(weight) for name, weight in found.goal.items()},
        "goal_told": found.goal_own,
        "cocks": [_bird(one) for one in found.cocks],
        "hens": [_bird(one) for one in found.hens],
        "change": {name: _range(some) for name, some in found.change.items()},
        "change_whatever_kin": {name: _range(some) for name, some in found.free_change.items()},
        "inbreeding_whatever_kin": _share(found.free_inbreeding),
        "inbreeding": _share(found.inbreeding),
        "inbreeding_most": _share(found.inbreeding_most),
        "inbreeding_all": _share(found.inbreeding_all),
        "effective_size": _share(found.effective_size),
        "pens": [
            {
                "group": pen.group,
                "birds": pen.birds,
                "points": _range(pen.points),
                "accuracy": round(pen.accuracy, 4),
            }
            for pen in found.pens
        ],
        "records": [
            {
                "trait": one.trait,
                "gain": _range(one.gain),
                "cocks": one.cocks,
                "of_cocks": one.of_cocks,
                "hens": one.hens,
                "of_hens": one.of_hens,
            }
            for one in found.worth
        ],
        "traits": [
            {
                "trait": basis.name,
                "mean": round(basis.mean, 4),
                "mean_own": basis.mean_own,
                "sd": round(basis.sd, 4),
                "sd_own": basis.sd_own,
                "heritability": round(basis.heritability, 4),
                "heritability_sd": round(basis.heritability_sd, 4),
                "heritability_own": basis.heritability_own,
                "birds": basis.own,
                "groups": basis.pens,
                "with_few_to_compare": basis.alone,
            }
            for basis in done.bases.values()
        ],
        "weight_age_days": done.performance.weight_age_d,
        "said": [
            told.wants, *told.answer, *told.brings, *told.pens, *told.records, *told.basis,
            *told.notes,
        ],
    }  # fmt: skip


def gain_shape(found: GainAhead, told: GainPage) -> GainShape:
    """`breeding gain --json`."""
    scheme = found.scheme
    return {
        "as_of": found.on.isoformat(),
        "by": found.by,
        "cocks": scheme.cocks,
        "of_cocks": scheme.of_cocks,
        "hens": scheme.hens,
        "of_hens": scheme.of_hens,
        "heritability_of_record": round(scheme.heritability, 4),
        "weeks_a_generation": round(found.weeks, 2),
        "by_sisters": round(found.by_sisters, 4),
        "sisters": found.sisters,
        "generations": [
            {
                "generation": one.number,
                "gains": {name: _range(some) for name, some in one.gains.items()},
                "inbreeding": round(one.inbreeding, 6),
                "inbreeding_at_random": round(one.inbreeding_even, 6),
            }
            for one in found.generations
        ],
        "said": [*told.answer, *told.notes],
    }


def _bird(one: Ranked) -> dict[str, Any]:
    return {
        "bird": one.member.name,
        "keep": one.kept,
        "points": _range(one.points),
        "accuracy": round(one.accuracy, 4),
        "traits": {name: _range(some) for name, some in one.traits.items()},
        "sire": one.parents[0] or None,
        "dam": one.parents[1] or None,
        "kin_kept": one.instead or None,
    }


def _range(some: Range) -> RangeShape:
    return {"mean": round(some.mean, 4), "q10": round(some.low, 4), "q90": round(some.high, 4)}


def _share(share: float) -> float | None:
    return None if math.isnan(share) else round(share, 6)
