"""The JSON shape of `breeding rotation`."""

import math
from typing import Any, TypedDict

from quailwright.exchange.rotation_page import RotationPage
from quailwright.planning.rotation import Rotation


class RotationShape(TypedDict):
    """`breeding rotation --json`."""

    as_of: str
    pens: list[dict[str, Any]]
    crowds: list[dict[str, Any]]
    old_cocks: list[str]
    turns: list[dict[str, Any]]
    generations: list[dict[str, Any]]
    effective_size: float | None
    effective_size_one_pen: float | None
    rise: float
    rise_one_pen: float
    better_from_generation: int | None
    census_size_now: float
    census_size: float
    by_pens: list[dict[str, Any]]
    new_blood: list[dict[str, Any]]
    said: list[str]


def rotation_shape(found: Rotation, told: RotationPage) -> RotationShape:
    """`breeding rotation --json`."""
    return {
        "as_of": found.on.isoformat(),
        "pens": [
            {
                "pen": pen.pen.name,
                "known": pen.pen.known,
                "cock": pen.cock.name,
                "hens": [hen.bird.name for hen in pen.hens],
                "sure_from": pen.sure_from.isoformat(),
            }
            for pen in found.start.pens
        ],
        "crowds": [
            {"place": one.place, "cocks": one.cocks, "hens": one.hens, "old_cocks": one.old}
            for one in found.crowds
        ],
        "old_cocks": [bird.name for bird in found.old],
        "turns": [
            {
                "generation": turn.number,
                "eggs_from": turn.eggs_from.isoformat(),
                "set_on": turn.set_on.isoformat(),
                "hatch_on": turn.hatch_on.isoformat(),
                "ring_by": turn.ring_by.isoformat(),
                "move_on": turn.move_on.isoformat(),
                "sons_move_pens": turn.step,
            }
            for turn in found.turns
        ],
        "generations": [
            {
                "generation": n + 1,
                "rotation": round(float(found.rotated[n]), 6),
                "cyclic": round(float(found.cyclic[n]), 6),
                "one_pen": round(float(found.mixed[n]), 6),
                "pens_closed": round(float(found.closed[n]), 6),
            }
            for n in range(found.ask.generations)
        ],
        "effective_size": _size(found.effective_size),
        "effective_size_one_pen": _size(found.mixed_size),
        "rise": round(found.rise, 6),
        "rise_one_pen": round(found.mixed_rise, 6),
        "better_from_generation": found.overtakes,
        "census_size_now": round(found.census_now, 3),
        "census_size": round(found.census, 3),
        "by_pens": [
            {
                "pens": one.pens,
                "rise": round(one.rise, 6),
                "effective_size": _size(one.effective_size),
                "effective_size_one_pen": _size(one.mixed_size),
                "as_half_sibs_in_generation": one.until_strong,
            }
            for one in found.compared
        ],
        "new_blood": [
            {
                "cocks": one.cocks,
                "every": one.every,
                "inbreeding": [round(float(share), 6) for share in one.inbreeding],
                "chicks_kept": round(worth.chicks, 3),
                "chicks_kept_low": round(worth.chicks_low, 3),
                "chicks_kept_high": round(worth.chicks_high, 3),
                "cost": worth.cost,
                "worth": worth.worth,
            }
            for one, worth in zip(found.new_blood, found.worth, strict=True)
        ],
        "said": told.said,
    }


def _size(size: float) -> float | None:
    return round(size, 3) if math.isfinite(size) else None
