"""`costs`, and `outlook --feed`: what a keeper sees, what scripts read, and what is refused."""

from pathlib import Path
from typing import Any

import pytest
from tests.cli.conftest import Quail
from tests.cli.test_json import fits

ON = ("--on", "2027-05-30")
NUMBER = (int, float)
OR_NULL = (int, float, type(None))
SHAPE = {
    "from": str, "until": str, "currency": str, "per_egg": dict, "per_dozen": dict,
    "per_hen_at_lay": dict, "per_dressed_bird": dict, "per_hour": dict, "cocks": dict,
    "costs": dict, "income": dict, "result": NUMBER, "shares": dict, "eggs": dict,
    "break_even": dict, "feed": dict, "months": list, "hatches": list,
    "what_moves": (dict, type(None)), "plan": list, "said": list,
}  # fmt: skip
EACH = {"value": OR_NULL, "parts": dict}
MONTH = {
    "month": str, "costs": dict, "income": dict, "result": NUMBER, "cash": NUMBER, "eggs": int,
    "sold": int, "eaten": int, "given": int, "discarded": int, "feed_kg": NUMBER,
    "hen_days": NUMBER, "minutes": NUMBER, "per_dozen": OR_NULL,
}  # fmt: skip
HATCH = {
    "hatch": str, "hatched_on": (str, type(None)), "grown_on": (str, type(None)),
    "chicks": NUMBER, "hens": NUMBER, "cocks": NUMBER, "left_young": NUMBER, "cost": NUMBER,
    "parts": dict, "each": OR_NULL,
}  # fmt: skip
BAR = {
    "what": str, "now": NUMBER, "low": NUMBER, "high": NUMBER, "at_low": NUMBER, "at_high": NUMBER,
    "basis": str,
}  # fmt: skip


@pytest.fixture
def paid(kept: Quail) -> Quail:
    """The small flock, with feed, eggs sold and eaten, minutes and a cage."""
    for words in (
        "feed_given feed=pellets kg=8 at=2027-05-20",
        "quarantine place=pen until=2027-05-20 at=2027-05-20",
        "eggs_collected group=hens eggs=40 at=2027-05-21",
        "eggs_out use=sold eggs=12 income=4 at=2027-05-22",
        "eggs_out use=eaten eggs=6 at=2027-05-22",
        "care task=feed_water place=pen minutes=30 at=2027-05-23",
        "money amount=-36 category=cage lasts_years=3 at=2027-05-01",
    ):
        assert kept("log", *words.split()).code == 0
    return kept


def test_json_is_that_of_the_page(paid: Quail) -> None:
    answer = paid("costs", *ON, "--json")
    assert (answer.code, answer.err) == (0, "")
    told = answer.json
    fits(told, SHAPE)
    assert (told["from"], told["until"]) == ("2027-01-01", "2027-05-30")
    page = (Path(__file__).parents[2] / "docs" / "costs.md").read_text(encoding="utf-8")
    for key in (*SHAPE, *MONTH, *HATCH, *BAR):
        assert f"`{key}`" in page, key
    for name in ("per_egg", "per_dozen"):
        fits(told[name], EACH)
        assert sum(told[name]["parts"].values()) == pytest.approx(told[name]["value"], abs=1e-4)
    fits(told["per_hen_at_lay"], EACH | {"birds": NUMBER, "if_cocks_bear_nothing": OR_NULL})
    fits(told["per_dressed_bird"], EACH | {"birds": NUMBER})
    fits(told["per_hour"], EACH | {"hours": NUMBER, "hours_noted": NUMBER})
    fits(
        told["cocks"],
        EACH
        | {"birds": NUMBER, "per_week": NUMBER, "per_egg": OR_NULL,
           "per_week_if_they_eat_as_hens": NUMBER},
    )  # fmt: skip
    for month in told["months"]:
        fits(month, MONTH)
    for hatch in told["hatches"]:
        fits(hatch, HATCH)
    for bar in told["what_moves"]["bars"]:
        fits(bar, BAR)
    # 8 of 20 kg that cost 18, and 30 days of a cage of 36 that lasts 3 years.
    assert told["costs"]["feed"] == pytest.approx(7.2)
    assert told["costs"]["equipment"] == pytest.approx(36 * 30 / (3 * 365.25), abs=1e-6)
    assert told["income"] == {"eggs sold": 4.0}
    assert told["eggs"] == {"laid": 48, "sold": 12, "eaten": 6, "given": 0, "discarded": 0}
    assert told["per_hour"]["value"] == pytest.approx((4 - sum(told["costs"].values())) / 0.5)
    assert told["per_dressed_bird"]["value"] is None
    assert sum(sum(parts.values()) for parts in told["shares"].values()) == pytest.approx(
        sum(told["costs"].values())
    )


