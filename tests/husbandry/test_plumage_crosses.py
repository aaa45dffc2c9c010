"""Crosses of plumage against published ratios and counts, by every cross of the reference list.

X01 to X28 are the rows of the project's list of published crosses; each check names its source.
"""

import math
from collections import Counter
from fractions import Fraction
from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from quailwright.husbandry.plumage.crosses import Cross, Odds, cross, recombination
from quailwright.husbandry.plumage.genotypes import read
from quailwright.husbandry.plumage.guesses import Told, guess, loci_of
from quailwright.husbandry.plumage.hidden import chicks_needed, fit_of
from quailwright.husbandry.plumage.sexing import sexing
from quailwright.husbandry.plumage.table import (
    is_lethal,
    lethals,
    looks,
    predicted,
    rules,
    seen_of,
    shown,
)

OF = Fraction


def bred(cock: str, hen: str, rate: Fraction | None = None) -> Cross:
    """Two birds whose genotypes are written, or whose looks are named."""
    sire = Told(read(cock, "cock")) if "/" in cock or "|" in cock else Told(None, (cock,))
    dam = Told(read(hen, "hen")) if "/" in hen else Told(None, (hen,))
    codes = loci_of(sire, dam)
    return cross(guess(sire, "cock", codes), guess(dam, "hen", codes), codes, rate)


def parts(odds: Odds, of: int) -> dict[str, int]:
    """Odds as so many parts of a whole."""
    found: dict[str, int] = {}
    for seen, share in odds.items():
        count = share * of
        assert count.denominator == 1, (seen, share)
        found["+".join(seen)] = int(count)
    return found


