"""Offers: how many eggs bring so many hens, by another way of counting, and which to take."""

import math
from collections.abc import Sequence
from datetime import date
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats  # type: ignore[import-untyped]
from tests.makers import made

from quailwright.flock.fold import fold
from quailwright.flock.state import Flock
from quailwright.husbandry import facts
from quailwright.outlook.forecast import Question, forecast, learn
from quailwright.outlook.hatching import PlannedSet
from quailwright.planning.offers import (
    Answer,
    Asked,
    Belief,
    Beta,
    Compared,
    Offer,
    Share,
    answer,
    asking,
    believed,
    chance_of_hens,
    compare,
    eggs_for_hens,
    hens_for_eggs,
    read_offers,
    together,
)

ON = date(2027, 5, 2)
HATCH, SURVIVAL = Beta(5.9, 3.2), Beta(18, 2)


# How many eggs, exactly.


def by_scipy(eggs: int, hens: int, hatch: Share, survival: Share) -> float:
    """The chance by scipy's distributions, summed count by count: another route to the same."""

    def counts(n: int, share: Share) -> Any:
        if isinstance(share, Beta):
            return stats.betabinom(n, share.a, share.b)
        return stats.binom(n, share)

    total = 0.0
    for chicks in range(eggs + 1):
        grown = np.arange(chicks + 1)
        enough = counts(chicks, survival).pmf(grown) @ stats.binom.sf(hens - 1, grown, 0.5)
        total += float(counts(eggs, hatch).pmf(chicks) * enough)
    return total


@pytest.mark.parametrize(
    ("eggs", "hens", "hatch", "survival"),
    [
        (48, 12, HATCH, SURVIVAL),
        (48, 12, HATCH, 0.9),
        (30, 5, 0.75, SURVIVAL),
        (75, 25, 0.75, 0.9),
        (20, 1, Beta(0.6, 2.0), Beta(0.8, 0.5)),
        (6, 6, 0.95, Beta(90, 3)),
        (5, 6, HATCH, SURVIVAL),
        (0, 1, HATCH, 0.9),
        (9, 0, HATCH, SURVIVAL),
    ],
)
def test_chance_of_hens_is_that_of_scipy(
    eggs: int, hens: int, hatch: Share, survival: Share
) -> None:
    assert chance_of_hens(eggs, hens, hatch, survival) == pytest.approx(
        by_scipy(eggs, hens, hatch, survival), abs=1e-10
    )


@pytest.mark.parametrize("certainty", [0.5, 0.8, 0.95])
@pytest.mark.parametrize(("hatch", "survival"), [(HATCH, SURVIVAL), (0.75, 0.9)])
def test_eggs_for_hens_is_the_smallest_number_by_scipy(
    hatch: Share, survival: Share, certainty: float
) -> None:
    eggs = eggs_for_hens(8, certainty, hatch, survival)
    assert by_scipy(eggs, 8, hatch, survival) >= certainty
    assert by_scipy(eggs - 1, 8, hatch, survival) < certainty


def test_eggs_for_hens_of_common_practice() -> None:
    """75 % hatch, 90 % survival, half are hens: some 75 eggs give 25 hens only half the time, some
    100 give 28 nine times in ten (common practice, no source)."""
    assert eggs_for_hens(25, 0.5, 0.75, 0.9) == pytest.approx(75, abs=3)
    assert eggs_for_hens(28, 0.9, 0.75, 0.9) == pytest.approx(100, abs=3)


def test_hens_for_eggs_of_common_practice() -> None:
    """120 eggs a week at 70 % lay take about 25 hens (common practice, no source)."""
    assert hens_for_eggs(120) == hens_for_eggs(120, 0.7) == 25
    assert hens_for_eggs(7, 1.0) == 1
    assert hens_for_eggs(0) == 0


def test_luck_that_eggs_share_takes_more_eggs() -> None:
    """Property: the same means with a spread need more eggs to be as sure."""
    known = eggs_for_hens(12, 0.9, 5.9 / 9.1, 0.9)
    assert eggs_for_hens(12, 0.9, HATCH, 0.9) > known
    assert eggs_for_hens(12, 0.9, HATCH, SURVIVAL) > eggs_for_hens(12, 0.9, HATCH, 0.9)