def test_the_terminal_says_it_in_words(paid: Quail) -> None:
    answer = paid("costs", *ON)
    assert (answer.code, answer.err) == (0, "")
    assert answer.out.startswith("Home: what it cost from Friday 1 January 2027 to Sunday 30 May")
    for words in (
        "48 eggs laid; 12 sold, 6 eaten (those are no income)", "an egg", "a hen at lay",
        "not known", "an hour earns", "The cocks with the hens (2.0 on the mean) cost",
        "By month", "2027-05", "What moves the cost of a dozen?", "What is not known",
        "What the birds of hens cost is not told",
    ):  # fmt: skip
        assert words in answer.out, words
    assert max(len(line) for line in answer.out.splitlines()) <= 140


def test_feed_is_told_in_the_units_of_the_keeper(paid: Quail) -> None:
    """8 kg are 17.6 lb: the pound is 0.45359237 kg (International yard and pound, 1959)."""
    assert "feed, kg" in paid("costs", *ON).out
    assert paid("log", "holding", "name=Home", "units=us", "at=2027-05-02").code == 0
    told = paid("costs", *ON).out
    assert "feed, lb" in told
    assert "17.6" in told


def test_without_feed_told_no_egg_costs_nothing(quail: Quail) -> None:
    for words in (
        "place place=pen role=pen at=2027-01-01",
        "group group=hens place=pen hens=10 hatched_on=2026-10-01 at=2027-01-01",
        "eggs_collected group=hens eggs=8 at=2027-05-02",
    ):
        assert quail("log", *words.split()).code == 0
    told = quail("costs", "--on", "2027-05-02", "--json").json
    assert told["eggs"]["laid"] > 0
    assert told["per_egg"]["value"] is None
    assert told["break_even"]["per_dozen"] is None
    assert "0.000" not in quail("costs", "--on", "2027-05-02").out
    assert quail("costs", "--on", "2027-05-02", "--sheet", "s.xlsx").code == 0


def test_days_are_those_asked_for(paid: Quail) -> None:
    told = paid("costs", *ON, "--from", "2027-05-22", "--until", "2027-05-23", "--json").json
    assert (told["from"], told["until"]) == ("2027-05-22", "2027-05-23")
    assert told["eggs"]["laid"] == 0
    assert told["costs"].keys() == {"equipment"}
    assert told["per_egg"] == {"value": None, "parts": {}}


def test_a_minute_with_a_price_is_a_cost(paid: Quail) -> None:
    told = paid("costs", *ON, "--minute", "0.2", "--json").json
    assert told["costs"]["time"] == pytest.approx(6.0)


def test_an_accepted_plan_stands_beside_what_came(paid: Quail) -> None:
    accepted = ("plan_accepted", "brief=[goal]", "certainty=0.8", "at=2027-05-10")
    assert paid("log", *accepted).code == 0
    told = paid("costs", *ON, "--json").json
    [month] = told["plan"]
    assert (month["month"], month["in"]) == ("2027-05", "money")
    assert month["reckoned"]["q10"] <= month["reckoned"]["q50"] <= month["reckoned"]["q90"]
    # The feed given on 20 May, the only cost since.
    assert month["came"] == pytest.approx(7.2)
    shown = paid("costs", *ON).out
    assert "what the accepted plan reckoned, and what came" in shown
    assert "7.20" in shown


def test_files_are_written_whole(paid: Quail) -> None:
    answer = paid("costs", *ON, "--csv", "m.csv", "--sheet", "s.xlsx")
    assert (answer.code, answer.err) == (0, "")
    assert "Written: m.csv" in answer.out
    assert Path("m.csv").read_text(encoding="utf-8").startswith("month,eggs_laid")
    assert Path("s.xlsx").read_bytes()[:2] == b"PK"
    assert sorted(path.name for path in Path().iterdir() if path.name.startswith(".")) == []


