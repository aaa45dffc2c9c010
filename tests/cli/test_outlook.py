"""`outlook` on the terminal and as JSON, held to docs/contract.md."""

import subprocess
import sys
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from tests.cli.conftest import Quail

SMALL = ("--draws", "200", "--weeks", "6")
ON = ("--on", "2027-05-06")
Q = ["mean", "q05", "q10", "q25", "q50", "q75", "q90", "q95"]
WEEK = ["from", "eggs", "hens", "cocks", "chicks", "deaths", "feed_kg", "live_kg"]
RATE: dict[str, Any] = {
    "name": str, "for": str, "mean": float, "q05": float, "q95": float, "prior_mean": float,
    "records": (int, float), "records_in": str, "weight_published": float, "weight_others": float,
    "weight_own": float,
}  # fmt: skip


def is_spread(spread: dict[str, Any], kind: type = float) -> None:
    assert list(spread) == Q
    middle = [spread[name] for name in Q[1:]]
    if kind is str:
        times = [datetime.fromisoformat(at) for at in middle]
        assert all(at.tzinfo is not None for at in times)
        assert times == sorted(times)
    else:
        assert middle == sorted(middle)
        assert middle[0] >= 0


def test_json_is_that_of_the_contract(kept: Quail) -> None:
    answer = kept("outlook", *ON, *SMALL, "--seed", "3", "--json")
    assert (answer.code, answer.err) == (0, "")
    ahead = answer.json
    shown = {"as_of", "draws", "seed", "question", "planned", "weeks", "hatches", "rates", "said"}
    assert set(ahead) == shown
    assert ahead["planned"] == {"sets": [], "culls": []}
    assert (ahead["as_of"], ahead["draws"], ahead["seed"]) == ("2027-05-06", 200, 3)
    assert [week["from"] for week in ahead["weeks"]] == [
        str(date(2027, 5, 7) + timedelta(weeks=n)) for n in range(6)
    ]
    for week in ahead["weeks"]:
        # Feed has a price in this flock; no eggs were sold and no goal is set.
        assert list(week) == [*WEEK, "feed_cost"]
        for name in list(week)[1:]:
            is_spread(week[name])
    (hatch,) = ahead["hatches"]
    assert list(hatch) == ["hatch", "is_set", "chicks", "first_hatch_at", "hens_at_8_weeks"]
    assert hatch["is_set"] is True
    assert hatch["hatch"] == "may"
    is_spread(hatch["chicks"])
    is_spread(hatch["hens_at_8_weeks"])
    is_spread(hatch["first_hatch_at"], str)
    first = datetime.fromisoformat(hatch["first_hatch_at"]["q50"])
    assert str(first.utcoffset()) == "1:00:00"  # Lisbon in May
    assert date(2027, 5, 17) <= first.date() <= date(2027, 5, 21)
    names = {(rate["name"], rate["for"]) for rate in ahead["rates"]}
    assert {("hatch_of_set", ""), ("fertility", ""), ("lay", ""), ("lay", "hens")} <= names
    for rate in ahead["rates"]:
        assert set(rate) == set(RATE)
        assert all(isinstance(rate[key], kind) for key, kind in RATE.items()), rate
        assert sum(rate[f"weight_{of}"] for of in ("published", "others", "own")) == pytest.approx(
            1, abs=0.002
        )
    assert all(isinstance(sentence, str) and sentence for sentence in ahead["said"])


def test_a_hatch_long_overdue_is_no_longer_shown(kept: Quail) -> None:
    assert kept("outlook", "--on", "2027-06-22", *SMALL, "--json").json["hatches"] == []


def test_if_nothing_hatches_there_is_no_first_hour(kept: Quail) -> None:
    (hatch,) = kept("outlook", *ON, *SMALL, "--no-hatches", "--json").json["hatches"]
    assert hatch["first_hatch_at"] is None
    assert hatch["chicks"]["q95"] == 0


def test_prices_and_a_goal_are_reckoned_with(kept: Quail) -> None:
    kept("log", "goal", "eggs_per_week=50", "at=2027-05-03")
    kept("log", "eggs_out", "group=hens", "use=sold", "eggs=6", "income=3", "at=2027-05-05")
    for week in kept("outlook", *ON, *SMALL, "--json").json["weeks"]:
        assert list(week) == [*WEEK, "feed_cost", "egg_income", "chance_of_goal"]
        assert 0 <= week["chance_of_goal"] <= 1


def test_the_same_seed_says_the_same(kept: Quail) -> None:
    asked = ("outlook", *ON, *SMALL, "--json")
    assert kept(*asked).out == kept(*asked).out
    assert kept(*asked).out != kept(*asked, "--seed", "2").out


def test_the_terminal_shows_weeks_and_what_is_not_known(kept: Quail) -> None:
    answer = kept("outlook", *ON, *SMALL)
    assert (answer.code, answer.err) == (0, "")
    assert answer.out.startswith("Home: the weeks after")
    for words in (
        "Not in your record yet, so as published", "Eggs a week", "next week, likely",
        "four times in five", "Hatches under way", "may", "feed, kg", "--rates",
    ):  # fmt: skip
        assert words in answer.out, words
    assert max(len(line) for line in answer.out.splitlines()) <= 120


def test_rates_show_what_each_rests_on(kept: Quail) -> None:
    out = kept("outlook", *ON, "--rates").out
    for words in ("hatch of set", "fertility", "lay", "deaths a week adult", "hen-days", "publ."):
        assert words in out, words


