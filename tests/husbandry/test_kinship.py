"""Kinship and inbreeding against textbook pedigrees, sgkit, gene dropping and the plain rule."""

import csv
from collections import defaultdict
from pathlib import Path
from random import Random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from quailwright.husbandry.inheritance import frontier
from quailwright.husbandry.inheritance.kinship import (
    inbreeding,
    inverse,
    mendelian,
    relationships,
    z_kinship,
)
from quailwright.husbandry.inheritance.pedigree import Chances, Mates, Pedigree

Array = NDArray[np.float64]
DATA = Path(__file__).parent / "data"


def numbered(*parents: tuple[int, int], founders: int) -> Pedigree:
    """A pedigree as textbooks print it: birds from 1, 0 not known; founders first."""
    rows = [(0, 0)] * founders + list(parents)
    return Pedigree.of_known([sire - 1 for sire, _ in rows], [dam - 1 for _, dam in rows])


# Lecture notes of the Danish veterinary and agricultural university (KVL), sections 4.2 and 4.5;
# Mrode, Linear Models for the Prediction of Animal Breeding Values, chapter 2; Lange, Mathematical
# and Statistical Methods for Genetic Analysis, chapter 5; Fernando and Grossman 1990, Theor Appl
# Genet. 7/32 is printed as 0.218.
TEXTBOOKS = {
    "KVL": (numbered((1, 0), (1, 0), (1, 0), (3, 2), (3, 4), (5, 6), founders=1),
            {5: 1 / 8, 6: 1 / 8, 7: 7 / 32}),
    "Mrode": (numbered((1, 2), (1, 0), (4, 3), (5, 2), founders=2), {5: 1 / 8, 6: 1 / 8}),
    "Lange": (numbered((1, 2), (1, 2), (3, 4), (3, 4), founders=2), {5: 1 / 4, 6: 1 / 4}),
    "Fernando and Grossman": (
        numbered((1, 0), (1, 2), (3, 4), (1, 4), (5, 6), (5, 6), founders=2),
        {5: 1 / 8, 6: 1 / 4, 7: 9 / 32, 8: 9 / 32},
    ),
    "first cousins": (
        numbered((1, 2), (1, 2), (5, 3), (6, 4), (7, 8), founders=4), {9: 1 / 16}
    ),
    "full sibs": (numbered((1, 2), (1, 2), (3, 4), founders=2), {5: 1 / 4}),
    "half sibs": (numbered((1, 2), (1, 3), (4, 5), founders=3), {6: 1 / 8}),
    "selfing": (numbered((1, 1), founders=1), {2: 1 / 2}),
}  # fmt: skip


@pytest.mark.parametrize("name", TEXTBOOKS)
def test_inbreeding_of_textbook_pedigrees(name: str) -> None:
    pedigree, printed = TEXTBOOKS[name]
    expected = [printed.get(bird + 1, 0.0) for bird in range(len(pedigree))]
    assert inbreeding(pedigree) == pytest.approx(expected, abs=1e-12)


def test_relationships_with_one_animal_kvl_section_4_5() -> None:
    pedigree, _ = TEXTBOOKS["KVL"]
    printed = [0.5, 1, 0.25, 0.25, 0.625, 0.25, 0.4375]
    assert relationships(pedigree)[1] == pytest.approx(printed, abs=1e-12)


def test_z_kinship_lange_chapter_5() -> None:
    """His X kinship with the sexes exchanged, times 8; birds 1, 3 and 5 are cocks."""
    pedigree, _ = TEXTBOOKS["Lange"]
    rows = ["402432", "084024", "244234", "402852", "323553", "244238"]
    printed = [[int(digit) / 8 for digit in row] for row in rows]
    cocks = np.array([True, False] * 3)
    assert z_kinship(pedigree, cocks) == pytest.approx(np.array(printed), abs=1e-12)
    with pytest.raises(ValueError, match="whether it is a cock"):
        z_kinship(pedigree, cocks[:-1])


# Wright 1921, Systems of mating, Genetics 6:111-178 (from memory): the recurrences, and the values
# printed in Falconer and Mackay, Introduction to Quantitative Genetics, table 5.1 (from memory).
def test_full_sib_line_wright_1921() -> None:
    sires, dams = [-1, -1], [-1, -1]
    for _ in range(5):
        sires += [len(sires) - 2] * 2
        dams += [len(dams) - 1] * 2
    sires.append(len(sires) - 2)
    dams.append(len(dams) - 1)
    found = inbreeding(Pedigree.of_known(sires, dams))
    assert found[4::2] == pytest.approx([0.25, 0.375, 0.5, 0.59375, 0.671875], abs=1e-12)