@settings(max_examples=40)
@given(
    st.integers(1, 30), st.floats(0.3, 0.95), st.floats(0.5, 20), st.floats(0.5, 20),
    st.integers(0, 60),
)  # fmt: skip
def test_more_eggs_are_never_worse(
    hens: int, survival: float, a: float, b: float, eggs: int
) -> None:
    first = chance_of_hens(eggs, hens, Beta(a, b), survival)
    assert 0.0 <= first <= chance_of_hens(eggs + 1, hens, Beta(a, b), survival) + 1e-12 <= 1 + 1e-9


@pytest.mark.parametrize(
    ("hens", "certainty", "hatch", "survival"),
    [
        (0, 0.8, 0.7, 0.9),
        (5, 1.0, 0.7, 0.9),
        (5, math.nan, 0.7, 0.9),
        (5, 0.8, 1.2, 0.9),
        (5, 0.8, Beta(0, 1), 0.9),
        (5, 0.8, 0.7, math.nan),
    ],
)
def test_what_cannot_be_asked_is_refused(
    hens: int, certainty: float, hatch: Share, survival: Share
) -> None:
    with pytest.raises(ValueError, match=r"."):
        eggs_for_hens(hens, certainty, hatch, survival)


def test_eggs_that_nobody_could_set_are_refused() -> None:
    with pytest.raises(ValueError, match="Not even 50 eggs"):
        eggs_for_hens(40, 0.9, 0.7, 0.9, most=50)
    with pytest.raises(ValueError, match="eggs a week"):
        hens_for_eggs(math.inf)


# What is believed.

CREEK = Offer("creek-farm", "collected", 0.5)
POST = Offer("far-away", "shipped", 0.3, postage=9)


def beliefs(offers: Sequence[Offer], flock: Flock | None = None) -> list[Belief]:
    return believed(learn(flock or Flock(), ON), offers, np.random.default_rng(1))


def hatched(source: str, chicks: Sequence[int], of: int = 40) -> Flock:
    """A keeper who has hatched eggs of one source."""
    entries = [
        made("place", "2026-01-01", place="box", role="incubator", capacity_eggs=60),
        made("source", "2026-01-01", source=source, route="collected"),
    ]
    for month, count in enumerate(chicks, 1):
        hatch = f"h{month}"
        entries += [
            made(
                "eggs_set", f"2026-{month:02}-02", hatch=hatch, eggs=of, place="box", source=source
            ),
            made("chicks_hatched", f"2026-{month:02}-20", hatch=hatch, chicks=count),
            made("hatch_closed", f"2026-{month:02}-22", hatch=hatch),
        ]
    return fold(entries, ON)


def test_posted_eggs_are_believed_to_hatch_less() -> None:
    """Keepers plan with 40 to 55 % of posted eggs set and 65 to 80 % of fresh local ones (common
    practice, no source); published means lie between 14 and 83 %."""
    collected, posted = beliefs([CREEK, POST])
    assert 0.40 <= posted.hatch.mean() <= 0.55
    assert 0.60 <= collected.hatch.mean() <= 0.80
    assert np.quantile(collected.hatch, 0.9) > 0.8
    assert np.all(collected.unbroken == 1.0)
    assert posted.unbroken.mean() == pytest.approx(
        1.0 - facts.value("planning.broken_posted"), abs=0.002
    )


def test_chicks_live_to_lay_as_is_published() -> None:
    """Deaths to 5 weeks 8.4 % (Ito and Tsudzuki 1994); to 3 weeks 9 to 13.4 % (Bhubaneswar 2015),
    then 0.3 to 1.3 % a week."""
    (belief,) = beliefs([CREEK])
    assert 0.82 <= belief.survival.mean() <= 0.916


def test_hens_are_those_that_the_outlook_foretells() -> None:
    """The forecast, asked what 200 eggs of a new source bring, is another way to the same hens."""
    (belief,) = beliefs([CREEK])
    asked = Question(sets=(PlannedSet(date(2027, 5, 3), 200, "creek-farm"),))
    ahead = forecast(Flock(), ON, rng=np.random.default_rng(2), weeks=12, question=asked)
    foretold = ahead.hatches[0].hens_at_8_weeks
    assert 200 * belief.hens_per_egg.mean() == pytest.approx(foretold.mean(), rel=0.04)
    assert 200 * belief.hens_per_egg.std() == pytest.approx(foretold.std(), rel=0.12)


