"""Plain questions for a plan: what they offer, and the brief that answers make."""

import tomllib
from datetime import UTC, date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.makers import made
from tests.web.conftest import SMALL_FLOCK

from quailwright.exchange.plan_asked import brief_of, changed, check, questions
from quailwright.flock.fold import fold
from quailwright.flock.state import Flock
from quailwright.journal.entries import Entry
from quailwright.journal.findings import BadInput
from quailwright.planning.brief import completed, read_brief

ON = date(2027, 5, 3)


def flock_of(*entries: Entry) -> Flock:
    return fold(list(entries), datetime(2027, 5, 3, 12, tzinfo=UTC))


def asked(flock: Flock) -> dict[str, str]:
    return {one.name: one.value for one in questions(flock, ON)}


def test_the_journal_answers_first() -> None:
    found = asked(flock_of(*SMALL_FLOCK))
    assert found["goal.eggs_per_week"] == "40"
    assert found["goal.certainty"] == "0.8"
    assert found["goal.from"] == "2027-05-04"
    assert found["prices.feed_per_kg"] == "0.90"
    assert "place 1, capacity_eggs" not in found


def test_an_empty_flock_is_asked_for_its_incubator_and_whose_eggs() -> None:
    found = asked(flock_of())
    assert {"place 1, capacity_eggs", "source 1, source", "source 1, route"} <= set(found)
    # Hens hatch after 17 days and lay at about 7 to 8 weeks (common practice, no source).
    assert "2027-07-12" <= found["goal.from"] <= "2027-08-31"


def test_few_questions_stand_on_the_one_screen() -> None:
    assert sum(not one.more for one in questions(flock_of(*SMALL_FLOCK), ON)) <= 9


def test_answers_make_the_brief() -> None:
    brief = brief_of(
        {
            "goal.eggs_per_week": "40,5",
            "goal.from": "2027-06-01",
            "goal.certainty": "0.95",
            "limits.lamp": "false",
            "limits.max_birds": "",
            "limits.absences 1, from": "2027-08-01",
            "limits.absences 1, until": "2027-08-09",
            "limits.absences 2, from": "2027-10-01",
            "limits.absences 2, until": "",
            "limits.no_hatching 1, from": "11",
            "limits.no_hatching 1, until": "02",
            "place 1, capacity_eggs": "48",
            "source 1, source": "2027",
            "source 1, route": "shipped",
            "source 1, price_per_egg": "0.6",
            "token": "not one of the questions",
        }
    )
    assert tomllib.loads(brief.decode()) == {
        "goal": {"eggs_per_week": 40.5, "from": date(2027, 6, 1), "certainty": 0.95},
        "limits": {
            "lamp": False,
            "absences": [
                [date(2027, 8, 1), date(2027, 8, 9)],
                [date(2027, 10, 1), date(2027, 10, 1)],
            ],
            "no_hatching": [["11", "02"]],
        },
        "place": [{"place": "incubator", "role": "incubator", "capacity_eggs": 48}],
        "source": [{"source": "2027", "route": "shipped", "price_per_egg": 0.6}],
    }


@given(st.text(max_size=60))
def test_whatever_is_typed_is_refused_or_read_back(text: str) -> None:
    typed = {"goal.eggs_per_week": "30", "source 1, source": text, "source 1, route": "collected"}
    try:
        brief = brief_of(typed)
    except BadInput as error:
        assert error.findings  # noqa: PT017 - a name that is refused gets its sentence
        return
    told = tomllib.loads(brief.decode())
    assert set(told) == {"goal", "source"}
    assert set(told["source"][0]) <= {"source", "route"}
    assert told["goal"] == {"eggs_per_week": 30}


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("goal.eggs_per_week", "many"),
        ("goal.eggs_per_week", "nan"),
        ("goal.eggs_per_week", "-3"),
        ("goal.from", "soon"),
        ("goal.certainty", "2"),
        ("limits.max_birds", "1.5"),
        ("limits.absences 1, from", "3"),
    ],
)
def test_what_is_wrong_is_said_beside_its_question(name: str, text: str) -> None:
    with pytest.raises(BadInput) as caught:
        brief_of({"goal.eggs_per_week": "30", name: text})
    assert caught.value.findings[0].field == name
    shown = questions(flock_of(), ON, {name: text}, {name: ("wrong",)})
    assert [(one.value, one.said) for one in shown if one.name == name] == [(text, ("wrong",))]


def test_what_nobody_told_is_asked_for() -> None:
    with pytest.raises(BadInput, match="without") as caught:
        check(brief_of({"goal.eggs_per_week": "30"}), flock_of(), ON)
    assert {"place", "source"} <= {finding.field for finding in caught.value.findings}
    check(brief_of({"goal.eggs_per_week": "30"}), flock_of(*SMALL_FLOCK), ON)


def test_a_changed_brief_keeps_all_else() -> None:
    text = b"""
[goal]
certainty = 0.6
until = 2027-10-31
season = [{from = "09", until = "10", eggs_per_week = 20}]
eggs_per_week = 30
[limits]
max_birds = 50
minutes_per_day = {mon = 20}
absences = [[2027-06-01, 2027-06-05], [2027-07-01, 2027-07-02], [2027-08-01, 2027-08-03]]
no_hatching = [["07", "08"]]
[[source]]
source = "creek"
route = "shipped"
postage = 9
"""
    read, _ = read_brief(text)
    assert read is not None
    whole, _ = completed(read, flock_of(*SMALL_FLOCK), ON)
    other, findings = read_brief(changed(text, whole, {"limits.max_birds": "70"}))
    assert findings == []
    assert other is not None
    assert other.limits.max_birds == 70
    assert other.goal.seasons == read.goal.seasons
    assert other.sources == read.sources
    assert other.limits.absences == read.limits.absences
    assert other.limits.no_hatching == read.limits.no_hatching
    assert other.limits.minutes_by_weekday == read.limits.minutes_by_weekday
    free, _ = read_brief(changed(text, whole, {"limits.max_birds": "", "limits.lamp": "0"}))
    assert free is not None
    assert free.limits.max_birds is None
    assert free.limits.lamp_h == 0


def test_the_goal_of_the_journal_stays_where_something_else_is_changed() -> None:
    flock = flock_of(*SMALL_FLOCK)
    read, _ = read_brief(b"")
    assert read is not None
    whole, _ = completed(read, flock, ON)
    other, _ = read_brief(changed(b"", whole, {"limits.max_birds": "70"}))
    assert other is not None
    assert other.goal.eggs_per_week == 40
    assert other.goal.last == whole.goal.last


def test_the_accepted_brief_answers_before_the_journal() -> None:
    brief = "[goal]\neggs_per_week = 25\nfrom = 2027-09-01\ncertainty = 0.7\n[limits]\nlamp = 15\n"
    accepted = made("plan_accepted", "2027-05-02", brief=brief, certainty=0.8)
    found = asked(flock_of(*SMALL_FLOCK, accepted))
    assert found["goal.eggs_per_week"] == "25"
    assert found["goal.from"] == "2027-09-01"
    assert found["goal.certainty"] in ("0.6", "0.8")
    assert found["limits.lamp"] == "true"
