"""`hatch`: what scripts read and what a keeper sees, for every state a hatch can be in."""

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from tests.cli.conftest import Quail
from tests.cli.test_json import fits

pytestmark = pytest.mark.usefixtures("end_of_june")

Q = ("mean", "q05", "q10", "q25", "q50", "q75", "q90", "q95")
NUMBER = (int, float)
OR_NULL = (int, float, type(None))
SHAPE = {
    "hatch": str, "place": str, "set_at": str, "now": str, "day": int, "eggs": dict, "steps": list,
    "dates": dict, "weight_loss": dict, "window": dict, "first_hatch_at": dict,
    "expected_chicks": NUMBER, "result": (dict, type(None)), "usual_hatch_of_set": dict,
    "causes": list, "best_check": (dict, type(None)), "blames": (bool, type(None)), "said": list,
}  # fmt: skip
WEIGHT_LOSS = {
    "points": list, "rate_pct_per_day": dict, "loss_at_stop_pct": dict, "corridor_pct": list,
    "humidity_to_set_pct": OR_NULL, "humidity_display_pct": OR_NULL, "wet_bulb_c": OR_NULL,
    "leave_it": (bool, type(None)), "chance_in_corridor": NUMBER, "chance_if_set": OR_NULL,
    "chance_if_weighed_again": OR_NULL, "conductance_mg_day_torr": dict,
    "shell_factor": dict, "hygrometer_offset_pct": (dict, type(None)),
    "weighing_doubtful": bool,
}  # fmt: skip


def log(quail: Quail, *lines: str) -> None:
    for words in lines:
        answer = quail("log", *words.split())
        assert answer.code == 0, answer.err


def readings(quail: Quail, days: float = 14.0, shown: float = 45.0, celsius: float = 37.5) -> None:
    """A logger in the incubator, every half hour from the setting on."""
    start = datetime(2027, 5, 2, 19, tzinfo=UTC)
    rows = [
        f"{start + timedelta(minutes=30 * step):%Y-%m-%dT%H:%M:%SZ},{celsius},{shown}"
        for step in range(round(days * 48))
    ]
    Path("log.csv").write_text("\n".join(["time,temperature,humidity", *rows]) + "\n")
    answer = quail("readings", "import", "log.csv", "--place", "incubator", "--units", "c")
    assert answer.code == 0, answer.err


def checked(quail: Quail, on: str, name: str = "may") -> Any:
    """The JSON of a hatch, held to the contract; and its text without a fault."""
    text = quail("hatch", name, "--on", on)
    assert (text.code, text.err) == (0, ""), text.err
    assert text.out.startswith(f"{name} in ")
    answer = quail("hatch", name, "--on", on, "--json")
    assert (answer.code, answer.err) == (0, "")
    told = answer.json
    fits(told, SHAPE)
    assert set(told["eggs"]) >= {"set", "removed", "alive"}
    assert all(isinstance(count, int) and count >= 0 for count in told["eggs"].values())
    for step in told["steps"]:
        assert set(step) >= {"what", "at", "done"}
        assert isinstance(step["done"], bool)
        assert datetime.fromisoformat(step["at"]).tzinfo
    loss = told["weight_loss"]
    fits(loss, WEIGHT_LOSS)
    for point in loss["points"]:
        assert set(point) >= {"day", "loss_pct"}
    for name_ in ("rate_pct_per_day", "loss_at_stop_pct", "conductance_mg_day_torr"):
        assert tuple(loss[name_]) == Q
        ordered = [loss[name_][q] for q in Q[1:]]
        assert ordered == sorted(ordered)
    low, high = loss["corridor_pct"]
    assert 0 < low < high < 100
    for times in (told["window"], told["first_hatch_at"]):
        assert tuple(times) == Q
        moments = [datetime.fromisoformat(times[q]) for q in Q]
        assert all(moment.tzinfo for moment in moments)
        assert moments[1:] == sorted(moments[1:])
    if told["result"] is not None:
        for share in ("fertility", "hatch_of_set", "hatch_of_fertile"):
            held = told["result"][share]
            assert held is None or set(held) == {"value", "low95", "high95", "n"}
        assert isinstance(told["result"]["losses"], dict)
    for cause in told["causes"]:
        fits(cause, {"cause": str, "weight": NUMBER, "because": list, "check": str})
    assert json.loads(answer.out) == told
    return told


WEIGHED = (
    "eggs_weighed hatch=may eggs=24 total_g=264 at=2027-05-02T20:05",
    "eggs_weighed hatch=may eggs=24 total_g=253 at=2027-05-07T20:00",
)