def test_the_keepers_own_record_counts() -> None:
    good, bad = hatched("creek-farm", [34, 33, 35]), hatched("creek-farm", [9, 8, 10])
    (unknown,), (well,), (poorly,) = (beliefs([CREEK], flock) for flock in (None, good, bad))
    assert (well.own_hatches, unknown.own_hatches) == (3, 0)
    assert poorly.hatch.mean() < unknown.hatch.mean() - 0.2
    assert well.hatch.mean() > unknown.hatch.mean() + 0.08
    assert well.hatch.std() < 0.8 * unknown.hatch.std()
    eggs = [compare([CREEK], [one], 10, 0.8)[0].eggs for one in (well, unknown, poorly)]
    assert eggs == sorted(set(eggs))
    (elsewhere,) = beliefs([Offer("other", "collected", 0.5)], good)
    assert unknown.hatch.mean() < elsewhere.hatch.mean() < well.hatch.mean()


def test_a_claim_moves_little_and_makes_nothing_surer() -> None:
    claims = [
        Offer("creek-farm", "collected", 0.5, claimed_hatch=0.95),
        Offer("creek-farm", "collected", 0.5, claimed_fertility=1.0),
        Offer("creek-farm", "collected", 0.5, claimed_hatch=1.0),
    ]
    plain, bold, fertile, all_of_them = beliefs([CREEK, *claims])
    for one in (bold, fertile, all_of_them):
        assert 0.0 < one.hatch.mean() - plain.hatch.mean() < 0.08
        assert one.hatch.std() > 0.9 * plain.hatch.std()
    record = hatched("creek-farm", [20, 21, 19, 20, 22, 18])
    known, boasted = beliefs([CREEK, claims[0]], record)
    moved = boasted.hatch.mean() - known.hatch.mean()
    assert moved < 0.75 * (bold.hatch.mean() - plain.hatch.mean())


# Comparing.


def sure(hatch: float, survival: float = 0.9, unbroken: float = 1.0) -> Belief:
    """A belief without doubt."""
    ones = np.ones(50)
    return Belief(unbroken * ones, hatch * ones, survival * ones)


def test_a_comparison_is_the_mean_of_binomials_and_its_cost_plain_arithmetic() -> None:
    """Chances by scipy's binomial over the draws; quantiles by drawing hens; cost by hand."""
    offer = Offer("a", "shipped", 0.5, postage=8, distance_km=20, cost_per_km=0.3, most_eggs=150)
    (belief,) = beliefs([offer])
    (one,) = compare([offer], [belief], 10, 0.8)
    assert one.chance == pytest.approx(stats.binom.sf(9, one.eggs, belief.hens_per_egg).mean())
    assert stats.binom.sf(9, one.eggs - 1, belief.hens_per_egg).mean() < 0.8 <= one.chance
    assert one.chance_with_most == pytest.approx(stats.binom.sf(9, 150, belief.hens_per_egg).mean())
    assert one.cost == pytest.approx(one.eggs * 0.5 + 8 + 40 * 0.3)
    drawn = np.random.default_rng(3).binomial(one.eggs, belief.hens_per_egg)
    assert one.hens.mean == pytest.approx(drawn.mean(), rel=0.01)
    assert [one.hens.q10, one.hens.q90] == pytest.approx(np.quantile(drawn, (0.1, 0.9)), abs=1)
    assert one.hens_sure == 10
    assert one.cost_per_hen.mean == pytest.approx(one.cost / one.hens.mean)
    assert one.cost_per_hen.q10 == pytest.approx(one.cost / one.hens.q90)


def test_known_shares_give_the_eggs_of_common_practice() -> None:
    """As `test_eggs_for_hens_of_common_practice`, by the other way of counting."""
    (one,) = compare([CREEK], [sure(0.75)], 28, 0.9)
    assert one.eggs == eggs_for_hens(28, 0.9, 0.75, 0.9)


def test_offers_stand_by_the_cost_of_the_hens_and_not_of_the_eggs() -> None:
    dear = Offer("dear", "collected", 0.60)
    cheap = Offer("cheap", "collected", 0.40)
    few = Offer("few", "collected", 0.10, most_eggs=30)
    fewer = Offer("fewer", "collected", 0.10, most_eggs=12)
    believed_of = [sure(0.8), sure(0.4), sure(0.8), sure(0.8)]
    order = compare([cheap, fewer, dear, few], [believed_of[1], *believed_of[:1] * 3], 20, 0.8)
    assert [one.offer.source for one in order] == ["dear", "cheap", "few", "fewer"]
    assert [one.reaches for one in order] == [True, True, False, False]
    assert [one.number for one in order] == [3, 1, 4, 2]
    assert order[2].eggs == 30
    assert order[2].eggs_needed == order[0].eggs
    assert order[2].hens_sure < 20