# By whole parts: (cock, hen, parts, of cocks, of hens, share of embryos that die).
RATIOS: dict[
    str, tuple[str, str, int, dict[str, int], dict[str, int] | None, Fraction | int]
] = {
    # Chikamune and Kanai 1978, Jpn Poult Sci 15:236-241: 16ths of the published map.
    "X01": (
        "I/i E/+", "I/i E/+", 16,
        {"recessive_white": 4, "extended_dark": 1, "dark_mosaic": 2, "extended_brown": 2,
         "brown_mosaic": 4, "wild": 3}, None, 0,
    ),
    # Kanai and Chikamune 1979, Jpn Poult Sci 16:100: 48ths of the living, 16 of 64 dead.
    "X02": (
        "I/i E/+ Y/+", "I/i E/+ Y/+", 48,
        {"recessive_white": 12, "extended_dark": 3, "dark_mosaic": 6, "extended_brown": 6,
         "brown_mosaic": 12, "yellow": 6, "wild": 3}, None, OF(1, 4),
    ),
    # Kanai and Chikamune 1979: two to one among hatched, a quarter dead.
    "X03": ("Y/+", "Y/+", 3, {"yellow": 2, "wild": 1}, None, OF(1, 4)),
    # Minvielle et al. 2010, BMC Genetics 11:15.
    "X04": ("B/+", "B/+", 4, {"silver_white": 1, "silver": 2, "wild": 1}, None, 0),
    # Pang et al. 2013, China Poultry 35(15).
    "X05": ("H/h", "H/h", 4, {"h_black": 1, "h_half": 2, "wild": 1}, None, 0),
    # The autosexing cross: brown (BR*B) cock, wild hen.
    "X06": ("BR: B/B", "BR: N/W", 1, {"wild": 1}, {"brown": 1}, 0),
    "X07": ("BR: N/N", "BR: B/W", 1, {"wild": 1}, None, 0),
    "X08": ("BR: N/B", "BR: B/W", 2, {"wild": 1, "brown": 1}, None, 0),
    # N > B > R and N > C > A: a breed encyclopedia of 2006; OMIA 000370-93934.
    "X09": ("BR: B/R", "BR: R/W", 2, {"brown": 1, "roux": 1}, None, 0),
    "X10": (
        "AL: C/A", "AL: N/W", 2, {"wild": 2}, {"cinnamon": 1, "imperfect_albino": 1}, 0,
    ),
    # Lauber 1964, Science 146:948.
    "X11": ("AL: A/A", "AL: N/W", 1, {"wild": 1}, {"imperfect_albino": 1}, 0),
    # Pang et al. 2001, Hereditas (Beijing).
    "X12": ("CB: B/B CY: y/y", "CB: B/W CY: Y/W", 1, {"wild": 1}, {"y_yellow": 1}, 0),
    "X13": (
        "CB: B/b CY: y/y", "CB: B/W CY: Y/W", 2, {"wild": 2}, {"y_yellow": 1, "b_white": 1}, 0,
    ),
    # A web page prints maroon cocks, against its own rule: by the rule they are yellow.
    "X14": ("CB: b/b CY: y/y", "CB: B/W CY: y/W", 1, {"y_yellow": 1}, {"b_white": 1}, 0),
    # The same with a cock that is b Y: only then are the cocks maroon.
    "X14, as printed": ("CB: b/b CY: Y/Y", "CB: B/W CY: y/W", 1, {"wild": 1}, {"b_white": 1}, 0),
    # Minvielle et al. 2002, J Hered 93:73-76, within the species.
    "X16": ("lav/lav", "lav/lav", 1, {"lavender": 1}, None, 0),
    "X17": ("lav/lav", "LAV: +/+", 1, {"wild": 1}, None, 0),
    # Ishishita et al. 2018, Sci Rep 8:16732: 3 to 1 of the F2.
    "X20": ("PMEL: +/y", "PMEL: +/y", 4, {"wild": 3, "yellowish": 1}, None, 0),
    # Niwa et al. 2003, Pigment Cell Res 16:656: Bh/Bh dies; L/L dies (J Hered).
    "black at hatch": ("Bh/+", "Bh/+", 3, {"black_at_hatch": 2, "wild": 1}, None, OF(1, 4)),
    "light down": ("L/+", "L/+", 3, {"light_down": 2, "wild": 1}, None, OF(1, 4)),
    # Minvielle et al., hal-02679361 (X19): roux and lavender make cream.
    "X19": (
        "BR: R/R +/lav", "BR: R/W lav/lav", 2, {"cream": 1, "roux": 1}, None, 0,
    ),
    "fawn-2 over yellow": ("F2/Y", "Y: +/+", 2, {"fawn": 1, "yellow": 1},
                           None, 0),
    # Hiragaki et al. 2008, Genetics 178: rb below +, Y and F2.
    "recessive black": ("+/rb", "+/rb", 4, {"wild": 3, "recessive_black": 1}, None, 0),
}  # fmt: skip


@pytest.mark.parametrize("name", RATIOS)
def test_ratio_of_a_published_cross(name: str) -> None:
    cock, hen, of, cocks, hens, dead = RATIOS[name]
    found = bred(cock, hen)
    assert parts(found.cocks, of) == cocks
    assert parts(found.hens, of) == (hens or cocks)
    assert found.hatching == 1 - dead


def test_brown_cock_and_range_hen_part_the_sexes_x15() -> None:
    """Sasidhar et al., EIJO 1(1): all brown chicks hens, all dark ones cocks; seen at hatch."""
    tells = sexing(bred("brown", "wild"))
    assert (tells.tells, tells.at_hatch) == ("all", True)
    assert (tells.cocks, tells.hens) == ((("wild",),), (("brown",),))
    assert sexing(bred("wild", "brown")).tells == "none"  # X07: not the other way round


@pytest.mark.parametrize(
    ("cock", "hen", "tells", "at_hatch"),
    [
        ("imperfect_albino", "wild", "all", True),  # X11
        ("CB: B/B CY: y/y", "CB: B/W CY: Y/W", "all", True),  # X12
        ("AL: C/A", "AL: N/W", "all", False),  # X10: nothing read tells of cinnamon's down
        ("BR: N/B", "BR: B/W", "none", False),  # X08
        ("lavender", "wild", "none", False),
        ("BR: N/R", "BR: N/W", "some", False),
    ],
)
def test_sexing_by_colour(cock: str, hen: str, tells: str, at_hatch: bool) -> None:
    found = sexing(bred(cock, hen))
    assert (found.tells, found.at_hatch) == (tells, at_hatch)