BAD = [
    (("--from", "2027-06-01"), "The first day, 2027-06-01, lies after the last day, 2027-05-30."),
    (("--until", "2027-06-01"), "The last day, 2027-06-01, lies after 2027-05-30"),
    (("--from", "soon"), "--from: "),
    (("--until", "2027-02-30"), "--until: "),
    (("--minute", "-1"), "What a minute of yours is worth is 0 to"),
    (("--minute", "nan"), "What a minute of yours is worth is 0 to"),
    (("--csv", "nowhere/m.csv"), "nowhere/m.csv cannot be written"),
    (("--sheet", "nowhere/s.xlsx"), "nowhere/s.xlsx cannot be written"),
    (("--on", "2027-13-01"), "--on"),
]


@pytest.mark.parametrize(("options", "says"), BAD, ids=[" ".join(case[0]) for case in BAD])
def test_what_cannot_be_asked_gets_a_sentence(
    paid: Quail, options: tuple[str, ...], says: str
) -> None:
    on = () if "--on" in options else ON
    answer = paid("costs", *on, *options)
    assert (answer.code, answer.out) == (2, "")
    assert says in answer.err
    assert "Traceback" not in answer.err


@pytest.mark.parametrize("more", [(), ("--json",), ("--csv", "m.csv", "--sheet", "s.xlsx")])
def test_before_the_first_entry_there_is_nothing_to_pay(kept: Quail, more: tuple[str, ...]) -> None:
    answer = kept("costs", "--on", "2026-01-01", *more)
    assert (answer.code, answer.err) == (0, "")
    if more == ("--json",):
        assert answer.json["costs"] == {}
        assert answer.json["what_moves"] is None


def test_without_a_flock_file_it_says_what_to_do(quail: Quail) -> None:
    answer = quail("costs")
    assert (answer.code, answer.out) == (3, "")
    assert "Traceback" not in answer.err


SMALL = ("--draws", "200", "--weeks", "14")
Q = {"mean", "q05", "q10", "q25", "q50", "q75", "q90", "q95"}
FEED: dict[str, Any] = {
    "feed": str, "stage": (str, type(None)), "serves": list, "kg": NUMBER, "runs_out": dict,
    "delivery_days": OR_NULL, "order_by": (str, type(None)), "keeps_days": NUMBER,
    "keeps_told": bool, "bags": list,
}  # fmt: skip
BAG = {
    "kg": NUMBER, "bought_on": (str, type(None)), "mixed_on": (str, type(None)),
    "runs_out": dict, "keeps_until": (str, type(None)), "left_then_kg": (dict, type(None)),
}  # fmt: skip


def test_feed_ahead_as_json_is_that_of_the_page(kept: Quail) -> None:
    kept("log", "feed", "feed=pellets", "stage=layer", "delivery_days=5", "at=2027-05-01")
    answer = kept("outlook", "--feed", "--on", "2027-05-06", *SMALL, "--json")
    assert (answer.code, answer.err) == (0, "")
    told = answer.json
    shape = {
        "as_of": str, "draws": int, "seed": int, "weeks": list, "feeds": list, "unserved": list,
        "use": (dict, type(None)), "spill": dict, "said": list,
    }  # fmt: skip
    fits(told, shape)
    page = (Path(__file__).parents[2] / "docs" / "costs.md").read_text(encoding="utf-8")
    for key in (*shape, *FEED, *BAG):
        assert f"`{key}`" in page, key
    for week in told["weeks"]:
        assert set(week) == {"from", "starter", "grower", "layer"}
        assert set(week["layer"]) == Q
    [feed] = told["feeds"]
    fits(feed, FEED)
    fits(feed["bags"][0], BAG)
    assert feed["runs_out"]["q10"] <= feed["runs_out"]["q50"]
    assert feed["order_by"] is not None
    # The chicks of the hatch under way have no starter.
    assert {one["stage"] for one in told["unserved"]} >= {"starter"}


def test_feed_ahead_in_words(kept: Quail) -> None:
    answer = kept("outlook", "--feed", "--on", "2027-05-06", *SMALL)
    assert (answer.code, answer.err) == (0, "")
    for words in ("Feed for the weeks after", "week by week", "When does each bag run out?",
                  "delivery_days=...", "from memory"):  # fmt: skip
        assert words in answer.out, words


def test_feed_ahead_of_an_empty_flock(kept: Quail) -> None:
    answer = kept("outlook", "--feed", "--on", "2026-01-01", *SMALL)
    assert (answer.code, answer.err) == (0, "")