def test_an_order_is_never_below_the_least_that_is_sold() -> None:
    offer = Offer("a", "collected", 0.5, least_eggs=100)
    (one,) = compare([offer], [sure(0.75)], 5, 0.8)
    assert (one.eggs, one.reaches, one.cost) == (100, True, 50.0)
    assert one.eggs_needed is not None
    assert one.eggs_needed < 30


def test_package_sizes_of_one_source_are_the_same_eggs() -> None:
    small, large = beliefs([Offer("a", "shipped", 0.5, most_eggs=12), Offer("a", "shipped", 0.4)])
    assert np.array_equal(small.hatch, large.hatch)
    assert np.array_equal(small.hens_per_egg, large.hens_per_egg)


@settings(max_examples=25)
@given(st.integers(1, 40), st.floats(0.5, 0.95), st.floats(0.2, 0.9), st.floats(0.01, 2.0))
def test_a_dearer_egg_never_goes_before_the_same_egg_cheaper(
    hens: int, certainty: float, hatch: float, price: float
) -> None:
    offers = [Offer("dear", "own", price * 1.1), Offer("cheap", "own", price)]
    first, second = compare(offers, [sure(hatch), sure(hatch)], hens, certainty)
    assert (first.offer.source, first.eggs) == ("cheap", second.eggs)
    assert first.chance >= certainty


def test_offers_set_together_reach_what_none_reaches_alone() -> None:
    """The chance of the hens by drawing them; one egg less of the last is not enough."""
    offers = [
        Offer("a", "collected", 0.5, most_eggs=60),
        Offer("b", "shipped", 0.3, most_eggs=60),
        Offer("c", "collected", 0.6, most_eggs=60),
    ]
    compared = compare(offers, beliefs(offers), 20, 0.8)
    assert not any(one.reaches for one in compared)
    joined = together(compared, 20, 0.8, np.random.default_rng(4))
    assert joined is not None
    assert all(eggs <= 60 for _, eggs in joined)

    def chance(orders: Sequence[tuple[Compared, int]]) -> float:
        rng = np.random.default_rng(5)
        hens = sum(rng.binomial(eggs, one.belief.hens_per_egg) for one, eggs in orders)
        return float(np.mean(hens >= 20))

    (last, eggs) = joined[-1]
    assert chance(joined) == pytest.approx(0.8, abs=0.03)
    assert chance([*joined[:-1], (last, eggs - 6)]) < chance(joined)


def test_nothing_is_put_together_where_all_eggs_are_too_few() -> None:
    offers = [
        Offer("a", "collected", 0.5, most_eggs=12),
        Offer("b", "collected", 0.5, most_eggs=12),
    ]
    compared = compare(offers, beliefs(offers), 20, 0.8)
    assert together(compared, 20, 0.8, np.random.default_rng(4)) is None
    assert together([], 20, 0.8, np.random.default_rng(4)) is None


# In words.


def asked(*offers: Offer, hens: int | None = 20, certainty: float | None = 0.8) -> Asked:
    return Asked(offers, hens, certainty, "EUR")


def found(request: Asked, flock: Flock | None = None) -> Answer:
    return answer(request, flock or Flock(), ON, np.random.default_rng(1))


def test_advice_names_the_order_its_cost_and_the_range() -> None:
    told = found(asked(CREEK, Offer("few", "collected", 0.1, most_eggs=6)))
    best = told.compared[0]
    assert told.said[0].startswith(
        f"Order {best.eggs} eggs from creek-farm for {best.cost:.2f} EUR: 20 hens at lay or more"
    )
    assert f"likely {best.hens.q10:.0f} to {best.hens.q90:.0f}" in told.said[0]
    assert "Not enough eggs by itself: few." in told.said


def test_a_tie_is_told() -> None:
    twin = Offer("twin", "collected", 0.5)
    told = found(asked(CREEK, twin))
    assert any(sentence.startswith("About the same: ") for sentence in told.said)


