"""Genotypes as keepers write them; what parents hide, learnt from chicks."""

import contextlib
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quailwright.husbandry.plumage.crosses import Cross, cross
from quailwright.husbandry.plumage.genotypes import NotAGenotype, read
from quailwright.husbandry.plumage.guesses import Told, guess, loci_of, unplayed
from quailwright.husbandry.plumage.hidden import Count, Hidden, hidden
from quailwright.husbandry.plumage.table import is_lethal, look_of, looks_meant, predicted


@pytest.mark.parametrize(
    ("written", "sex", "pairs"),
    [
        ("B/+ E/E", "cock", {"B": ("B", "+"), "E": ("E", "E")}),
        ("b/+, e/e", "hen", {"B": ("B", "+"), "E": ("E", "E")}),
        ("AL: C/A", "cock", {"AL": ("C", "A")}),
        ("A/C", "cock", {"AL": ("C", "A")}),
        ("C/W", "hen", {"AL": ("C", "W")}),
        ("al:c/-", "hen", {"AL": ("C", "W")}),
        ("B/W", "hen", {"BR": ("B", "W")}),
        ("R/B", "cock", {"BR": ("B", "R")}),
        ("BR*B/BR*N", "cock", {"BR": ("N", "B")}),
        ("BR: B/+", "cock", {"BR": ("N", "B")}),
        ("AL: D/N", "cock", {"AL": ("N", "C")}),
        ("i/I", "hen", {"I": ("I", "i")}),
        ("Y: rb/F2; lav/?", "hen", {"Y": ("F2", "rb"), "LAV": ("lav", "?")}),
        ("CB: b/W CY: y/W", "hen", {"CB": ("b", "W"), "CY": ("y", "W")}),
        ("\uff22/\uff0b", "cock", {"B": ("B", "+")}),  # full-width signs
        ("", "unknown", {}),
    ],
)
def test_genotypes_are_read(written: str, sex: str, pairs: dict[str, tuple[str, str]]) -> None:
    assert read(written, sex).pairs == pairs


@pytest.mark.parametrize(
    ("written", "sex", "sentence"),
    [
        ("AL: C/A", "hen", "Locus AL lies on Z, and a hen has one Z"),
        ("AL: C/W", "cock", "a cock has two Z and no W. Write two alleles of N, C, A"),
        ("AL: W/W", "unknown", "at least one copy besides W"),
        (
            "B/B",
            "cock",
            "may be of more than one locus. Write the locus before it: B: B/B, BR: B/B",
        ),
        ("N/W", "hen", "AL: N/W, BR: N/W"),
        ("B/q", "cock", "No locus has the alleles B/q. There are E: E, +"),
        ("E: E/q", "cock", "Locus E (extended brown) has no allele 'q'. It has E, +"),
        ("PANSY: p/p", "cock", "There is no locus 'PANSY' that can be predicted"),
        ("E/E E/+", "cock", "Locus E is written twice"),
        ("Y/Y", "cock", "No bird is Y/Y at locus Y"),
        ("I/i s/s", "hen", "may be one locus under two names"),
        ("AL: C/A CB: B/b", "cock", "may be one locus under two names"),
        ("brown", "hen", "'brown' is no genotype: write two alleles"),
        ("B/+ rubbish", "cock", "'rubbish' is no genotype"),
        ("B//+", "cock", "is no genotype"),
        ("/", "cock", "is no genotype"),
        ("?/?", "cock", "No locus has the alleles"),
    ],
)
def test_every_error_says_what_is_allowed(written: str, sex: str, sentence: str) -> None:
    with pytest.raises(NotAGenotype) as raised:
        read(written, sex)
    assert sentence in raised.value.sentence


@given(st.text(max_size=30), st.sampled_from(["cock", "hen", "unknown"]))
def test_nonsense_is_refused_by_a_sentence_or_read(text: str, sex: str) -> None:
    with contextlib.suppress(NotAGenotype):
        assert str(read(text, sex)) or not text.strip()


@pytest.mark.parametrize("hen", [False, True])
def test_what_is_written_is_read_back(hen: bool) -> None:
    for code, locus in predicted().items():
        for one, other in locus.pairs(hen):
            if is_lethal(code, (one, other)):
                continue
            told = read(f"{code}: {one}/{other}", "hen" if hen else "cock")
            assert read(str(told), "hen" if hen else "cock") == told


def test_words_of_looks_and_words_of_several() -> None:
    for word in ("Imperfect albino", "imperfect-albino", "IMPERFECT_ALBINO", "albino"):
        found = look_of(word)
        assert found is not None
        assert found.code == "imperfect_albino"
    assert look_of("pansy") is None
    assert look_of("white") is None
    # "White" has six causes at least in what was read, "golden" three.
    assert len(looks_meant("white")) >= 6
    assert {one.code for one in looks_meant("golden")} >= {"fawn", "yellow", "brown"}


def by_look(cock: str, hen: str, share: Fraction | None = None) -> Cross:
    sire, dam = Told(None, (cock,)), Told(None, (hen,))
    codes = loci_of(sire, dam)
    return cross(guess(sire, "cock", codes, share), guess(dam, "hen", codes, share), codes)


