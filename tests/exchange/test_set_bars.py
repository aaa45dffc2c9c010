"""A plan's sets as bars: on the paper, in order, thick where there are eggs or hens."""

from datetime import date, timedelta
from itertools import pairwise

import pytest

from quailwright.exchange.set_bars import WIDTH, bars_words, set_bars
from quailwright.planning.calendar import Life

MONDAY = date(2027, 5, 3)


def life(day: date, until: date, goes: bool = True) -> Life:
    return Life(day, 30, day + timedelta(days=17), day + timedelta(days=60), until, goes)


@pytest.mark.parametrize("sets", [1, 7, 52])
@pytest.mark.parametrize("weeks", [4, 52, 104])
def test_every_mark_lies_on_the_paper_and_stages_follow_one_another(sets: int, weeks: int) -> None:
    last = MONDAY + timedelta(weeks=weeks)
    days = [MONDAY + timedelta(days=round(n * 7 * weeks / (sets + 1))) for n in range(sets)]
    lives = [life(day, min(last, day + timedelta(weeks=40)), n % 2 == 0)
             for n, day in enumerate(days)]  # fmt: skip
    bars = set_bars(lives, MONDAY, last)
    assert len(bars.days) == sets
    assert len(bars.goings) == (sets + 1) // 2
    for piece in bars.pieces:
        assert 66 <= piece.x <= piece.x + piece.width <= WIDTH - 9.9
        assert 0 < piece.y <= piece.y + piece.height < bars.axis
    for mark in bars.months:
        assert 66 <= mark.x <= WIDTH - 32
    along = [mark.x for mark in bars.months]
    assert along == sorted(along)
    assert len(along) <= 8
    for n in range(sets):
        row = [piece for piece in bars.pieces if abs(piece.y + piece.height / 2 - 18 - 24 * n) < 1]
        assert [piece.stage for piece in row] == ["eggs", "growing", "laying"][: len(row)]
        for before, after in pairwise(row):
            assert after.x == pytest.approx(before.x + before.width, abs=0.2)


def test_birds_that_go_young_never_lay() -> None:
    one = life(MONDAY, MONDAY + timedelta(days=59))
    bars = set_bars([one], MONDAY, MONDAY + timedelta(weeks=30))
    assert [piece.stage for piece in bars.pieces] == ["eggs", "growing"]


def test_a_year_is_named_where_it_begins() -> None:
    bars = set_bars([life(MONDAY, date(2028, 4, 1))], date(2027, 10, 4), date(2028, 4, 30))
    assert "2028" in [mark.says for mark in bars.months]


def test_the_words_tell_when() -> None:
    lives = [life(MONDAY, date(2028, 4, 1)), life(date(2028, 1, 10), date(2028, 4, 1))]
    words = bars_words(lives, MONDAY)
    assert words.startswith("2 days of setting, from Mon 3 May to Mon 10 Jan 2028.")
    assert "The first chicks are due Thu 20 May" in words
    assert bars_words(lives[:1], MONDAY).startswith("One day of setting, Mon 3 May.")