def test_a_hatch_of_which_only_the_setting_is_known(kept: Quail) -> None:
    told = checked(kept, "2027-05-03T20:00")
    assert told["day"] == 1
    assert told["eggs"] == {"set": 24, "removed": 0, "alive": 24, "hatched": 0}
    assert told["result"] is None
    assert told["causes"] == []
    loss = told["weight_loss"]
    assert loss["points"] == []
    assert not loss["weighing_doubtful"]
    assert 30 <= loss["humidity_to_set_pct"] <= 60
    assert loss["humidity_display_pct"] is None
    assert loss["hygrometer_offset_pct"] is None
    text = kept("hatch", "may", "--on", "2027-05-03T20:00").out
    assert "From now on: true humidity" in text
    assert "weigh at setting" in text


def test_weighings_and_readings_together(kept: Quail) -> None:
    log(kept, *WEIGHED)
    readings(kept, days=5.2, shown=38.0)
    told = checked(kept, "2027-05-07T21:00")
    loss = told["weight_loss"]
    assert [point["loss_pct"] for point in loss["points"]] == pytest.approx([0, 4.17], abs=0.01)
    offset = loss["hygrometer_offset_pct"]["mean"]
    assert loss["humidity_display_pct"] - loss["humidity_to_set_pct"] == pytest.approx(
        offset, abs=0.11
    )
    assert loss["rate_pct_per_day"]["q50"] == pytest.approx(4.17 / 5, abs=0.05)
    text = kept("hatch", "may", "--on", "2027-05-07T21:00").out
    assert "o weighed" in text
    assert "Not weighed at setting" not in text
    assert "Chance to land" in text


@pytest.mark.parametrize(
    ("grams", "says"),
    [(264, "lost nothing; even dense shells"), (170, "no shell loses more than about")],
)
def test_a_doubtful_weighing_is_told_first_and_nothing_is_advised(
    kept: Quail, grams: int, says: str
) -> None:
    """The same weight typed twice; a tray weighed with the eggs once (Ar et al. 1974 give 11 g
    eggs some 4 % in five days at 45 %)."""
    log(kept, WEIGHED[0])
    readings(kept, days=5.2)
    log(kept, f"eggs_weighed hatch=may eggs=24 total_g={grams} at=2027-05-07T20:00")
    told = checked(kept, "2027-05-07T21:00")
    loss = told["weight_loss"]
    assert loss["weighing_doubtful"]
    advised = ("humidity_to_set_pct", "humidity_display_pct", "wet_bulb_c", "leave_it",
               "chance_if_set", "chance_if_weighed_again", "hygrometer_offset_pct")  # fmt: skip
    assert [loss[key] for key in advised] == [None] * len(advised)
    assert says in told["said"][0]
    text = kept("hatch", "may", "--on", "2027-05-07T21:00").out
    heading = "Weight loss: does it land in the corridor?\n"
    first = text.partition(heading)[2].splitlines()[0]
    assert says in first
    for never in (
        "set yours to",
        "true humidity",
        "likely 1",
        "Chance to land",
        "By the weighings",
    ):
        assert never not in text.partition(heading)[2].partition("Dates")[0]
    assert text.count(says) == 1


def test_no_weighing_at_setting(kept: Quail) -> None:
    log(kept, WEIGHED[1], "eggs_weighed hatch=may eggs=24 total_g=241 at=2027-05-12T20:00")
    first, second = checked(kept, "2027-05-13")["weight_loss"]["points"]
    assert 2 < first["loss_pct"] < 6 < second["loss_pct"] < 11
    assert "Not weighed at setting" in kept("hatch", "may", "--on", "2027-05-13").out


def test_a_checked_hygrometer_predicts_romao_2009(kept: Quail) -> None:
    """Romao et al. 2009, LRRD 21(3): 8.94 % in 15 days at 52.25 %; here to day 14."""
    log(kept, "instrument instrument=dial place=incubator humidity_offset_pct=0 at=2027-05-01")
    log(kept, WEIGHED[0])
    readings(kept, days=1.0, shown=52.25)
    loss = checked(kept, "2027-05-03T20:00")["weight_loss"]
    assert loss["loss_at_stop_pct"]["q50"] == pytest.approx(8.94 * 14 / 15, abs=0.6)
    assert loss["hygrometer_offset_pct"]["mean"] == pytest.approx(0, abs=1)