def test_half_sib_line_wright_1921() -> None:
    """A cock on his half sisters, each of whom has one chick, half sib of the others."""
    sires, dams = [-1] * 10, [-1] * 10
    birds = range(10)
    printed = [0.0, 1 / 8, 0.21875, 0.3046875]
    for value in printed:
        cock, *hens = birds
        birds = range(len(sires), len(sires) + len(hens))
        sires += [cock] * len(hens)
        dams += hens
        found = inbreeding(Pedigree.of_known(sires, dams))
        assert found[birds] == pytest.approx(value, abs=1e-12)


def test_a_long_full_sib_line_keeps_to_its_recurrence() -> None:
    sires, dams = [-1, -1], [-1, -1]
    for _ in range(60):
        sires += [len(sires) - 2] * 2
        dams += [len(dams) - 1] * 2
    found = inbreeding(Pedigree.of_known(sires, dams))[::2]
    assert found[2:] == pytest.approx((1 + 2 * found[1:-1] + found[:-2]) / 4, abs=1e-12)


def printed_by_sgkit() -> dict[str, list[dict[str, str]]]:
    found: dict[str, list[dict[str, str]]] = defaultdict(list)
    with (DATA / "pedigrees.csv").open(encoding="utf-8") as file:
        for row in csv.DictReader(file):
            found[row["pedigree"]].append(row)
    return found


def test_kinship_of_random_pedigrees_sgkit_0_10() -> None:
    """The table was printed by scripts/pedigree_reference.py."""
    tables = printed_by_sgkit()
    assert len(tables) == 6
    for rows in tables.values():
        pedigree = Pedigree.of_known(
            [int(row["sire"]) for row in rows], [int(row["dam"]) for row in rows]
        )
        printed = np.zeros((len(rows), len(rows)))
        for bird, row in enumerate(rows):
            printed[bird, : bird + 1] = [float(value) for value in row["kinship"].split()]
        lower = np.tril(relationships(pedigree)) / 2
        assert np.max(np.abs(lower - printed)) < 1e-12
        told = [float(row["inbreeding"]) for row in rows]
        assert inbreeding(pedigree) == pytest.approx(told, abs=1e-12)


def by_the_plain_rule(pedigree: Pedigree) -> Array:
    """Relationships of all, bird by bird: Emik and Terrill 1949, weighed by chances."""
    n = len(pedigree)
    found = np.zeros((n, n))
    for bird in range(n):
        fathers, mothers = pedigree.fathers[bird], pedigree.mothers[bird]
        row = np.zeros(n)
        for parents in (fathers, mothers):
            for parent, chance in parents.items():
                row += chance / 2 * found[parent]
        found[bird, :bird] = found[:bird, bird] = row[:bird]
        found[bird, bird] = 1 + sum(
            of_father * of_mother * found[father, mother] / 2
            for father, of_father in fathers.items()
            for mother, of_mother in mothers.items()
        )
    return found


def as_meuwissen_and_luo(sires: list[int], dams: list[int]) -> Array:
    """Inbreeding, bird by bird through its ancestors (Meuwissen and Luo 1992, from memory)."""
    inbred = np.zeros(len(sires) + 1)  # The last is the parent that is not known.
    inbred[-1] = -1.0
    for bird in range(len(sires)):
        share = {bird: 1.0}
        total = 0.0
        while share:
            youngest = max(share)
            its = share.pop(youngest)
            sire, dam = sires[youngest], dams[youngest]
            total += its**2 * (0.5 - (inbred[sire] + inbred[dam]) / 4)
            for parent in (sire, dam):
                if parent >= 0:
                    share[parent] = share.get(parent, 0.0) + its / 2
        inbred[bird] = total - 1
    return inbred[:-1]


@st.composite
def pedigrees(draw: st.DrawFn, most: int = 3) -> Pedigree:
    """To 24 birds, cocks even and hens odd, each with up to so many possible parents of a sex."""
    parents: list[list[Chances]] = [[], []]
    for bird in range(draw(st.integers(1, 24))):
        for sex in (0, 1):
            fitting = [other for other in range(bird) if other % 2 == sex]
            names = (
                draw(st.lists(st.sampled_from(fitting), max_size=most, unique=True))
                if (fitting)
                else []
            )
            weights = [draw(st.integers(1, 4)) for _ in names]
            unknown = draw(st.integers(0, 2)) if most > 1 else 0
            whole = sum(weights) + unknown
            parents[sex].append({n: w / whole for n, w in zip(names, weights, strict=True)})
    return Pedigree(parents[0], parents[1])


@settings(max_examples=25)
@given(pedigrees(), st.data())
def test_square_and_rows_both_keep_the_plain_rule(pedigree: Pedigree, data: st.DataObject) -> None:
    n = len(pedigree)
    wanted = np.array(data.draw(st.lists(st.integers(0, n - 1), unique=True)), np.intp)
    plain = by_the_plain_rule(pedigree)
    for way in frontier.ways_through(pedigree, wanted):
        for walk in (frontier.in_a_square, frontier.in_rows):
            found = walk(pedigree, wanted, way)
            assert found.inbreeding == pytest.approx(np.diag(plain) - 1, abs=1e-12)
            assert np.abs(found.related - plain[np.ix_(wanted, wanted)]).max(initial=0) < 1e-12


