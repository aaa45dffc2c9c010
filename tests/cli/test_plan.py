"""`plan` as a keeper types it. Places, prices and sources are invented."""

import json
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from tests.cli.conftest import Quail

ROOM = """
[holding]
latitude = 54
timezone = "Europe/Berlin"
currency = "EUR"
[[place]]
place = "machine"
role = "incubator"
capacity_eggs = 80
[[place]]
place = "hatcher"
role = "hatcher"
capacity_eggs = 80
[[place]]
place = "brooder"
role = "brooder"
floor_m2 = 4
[[place]]
place = "pen"
role = "pen"
floor_m2 = 20
[[source]]
source = "creek"
route = "collected"
price_per_egg = 0.5
[prices]
feed_per_kg = 1.1
minute = 0.05
"""

SPRING = """
[goal]
eggs_per_week = 60
from = 2027-06-14
until = 2027-08-29
certainty = 0.8
[limits]
lamp = 15
"""

WINTER = """
[goal]
eggs_per_week = 60
from = 2027-11-01
until = 2028-01-30
certainty = 0.8
[limits]
lamp = false
"""


def planned(quail: Quail, folder: Path, brief: str, *more: str, code: int) -> dict[str, Any]:
    file = folder / "brief.toml"
    file.write_text(brief + ROOM, encoding="utf-8")
    answer = quail("plan", str(file), "--on", "2027-02-01", "--json", *more)
    assert answer.code == code, answer.err
    document: dict[str, Any] = json.loads(answer.out)
    return document


def test_a_goal_in_reach_is_met_as_surely_as_asked(quail: Quail, tmp_path: Path) -> None:
    plan = planned(quail, tmp_path, SPRING, code=0)
    assert plan["status"] == "met"
    chances = [week["chance_met"] for week in plan["weeks"] if week["chance_met"] is not None]
    assert len(chances) >= 10
    assert min(chances) >= 0.78
    # 60 quail eggs a week at 70 % lay are about 12 hens (common practice, no source); sure of it,
    # some more, and not twice as many.
    assert 12 <= sum(one["keep_hens"] for one in plan["sets"]) <= 30
    for one in plan["sets"]:
        assert 0 < one["eggs"] <= 80
        # Hens hatch after 17 days and lay at about 7 to 8 weeks (common practice, no source).
        assert one["on"] < "2027-05-01"
    assert plan["cost"]["q10"] <= plan["cost"]["mean"] <= plan["cost"]["q90"]
    parts = sum(plan["cost"]["parts"].values())
    assert parts == pytest.approx(plan["cost"]["mean"], rel=0.01)
    assert plan["reasons"] == []


# Days at 54 degrees north are shorter than 8 h in December (any almanac); hens do not lay in 10 h
# or less (Poult Sci 1975, 54:1918-1926).
def test_winter_without_a_lamp_is_refused_with_the_reason_and_a_way_out(
    quail: Quail, tmp_path: Path
) -> None:
    plan = planned(quail, tmp_path, WINTER, code=1)
    assert plan["status"] == "infeasible"
    assert any("lamp" in reason for reason in plan["reasons"])
    lamp = next(way for way in plan["alternatives"] if "lamp" in way["what"])
    assert lamp["chance_met_overall"] > plan["chance_met_overall"] + 0.3


def test_the_plan_in_words(quail: Quail, tmp_path: Path) -> None:
    file = tmp_path / "brief.toml"
    file.write_text(SPRING + ROOM, encoding="utf-8")
    answer = quail("plan", str(file), "--on", "2027-02-01")
    assert answer.code == 0, answer.err
    assert "This meets the goal." in answer.out
    assert "EUR" in answer.out
    assert "creek" in answer.out


