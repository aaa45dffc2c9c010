"""Growth curves fitted to a keeper's own weighings."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from quailwright.language import mark, say

Array = NDArray[np.float64]
Curve = Literal["gompertz", "logistic"]

LEAST_WEIGHINGS = 4
LEAST_AGES = 3


@dataclass(frozen=True, slots=True)
class GrowthFit:
    """A curve W = A exp(-b exp(-k t)) (Gompertz) or W = A / (1 + b exp(-k t)) (logistic).

    Both rise fastest at ln(b) / k days.

    Attributes:
        curve: which.
        asymptote_g, b, k: A [g], b, and k [1/d].
        asymptote_se_g, b_se, k_se: their standard errors.
        residual_sd_g: standard deviation of weights about the curve [g], n - 3 degrees of freedom.
        weighings: n.
    """

    curve: Curve
    asymptote_g: float
    b: float
    k: float
    asymptote_se_g: float
    b_se: float
    k_se: float
    residual_sd_g: float
    weighings: int

    def mass_g(self, age_d: float | Array) -> Array:
        """Weight by the curve [g] at ages [d], of the same shape."""
        logs = np.log([self.asymptote_g, self.b, self.k])
        return _curve(self.curve, logs, np.asarray(age_d, float))[0]


def fit_growth(
    age_d: Sequence[float] | Array, mass_g: Sequence[float] | Array, curve: Curve = "gompertz"
) -> GrowthFit:
    """The growth curve nearest to weighings, by least squares.

    Prefer Gompertz for quail; a logistic curve starts too heavy. Weighings of the same birds are
    alike, so the standard errors of a curve through many birds weighed again and again are too
    small.

    Args:
        age_d: ages [d] from hatch, 0 or more, 3 different ones or more, shape (n,).
        mass_g: weights [g] above 0, shape (n,), n of 4 or more.
        curve: "gompertz" or "logistic".

    Raises:
        ValueError: weighings that cannot be, too few, or so few old birds that the curve is not
            told by them (a standard error as large as its figure).

    Source: models, Guler, Arslan, Sari and Cetin 2022, Eurasian J Vet Sci 38(3):173-179; standard
    errors by the curvature at the least squares, Bates and Watts 1988, Nonlinear regression
    analysis and its applications, section 2.2. Certainty: published (method).
    """
    from scipy.optimize import least_squares  # type: ignore[import-untyped]

    age, mass = _checked(age_d, mass_g)
    start = _start(curve, age, mass)
    if start is None:
        raise ValueError(say(_UNTOLD))
    # In logarithms A, b and k stay above 0; standard errors carry over by the chain rule.
    with np.errstate(all="ignore"):
        found = least_squares(
            lambda logs: _curve(curve, logs, age)[0] - mass,
            start,
            jac=lambda logs: _curve(curve, logs, age)[1],
            method="lm",
            xtol=1e-12,
            ftol=1e-12,
            gtol=1e-12,
        )
    if not found.success or np.linalg.matrix_rank(found.jac) < len(start):
        raise ValueError(say(_UNTOLD))
    variance = float(found.fun @ found.fun) / (len(age) - len(start))
    relative = np.sqrt(variance * np.diag(np.linalg.inv(found.jac.T @ found.jac)))
    if not np.all(relative < 1.0):
        raise ValueError(say(_UNTOLD))
    asymptote_g, b, k = np.exp(found.x).tolist()
    asymptote_se, b_se, k_se = (np.exp(found.x) * relative).tolist()
    return GrowthFit(curve, asymptote_g, b, k, asymptote_se, b_se, k_se, variance**0.5, len(age))


_UNTOLD = mark(
    "These weights do not follow a curve that rises and levels off: weigh the birds again when "
    "they are older, and look for a weight or an age entered wrongly."
)


def _checked(
    age_d: Sequence[float] | Array, mass_g: Sequence[float] | Array
) -> tuple[Array, Array]:
    age, mass = np.asarray(age_d, float), np.asarray(mass_g, float)
    if age.ndim != 1 or age.shape != mass.shape:
        raise ValueError(
            say(
                "There are {ages} ages and {weights} weights: give one weight for each age.",
                ages=age.size,
                weights=mass.size,
            )
        )
    for number, (days, grams) in enumerate(zip(age, mass, strict=True), start=1):
        if not (np.isfinite(days) and days >= 0):
            raise ValueError(
                say(
                    "A bird cannot be {days:g} days old: mend weighing {weighing}.",
                    days=days,
                    weighing=number,
                )
            )
        if not (np.isfinite(grams) and grams > 0):
            raise ValueError(
                say(
                    "A bird cannot weigh {grams:g} g: mend weighing {weighing}.",
                    grams=grams,
                    weighing=number,
                )
            )
    if len(age) < LEAST_WEIGHINGS:
        raise ValueError(
            say(
                "A growth curve needs {least} weighings or more, not {number}: "
                "weigh again on another day.",
                least=LEAST_WEIGHINGS,
                number=len(age),
            )
        )
    ages = len(np.unique(age))
    if ages < LEAST_AGES:
        raise ValueError(
            say(
                "A growth curve needs weighings at {least} ages or more, not {number}: "
                "weigh again on another day.",
                least=LEAST_AGES,
                number=ages,
            )
        )
    return age, mass


def _start(curve: Curve, age: Array, mass: Array) -> Array | None:
    """Logarithms of A, b and k by a straight line through the weights with a guess at A."""
    asymptote_g = 1.1 * mass.max()
    share = mass / asymptote_g
    bent = np.log(-np.log(share) if curve == "gompertz" else 1.0 / share - 1.0)
    slope, height = np.polyfit(age, bent, 1)
    if slope >= 0:
        return None
    return np.array([np.log(asymptote_g), height, np.log(-slope)])


def _curve(curve: Curve, logs: Array, age: Array) -> tuple[Array, Array]:
    """Weights, shape of `age`, and their slopes by the logarithms of A, b and k, with (3,) last."""
    asymptote_g, b, k = np.exp(logs)
    left = b * np.exp(-k * age)
    if curve == "gompertz":
        mass = asymptote_g * np.exp(-left)
    else:
        mass = asymptote_g / (1.0 + left)
        left = left / (1.0 + left)
    return mass, mass[..., None] * np.stack([np.ones_like(age), -left, left * k * age], axis=-1)