@settings(max_examples=20)
@given(pedigrees())
def test_relationships_are_symmetric_positive_and_have_an_inverse(pedigree: Pedigree) -> None:
    found = relationships(pedigree)
    assert np.array_equal(found, found.T)
    assert np.linalg.eigvalsh(found).min() > 0
    assert np.abs(found @ inverse(pedigree).toarray() - np.eye(len(pedigree))).max() < 1e-9
    own = mendelian(pedigree)
    assert np.all((own > 0) & (own <= 1))
    # The determinant is the product of the Mendelian variances (Henderson 1976).
    assert np.linalg.slogdet(found)[1] == pytest.approx(np.log(own).sum(), abs=1e-9)


@settings(max_examples=20)
@given(pedigrees(most=1))
def test_known_parents_as_meuwissen_and_luo_1992(pedigree: Pedigree) -> None:
    sires, dams = (
        [next(iter(chances), -1) for chances in parents]
        for parents in (pedigree.fathers, pedigree.mothers)
    )
    assert inbreeding(pedigree) == pytest.approx(as_meuwissen_and_luo(sires, dams), abs=1e-12)


@settings(max_examples=20)
@given(pedigrees(), st.randoms(use_true_random=False))
def test_another_order_of_the_birds_changes_nothing(pedigree: Pedigree, random: Random) -> None:
    n = len(pedigree)
    waiting = list(range(n))
    order: list[int] = []
    while waiting:
        ready = [
            bird
            for bird in waiting
            if {*pedigree.fathers[bird], *pedigree.mothers[bird]} <= set(order)
        ]
        order.append(random.choice(ready))
        waiting.remove(order[-1])
    at = {bird: place for place, bird in enumerate(order)}
    fathers, mothers = (
        [{at[p]: chance for p, chance in parents[bird].items()} for bird in order]
        for parents in (pedigree.fathers, pedigree.mothers)
    )
    moved = Pedigree(fathers, mothers)
    assert (
        np.abs(relationships(moved) - relationships(pedigree)[np.ix_(order, order)]).max() < 1e-12
    )


@settings(max_examples=20)
@given(pedigrees(), st.randoms(use_true_random=False))
def test_fathers_and_mothers_that_ran_together_keep_the_plain_rule(
    pedigree: Pedigree, random: Random
) -> None:
    """The same with each bird either of some pair of pens, each with cocks and hens of its own."""
    fathers, mothers, mates = list(pedigree.fathers), list(pedigree.mothers), {}
    for bird in range(2, len(pedigree)):
        share = random.choice([0.25, 0.5])
        pens = tuple(
            Mates(part, *({random.randrange(sex, bird, 2): 1.0} for sex in (0, 1)))
            for part in (share, 1 - share)
        )
        for parents, summed in ((fathers, [p.fathers for p in pens]),
                                (mothers, [p.mothers for p in pens])):  # fmt: skip
            parents[bird] = {}
            for part, some in zip((share, 1 - share), summed, strict=True):
                for parent in some:
                    parents[bird] = {**parents[bird], parent: parents[bird].get(parent, 0) + part}
        mates[bird] = pens
    told = Pedigree(fathers, mothers, mates)
    n = len(told)
    plain = np.eye(n)
    for bird in range(n):
        row = sum(
            chance * plain[parent] / 2
            for parents in (fathers[bird], mothers[bird])
            for parent, chance in parents.items()
        )
        plain[bird, :bird] = plain[:bird, bird] = np.broadcast_to(row, n)[:bird]
        if bird in mates:
            plain[bird, bird] = 1 + sum(
                some.share * plain[next(iter(some.fathers)), next(iter(some.mothers))] / 2
                for some in mates[bird]
            )
        elif fathers[bird] and mothers[bird]:
            plain[bird, bird] = 1 + sum(
                c * d * plain[f, m] / 2
                for f, c in fathers[bird].items()
                for m, d in mothers[bird].items()
            )
    wanted = np.arange(n)
    for way in frontier.ways_through(told, wanted):
        for walk in (frontier.in_a_square, frontier.in_rows):
            found = walk(told, wanted, way)
            assert found.inbreeding == pytest.approx(np.diag(plain) - 1, abs=1e-12)
            assert np.abs(found.related - plain).max() < 1e-12
    assert np.abs(plain @ inverse(told).toarray() - np.eye(n)).max() < 1e-9