def test_a_question_says_what_it_changes(kept: Quail) -> None:
    out = kept("outlook", *ON, *SMALL, "--set", "2027-05-10 40 creek-farm", "--lamp", "15").out
    assert "What a lamp to 15 h, 40 eggs of creek-farm set on 2027-05-10 would change" in out
    assert "kg of feed" in out
    assert "would change" not in kept("outlook", *ON, *SMALL).out
    fewer = kept("outlook", *ON, *SMALL, "--fewer-cocks", "1", "--fewer-hens", "2").out
    assert "What 1 cock fewer, 2 hens fewer would change" in fewer


BAD = [
    (("--weeks", "0"), "--weeks is 1 to 520"),
    (("--weeks", "521"), "--weeks is 1 to 520"),
    (("--draws", "0"), "--draws is 1 to 1,000,000"),
    (("--seed", "-1"), "--seed is 0 or more"),
    (("--lamp", "25"), "--lamp is hours of light a day"),
    (("--lamp", "nan"), "--lamp is hours of light a day"),
    (("--fewer-cocks", "-1"), "0 or more"),
    (("--fewer-cocks", "40"), "40 cocks cannot go: there are 2"),
    (("--fewer-hens", "11"), "11 hens cannot go: there are 10"),
    (("--set", "40 creek"), "is not understood"),
    (("--set", "2027-06-01 forty creek"), "is not understood"),
    (("--set", ""), "is not understood"),
    (("--set", "2027-05-01 40 creek"), "that day is not ahead"),
    (("--set", "2027-06-01 0 creek"), "1 to 100,000 eggs"),
    (("--set", "9999-12-20 40 creek"), "--set"),
    (("--on", "2027-13-01"), "--on"),
]


@pytest.mark.parametrize(("options", "says"), BAD, ids=[" ".join(case[0]) for case in BAD])
def test_what_cannot_be_asked_gets_a_sentence(
    kept: Quail, options: tuple[str, ...], says: str
) -> None:
    on = () if "--on" in options else ON
    answer = kept("outlook", *on, *options)
    assert answer.code == 2
    assert answer.out == ""
    assert says in answer.err
    assert "Traceback" not in answer.err


@pytest.mark.parametrize("more", [(), ("--rates",), ("--past",), ("--json",), ("--lamp", "15")])
def test_a_flock_without_entries_has_an_outlook(kept: Quail, more: tuple[str, ...]) -> None:
    answer = kept("outlook", "--on", "2026-01-01", *SMALL, *more)
    assert (answer.code, answer.err) == (0, "")
    assert answer.out
    if more == ():
        assert "Nothing is recorded up to then: every rate is the published one." in answer.out
    if more == ("--json",):
        assert answer.json["hatches"] == []
        assert all(week["eggs"]["q95"] == 0 for week in answer.json["weeks"])


def test_without_a_flock_file_it_says_what_to_do(quail: Quail) -> None:
    answer = quail("outlook")
    assert (answer.code, answer.out) == (3, "")
    assert "Traceback" not in answer.err


def test_the_past_is_answered_from_what_was_known_then(kept: Quail) -> None:
    before = kept("outlook", "--on", "2027-04-01", *SMALL, "--json").json
    assert before["hatches"] == []
    assert before["weeks"][0]["from"] == "2027-04-02"
    kept("log", "birds_died", "group=hens", "hens=9", "at=2027-05-05")
    assert kept("outlook", "--on", "2027-04-01", *SMALL, "--json").json == before
    at_noon = kept("outlook", "--on", "2027-05-06T12:00+01:00", *SMALL, "--json").json
    assert at_noon["as_of"] == "2027-05-06"


def test_past_forecasts_are_scored(kept: Quail) -> None:
    assert "The record is too short" in kept("outlook", "--on", "2027-01-03", "--past").out
    lines = "".join(
        f'{{"id":"0191d5a0-5f5e-7c3a-9d52-{n:012x}","kind":"eggs_collected",'
        f'"at":"{date(2027, 2, 1) + timedelta(days=n)}","group":"hens","eggs":{7 + n % 3}}}\n'
        for n in range(89)
    )
    assert kept("journal", "import", "-", stdin=lines.encode()).code == 0
    answer = kept("outlook", *ON, "--past", "--json")
    assert (answer.code, answer.err) == (0, "")
    assert answer.json
    for score in answer.json:
        assert set(score) == {
            "weeks_ahead", "forecasts", "held", "error", "error_of_last_month", "sentence",
        }  # fmt: skip
        assert 0 <= score["held"] <= score["forecasts"]
    assert answer.json[0]["sentence"] in kept("outlook", *ON, "--past").out


def test_one_forecast_is_not_called_forecasts(kept: Quail) -> None:
    from quailwright.outlook.scores import Score

    assert "1 forecasts" not in Score(1, 1, 1, 2.0, 3.0).sentence


def test_progress_is_not_on_standard_output(kept: Quail, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True)
    answer = kept("outlook", *ON, "--past", "--json")
    assert answer.json is not None
    assert "Forecasts made again" in answer.err


HENS = ["log", "group", "group=hens", "place=pen", "hens=3", "at=2027-05-01"]


@pytest.mark.parametrize("last", [HENS, ["today", *ON], ["flock", *ON]], ids=lambda c: c[0])
def test_commands_that_foretell_nothing_start_without_numerics(
    tmp_path: Path, last: list[str]
) -> None:
    code = (
        "import sys\n"
        "from quailwright.cli.main import run\n"
        f"for words in {HENS!r}, {last!r}:\n"
        f"    sys.argv = ['quailwright', '--flock', {str(tmp_path / 'f.sqlite')!r}, *words]\n"
        "    try: run()\n"
        "    except SystemExit as leaving: assert not leaving.code\n"
        "print(sorted({'numpy', 'scipy', 'pandas'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"
