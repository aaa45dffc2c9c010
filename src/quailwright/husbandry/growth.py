"""Body weight by age."""

import math
from typing import Literal

from quailwright.husbandry import facts
from quailwright.husbandry.age import checked_age_d
from quailwright.husbandry.survival import Sex
from quailwright.language import say

Line = Literal["egg", "dual", "meat"]


def gompertz_g(age_d: float, asymptote_g: float, b: float, k: float) -> float:
    """Body weight by the Gompertz curve W = A exp(-b exp(-k t)).

    Args:
        age_d: age t [d] from hatch, 0 or more.
        asymptote_g: A [g], the weight it tends to, above 0.
        b: the number b, above 0; weight at hatch is A exp(-b).
        k: rate k [1/d], above 0.

    Returns:
        Weight [g].

    Raises:
        ValueError: an argument out of range.

    Source: Guler, Arslan, Sari and Cetin 2022, Eurasian J Vet Sci 38(3):173-179, model of weekly
    weights from 0 to 42 days. Certainty: published.
    """
    _check(asymptote_g, b, k)
    return asymptote_g * math.exp(-b * math.exp(-k * checked_age_d(age_d)))


def inflection(asymptote_g: float, b: float, k: float) -> tuple[float, float]:
    """Age and weight at which a Gompertz curve rises fastest.

    Args:
        asymptote_g: A [g], above 0.
        b: the number b, above 0.
        k: rate k [1/d], above 0.

    Returns:
        (age [d], weight [g]) = (ln(b) / k, A / e).

    Raises:
        ValueError: an argument out of range.

    Source: as `gompertz_g`; Narinc, Karaman, Firat and Aksoy 2010, J Anim Vet Adv
    9(14):1961-1966. Certainty: published.
    """
    _check(asymptote_g, b, k)
    return math.log(b) / k, asymptote_g / math.e


def mass_g(age_d: float, sex: Sex, line: Line = "dual") -> float:
    """Mean body weight of a bird of this age, sex and type.

    Args:
        age_d: age [d] from hatch, 0 or more.
        sex: "hen", "cock", or "chick" for a bird not sexed, which has the mean of the two.
        line: "egg" for small layers, "dual" for the usual home bird, "meat" for the largest.

    Returns:
        Weight [g]; birds of one age spread about it by ``growth.between_bird_cv``.

    Raises:
        ValueError: age below 0.

    Source: between the lines listed in ``facts/growth.csv``. Certainty: inferred.
    """
    if sex == "chick":
        cocks = facts.value("survival.cocks_at_hatch")
        return cocks * mass_g(age_d, "cock", line) + (1.0 - cocks) * mass_g(age_d, "hen", line)
    return gompertz_g(
        age_d,
        facts.value(f"growth.asymptote_{line}_{sex}"),
        facts.value("growth.b"),
        facts.value(f"growth.k_{sex}"),
    )


def _check(asymptote_g: float, b: float, k: float) -> None:
    if min(asymptote_g, b, k) <= 0:
        raise ValueError(say("The asymptote, b and k of a growth curve are above 0."))