def test_a_look_hides_and_the_guess_is_told_with_its_range() -> None:
    """Wild by lavender with one carrier in ten: 1/10 x 1/2 lavender, from none to half."""
    found = by_look("wild", "lavender")
    assert (
        found.cocks == found.hens == {("wild",): Fraction(19, 20), ("lavender",): Fraction(1, 20)}
    )
    assert found.ranges is not None
    assert found.ranges[("lavender",)] == (Fraction(0), Fraction(1, 2))
    more = by_look("wild", "lavender", Fraction(1, 2))
    assert more.cocks[("lavender",)] == Fraction(1, 4)


def test_alleles_that_show_nowhere_are_left_out_and_named() -> None:
    brown, wild = Told(None, ("brown",)), Told(None, ("wild",))
    codes = loci_of(brown, wild)
    assert unplayed(brown, "cock", codes) == [("BR", "B", ("R",))]
    assert unplayed(brown, "hen", codes) == []
    asked = Told(read("BR: B/?", "cock"), ("brown",))
    both = loci_of(asked, wild)
    found = cross(guess(asked, "cock", both), guess(wild, "hen", both), both)
    assert found.hens == {("brown",): Fraction(19, 20), ("roux",): Fraction(1, 20)}


def learnt(cock: str, hen: str, share: Fraction | None = None, **chicks: int) -> Hidden:
    sire, dam = Told(None, (cock,)), Told(None, (hen,))
    counts = [
        Count(frozenset({(name.removesuffix("_hens"),)}), n, "hen" if "_hens" in name else "")
        for name, n in chicks.items()
    ]
    codes = loci_of(sire, dam, *(Told(None, next(iter(one.looks))) for one in counts))
    return hidden(sire, dam, counts, codes, share)


def test_a_lavender_chick_makes_both_wild_parents_carriers() -> None:
    found = learnt("wild", "wild", wild=13, lavender=5)
    first = {(one.parent, one.pair): one.chance for one in found.beliefs}
    assert first["cock", ("+", "lav")] == first["hen", ("+", "lav")] == 1
    assert found.fit == pytest.approx(0.787, abs=0.001)  # exact binomial, 5 of 18 at a quarter
    assert not found.more


def test_bayes_by_hand() -> None:
    """A wild cock by a lavender hen, four wild chicks: 0.1/16 against 0.9 (arithmetic)."""
    found = learnt("wild", "lavender", wild=4)
    carrier = next(one for one in found.beliefs if one.hides)
    assert carrier.chance == pytest.approx((0.1 / 16) / (0.1 / 16 + 0.9))
    assert carrier.low == pytest.approx((0.02 / 16) / (0.02 / 16 + 0.98))
    assert carrier.high == pytest.approx((0.5 / 16) / (0.5 / 16 + 0.5))
    (more,) = found.more
    assert (more.share, more.chicks) == (Fraction(1, 2), 5)


def test_sexed_counts_tell_more_of_a_gene_on_z() -> None:
    """A wild cock that hides brown: half of his daughters are brown, and no son."""
    unsexed = learnt("wild", "wild", wild=6, brown=0)
    as_hens = learnt("wild", "wild", wild_hens=6, brown=0)
    hides = [
        next(one.chance for one in found.beliefs if one.hides and one.locus == "BR")
        for found in (unsexed, as_hens)
    ]
    assert hides[1] < hides[0] < 0.1
    assert hides[1] == pytest.approx((0.1 / 64) / (0.1 / 64 + 0.9))


def test_no_genes_explain_a_wild_chick_of_two_recessives() -> None:
    found = learnt("lavender", "lavender", wild=3, lavender=9)
    assert not found.possible
    (odd,) = found.odd
    assert odd.looks == frozenset({("wild",)})


def test_counts_that_fit_poorly_are_told_and_sexes_too() -> None:
    poor = learnt("silver", "silver", wild=18)  # (1/4)^18
    assert poor.possible
    assert poor.fit is not None
    assert poor.fit < 1e-6
    # X25, 29 cocks to 9 hens (a keeper's page): two-sided exact p 0.0017 (derived).
    sire = Told(None, ("wild",))
    counts = [
        Count(frozenset({("wild",)}), 29, "cock"),
        Count(frozenset({("wild",)}), 9, "hen"),
    ]
    found = hidden(sire, sire, counts, loci_of(sire))
    assert found.sexes == pytest.approx(0.0017, abs=0.0001)


def test_published_f2_of_two_loci_is_found_out() -> None:
    """96 chicks in the very ratio of X01 from two brown birds: both are I/i and E/+."""
    sire = Told(None, ("brown_mosaic",))
    shares = {
        "recessive_white": 24, "extended_dark": 6, "dark_mosaic": 12, "extended_brown": 12,
        "brown_mosaic": 24, "wild": 18,
    }  # fmt: skip
    counts = [Count(frozenset({(name,)}), n) for name, n in shares.items()]
    found = hidden(sire, sire, counts, loci_of(sire))
    assert found.possible
    assert not found.beliefs  # the look leaves one genotype
    assert found.fit == pytest.approx(1.0)