def test_no_offer_is_enough_and_what_would_be() -> None:
    few = Offer("few", "collected", 0.5, most_eggs=30)
    told = found(asked(few))
    assert not told.reached
    (one,) = told.compared
    text = " ".join(told.said)
    assert text.startswith("No offer brings 20 hens at lay with a chance of 80%.")
    assert f"{one.eggs_needed} eggs from few" in text
    assert f"bring {one.hens_sure} with a chance of 80%" in text


def test_eggs_that_do_not_go_into_the_machine_are_told() -> None:
    flock = fold([made("place", place="box", role="incubator", capacity_eggs=24)], ON)
    assert any("hold 24 eggs" in sentence for sentence in found(asked(CREEK), flock).said)
    closed = fold([made("place", place="box", role="incubator", capacity_eggs=24, closed=True)], ON)
    assert not any("incubators" in sentence for sentence in found(asked(CREEK), closed).said)


def test_hens_and_certainty_left_out_come_from_the_goal() -> None:
    flock = fold([made("goal", eggs_per_week=120, certainty=0.9)], ON)
    told = found(asked(CREEK, hens=None, certainty=None), flock)
    assert (told.hens, told.certainty) == (25, 0.9)
    assert "goal of 120 eggs a week takes about 25 hens" in told.said[-1]
    with pytest.raises(ValueError, match="How many hens"):
        found(asked(CREEK, hens=None))
    assert found(asked(CREEK, certainty=None)).certainty == 0.8


def test_what_is_given_beside_the_file_goes_first() -> None:
    assert asking(asked(CREEK), 7, 0.95) == asked(CREEK, hens=7, certainty=0.95)
    assert asking(asked(CREEK), None, None) == asked(CREEK)
    for hens, certainty in ((0, None), (1001, None), (None, 0.4), (None, math.nan)):
        with pytest.raises(ValueError, match=r"^--"):
            asking(asked(CREEK), hens, certainty)


# The file.

FILE = b"""
hens = 25
certainty = 0.9
currency = "EUR"
[[offer]]
source = "a"
route = "shipped"
price_per_egg = 0.5
postage = 9
least_eggs = 12
most_eggs = 48
distance_km = 3
cost_per_km = 0.4
hatch_of_set = 0.8
fertility = 0.9
broken = 0.1
note = "by letter"
[[offer]]
source = "a"
route = "own"
"""


def test_a_file_of_offers_is_read_as_it_is_written() -> None:
    request, findings = read_offers(FILE)
    assert findings == []
    assert request == Asked(
        (Offer("a", "shipped", 0.5, 9, 12, 48, 3, 0.4, 0.8, 0.9, 0.1), Offer("a", "own", 0.0)),
        25,
        0.9,
        "EUR",
    )


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "offer: there is no offer in it."),
        ("[offer]\nsource = 'a'", "Write [[offer]], in double brackets"),
        ("hens = 25", "there is no offer in it."),
        (
            "[[offer]]\nsource = 'a'\nroute = 'shipped'",
            "Line 1, offer 1, price_per_egg: this is mi",
        ),
        (
            "[[offer]]\nsource = 'a'\nroute = 'own'\nfertility = 90",
            "Line 4, offer 1, fertility: 90 ",
        ),
        ("[[offer]]\nsource = 'a'\nroute = 'own'\npostage = -1", "Line 4, offer 1, postage: -1 "),
        ("[[offer]]\nsource = 'a'\nroute = 'own'\nmost_eggs = 0", "Line 4, offer 1, most_eggs: 0 "),
        ("[[offer]]\nsource = 'a'\nroute = 'own'\nbroken = 1.0", "Line 4, offer 1, broken: 1.0 "),
        ("[[offer]]\nsource = 'a'\nroute = 'own'\nprice = 1", "Did you mean price_per_egg?"),
        ("hens = 0\n[[offer]]\nsource = 'a'\nroute = 'own'", "Line 1, hens: 0 will not do."),
        ("hens = 2.5\n[[offer]]\nsource = 'a'\nroute = 'own'", "Line 1, hens: 2.5 will not do."),
        ("offer = [1]", "Line 1, offer 1: 1 is not a table."),
    ],
)
def test_a_bad_file_gets_a_sentence(text: str, says: str) -> None:
    request, findings = read_offers(text.encode())
    assert request is None
    assert says in " ".join(finding.sentence for finding in findings)
