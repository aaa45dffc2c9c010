"""What is planned, counted by the outlook once: sets to come, and birds of a hatch at every age."""

from collections.abc import Sequence
from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.flock.journals import DAYS, journals
from tests.makers import made
from tests.outlook.flocks import NOWHERE, ON, hens, outlook

from quailwright.flock.fold import fold
from quailwright.journal.entries import Entry
from quailwright.outlook.forecast import Outlook, Question
from quailwright.outlook.hatching import NOTHING_PLANNED, Planned, PlannedSet, Stay
from quailwright.outlook.planned import planned_of
from quailwright.outlook.report import says

SINCE = "2027-03-01"


def planned(hatch: str = "june", on: date = ON + timedelta(days=3), **more: Any) -> Entry:
    fields = {"eggs": 60, "place": "box", "source": "creek", **more}
    return made("set_planned", SINCE, hatch=hatch, on=str(on), **fields)


def cull(on: date, **more: Any) -> Entry:
    return made("cull_planned", SINCE, on=str(on), **more)


def counted(entries: Sequence[Entry], on: date = ON, weeks: int = 12, **asked: Any) -> Outlook:
    """The outlook with what is planned, as the faces show it."""
    question = Question(planned=planned_of(fold(entries, on), on, weeks), **asked)
    return outlook(entries, on, weeks=weeks, draws=300, question=question)


def test_a_planned_set_counts_like_one_asked_about() -> None:
    entries = [NOWHERE, planned()]
    ahead = counted(entries)
    [one] = ahead.hatches
    assert one.hatch == "june"
    asked = Question(sets=(PlannedSet(ON + timedelta(days=3), 60, "creek", "box"),))
    same = outlook(entries, weeks=12, draws=300, question=asked).samples
    for name in ("eggs", "hens", "cocks", "deaths"):
        own, other = ahead.samples[name].mean(), same[name].mean()
        assert own == pytest.approx(other, rel=0.1)
    # Hatch of set of unknown eggs: Beta(5.9, 3.2), 65 % (between published flocks).
    assert one.chicks_samples.mean() == pytest.approx(60 * 5.9 / 9.1, abs=4)


def test_nothing_is_counted_unless_it_is_handed_in() -> None:
    assert outlook([NOWHERE, planned()], weeks=12, draws=20).hatches == []


def test_what_is_planned_as_the_outlook_takes_it() -> None:
    entries = [NOWHERE, hens(20), planned(), planned("own", ON, source=None, group="hens"),
               cull(ON + timedelta(days=9), group="hens", keep_hens=8)]  # fmt: skip
    found = planned_of(fold(entries, ON), ON)
    tomorrow = ON + timedelta(days=1)
    assert found.sets == (
        PlannedSet(tomorrow, 60, "hens", "box", hatch="own"),
        PlannedSet(ON + timedelta(days=3), 60, "creek", "box", hatch="june"),
    )
    [one] = found.culls
    assert one.stay == Stay(ON + timedelta(days=9), 8, None)
    assert one.birds == (("hens", date(2026, 10, 1)),)


def test_what_is_done_or_lapsed_or_after_the_weeks_is_not_counted() -> None:
    done = made("eggs_set", ON, hatch="x", eggs=50, place="box", source="creek")
    entries = [NOWHERE, planned(), done, planned("old", ON - timedelta(days=8)),
               planned("far", ON + timedelta(days=85))]  # fmt: skip
    assert planned_of(fold(entries, ON), ON, 12) == NOTHING_PLANNED
    assert [one.hatch for one in planned_of(fold(entries, ON), ON, 13).sets] == ["far"]
    [one] = counted(entries).hatches
    assert one.hatch == "x"


def test_set_as_planned_its_chicks_are_counted_once() -> None:
    day = ON + timedelta(days=3)
    before = counted([NOWHERE, planned()])
    eggs = made("eggs_set", day, hatch="june", eggs=60, place="box", source="creek")
    after = counted([NOWHERE, planned(), eggs], day)
    assert [one.hatch for one in after.hatches] == ["june"]
    assert after.hatches[0].chicks_samples.mean() == pytest.approx(
        before.hatches[0].chicks_samples.mean(), abs=4
    )


SET_ON = date(2027, 3, 10)
LIFE = [
    made("eggs_set", "2027-03-10T20:00Z", hatch="march", eggs=60, place="box", source="creek"),
    made("chicks_hatched", "2027-03-27T18:00Z", hatch="march", chicks=40),
    made("group", "2027-03-28", group="young", place="brooder", hatch="march"),
    made("hatch_closed", "2027-03-29", hatch="march"),
    made("birds_sexed", "2027-04-20", group="young", hens=21, cocks=19),
    made("birds_moved", "2027-05-03", group="young", place="pen hens", to_group="hens"),
]
OF_MARCH = [NOWHERE, hens(10), planned("march", SET_ON),
            cull(date(2027, 5, 10), hatch="march", keep_hens=6, keep_cocks=2)]  # fmt: skip