def test_a_loss_of_6_5_percent_at_a_display_of_45(kept: Quail) -> None:
    log(kept, WEIGHED[0], "eggs_weighed hatch=may eggs=24 total_g=247 at=2027-05-16T19:00")
    readings(kept)
    told = checked(kept, "2027-05-16T19:30")
    offset = told["weight_loss"]["hygrometer_offset_pct"]
    assert -25 <= offset["mean"] <= -14
    text = kept("hatch", "may", "--on", "2027-05-16T19:30").out
    assert "the hygrometer reads low by about" in text
    assert "No setting brings it into the corridor any more" in text
    assert told["weight_loss"]["leave_it"]


def test_after_the_stop_of_turning_nothing_is_to_be_set(kept: Quail) -> None:
    log(kept, *WEIGHED, "turning_stopped hatch=may at=2027-05-16T20:00")
    loss = checked(kept, "2027-05-17")["weight_loss"]
    settable = ("humidity_to_set_pct", "humidity_display_pct", "wet_bulb_c", "leave_it")
    assert [loss[key] for key in (*settable, "chance_if_set")] == [None] * 5


def test_a_closed_hatch_with_its_result_and_causes(kept: Quail) -> None:
    log(
        kept, *WEIGHED,
        "eggs_candled hatch=may clear=3 dead=1 at=2027-05-09T20:00",
        "chicks_hatched hatch=may chicks=6 at=2027-05-20T08:00",
        "eggs_opened hatch=may early=2 late=10 pipped=2 at=2027-05-23T08:00",
        "hatch_closed hatch=may at=2027-05-23T09:00",
    )  # fmt: skip
    told = checked(kept, "2027-06-20")
    assert told["result"]["hatch_of_set"]["n"] == 24
    assert told["causes"]
    assert isinstance(told["blames"], bool)
    assert told["expected_chicks"] == 6
    text = kept("hatch", "may", "--on", "2027-06-20").out
    assert "closed." in text.splitlines()[0]
    assert "As far as it is known" in text
    assert "Chicks: likely" not in text
    assert "4 taken out, 6 hatched, 14 unhatched." in text


def test_a_hatch_in_which_nothing_hatched(kept: Quail) -> None:
    log(kept, "hatch_closed hatch=may at=2027-05-24T09:00")
    told = checked(kept, "2027-05-25")
    assert told["eggs"]["hatched"] == told["expected_chicks"] == 0
    assert told["result"]["hatch_of_set"]["value"] == 0


def test_one_egg(kept: Quail) -> None:
    log(
        kept,
        "eggs_set hatch=one eggs=1 place=incubator source=friend at=2027-05-03T08:00",
        "eggs_weighed hatch=one eggs=1 total_g=11 at=2027-05-03T08:00",
        "eggs_weighed hatch=one eggs=1 total_g=10 at=2027-05-10T08:00",
    )
    told = checked(kept, "2027-05-11", "one")
    assert 5 < told["weight_loss"]["loss_at_stop_pct"]["q50"] < 20
    log(
        kept,
        "chicks_hatched hatch=one chicks=1 at=2027-05-20T08:00",
        "hatch_closed hatch=one at=2027-05-21",
    )
    assert checked(kept, "2027-05-22", "one")["result"]["hatch_of_set"]["value"] == 1


def test_a_day_without_its_hour_and_no_zone(quail: Quail) -> None:
    log(quail, "eggs_set hatch=may eggs=12 place=box source=friend at=2027-05-02")
    assert checked(quail, "2027-05-04")["day"] in (1, 2)


def test_readings_without_weighings_and_a_machine_in_the_frost(kept: Quail) -> None:
    readings(kept, days=3, celsius=-8.0)
    told = checked(kept, "2027-05-05T20:00")
    assert told["weight_loss"]["points"] == []
    assert told["weight_loss"]["hygrometer_offset_pct"] is not None


def test_a_hatch_that_is_not_set_yet_and_one_that_never_was(kept: Quail) -> None:
    for words in (("may", "--on", "2027-04-30"), ("june", "--on", "2027-05-06")):
        for flags in ((), ("--json",)):
            answer = kept("hatch", *words, *flags)
            assert (answer.code, answer.out) == (2, "")
            assert f"There is no hatch '{words[0]}'" in answer.err
    assert kept("hatch", "may", "--on", "soon").code == 2


def test_the_list(kept: Quail, quail: Quail) -> None:
    assert kept("hatch", "--on", "2027-05-06", "--json").json == ["may"]
    assert "may" in kept("hatch", "--on", "2027-05-06").out
    assert "No hatch is recorded" in kept("hatch", "--on", "2027-04-01").out
    assert kept("hatch", "--on", "2027-04-01", "--json").json == []


def test_no_flock_file(quail: Quail) -> None:
    assert quail("hatch", "may").code == 3


