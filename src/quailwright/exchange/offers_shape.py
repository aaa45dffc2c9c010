"""The JSON shape of `offers`."""

import math
from datetime import date
from typing import Any

import msgspec
import numpy as np
from numpy.typing import NDArray

from quailwright.exchange.json_types import OffersRequest
from quailwright.journal.findings import BadInput
from quailwright.language import say
from quailwright.planning.offers import (
    Answer,
    Asked,
    Compared,
    Spread,
    asking,
    read_offers,
    says_of,
)


def offers_requested(body: bytes) -> Asked:
    """What a JSON body (`OffersRequest`) asks. Raises BadInput, with every problem found."""
    try:
        request = msgspec.json.decode(body, type=OffersRequest)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
        raise BadInput(
            say("The body is not as asked for ({problem}).", problem=str(error))
        ) from None
    asked, findings = read_offers(request.offers.encode("utf-8", "replace"))
    if asked is None:
        raise BadInput(say("The offers cannot be used as they are."), tuple(findings))
    return asking(asked, request.hens, request.certainty)


def offers_shape(answer: Answer, on: date) -> dict[str, Any]:
    """`offers --json`. What has no end is null."""
    return {
        "on": on.isoformat(),
        "hens": answer.hens,
        "certainty": answer.certainty,
        "currency": answer.currency,
        "room_eggs": answer.room_eggs,
        "reached": answer.reached,
        "offers": [_offer(one, answer) for one in answer.compared],
        "together": None
        if answer.joined is None
        else [
            {"offer": one.number, "source": one.offer.source, "eggs": eggs}
            for one, eggs in answer.joined
        ],
        "said": answer.said,
    }


def _offer(one: Compared, answer: Answer) -> dict[str, Any]:
    belief = one.belief
    return {
        "offer": one.number,
        "source": one.offer.source,
        "route": one.offer.route,
        "reaches": one.reaches,
        "eggs": one.eggs,
        "eggs_needed": one.eggs_needed,
        "chance": round(one.chance, 4),
        "most_eggs": one.offer.most_eggs,
        "chance_with_most": None
        if one.chance_with_most is None
        else round(one.chance_with_most, 4),
        "cost": round(one.cost, 2),
        "cost_per_hen": _spread(one.cost_per_hen, 2),
        "hens": _spread(one.hens, 2),
        "hens_sure": one.hens_sure,
        "hatch_of_set": _of_draws(belief.hatch),
        "survival": _of_draws(belief.survival),
        "unbroken": _of_draws(belief.unbroken),
        "own_hatches": belief.own_hatches,
        "says": says_of(one, answer.hens, answer.certainty),
    }


def _spread(spread: Spread, digits: int) -> dict[str, float | None]:
    return {
        name: round(value, digits) if math.isfinite(value) else None
        for name, value in (("mean", spread.mean), ("q10", spread.q10), ("q90", spread.q90))
    }


def _of_draws(draws: NDArray[np.float64]) -> dict[str, float | None]:
    low, high = np.quantile(draws, (0.1, 0.9)).tolist()
    return _spread(Spread(float(draws.mean()), low, high), 4)
