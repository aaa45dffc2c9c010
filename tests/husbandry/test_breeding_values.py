"""Breeding values against printed examples, another way to the same answer, and another library."""

import numpy as np
import pandas as pd  # type: ignore[import-untyped]
import pytest
import statsmodels.formula.api as smf  # type: ignore[import-untyped]
from numpy.typing import NDArray
from scipy.sparse import block_diag, csr_array, eye_array, hstack  # type: ignore[import-untyped]

from quailwright.husbandry.inheritance.blup import Records, blup, reliability
from quailwright.husbandry.inheritance.kinship import relationships
from quailwright.husbandry.inheritance.pedigree import Pedigree
from quailwright.husbandry.inheritance.reml import reml

CALVES = Pedigree.of_known([-1, -1, -1, 0, 2, 0, 3, 2], [-1, -1, -1, -1, 1, 1, 4, 5])
GAIN = np.array([4.5, 2.9, 3.9, 3.5, 5.0])
SEX = np.array([[1, 0], [0, 1], [0, 1], [1, 0], [1, 0]], float)


def precision(pedigree: Pedigree, variance: float) -> csr_array:
    return csr_array(np.linalg.inv(relationships(pedigree)) / variance)


def one_each(of: list[int], among: int) -> csr_array:
    return csr_array((np.ones(len(of)), (np.arange(len(of)), np.array(of))), (len(of), among))


def test_animal_model_mrode_2014_example_3_1() -> None:
    """Pre-weaning gain of calves, ratio 2, page 38 on; printed to three decimals."""
    records = Records(GAIN, SEX, one_each([3, 4, 5, 6, 7], 8), np.full(5, 40.0))
    found = blup(records, precision(CALVES, 20.0))
    assert found.fixed == pytest.approx([4.358, 3.404], abs=1e-3)
    printed = [0.098, -0.019, -0.041, -0.009, -0.186, 0.177, -0.249, 0.183]
    assert found.values == pytest.approx(printed, abs=6e-4)
    errors = np.diag(found.error_covariance(np.eye(8)))
    # Diagonal of the inverse, in units of the residual variance; from memory.
    printed = [0.471, 0.492, 0.456, 0.428, 0.428, 0.442, 0.442, 0.422]
    assert errors / 40 == pytest.approx(printed, abs=6e-4)
    told = reliability(errors, 20 * np.diag(relationships(CALVES)))
    assert told[:4] == pytest.approx([0.058, 0.016, 0.087, 0.144], abs=1e-3)


def test_sire_model_mrode_2014_section_3_4() -> None:
    """The same calves by their sires alone, ratio 11; printed values from memory."""
    sires = Pedigree.of_known([-1, -1, 0], [-1, -1, -1])
    records = Records(GAIN, SEX, one_each([0, 1, 0, 2, 1], 3), np.full(5, 55.0))
    found = blup(records, precision(sires, 5.0))
    assert found.fixed == pytest.approx([4.336, 3.382], abs=6e-4)
    assert found.values == pytest.approx([0.022, 0.014, -0.043], abs=6e-4)


def test_repeatability_model_mrode_2014_example_4_1() -> None:
    """Fat yield of five cows in two parities; printed values from memory."""
    cows = Pedigree.of_known([-1, -1, -1, 0, 2, 0, 2, 0], [-1, -1, -1, 1, 1, 4, 3, 6])
    fat = np.array([201, 280, 150, 200, 160, 190, 180, 250, 285, 300.0])
    herd = [1, 3, 1, 4, 2, 3, 1, 3, 2, 4]
    fixed = np.array([[n % 2 == 0, n % 2 == 1, h == 2, h == 4] for n, h in enumerate(herd)], float)
    of = [3, 3, 4, 4, 5, 5, 6, 6, 7, 7]
    shares = csr_array(hstack([one_each(of, 8), one_each([cow - 3 for cow in of], 5)]))
    random = csr_array(block_diag([precision(cows, 20.0), eye_array(5) / 12]))
    found = blup(Records(fat, fixed, shares, np.full(10, 28.0)), random)
    assert found.fixed == pytest.approx([175.472, 241.893, 44.065, 0.013], abs=1e-3)
    printed = [10.148, -3.084, -7.063, 13.581, -18.207, -18.387, 9.328, 24.194]
    assert found.values[:8] == pytest.approx(printed, abs=1e-3)