# Bad input: a sentence, exit code 2, nothing kept.


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (
            "eggs_weighed hatch=may eggs=40 total_g=440 at=2027-05-07",
            "40 eggs on the scale, but may",
        ),
        ("eggs_weighed hatch=may eggs=24 total_g=272 at=2027-05-07", "eggs do not gain weight"),
        ("eggs_weighed hatch=may eggs=24 total_g=564 at=2027-05-07", "23.5 g an egg cannot be"),
        ("eggs_weighed hatch=may eggs=24 total_g=24 at=2027-05-07", "1.0 g an egg cannot be"),
        (
            "eggs_set hatch=june eggs=24 place=box source=friend mean_egg_g=23.5 at=2027-06-02",
            "23.5 g an egg cannot be",
        ),
    ],
)
def test_what_cannot_have_been_weighed(kept: Quail, words: str, says: str) -> None:
    log(kept, WEIGHED[0])
    answer = kept("log", *words.split())
    assert (answer.code, answer.out) == (2, "")
    assert says in answer.err
    assert "Traceback" not in answer.err
    assert len(checked(kept, "2027-05-08")["weight_loss"]["points"]) == 1
    assert kept("log", *words.split(), "force=true").code == 0


def test_a_mean_weight_given_at_setting_may_not_rise_either(kept: Quail) -> None:
    log(
        kept,
        "eggs_set hatch=june eggs=20 place=incubator source=friend mean_egg_g=11 at=2027-05-03",
    )
    risen = "eggs_weighed hatch=june eggs=20 total_g=228 at=2027-05-08"
    assert "11.40 g an egg, after 11.00 g" in kept("log", *risen.split()).err
    log(kept, "eggs_weighed hatch=june eggs=20 total_g=212 at=2027-05-08")


def test_what_chance_and_candling_explain_is_taken(kept: Quail) -> None:
    """The mean of the eggs left may rise a little when light ones are taken out; and ten eggs
    picked anew may be heavier than six others."""
    log(
        kept, WEIGHED[0],
        "eggs_candled hatch=may clear=6 dead=0 at=2027-05-03T09:00",
        "eggs_weighed hatch=may eggs=18 total_g=200 at=2027-05-03T09:05",
        "eggs_set hatch=june eggs=24 place=incubator source=friend at=2027-05-03T10:00",
        "eggs_weighed hatch=june eggs=6 total_g=64 at=2027-05-03T10:05",
        "eggs_weighed hatch=june eggs=10 total_g=117 at=2027-05-08T10:00",
    )  # fmt: skip
    checked(kept, "2027-05-09")
    checked(kept, "2027-05-09", "june")


def test_a_hatch_with_more_chicks_than_eggs_does_not_add_up(kept: Quail) -> None:
    log(kept, "chicks_hatched hatch=may chicks=45 at=2027-05-19T20:00 force=true")
    on = "2027-05-20"
    told = checked(kept, on)
    assert "The record does not add up: 45 eggs are accounted for, 24 were set." in told["said"][0]
    text = kept("hatch", "may", "--on", on).out
    assert text.index("does not add up") < text.index("Result so far")
    assert "may still hatch" not in text


def test_an_abandoned_hatch_no_longer_tells_when_chicks_come(kept: Quail) -> None:
    on = "2027-06-30"
    told = checked(kept, on)
    assert "The wait was over on Sat 22 May 20:00" in told["said"][0]
    text = kept("hatch", "may", "--on", on).out
    assert "Chicks: likely" not in text
    assert "log hatch_closed" in text
    assert "Chicks: likely" in kept("hatch", "may", "--on", "2027-05-18").out


def test_what_nobody_looked_into_is_said_to_be_reckoned(kept: Quail) -> None:
    log(kept, "eggs_candled hatch=may clear=4 dead=0 at=2027-05-09T20:00",
        "chicks_hatched hatch=may chicks=14 at=2027-05-19T20:00")  # fmt: skip
    before = kept("hatch", "may", "--on", "2027-05-22").out
    assert "fertility, reckoned: 83%" in before
    assert "hatch of fertile, reckoned: 70%" in before
    assert "hatch of set: 58%" in before
    assert checked(kept, "2027-05-22")["result"]["reckoned"] == ["fertility", "hatch_of_fertile"]
    log(kept, "eggs_opened hatch=may early=2 late=4 at=2027-05-23T08:00")
    after = kept("hatch", "may", "--on", "2027-05-23").out
    assert "fertility: 83%" in after
    assert "reckoned" not in after
    assert checked(kept, "2027-05-23")["result"]["reckoned"] == []
