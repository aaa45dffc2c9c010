"""Eggs by week: what was laid, the rate of lay, and where the eggs went."""

from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta

from tests.makers import made

from quailwright.exchange.eggs_chart import HEIGHT, WIDTH, eggs_chart
from quailwright.exchange.eggs_page import EggsPage, eggs_page, weeks_asked
from quailwright.flock.fold import fold
from quailwright.journal.entries import Entry

FIRST = date(2027, 4, 5)
ON = FIRST + timedelta(days=28)
NOW = datetime(2027, 5, 3, 7, 30, tzinfo=UTC)
HENS = (
    made("place", FIRST, place="pen", role="pen"),
    made("place", FIRST, place="run", role="pen"),
    made("group", "2027-01-01", group="old", place="pen", hens=10, cocks=2,
         hatched_on="2026-06-01"),
    made("group", "2027-01-01", group="new", place="run", hens=5, hatched_on="2026-06-01"),
)  # fmt: skip


def counted(group: str, eggs: int, days: Sequence[int]) -> list[Entry]:
    """So many eggs of a group on each of these days after the first."""
    return [
        made("eggs_collected", FIRST + timedelta(days=day), group=group, eggs=eggs) for day in days
    ]


def told(entries: Sequence[Entry], by: str = "group", of: str = "", weeks: int = 4) -> EggsPage:
    """The page of a journal."""
    everything = [*HENS, *entries]
    return eggs_page(fold(everything, NOW), ON, everything, NOW, by, weeks, of)


def test_hen_day_lay_north_bell_1990() -> None:
    # Hen-day production is eggs over hens alive summed by day: North and Bell 1990, Commercial
    # Chicken Production Manual (from memory). 8 eggs a day of 10 hens are 0.80.
    newest = told(counted("old", 8, range(28))).weeks[-1]
    assert (newest.eggs, newest.days, newest.whole) == (56, 7, True)
    assert newest.lay is not None
    assert (newest.lay.low, newest.lay.high, newest.lay.words) == (0.8, 0.8, "0.80")


def test_a_death_counts_from_its_day() -> None:
    death = made("birds_died", FIRST + timedelta(days=21), group="old", hens=5)
    newest = told([*counted("old", 4, range(28)), death]).weeks[-1]
    assert newest.lay is not None
    assert newest.lay.words == "0.80"


def test_days_without_a_count_are_no_days_without_eggs() -> None:
    page = told(counted("old", 8, [*range(21), 21, 23, 24, 25, 26, 27]))
    newest = page.weeks[-1]
    assert (newest.eggs, newest.days, newest.whole) == (48, 6, False)
    assert newest.lay is not None
    assert newest.lay.words == "0.69 to 0.80"
    assert "Eggs were counted on 6 days of the seven." in page.beside


def test_a_week_without_a_count_is_not_known_and_breaks_the_line() -> None:
    page = told(counted("old", 8, [*range(14), *range(21, 28)]))
    assert [week.eggs for week in page.weeks] == [56, 56, None, 56]
    assert eggs_chart(page.weeks, None).line.count("M") == 2
    assert "No eggs are written down" in told(counted("old", 8, range(7))).answer


def test_birds_that_nobody_sexed_leave_the_rate_unknown() -> None:
    young = made(
        "group", "2027-01-01", group="young", place="run", chicks=6, hatched_on="2026-06-01"
    )
    page = told([young, *counted("young", 3, range(28))])
    assert page.weeks[-1].lay is None
    assert not page.hens_known
    both = told([young, *counted("young", 3, range(28)), *counted("old", 8, range(28))])
    assert both.weeks[-1].lay is not None
    assert both.weeks[-1].lay.words == "0.80"


def test_groups_and_places_add_up_to_the_whole() -> None:
    entries = [*counted("old", 8, range(28)), *counted("new", 4, range(28))]
    page = told(entries)
    assert page.weeks[-1].by == {"new": 28, "old": 56}
    assert page.weeks[-1].eggs == 84
    assert told(entries, by="place").weeks[-1].by == {"pen": 56, "run": 28}
    assert told(entries, of="new").weeks[-1].eggs == 28
    assert told(entries, by="place", of="pen").total == 8 * 28


def test_every_egg_is_set_gone_or_there() -> None:
    entries = [
        *counted("old", 10, range(28)),
        made("place", FIRST, place="box", role="incubator", capacity_eggs=60),
        made("eggs_out", "2027-04-20", use="eaten", eggs=30),
        made("eggs_out", "2027-04-21", use="sold", eggs=12),
        made("eggs_set", "2027-05-01T20:00+00:00", hatch="h", eggs=24, place="box", group="old"),
        made("treated", "2027-05-02", group="old", product="as the vet said",
             eggs_withheld_until="2027-05-12"),
    ]  # fmt: skip
    page = told(entries)
    for week in page.weeks:
        assert week.eggs == week.set_to_hatch + week.out + week.on_hand
    assert page.set_to_hatch == 24
    assert page.used == [("eaten", 30), ("sold", 12)]
    assert page.weeks[-1].withheld == page.withheld == 10


def test_what_was_taken_back_was_not_used() -> None:
    out = made("eggs_out", "2027-04-20", use="sold", eggs=12)
    back = made("retract", "2027-04-21", entry=out.id, why="not sold")
    assert told([*counted("old", 8, range(28)), out, back]).used == []


def test_today_is_told_once_its_eggs_are_counted() -> None:
    page = told(counted("old", 8, range(28)))
    assert page.weeks[-1].last == ON - timedelta(days=1)
    assert told(counted("old", 8, range(29))).weeks[-1].last == ON


def test_a_planned_set_of_own_eggs_is_to_be_put_aside_for() -> None:
    plan = made("set_planned", "2027-05-01", hatch="may", on="2027-05-08", eggs=20, place="box",
                group="old")  # fmt: skip
    bought = made("set_planned", "2027-05-01", hatch="jun", on="2027-06-01", eggs=9, place="box",
                  source="friend")  # fmt: skip
    assert [one.eggs for one in told([plan, bought]).keep] == [20]


def test_the_chart_keeps_to_its_paper() -> None:
    page = told([*counted("old", 8, range(28)), *counted("new", 40, range(14))])
    chart = eggs_chart(page.weeks, 900)
    marks = [*chart.counted, *chart.partly, *chart.days, *chart.amounts]
    assert all(0 <= mark.x <= WIDTH and 0 <= mark.y <= HEIGHT for mark in marks)
    assert chart.goal is not None
    assert chart.goal < min(mark.y for mark in chart.counted)
    assert 3 <= len(chart.amounts) <= 7


def test_weeks_asked_for_are_some_of_those_offered() -> None:
    assert (weeks_asked("13"), weeks_asked("9999"), weeks_asked("")) == (13, 8, 8)