@pytest.mark.parametrize(
    ("brief", "says"),
    [
        ("[goal]\neggs_per_week = nan\n", "eggs_per_week"),
        ("[goal]\neggs_per_week = 60\nfrom = 2027-09-01\nuntil = 2027-03-01\n", "until"),
        ("[goal]\neggs_per_week = 60\n[limits]\nbudget_per_month = -5\n", "budget_per_month"),
        ("[goal]\neggs_per_week = 60\ncertainty = 1.5\n", "certainty"),
        ("", "goal"),
    ],
)
def test_a_brief_that_makes_no_sense_gets_a_sentence(
    quail: Quail, tmp_path: Path, brief: str, says: str
) -> None:
    file = tmp_path / "brief.toml"
    file.write_text(brief + ROOM, encoding="utf-8")
    answer = quail("plan", str(file), "--on", "2027-02-01")
    assert answer.code == 2
    assert says in answer.err
    assert answer.out == ""


# Taking a plan on, and what becomes of it.


def written(folder: Path, brief: str) -> str:
    file = folder / "brief.toml"
    file.write_text(brief + ROOM, encoding="utf-8")
    return str(file)


def test_an_accepted_plan_is_known_to_round_outlook_and_flock(quail: Quail, tmp_path: Path) -> None:
    answer = quail("plan", written(tmp_path, SPRING), "--on", "2027-02-01", "--accept", "--json")
    assert answer.code == 0, answer.err
    plan = json.loads(answer.out)
    first = min(plan["sets"], key=lambda one: one["on"])
    entries = [json.loads(line) for line in quail("journal", "export").out.splitlines()]
    assert len(entries) == plan["accepted_entries"]
    kinds = [entry["kind"] for entry in entries]
    assert kinds.count("plan_accepted") == 1
    assert kinds.count("set_planned") == len(plan["sets"])
    # Places and sources that only the brief told of are known now, by route.
    assert {"holding", "goal", "place", "source"} <= set(kinds)
    days = {entry["on"] for entry in entries if entry["kind"] == "set_planned"}
    assert days == {one["on"] for one in plan["sets"]}
    today = quail("today", "--on", first["on"]).out
    assert str(first["eggs"]) in today
    assert "creek" in today
    outlook = json.loads(quail("outlook", "--on", "2027-02-02", "--weeks", "30", "--json").out)
    ahead = {week["from"]: week for week in outlook["weeks"]}
    later = max(ahead)
    assert ahead[later]["eggs"]["mean"] > 0
    without = quail("outlook", "--on", "2027-02-02", "--weeks", "30", "--json", "--no-planned").out
    assert json.loads(without)["weeks"][-1]["eggs"]["mean"] == 0


def test_made_again_when_nothing_changed_it_keeps_every_set(quail: Quail, tmp_path: Path) -> None:
    """No file is named: the accepted brief is in the journal."""
    file = written(tmp_path, SPRING)
    assert quail("plan", file, "--on", "2027-02-01", "--accept").code == 0
    again = json.loads(quail("plan", "--on", "2027-02-08", "--json").out)
    assert again["again"]["accepted_on"] == "2027-02-01"
    assert again["again"]["changes"] == []


def test_made_again_after_a_set_was_missed_it_says_so(quail: Quail, tmp_path: Path) -> None:
    file = written(tmp_path, SPRING)
    plan = json.loads(quail("plan", file, "--on", "2027-02-01", "--accept", "--json").out)
    last = max(one["on"] for one in plan["sets"])
    day = date.fromisoformat(last) + timedelta(days=9)
    again = json.loads(quail("plan", "--on", day.isoformat(), "--json", "--no-ways-out").out)
    assert any("was not done" in sentence for sentence in again["again"]["why"])
    assert any(change.startswith("new:") for change in again["again"]["changes"])
    assert all(one["on"] > day.isoformat() for one in again["sets"])


