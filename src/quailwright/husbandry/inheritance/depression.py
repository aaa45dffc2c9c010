"""What inbreeding costs quail: eggs, chicks and weight, by published trials.

All come from lines of full sibs, which become inbred within a few generations. Where it comes
slowly some of the harm is selected away, so that these are on the high side for a flock that is
mated with care (inferred). Lines differed widely.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import NDArray

from quailwright.husbandry import facts
from quailwright.language import say

Array = NDArray[np.float64]

Stage = Literal["fertility", "hatch", "survival"]
"""Share of eggs fertile; of fertile eggs hatched; of chicks alive at 4 weeks."""

Lost = Literal["lay", "survival", "fitness"]
"""Hen-day lay; survival to 4 weeks; and all from lay to 4 weeks multiplied."""

STAGES: tuple[Stage, ...] = ("fertility", "hatch", "survival")

_TENTH = 0.1


def kept(stage: Stage, inbreeding: float | Array) -> Array:
    """What inbred birds do over what the same do not inbred, 0 to 1: exp(-B F).

    Args:
        stage: "fertility", by the inbreeding of the pair; "hatch" and "survival", by the chick's.
            The trials do not part the two: their pairs and chicks were both inbred (inferred).
        inbreeding: 0 to 1.

    Raises:
        ValueError: inbreeding out of range.

    Source: form, Morton, Crow and Muller 1956, PNAS 42:855-863 (from memory); B is half of the
    lethal equivalents per bird, `facts/inbreeding.csv`. Certainty: published; for survival the
    regression was not significant.
    """
    found: Array = np.exp(-_load(stage) * _inbreeding(inbreeding))
    return found


def chicks_kept(inbreeding: float | Array, of_parents: float | Array = 0.0) -> Array:
    """Chicks alive at 4 weeks from an egg laid, over those not inbred, 0 to 1: the three stages.

    Args:
        inbreeding: of the chicks, 0 to 1.
        of_parents: mean inbreeding of the pair, 0 to 1.

    Raises:
        ValueError: inbreeding out of range.

    Source: as `kept`.
    """
    found: Array = kept("fertility", of_parents)
    return found * kept("hatch", inbreeding) * kept("survival", inbreeding)


def chicks_kept_range(
    inbreeding: float | Array, of_parents: float | Array = 0.0
) -> tuple[Array, Array]:
    """The least and the most of `chicks_kept` by the four lines that were reckoned apart.

    Their lethal equivalents ran from 2.3 to 24.3 where all together had 4.9; the stages of each
    line are taken in the same proportion. Lines did not differ significantly.

    Arguments and errors as `chicks_kept`.
    """
    row = facts.figure("inbreeding.lethal_all")
    assert row.value is not None
    assert row.low is not None
    assert row.high is not None
    whole = chicks_kept(inbreeding, of_parents)
    return whole ** (row.high / row.value), whole ** (row.low / row.value)


def points_lost(what: Lost, inbreeding: float | Array) -> Array:
    """Points in a hundred lost, in a straight line: of every 100 eggs, chicks, or the whole.

    Args:
        what: "lay", by the hen's inbreeding; "survival" to 4 weeks, by the chick's; "fitness".
        inbreeding: 0 to 1; seen to 0.6.

    Raises:
        ValueError: inbreeding out of range.

    Source: Shinjo, Mizuma and Nishida 1972, Jpn Poult Sci 9:254-260. Certainty: published.
    """
    per_tenth = facts.value(f"inbreeding.points_{what}")
    found: Array = per_tenth * _inbreeding(inbreeding) / _TENTH
    return found


def fitness_kept(inbreeding: float | Array) -> tuple[Array, Array]:
    """All from lay to chicks of 4 weeks, inbred over not inbred, by the two forms of one trial.

    As exp(-B F) with its 7.5 lethal equivalents, and in a straight line by its points from where
    birds mated at random were. They disagree most where a keeper looks: at 0.125 they say 0.63 and
    0.79. They meet at 0.5, and past 0.59 the straight line comes to nothing, as lines of full sibs
    nearly did.

    Args:
        inbreeding: of birds and their chicks alike, 0 to 1.

    Raises:
        ValueError: inbreeding out of range.

    Source: as `points_lost`. Certainty: published; the ratio to birds not inbred is arithmetic.
    """
    load = facts.value("inbreeding.lethal_fitness") / 2
    start = facts.value("inbreeding.fitness_not_inbred")
    curved: Array = np.exp(-load * _inbreeding(inbreeding))
    straight: Array = np.maximum(0.0, 1 - points_lost("fitness", inbreeding) / 100 / start)
    return curved, straight


def weight_lost_g(sex: Literal["cock", "hen"], inbreeding: float | Array) -> Array:
    """Weight at 6 weeks lost by the bird's own inbreeding [g].

    Args:
        inbreeding: 0 to 1.

    Raises:
        ValueError: inbreeding out of range.

    Source: Sittmann, Abplanalp and Fraser 1966, Genetics 54:371-379, as quoted. Certainty:
    published, not read there.
    """
    per_tenth = facts.value(f"inbreeding.weight_6w_{sex}")
    found: Array = per_tenth * _inbreeding(inbreeding) / _TENTH
    return found


def _load(stage: Stage) -> float:
    return facts.value(f"inbreeding.lethal_{stage}") / 2


def _inbreeding(given: float | Array) -> Array:
    found = np.asarray(given, float)
    if not np.all((found >= 0) & (found <= 1)):
        raise ValueError(say("Inbreeding and its rise are between 0 and 1."))
    return found
