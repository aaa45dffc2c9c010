"""A plan from the journal to the round, the outlook and the flock, on the terminal."""

import json

import pytest
from tests.cli.conftest import Quail
from tests.cli.test_flock import section

SMALL = ("--draws", "200", "--weeks", "12")
BRIEF = "[goal]\neggs_per_week = 40\ncertainty = 0.8\n"
MOMENT = "at=2027-05-04T08:00"


def log(quail: Quail, *lines: str) -> None:
    for words in lines:
        answer = quail("log", *words.split())
        assert answer.code == 0, answer.err


@pytest.fixture
def planned(kept: Quail) -> Quail:
    """The small flock, with a plan of two sets, and a day on which cocks and hens go."""
    answer = kept("log", "plan_accepted", f"brief={BRIEF}", "certainty=0.82", MOMENT)
    assert answer.code == 0, answer.err
    log(
        kept,
        f"source source=creek route=shipped {MOMENT}",
        f"set_planned hatch=jun-1 on=2027-06-01 eggs=48 place=incubator source=creek {MOMENT}",
        f"set_planned hatch=jul-1 on=2027-07-01 eggs=30 place=incubator group=hens {MOMENT}",
        f"cull_planned hatch=jun-1 on=2027-07-30 keep_hens=6 keep_cocks=2 {MOMENT}",
        f"cull_planned group=hens on=2027-06-20 keep_hens=7 {MOMENT}",
    )
    return kept


def rules(quail: Quail, on: str) -> set[str]:
    answer = quail("today", "--on", on, "--json")
    assert answer.code == 0, answer.err
    return {task["rule"] for place in answer.json["places"] for task in place["tasks"]}


def test_a_plan_runs_through_round_outlook_and_flock(planned: Quail) -> None:
    assert "order_eggs" in rules(planned, "2027-05-18")
    assert "set_planned_eggs" not in rules(planned, "2027-05-31")
    round_ = planned("today", "--on", "2027-06-02").out
    assert "Set 48 eggs of creek in incubator" in round_
    assert "jun-1; due Tue 1 Jun; 1 day overdue" in round_
    ahead = planned("outlook", "--on", "2027-05-31", *SMALL, "--json").json
    assert [one["hatch"] for one in ahead["hatches"]] == ["jun-1", "jul-1"]
    assert [one["is_set"] for one in ahead["hatches"]] == [False, False]
    log(planned, "eggs_set hatch=summer eggs=44 place=incubator source=creek at=2027-06-02T20:00")
    assert "set_planned_eggs" not in rules(planned, "2027-06-02")
    ahead = planned("outlook", "--on", "2027-06-03", *SMALL, "--json").json
    assert [one["hatch"] for one in ahead["hatches"]] == ["summer", "jul-1"]
    assert "let_go" not in rules(planned, "2027-06-19")
    assert "let_go" in rules(planned, "2027-06-20")
    [_, done, *_] = section(planned("flock", "--on", "2027-06-03").out, "Planned sets")
    assert done.split() == ["jun-1", "2027-06-01", "48", "creek", "incubator", "done,", "as",
                            "summer"]  # fmt: skip


def test_the_outlook_counts_the_plan_and_can_leave_it_out(planned: Quail) -> None:
    on = ("--on", "2027-05-06")
    answer = planned("outlook", *on, *SMALL, "--json").json
    assert answer["planned"] == {
        "sets": [
            {"hatch": "jun-1", "on": "2027-06-01", "eggs": 48, "of": "creek", "place": "incubator"},
            {"hatch": "jul-1", "on": "2027-07-01", "eggs": 30, "of": "hens", "place": "incubator"},
        ],
        "culls": [
            {"on": "2027-06-20", "of": "hens", "keep_hens": 7, "keep_cocks": None},
        ],
    }  # fmt: skip
    assert answer["question"] is None
    said = "With 2 planned sets (jun-1, jul-1) and birds let go as planned on 1 day."
    assert said in answer["said"]
    text = planned("outlook", *on, *SMALL).out
    assert said in text
    assert "Hatches under way or planned" in text
    bare = planned("outlook", *on, *SMALL, "--no-planned", "--json").json
    assert bare["planned"] == {"sets": [], "culls": []}
    assert [one["hatch"] for one in bare["hatches"]] == ["may"]
    assert any(sentence.startswith("Left out: 2 planned sets") for sentence in bare["said"])
    assert answer["weeks"][-1]["hens"]["mean"] > bare["weeks"][-1]["hens"]["mean"]


def test_a_question_is_asked_on_top_of_the_plan(planned: Quail) -> None:
    on = ("--on", "2027-05-06")
    more = planned("outlook", *on, *SMALL, "--set", "2027-05-10 20 creek")
    assert "What 20 eggs of creek set on 2027-05-10 would change" in more.out
    told = planned("outlook", *on, *SMALL, "--set", "2027-05-10 20 creek", "--json").json
    assert len(told["hatches"]) == 4
    assert told["question"] == "20 eggs of creek set on 2027-05-10"