def test_made_again_after_a_poor_hatch_it_says_why_and_sets_more(
    quail: Quail, tmp_path: Path
) -> None:
    file = written(tmp_path, SPRING)
    plan = json.loads(quail("plan", file, "--on", "2027-02-01", "--accept", "--json").out)
    hatches = [
        json.loads(line)
        for line in quail("journal", "export").out.splitlines()
        if json.loads(line)["kind"] == "set_planned"
    ]
    first = min(hatches, key=lambda one: one["on"])
    hatched = date.fromisoformat(first["on"]) + timedelta(days=18)
    for kind, at, fields in (
        ("eggs_set", first["on"], [f"eggs={first['eggs']}", "place=machine", "source=creek"]),
        ("chicks_hatched", hatched, [f"chicks={round(0.15 * first['eggs'])}"]),
        ("hatch_closed", hatched + timedelta(days=2), []),
    ):
        said = quail("log", kind, f"hatch={first['hatch']}", f"at={at}", *fields)
        assert said.code == 0, said.err
    day = hatched + timedelta(days=3)
    again = json.loads(quail("plan", "--on", day.isoformat(), "--json", "--no-ways-out").out)
    assert any("atch of the eggs set" in sentence for sentence in again["again"]["why"])
    before = sum(one["eggs"] for one in plan["sets"] if one["on"] > day.isoformat())
    assert sum(one["eggs"] for one in again["sets"]) > before


def test_no_plan_accepted_and_no_file_is_told(quail: Quail) -> None:
    answer = quail("plan")
    assert answer.code == 2
    assert "No plan has been accepted" in answer.err


def test_choices_stand_side_by_side_and_one_can_be_picked(quail: Quail, tmp_path: Path) -> None:
    file = written(tmp_path, SPRING)
    answer = json.loads(quail("plan", file, "--on", "2027-02-01", "--json", "--choices").out)
    choices = {one["name"]: one for one in answer["choices"]}
    assert "as asked" in choices
    assert len(choices) >= 2
    for one in choices.values():
        worse = [
            other["cost"] > one["cost"]
            or other["chance_met_overall"] < one["chance_met_overall"]
            or other["hatches"] > one["hatches"]
            for name, other in choices.items()
            if name not in (one["name"], "as asked")
        ]
        assert all(worse) or one["name"] == "as asked"
    cheaper = json.loads(
        quail("plan", file, "--on", "2027-02-01", "--json", "--choice", "cheaper").out
    )
    assert cheaper["choice"] == "cheaper"
    assert cheaper["cost"]["mean"] < answer["cost"]["mean"]
    assert cheaper["certainty"] < answer["certainty"]


def test_a_choice_that_is_none_gets_a_sentence(quail: Quail, tmp_path: Path) -> None:
    file = written(tmp_path, SPRING)
    answer = quail("plan", file, "--on", "2027-02-01", "--choice", "best")
    assert answer.code == 2
    assert "fewer hatches" in answer.err


def test_what_if_stands_beside_the_plan(quail: Quail, tmp_path: Path) -> None:
    file = written(tmp_path, SPRING)
    told = "goal.eggs_per_week=30"
    answer = json.loads(quail("plan", file, "--on", "2027-02-01", "--json", "--what-if", told).out)
    assert answer["what_if"]["told"] == [told]
    assert answer["what_if"]["cost"]["mean"] < 0.8 * answer["cost"]["mean"]


@pytest.mark.parametrize(
    "told", ["rubbish", "limits.maxbirds=3", "limits.max_birds=-3", "place.pen=3", "goal=7"]
)
def test_what_if_of_nonsense_gets_a_sentence(quail: Quail, tmp_path: Path, told: str) -> None:
    file = written(tmp_path, SPRING)
    answer = quail("plan", file, "--on", "2027-02-01", "--what-if", told)
    assert (answer.code, answer.out) == (2, "")
    assert told.split(".")[0].split("=")[0] in answer.err


def test_what_if_is_not_taken_on(quail: Quail, tmp_path: Path) -> None:
    file = written(tmp_path, SPRING)
    answer = quail("plan", file, "--what-if", "limits.max_birds=9", "--accept")
    assert answer.code == 2
    assert "brief" in answer.err