@pytest.mark.parametrize("on", ["2027-03-05", "2027-03-20", "2027-03-27", "2027-04-01",
                                "2027-04-25", "2027-05-05"])  # fmt: skip
def test_a_cull_of_a_hatch_reaches_its_birds_planned_under_way_and_grown(on: str) -> None:
    day = date.fromisoformat(on)
    entries = [*OF_MARCH, *(e for e in LIFE if e.at[:10] <= on)]
    ahead = counted(entries, day)
    last = (date(2027, 5, 10) - day).days // 7 + 1
    old = 10  # hens that are none of that hatch
    young_hens = ahead.samples["hens"][:, last:].max() - old
    assert 0 < young_hens <= 6
    assert ahead.samples["cocks"][:, last:].max() <= 2
    assert ahead.left.sum(1).mean() > 10
    # The old hens, of another age, all stay.
    assert ahead.samples["hens"][:, last].mean() > old


def test_a_cull_not_done_is_taken_to_be_done_tomorrow_and_in_the_end_not_at_all() -> None:
    entries = [NOWHERE, hens(20), cull(ON - timedelta(days=5), group="hens", keep_hens=8)]
    assert counted(entries).samples["hens"][:, 0].max() == 8
    late = ON + timedelta(days=40)
    assert counted(entries, late).samples["hens"][:, 0].mean() > 15


def test_of_a_group_of_mixed_age_so_many_stay_together_and_the_oldest_go() -> None:
    young = hens(10, at="2027-05-01", hatched_on="2027-03-10")
    entries = [NOWHERE, hens(10), young, cull(ON + timedelta(days=1), group="hens", keep_hens=12)]
    ahead = counted(entries)
    assert ahead.samples["hens"][:, 0].max() == 12
    assert np.quantile(ahead.samples["hens"][:, 0], 0.5) == 12
    only_old = cull(ON + timedelta(days=1), group="hens", hatched_on="2026-10-02", keep_hens=0)
    by_day = counted([*entries[:3], only_old])
    assert 8 <= by_day.samples["hens"][:, 0].mean() <= 10


def test_a_question_is_asked_on_top_and_its_luck_is_the_same() -> None:
    entries = [NOWHERE, hens(10), planned()]
    base = counted(entries)
    more = counted(entries, sets=(PlannedSet(ON + timedelta(days=10), 40, "hill"),))
    assert [one.hatch for one in more.hatches] == ["june", "set of 2027-06-11 from hill"]
    first = [run.hatches[0].chicks_samples for run in (base, more)]
    assert (first[0] == first[1]).all()
    # Birds of the other set come in week 4; until then nothing differs.
    for name in ("eggs", "hens", "deaths"):
        assert (base.samples[name][:, :3] == more.samples[name][:, :3]).all()
    assert (more.samples["hens"] >= base.samples["hens"]).all()


def test_if_nothing_more_hatches_no_planned_set_does() -> None:
    assert counted([NOWHERE, hens(10), planned()], no_hatches=True).hatches == []


def test_it_says_what_is_counted_and_what_is_left_out() -> None:
    entries = [NOWHERE, hens(20), planned(), planned("july", ON + timedelta(days=30)),
               cull(ON + timedelta(days=9), group="hens", keep_hens=8)]  # fmt: skip
    flock = fold(entries, ON)
    with_plan = says(counted(entries), flock, [])
    assert (
        "With 2 planned sets (june, july) and birds let go as planned on 1 day." in with_plan
    )  # fmt: skip
    assert "If nothing else is bought, sold or culled, and no more eggs are set." in with_plan
    without = says(outlook(entries, weeks=12, draws=20), flock, [])
    assert (
        "Left out: 2 planned sets (june, july) and birds let go as planned on 1 day." in without
    )  # fmt: skip
    assert "If nothing is bought, sold or culled, and no more eggs are set." in without
    assert Planned().words == ""


@settings(max_examples=25)
@given(journals(), st.sampled_from([*DAYS, *(DAYS[-1] + timedelta(days=n) for n in (5, 20, 70))]))
def test_no_hatch_is_counted_twice_whatever_is_planned(journal: list[Entry], on: date) -> None:
    question = Question(planned=planned_of(fold(journal, on), on, 4))
    ahead = outlook(journal, on, weeks=4, draws=10, question=question)
    names = [one.hatch for one in ahead.hatches]
    assert len(names) == len(set(names))