def test_flock_tells_the_plan(planned: Quail) -> None:
    stands = planned("flock", "--on", "2027-06-09", "--json").json
    assert stands["plan"] == {"accepted_at": "2027-05-04T08:00:00+01:00", "certainty": 0.82}
    first, second = stands["planned_sets"]
    assert first == {
        "hatch": "jun-1", "on": "2027-06-01", "eggs": 48, "place": "incubator", "source": "creek",
        "group": None, "progress": "lapsed", "set_as": None,
    }  # fmt: skip
    assert (second["progress"], second["group"]) == ("ahead", "hens")
    assert stands["planned_culls"][0] == {
        "on": "2027-06-20", "hatch": None, "group": "hens", "hatched_on": None, "keep_hens": 7,
        "keep_cocks": None, "progress": "ahead", "hens": 10, "cocks": 2, "chicks": 0,
    }  # fmt: skip
    text = planned("flock", "--on", "2027-06-09").out
    assert section(text, "Planned sets")[1].split()[-1] == "lapsed"
    assert "Planned: birds let go" in text


def test_one_set_taken_back_goes_without_a_word_of_its_cull(planned: Quail) -> None:
    exported = planned("journal", "export").out
    [line] = [row for row in exported.splitlines() if '"hatch":"jun-1"' in row and "eggs" in row]
    back = planned("log", "retract", f"entry={json.loads(line)['id']}", "why=no time",
                   "at=2027-05-05")  # fmt: skip
    assert back.code == 0, back.err
    sets = planned("flock", "--on", "2027-05-06", "--json").json["planned_sets"]
    assert [one["hatch"] for one in sets] == ["jul-1"]
    assert planned("journal", "check").code == 0


def test_a_plan_comes_in_again_as_it_went_out(planned: Quail) -> None:
    before = planned("flock", "--on", "2027-06-09", "--json").json
    exported = planned("journal", "export").out
    assert (
        json.loads(next(row for row in exported.splitlines() if "plan_accepted" in row))["brief"]
        == BRIEF.strip()
    )
    other = ("--flock", "other.sqlite")
    assert planned("journal", "import", "-", *other, stdin=exported.encode()).code == 0
    assert planned("flock", "--on", "2027-06-09", "--json", *other).json == before


SET = "set_planned hatch=jun-9 on=2027-06-09 eggs=40 place=incubator source=creek at=2027-05-06"


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (SET.replace("eggs=40", "eggs=61"),
         "eggs: 61 eggs, but incubator holds 60. Plan fewer, or part them between machines."),
        (SET.replace("hatch=jun-9", "hatch=may"),
         "hatch: a hatch 'may' was set on 2027-05-02 already. Give the planned one a name"),
        (SET.replace("place=incubator", "place=pen"), "place: pen is a pen, not an incubator."),
        (SET.replace("on=2027-06-09", "on=2027-05-01"),
         "on: 2027-05-01 is before 2027-05-06: a plan is for days to come."),
        (SET.replace("on=2027-06-09", "on=2072-06-09"),
         "on: 2072-06-09 is more than 10 years after 2027-05-06. Mend the year."),
        (SET.replace("source=creek", ""), "source: nothing says whose eggs these are to be."),
        (SET.replace("source=creek", "group=hen"),
         "group: there is no group 'hen', planned or on the record. Did you mean 'hens'? Log"),
        (SET.replace("eggs=40", "eggs=0"), 'eggs: "0" will not do.'),
        ("cull_planned on=2027-06-09 hatch=mai keep_hens=3 at=2027-05-06",
         "hatch: there is no hatch 'mai', planned or on the record. Did you mean 'may'? Log"),
        ("cull_planned on=2027-06-09 keep_hens=3 at=2027-05-06",
         "hatch: nothing says which birds. Give either hatch or group."),
        ("cull_planned on=2027-06-09 hatch=may group=hens keep_hens=3 at=2027-05-06",
         "hatch: hatch and group are given. Give either hatch or group."),
        ("cull_planned on=2027-06-09 hatch=may at=2027-05-06",
         "keep_hens: nothing says how many stay. Give keep_hens, keep_cocks or both."),
        ("cull_planned on=2027-06-09 hatch=may hatched_on=2027-05-20 keep_hens=1 at=2027-05-06",
         "hatched_on: a hatch has a hatching day of its own."),
        ("plan_accepted brief=[goal certainty=0.8 at=2027-05-06", "brief: it is not TOML ("),
        ("plan_accepted brief=[goal] certainty=1.2 at=2027-05-06",
         'certainty: "1.2" will not do. Give a number, 0 to 1.'),
        (f"plan_accepted brief={'#' * 20001} certainty=1 at=2027-05-06", "0 to 20000 characters"),
    ],
)  # fmt: skip
def test_a_plan_that_cannot_be_is_refused_with_a_sentence(
    kept: Quail, words: str, says: str
) -> None:
    before = kept("journal", "export").out
    answer = kept("log", *words.split())
    assert answer.code == 2
    assert says in answer.err
    assert kept("journal", "export").out == before


def test_force_keeps_more_eggs_than_the_machine_holds(kept: Quail) -> None:
    log(kept, SET.replace("eggs=40", "eggs=70 force=true"))
    [one] = kept("flock", "--on", "2027-05-07", "--json").json["planned_sets"]
    assert one["eggs"] == 70
    assert "70 eggs, but incubator holds 60" in kept("journal", "check").out