def _random_flock(rng: np.random.Generator, n: int) -> Pedigree:
    sires = [int(rng.integers(-1, max(1, n_ // 2))) if n_ > 6 else -1 for n_ in range(n)]
    dams = [
        int(rng.integers(n_ // 2, n_)) if n_ > 6 and rng.random() < 0.7 else -1 for n_ in range(n)
    ]
    return Pedigree.of_known(sires, dams)


def test_sparse_equations_give_what_generalised_least_squares_gives() -> None:
    """Two traits, means of pens beside single birds: y ~ V^-1 with V = Z G Z' + R, densely."""
    rng = np.random.default_rng(7)
    pedigree = _random_flock(rng, 40)
    related = relationships(pedigree)
    genes = np.array([[9.0, -2.0], [-2.0, 4.0]])
    covariance = np.kron(genes, related)
    shares = np.zeros((50, 80))
    noise = np.empty(50)
    for record in range(50):
        birds = rng.choice(40, 1 if record < 40 else 6, replace=False)
        shares[record, birds + 40 * (record % 2)] = 1 / len(birds)
        noise[record] = 12.0 / len(birds)
    fixed = np.array([[n % 4 == k for k in range(4)] for n in range(50)], float)
    seen = rng.normal(20, 4, 50)
    found = blup(
        Records(seen, fixed, csr_array(shares), noise),
        csr_array(np.kron(np.linalg.inv(genes), np.linalg.inv(related))),
    )
    inverse = np.linalg.inv(shares @ covariance @ shares.T + np.diag(noise))
    of_fixed = np.linalg.inv(fixed.T @ inverse @ fixed)
    effects = of_fixed @ fixed.T @ inverse @ seen
    values = covariance @ shares.T @ inverse @ (seen - fixed @ effects)
    assert found.fixed == pytest.approx(effects)
    assert found.values == pytest.approx(values)
    free = inverse - inverse @ fixed @ of_fixed @ fixed.T @ inverse
    errors = covariance - covariance @ shares.T @ free @ shares @ covariance
    assert found.error_covariance(np.eye(80)) == pytest.approx(errors)


def _half_sibs(seed: int, sires: int, each: int) -> tuple[NDArray[np.int64], Records, Pedigree]:
    rng = np.random.default_rng(seed)
    sire = np.repeat(np.arange(sires), each)
    seen = 0.5 * rng.normal(size=sires)[sire] + 1.5 * rng.normal(size=len(sire))
    pedigree = Pedigree.of_known([-1] * sires + sire.tolist(), [-1] * (sires + len(sire)))
    shares = one_each(list(range(sires, sires + len(sire))), len(pedigree))
    return sire, Records(seen, np.ones((len(sire), 1)), shares, np.ones(len(sire))), pedigree


def test_reml_of_half_sibs_is_that_of_statsmodels_and_of_the_analysis_of_variance() -> None:
    """Sire variance is a quarter of the additive; balanced, the analysis of variance is exact."""
    sires, each = 20, 10
    sire, records, pedigree = _half_sibs(3, sires, each)
    found = reml(records, relationships(pedigree))
    frame = pd.DataFrame({"seen": records.values, "sire": sire})
    other = smf.mixedlm("seen ~ 1", frame, groups="sire").fit(reml=True)
    of_sires = float(other.cov_re.iloc[0, 0])
    assert found.additive == pytest.approx(4 * of_sires, rel=1e-3)
    assert found.residual == pytest.approx(other.scale - 3 * of_sires, rel=1e-3)
    means = np.array([records.values[sire == one].mean() for one in range(sires)])
    between = each * means.var(ddof=1)
    within = np.mean([records.values[sire == one].var(ddof=1) for one in range(sires)])
    alike = (between - within) / (between + (each - 1) * within)
    assert found.heritability == pytest.approx(4 * alike, rel=1e-4)
    # Standard error: Robertson 1959 and Fisher's of the intraclass correlation, times 4.
    error = 4 * np.sqrt(
        2 * (1 - alike) ** 2 * (1 + (each - 1) * alike) ** 2 / (each * (each - 1) * (sires - 1))
    )
    assert found.heritability_sd == pytest.approx(error, rel=0.05)


def test_reml_stays_within_bounds_where_sibs_are_not_alike() -> None:
    _, records, pedigree = _half_sibs(3, 6, 5)
    flat = Records(np.tile([1.0, -1.0, 2.0, -2.0, 0.0], 6), *[
        getattr(records, name) for name in ("fixed", "shares", "noise")
    ])  # fmt: skip
    assert reml(flat, relationships(pedigree)).heritability < 0.01


def test_what_cannot_be_told_is_refused() -> None:
    shares, one = one_each([3, 4, 5, 6, 7], 8), precision(CALVES, 1.0)
    with pytest.raises(ValueError, match="cannot be told apart"):
        blup(Records(GAIN, np.ones((5, 2)), shares, np.ones(5)), one)
    with pytest.raises(ValueError, match="above 0"):
        blup(Records(GAIN, SEX, shares, np.zeros(5)), one)
    with pytest.raises(ValueError, match="too few records"):
        reml(Records(GAIN, np.eye(5), shares, np.ones(5)), relationships(CALVES))