# At 54 degrees north; what else would do is computed, with its price.
def test_the_winter_trap_has_three_ways_out_each_with_its_price(
    quail: Quail, tmp_path: Path
) -> None:
    plan = planned(quail, tmp_path, WINTER, code=1)
    ways = plan["alternatives"]
    assert len(ways) >= 3
    assert any("lamp" in way["what"] for way in ways)
    assert any("from" in way["what"] and "lamp" not in way["what"] for way in ways)
    for way in ways:
        assert way["chance_met_overall"] > plan["chance_met_overall"] + 0.3
        assert way["cost_more"] > 0


def test_breeding_hens_are_kept_with_their_cocks(quail: Quail, tmp_path: Path) -> None:
    brief = SPRING.replace("eggs_per_week = 60", "breeding_hens = 12")
    plan = planned(quail, tmp_path, brief, code=0)
    hens = sum(one["keep_hens"] for one in plan["sets"])
    cocks = sum(one["keep_cocks"] for one in plan["sets"])
    assert hens >= 12
    # One cock for four hens (common practice, no source).
    assert cocks == -(-hens // 4)
    assert min(w["chance_met"] for w in plan["weeks"] if w["chance_met"] is not None) >= 0.78


def test_posted_eggs_that_only_the_brief_tells_of_are_planned_as_posted(
    quail: Quail, tmp_path: Path
) -> None:
    """Posted eggs hatch worse than those fetched (Copur Akpinar & Gunenc 2019, transport and
    storage): more are set for the same hens."""
    eggs = {}
    for route in ("shipped", "collected"):
        room = ROOM.replace('route = "collected"', f'route = "{route}"')
        file = tmp_path / f"{route}.toml"
        file.write_text(SPRING + room, encoding="utf-8")
        answer = quail("plan", str(file), "--on", "2027-02-01", "--json", "--no-ways-out")
        eggs[route] = sum(one["eggs"] for one in json.loads(answer.out)["sets"])
    assert eggs["shipped"] > 1.1 * eggs["collected"]


def test_the_calendar_of_a_plan_is_in_order_and_complete(quail: Quail, tmp_path: Path) -> None:
    plan = planned(quail, tmp_path, SPRING, code=0)
    days = [step["on"] for step in plan["calendar"]]
    assert days == sorted(days)
    for doing in ("set", "lay down", "hatch", "to the pens", "choose"):
        found = [step for step in plan["calendar"] if step["do"] == doing]
        assert len(found) == len(plan["sets"])


def test_made_again_with_a_brief_that_forbids_an_accepted_day_it_moves_that_day(
    quail: Quail, tmp_path: Path
) -> None:
    file = written(tmp_path, SPRING)
    plan = json.loads(quail("plan", file, "--on", "2027-02-01", "--accept", "--json").out)
    first = min(one["on"] for one in plan["sets"])
    away = f'absences = [["{first}", "{first}"]]'
    changed = written(tmp_path, SPRING.replace("lamp = 15", f"lamp = 15\n{away}"))
    again = json.loads(quail("plan", changed, "--on", "2027-02-02", "--json").out)
    assert first not in {one["on"] for one in again["sets"]}
    assert again["again"]["changes"]


def test_made_again_without_a_source_it_had_it_takes_another(quail: Quail, tmp_path: Path) -> None:
    """The source is still in the journal, but has no more eggs."""
    file = written(tmp_path, SPRING)
    assert quail("plan", file, "--on", "2027-02-01", "--accept").code == 0
    room = ROOM.replace('source = "creek"', 'source = "mill"')
    gone = '[[source]]\nsource = "creek"\nroute = "collected"\nuntil = 2027-02-02\n'
    other = tmp_path / "other.toml"
    other.write_text(SPRING + room + gone, encoding="utf-8")
    again = json.loads(quail("plan", str(other), "--on", "2027-02-02", "--json").out)
    assert {one["source"] for one in again["sets"]} == {"mill"}
