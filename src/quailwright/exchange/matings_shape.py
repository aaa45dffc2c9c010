"""The JSON shape of `breeding matings`."""

import math
from typing import Any, TypedDict

from quailwright.exchange.matings_page import MatingsPage
from quailwright.planning.mating_outcome import Outcome
from quailwright.planning.matings import Plan


class MatingOutcome(TypedDict):
    """What a way to mate birds comes to; `effective_size`: null where nothing rises."""

    inbreeding: float
    kinship: float
    rise: float
    effective_size: float | None
    hens: int
    gain: float | None


class MatingsShape(TypedDict):
    """`breeding matings --json`."""

    as_of: str
    pens: list[dict[str, Any]]
    birds: list[dict[str, Any]]
    left_out: list[dict[str, Any]]
    planned: MatingOutcome
    one_pen: MatingOutcome
    now: MatingOutcome | None
    choices: list[dict[str, Any]]
    cocks: int
    hens: int
    pens_needed: int
    refused_at: float
    pairs_refused: int
    gain_short: float
    said: list[str]


def matings_shape(plan: Plan, told: MatingsPage) -> MatingsShape:
    """`breeding matings --json`."""
    return {
        "as_of": plan.on.isoformat(),
        "pens": [
            {
                "pen": pen.pen.name,
                "known": pen.pen.known,
                "cock": pen.cock.name,
                "cock_age_days": pen.cock.age_d,
                "cock_old": pen.cock.old,
                "hens": [
                    {"bird": hen.bird.name, "inbreeding": round(hen.inbreeding, 6)}
                    for hen in pen.hens
                ],
                "inbreeding": round(pen.inbreeding, 6),
                "sure_from": pen.sure_from.isoformat(),
                "moved": list(pen.moved),
            }
            for pen in plan.pens
        ],
        "birds": [
            {
                "bird": bird.name,
                "sex": bird.sex,
                "pen": pen.pen.name,
                "with": mates,
                "inbreeding": round(inbreeding, 6),
            }
            for pen in plan.pens
            for bird, mates, inbreeding in (
                (pen.cock, [hen.bird.name for hen in pen.hens], pen.inbreeding),
                *((hen.bird, [pen.cock.name], hen.inbreeding) for hen in pen.hens),
            )
        ],
        "left_out": [
            {
                "bird": left.name,
                "sex": left.sex,
                "why": left.why,
                "until": None if left.until is None else left.until.isoformat(),
            }
            for left in plan.left_out
        ],
        "planned": _outcome(plan.planned),
        "one_pen": _outcome(plan.mixed),
        "now": None if plan.now is None else _outcome(plan.now),
        "choices": [
            {**_outcome(choice.outcome), "cocks": [cock.name for cock in choice.cocks]}
            for choice in plan.choices
        ],
        "cocks": plan.cocks,
        "hens": plan.hens,
        "pens_needed": plan.needed,
        "refused_at": plan.refused_at,
        "pairs_refused": plan.barred,
        "gain_short": round(plan.gain_short, 6),
        "said": [
            told.summary, *(card.sentence for card in told.pens), *told.meaning, *told.left,
            *told.warnings, *told.notes,
        ],
    }  # fmt: skip


def _outcome(came: Outcome) -> MatingOutcome:
    size = came.effective_size
    return {
        "inbreeding": round(came.inbreeding, 6),
        "kinship": round(came.kinship, 6),
        "rise": round(came.rise, 6),
        "effective_size": round(size, 3) if math.isfinite(size) else None,
        "hens": came.hens,
        "gain": None if came.gain is None else round(came.gain, 6),
    }
