"""A plan that is kept is read in the language of whoever opens it, not of who asked for it."""

import gettext
from datetime import date

import pytest
from tests.web.conftest import NOW, SMALL_FLOCK

from quailwright.exchange.plan_page import PlanPage, made
from quailwright.exchange.plan_told import PlanAsked, PlanFrom
from quailwright.flock.fold import fold
from quailwright.language import Said, Spoken, later, say, speaking
from quailwright.planning.as_read import AsRead, plain_day
from quailwright.web.planner import Job, Planner


class _Upside(gettext.NullTranslations):
    """A language whose words are ours in capitals; parts in braces stay."""

    def gettext(self, message: str) -> str:
        parts = message.replace("}", "{").split("{")
        return "".join(
            f"{{{part}}}" if number % 2 else part.upper() for number, part in enumerate(parts)
        )

    def ngettext(self, one: str, many: str, number: int) -> str:
        return self.gettext(one if number == 1 else many)


LOUD = Spoken("pt", _Upside(), decimal=",", thousands=".")
DAY = date(2027, 5, 3)


def test_a_kept_sentence_is_english_beneath_whoever_made_it() -> None:
    with speaking(LOUD):
        kept = later("from {day} at {share:.1f}: {what}", day=plain_day(DAY), share=0.5,
                     what=AsRead(lambda: say("birds")))  # fmt: skip
        assert say(kept) == "FROM 3 de mai. de 2027 AT 0,5: BIRDS"
    assert str(kept) == "from 3 May 2027 at 0.5: birds"
    assert say(kept) == "from 3 May 2027 at 0.5: birds"


def test_the_planner_speaks_as_who_asked_and_keeps_what_all_can_read() -> None:
    heard = []

    def work(tell: object) -> str:
        heard.append(say("no plan yet"))
        return later("no plan yet")

    with speaking(LOUD):
        job = Planner().begin(Job("one", "", None), work)
        job.wait()
        assert job.told == "LOOKING AT YOUR RECORD"
    assert heard == ["NO PLAN YET"]
    assert job.made == "no plan yet"
    assert job.told == "looking at your record"
    assert isinstance(job.made, Said)


BRIEF = b"""
[goal]
eggs_per_week = 110
from = 2027-08-02
until = 2027-08-29
certainty = 0.6
"""


def words_of(page: PlanPage) -> list[str]:
    """Every sentence of a page."""
    return [
        page.status_words,
        page.weeks_words,
        page.most,
        page.bars_words,
        *page.sure,
        *(say(step.words) for step in page.steps),
        *(say(one) for one in (*page.reasons, *page.granted)),
        *(name for name, _ in page.costs),
        *(one.words for one in page.sliders),
    ]


@pytest.mark.parametrize("made_in", ["english", "loud"])
def test_a_page_of_a_kept_plan_is_said_when_it_is_shown(made_in: str) -> None:
    stands = PlanFrom(SMALL_FLOCK, fold(SMALL_FLOCK, NOW), NOW.date(), {})
    with speaking(LOUD if made_in == "loud" else "en"):
        answer = made(PlanAsked("x", BRIEF, with_ways=False), stands, lambda words, part: None)
    (page,) = answer.pages.values()
    english = words_of(page)
    with speaking(LOUD):
        loud = words_of(page)
    assert len(english) > 12
    for quiet, other in zip(english, loud, strict=True):
        assert quiet != other
        assert not quiet.isupper()
        for word in ("eggs", "chicks", " is ", " with ", " of "):
            assert word not in other, other