def test_looks_that_no_source_describes_together_tell_no_sex() -> None:
    """Fawn with brown may look like fawn: brown hens stay sure only while cocks are described."""
    found = sexing(bred("BR: B/B", "F2/+ BR: N/W"))
    assert found.tells == "some"
    assert found.unpublished == (("fawn", "brown"),)
    assert found.hens == (("brown",),)
    assert not found.cocks
    assert not found.at_hatch


@pytest.mark.parametrize(
    ("counts", "shares", "p", "digits"),
    [
        # X24, an egg-shape sexing study: 51 cocks to 66 hens, chi-square 1.92, p 0.17 (derived);
        # the exact test is a little wider.
        ((51, 66), (OF(1, 2), OF(1, 2)), 0.195, 3),
        # X25, one keeper's batch: 29 to 9, two-sided exact binomial p 0.0017 (derived).
        ((29, 9), (OF(1, 2), OF(1, 2)), 0.0017, 4),
        # X16: 30 of 30 lavender, as 1 to 0.
        ((30,), (OF(1),), 1.0, 6),
    ],
)
def test_fit_of_published_counts(
    counts: tuple[int, ...], shares: tuple[Fraction, ...], p: float, digits: int
) -> None:
    assert fit_of(counts, shares)[0] == pytest.approx(p, abs=0.6 * 10**-digits)


def test_fit_agrees_with_scipy() -> None:
    """Exact against scipy's binomial test; many outcomes against its chi-square."""
    from scipy import stats  # type: ignore[import-untyped]

    for count, n, share in ((3, 20, OF(1, 4)), (0, 9, OF(1, 2)), (17, 40, OF(1, 3))):
        mine, exact = fit_of((count, n - count), (share, 1 - share))
        assert exact
        assert mine == pytest.approx(stats.binomtest(count, n, float(share)).pvalue, rel=1e-6)
    seen = np.array([41, 12, 25, 22, 49, 31, 9])
    shares = [OF(one, 48) for one in (12, 3, 6, 6, 12, 6, 3)]
    mine, exact = fit_of(seen.tolist(), shares)
    assert not exact
    expected = seen.sum() * np.array([float(one) for one in shares])
    assert mine == pytest.approx(stats.chisquare(seen, expected).pvalue, rel=1e-9)


def test_yellow_hatch_is_no_lethal_yellow_x27() -> None:
    """Golden 74.3 % against 75.0 % of wild (120 eggs each): lethal yellow would cap it at 56 %.

    The counts are those of a keeper's page, 2014; the test is the one the list names.
    """
    capped = float(bred("Y/+", "Y/+").hatching) * 0.750
    hatched = round(0.743 * 120)
    assert fit_of((hatched, 120 - hatched), (capped, 1 - capped))[0] < 0.001
    assert fit_of((hatched, 120 - hatched), (0.75, 0.25))[0] > 0.5


def test_side_effects_are_told_where_published() -> None:
    # X22 (J Hered 1995) and X23 (Ito and Tsudzuki 1994, J Hered 85:54-56).
    assert "2 grew up" in looks()["lethal_light_down"].care
    for figure in ("72.8 %", "93.5 %", "60.4 %", "8.4 %"):
        assert figure in looks()["orange"].care
    assert {one.locus: one.days for one in lethals()} == {"Y": "", "BH": "4 to 6", "L": ""}