def test_mates_of_other_parents_are_refused() -> None:
    with pytest.raises(ValueError, match="other parents"):
        Pedigree([{}, {}, {0: 1.0}], [{}, {}, {1: 1.0}], {2: (Mates(1.0, {0: 1.0}, {}),)})


def test_more_birds_than_a_batch_and_short_lived_parents() -> None:
    rng = np.random.default_rng(4)
    n, cohort = 3_000, 600
    sires, dams = np.full(n, -1), np.full(n, -1)
    for first in range(cohort, n, cohort):
        parents = rng.permutation(np.arange(first - cohort, first))[:12]
        sires[first : first + cohort] = rng.choice(parents[:4], cohort)
        dams[first : first + cohort] = rng.choice(parents[4:], cohort)
    pedigree = Pedigree.of_known(sires.tolist(), dams.tolist())
    ways = frontier.ways_through(pedigree, np.zeros(0, np.intp))
    assert min(way.width for way in ways) <= 24
    wanted = rng.permutation(n)[:50]
    found = relationships(pedigree, wanted)
    assert np.diag(found) - 1 == pytest.approx(inbreeding(pedigree)[wanted], abs=1e-12)
    told = as_meuwissen_and_luo(sires.tolist()[:1300], dams.tolist()[:1300])
    assert inbreeding(pedigree)[:1300] == pytest.approx(told, abs=1e-12)


def test_chicks_of_a_pen_as_gene_dropping_with_drawn_parents() -> None:
    """Three cocks, five hens, their chicks, and chicks of these with a hen's own eggs known."""
    cocks, hens = {0: 0.5, 1: 0.3, 2: 0.2}, {3: 0.3, 4: 0.3, 5: 0.2, 6: 0.1}
    nobody: Chances = {}
    fathers: list[Chances] = [nobody] * 8 + [cocks] * 4 + [{8: 0.7, 9: 0.3}] * 3
    mothers: list[Chances] = [nobody] * 8 + [hens] * 4 + [{10: 1.0}, {10: 0.5, 11: 0.5}, {11: 0.8}]
    pedigree = Pedigree(fathers, mothers)
    rng = np.random.default_rng(11)
    drawn = 40_000
    genes = np.arange(2 * len(pedigree)).reshape(-1, 2)[:, :, None] * np.ones(drawn, int)
    for bird in range(len(pedigree)):
        for side, chances in enumerate((fathers[bird], mothers[bird])):
            # Who is not known has genes of its own, those the bird began with.
            rest = max(0.0, 1 - sum(chances.values()))
            who = rng.choice([*chances, bird], size=drawn, p=[*chances.values(), rest])
            half = np.where(who == bird, side, rng.integers(0, 2, drawn))
            genes[bird, side] = genes[who, half, np.arange(drawn)]
    alike = np.mean(
        genes[:, None, :, None, :] == genes[None, :, None, :, :], axis=-1
    ).sum(axis=(2, 3)) / 2  # fmt: skip
    assert np.abs(alike - relationships(pedigree)).max() < 0.02


def test_no_birds_and_one() -> None:
    assert inbreeding(Pedigree([], [])).shape == (0,)
    assert relationships(Pedigree([], [])).shape == (0, 0)
    assert relationships(Pedigree([{}], [{}])) == pytest.approx(np.ones((1, 1)))


def test_a_line_inbred_to_the_end_has_no_inverse() -> None:
    sires = [-1, *range(60)]
    with pytest.raises(ValueError, match="nothing varies"):
        inverse(Pedigree.of_known(sires, sires))


def test_too_many_parents_at_one_time_are_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(frontier, "MOST_IN_A_SQUARE", 2)
    monkeypatch.setattr(frontier, "MOST_IN_ROWS", 8)
    fits = Pedigree.of_known([-1] * 6 + [0, 1, 2], [-1] * 6 + [3, 4, 5])
    assert inbreeding(fits) == pytest.approx(0.0)
    with pytest.raises(ValueError, match="parents at one time"):
        inbreeding(Pedigree.of_known([-1] * 12 + [*range(6)], [-1] * 12 + [*range(6, 12)]))


@pytest.mark.parametrize(
    ("fathers", "mothers", "said"),
    [
        ([{}, {1: 1.0}], [{}, {}], "before their chicks"),
        ([{}, {}], [{-1: 1.0}, {}], "before their chicks"),
        ([{}, {0: 0.0}], [{}, {}], "above 0"),
        ([{}, {0: float("nan")}], [{}, {}], "above 0"),
        ([{}, {}, {0: 0.6, 1: 0.6}], [{}, {}, {}], "come to 1"),
        ([{}], [{}, {}], "fathers and mothers"),
    ],
)
def test_pedigrees_that_cannot_be(
    fathers: list[Chances], mothers: list[Chances], said: str
) -> None:
    with pytest.raises(ValueError, match=said):
        Pedigree(fathers, mothers)
