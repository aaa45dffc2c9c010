"""The result of a hatch, with what was not looked at left open."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quailwright.guide.hatch.case import HatchCase
from quailwright.guide.hatch.result import HatchResult, fates, result
from quailwright.husbandry import facts
from quailwright.husbandry.proportion import interval

STAGES = ("infertile", "early", "middle", "late", "pipped", "contaminated")


def hatch(eggs_set: int, hatched: int, clear: int = 0, dead: int = 0, **opened: int) -> HatchCase:
    return HatchCase("may-1", "cabinet", ("creek",), eggs_set, hatched, clear, dead, opened)


def judged(case: HatchCase) -> HatchResult:
    found = result(case)
    assert found is not None
    return found


def test_a_keeper_s_breakout_of_53() -> None:
    # One keeper's 53 eggs: 13 clear, 8 quit, 3 pipped and died, 29 hatched (keepers' notes, 4.1).
    found = judged(hatch(53, 29, infertile=13, early=4, late=4, pipped=3))
    assert found.fertility == interval(40, 53)
    assert found.hatch_of_set == interval(29, 53)
    assert found.hatch_of_fertile == interval(29, 40)
    assert found.losses["pipped"].share == interval(3, 40)
    assert (found.losses["clear"].of, found.losses["pipped"].of) == ("set", "fertile")
    assert found.says == ()


def test_dead_as_share_of_fertile_not_of_set() -> None:
    # 3 of 150 set is 2 %, but 4 % if half are fertile (reference on incubation, section 4).
    found = judged(hatch(150, 72, infertile=75, early=3))
    assert found.losses["early"].share.value == pytest.approx(0.04)


def test_unopened_eggs_widen_fertility_to_both_ends() -> None:
    found = judged(hatch(24, 10))
    assert found.fertile == (10, 24)
    assert found.fertility.low95 == interval(10, 24).low95
    assert found.fertility.high95 == 1.0
    assert found.hatch_of_fertile is not None
    assert found.hatch_of_fertile.low95 == interval(10, 24).low95
    assert found.hatch_of_fertile.high95 == 1.0
    assert set(found.losses) == {"unopened"}
    assert "not opened" in found.says[0]


def test_value_of_unopened_eggs_by_the_published_rates() -> None:
    # Of eggs that failed, F (1 - H) / (1 - F H) were fertile: Bayes' rule.
    f, h = facts.value("incubation.fertility"), facts.value("incubation.hatch_of_fertile")
    found = judged(hatch(24, 10))
    assert found.fertility.value == pytest.approx((10 + 14 * f * (1 - h) / (1 - f * h)) / 24)


def test_candled_eggs_left_count_as_fertile_but_the_ends_stay_open() -> None:
    found = judged(hatch(24, 14, clear=4))
    assert found.fertility.value == pytest.approx(20 / 24)
    assert found.fertility.low95 == interval(14, 24).low95
    assert found.fertility.high95 == interval(20, 24).high95
    assert found.losses["clear"].eggs == 4


def test_rotten_eggs_may_have_been_clear() -> None:
    assert judged(hatch(20, 10, infertile=4, contaminated=6)).fertile == (10, 16)


def test_clear_eggs_opened_later_are_not_counted_twice() -> None:
    # 24 set, 18 hatched, 6 candled out clear; opened at home: 4 infertile, 2 early after all.
    fate = fates(hatch(24, 18, clear=6, infertile=4, early=2))
    assert (fate.clear, fate.stages["early"], fate.unopened, fate.eggs) == (4, 2, 0, 24)


def test_dead_eggs_opened_later_are_not_counted_twice() -> None:
    fate = fates(hatch(24, 18, clear=3, dead=3, early=2, middle=1))
    assert fate.clear + fate.dead + sum(fate.stages.values()) == 6


def test_all_clear_has_no_hatch_of_fertile() -> None:
    found = judged(hatch(20, 0, clear=20))
    assert found.hatch_of_fertile is None
    assert found.fertility == interval(0, 20)
    assert found.hatch_of_set == interval(0, 20)


def test_nothing_can_be_said_before_the_first_chick() -> None:
    assert result(replace(hatch(24, 0, clear=3), closed=False)) is None
    assert result(hatch(0, 0)) is None


def test_a_hatch_under_way_counts_eggs_left_as_open() -> None:
    found = judged(replace(hatch(24, 9, clear=3), closed=False))
    assert found.hatch_of_set.value == pytest.approx(9 / 24)
    assert found.hatch_of_set.high95 == interval(21, 24).high95
    assert "so far" in found.says[0].lower()


counts = st.integers(0, 60)


@given(
    eggs_set=counts,
    hatched=counts,
    clear=counts,
    dead=counts,
    opened=st.dictionaries(st.sampled_from(STAGES), counts),
    closed=st.booleans(),
)
def test_no_count_crashes_or_leaves_its_bounds(
    eggs_set: int, hatched: int, clear: int, dead: int, opened: dict[str, int], closed: bool
) -> None:
    # Forced entries may contradict one another; the result stays a result.
    case = replace(hatch(eggs_set, hatched, clear, dead, **opened), closed=closed)
    fate = fates(case)
    accounted = fate.hatched + fate.clear + fate.dead + fate.unopened + sum(fate.stages.values())
    assert accounted == fate.eggs >= eggs_set
    found = result(case)
    if found is None:
        return
    shares = [found.fertility, found.hatch_of_set, found.hatch_of_fertile]
    shares += [loss.share for loss in found.losses.values()]
    for share in shares:
        assert share is None or 0 <= share.low95 <= share.value <= share.high95 <= 1