def test_albino_hides_brown_and_linked_loci_part_in_cocks_alone() -> None:
    """AL and BR on one Z: gametes of a cock N|A N|B at recombination r, told phase."""
    r = recombination()
    assert r == OF(2, 5)
    found = bred("AL: N|A BR: N|B", "AL: N/W BR: N/W")
    assert found.cocks == {("wild",): 1}
    assert found.hens == {
        ("wild",): (1 - r) / 2, ("imperfect_albino",): OF(1, 2), ("brown",): r / 2,
    }  # fmt: skip
    apart = bred("AL: N|A BR: B|N", "AL: N/W BR: N/W")
    assert apart.hens[("brown",)] == (1 - r) / 2
    unknown = bred("AL: N/A BR: N/B", "AL: N/W BR: N/W")
    assert unknown.hens[("brown",)] == OF(1, 4)
    assert unknown.ranges is not None
    assert unknown.ranges[("brown",)] == (r / 4, (1 - r) / 4)
    none = bred("AL: N|A BR: N|B", "AL: N/W BR: N/W", OF(0))
    assert ("brown",) not in none.hens


def pairs(code: str, hen: bool) -> list[str]:
    locus = predicted()[code]
    return [f"{code}: {a}/{b}" for a, b in locus.pairs(hen) if not is_lethal(code, (a, b))]


TOGETHER = ("E", "Y", "I", "B", "LAV", "BH", "AL", "BR")


@st.composite
def two_birds(draw: st.DrawFn) -> tuple[list[str], list[str]]:
    codes = draw(st.lists(st.sampled_from(TOGETHER), min_size=1, max_size=4, unique=True))
    return (
        [draw(st.sampled_from(pairs(code, False))) for code in codes],
        [draw(st.sampled_from(pairs(code, True))) for code in codes],
    )


@settings(max_examples=60, deadline=None)
@given(two_birds())
def test_odds_are_odds(birds: tuple[list[str], list[str]]) -> None:
    found = bred(" ".join(birds[0]), " ".join(birds[1]))
    for odds in (found.cocks, found.hens, found.chicks):
        assert sum(odds.values()) == 1
        assert all(share > 0 for share in odds.values())
    assert 0 < found.hatching <= 1
    if not any(code in part for part in birds[0] for code in ("AL", "BR")):
        turned = bred(" ".join(birds[1]), " ".join(birds[0]))
        assert (turned.cocks, turned.hens) == (found.cocks, found.hens)
        assert found.cocks == found.hens
        assert turned.deaths == found.deaths


def test_hens_are_never_heterozygous_on_z() -> None:
    for code, locus in predicted().items():
        if locus.on_z:
            assert {pair[1] for pair in locus.pairs(True)} == {"W"}, code
            for pair in locus.pairs(True):
                assert seen_of(code, pair) == seen_of(code, (pair[0], pair[0])), pair


def test_drawn_gametes_agree() -> None:
    """A simulation that draws allele by allele, on its own code, against the exact odds."""
    rng = np.random.default_rng(5)
    n = 40_000
    # Cock E/+ Y/+ I/i, AL N|A, BR N|B; hen E/+ Y/+ I/i, AL C, BR N.
    found = bred("E/+ Y/+ I/i AL: N|A BR: N|B", "E/+ Y/+ I/i AL: C/W BR: N/W")
    drawn: Counter[tuple[bool, tuple[str, ...]]] = Counter()
    coins = rng.integers(0, 2, (n, 7))
    parted = rng.random(n) < float(recombination())
    for (e1, e2, y1, y2, i1, i2, z), crossed in zip(coins.tolist(), parted, strict=True):
        if y1 and y2:
            continue
        is_hen = bool(rng.integers(0, 2))
        al = "A" if z else "N"
        br = ("B" if z else "N") if not crossed else ("N" if z else "B")
        albino = al == "A" and is_hen  # A with the dam's C is cinnamon
        states = {
            {2: "extended_dark", 1: "extended_brown", 0: ""}[e1 + e2], "yellow" if y1 + y2 else "",
            {2: "recessive_white", 1: "one_i", 0: ""}[i1 + i2],
            "imperfect_albino" if albino else "cinnamon" if al == "A" else "",
            "brown" if br == "B" and is_hen else "",
        }  # fmt: skip
        drawn[is_hen, shown(frozenset(states - {""}))] += 1
    total = sum(drawn.values())
    for (is_hen, seen), count in drawn.items():
        share = float((found.hens if is_hen else found.cocks)[seen]) / 2
        assert abs(count / total - share) < 5 * math.sqrt(share / total), (is_hen, seen)
    assert abs((n - total) / n - 0.25) < 0.015


def test_enumeration_of_published_models_by_hand() -> None:
    """X01 and X02 once more, gamete by gamete, by the rules as the papers word them."""
    sixteenths: Counter[str] = Counter()
    living: Counter[str] = Counter()
    dead = 0
    gametes = list(product("Ii", "E+", "Y+"))
    for (i1, e1, y1), (i2, e2, y2) in product(gametes, gametes):
        whites, darks, yellows = (i1 + i2).count("i"), (e1 + e2).count("E"), (y1 + y2).count("Y")
        if yellows == 2:
            dead += 1
            continue
        if whites == 2:
            name = "recessive_white"
        elif darks:
            one, mosaic = (
                ("extended_dark", "dark_mosaic") if darks == 2
                else ("extended_brown", "brown_mosaic")
            )  # fmt: skip
            name = mosaic if whites else one
        else:
            name = "yellow" if yellows else "wild"
        living[name] += 1
        if not yellows:
            sixteenths[name] += 1
    assert dead == 16
    assert parts(bred("I/i E/+ Y/+", "I/i E/+ Y/+").cocks, 48) == dict(living)
    assert parts(bred("I/i E/+", "I/i E/+").cocks, 16) == dict(sixteenths)


@pytest.mark.parametrize(
    ("share", "chicks"),
    [(OF(1, 2), 5), (OF(1, 4), 11), (OF(1, 8), 23), (OF(1), 1)],
)
def test_chicks_that_make_it_sure(share: Fraction, chicks: int) -> None:
    """1 - (1/2)^5 = 0.969, 1 - (3/4)^11 = 0.958: the first above 95 % (arithmetic)."""
    assert chicks_needed(share) == chicks
    assert share == 1 or 1 - (1 - share) ** (chicks - 1) < OF(95, 100)


@pytest.mark.parametrize("share", [0, -0.1, 1.5])
def test_chicks_for_no_share_are_refused(share: float) -> None:
    with pytest.raises(ValueError, match="shows in no number"):
        chicks_needed(share)


def test_a_look_is_one_set_of_looks_at_each_locus() -> None:
    """What `guess` stands on: a look never hangs on how two hidden loci go together."""
    for codes in (("E", "Y", "I"), ("LAV", "BR", "BEIGE"), ("CB", "CY", "H"), ("AL", "BR", "E")):
        states = [
            sorted({seen_of(code, pair) for pair in predicted()[code].pairs(False)
                    if not is_lethal(code, pair)})
            for code in codes
        ]  # fmt: skip
        by_look: dict[tuple[str, ...], list[tuple[str, ...]]] = {}
        for made in product(*states):
            by_look.setdefault(shown(frozenset(made) - {""}), []).append(made)
        for seen, ways in by_look.items():
            each = [{way[n] for way in ways} for n in range(len(codes))]
            assert len(ways) == math.prod(map(len, each)), seen


def test_the_table_is_whole() -> None:
    known = looks()
    for look in known.values():
        assert look.locus == "" or look.locus in predicted(), look
        for pair in look.genotypes:
            assert set(pair) - {"*"} <= set(predicted()[look.locus].alleles), look
    for rule in rules():
        assert rule.looks <= set(known)
        assert set(rule.what) <= set(known)
    for locus in predicted().values():
        assert locus.wild in locus.alleles
        assert seen_of(locus.code, (locus.wild, locus.wild)) == ""
        for code in locus.maybe:
            assert code in predicted()
        for pair in locus.pairs(False):
            wild_like = seen_of(locus.code, pair) == "" and not is_lethal(locus.code, pair)
            assert not wild_like or locus.wild in pair, pair
