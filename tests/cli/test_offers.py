"""`offers`: what a keeper sees and what scripts read, and the exit code that goes with it."""

from pathlib import Path

import pytest
from tests.cli.conftest import Quail
from tests.cli.test_json import fits

NUMBER = (int, float)
OR_NULL = (int, float, type(None))
SHAPE = {
    "on": str, "hens": int, "certainty": NUMBER, "currency": str, "room_eggs": OR_NULL,
    "reached": bool, "offers": list, "together": (list, type(None)), "said": list,
}  # fmt: skip
OFFER = {
    "offer": int, "source": str, "route": str, "reaches": bool, "eggs": int, "eggs_needed": OR_NULL,
    "chance": NUMBER, "most_eggs": OR_NULL, "chance_with_most": OR_NULL, "cost": NUMBER,
    "cost_per_hen": dict, "hens": dict, "hens_sure": int, "hatch_of_set": dict, "survival": dict,
    "unbroken": dict, "own_hatches": int, "says": str,
}  # fmt: skip
TWO = """
currency = "EUR"
[[offer]]
source = "creek-farm"
route = "collected"
price_per_egg = 0.5
distance_km = 20
cost_per_km = 0.3
[[offer]]
source = "friend"
route = "collected"
price_per_egg = 0.2
most_eggs = 12
"""


@pytest.fixture
def files(quail: Quail) -> Quail:
    """A terminal in a folder with a file of two offers."""
    Path("two.toml").write_text(TWO, encoding="utf-8")
    return quail


def test_a_keeper_without_a_flock_is_answered_from_what_is_published(files: Quail) -> None:
    answer = files("offers", "two.toml", "--hens", "12", "--on", "2027-05-02")
    assert (answer.code, answer.err) == (0, "")
    first, advice, *rest = answer.out.splitlines()
    assert first == "eggs for 12 hens at lay, with a chance of 80%, as of Sunday 2 May 2027"
    assert advice.startswith("  Order ")
    assert "eggs from creek-farm for" in advice
    assert any("friend: Not enough eggs: it sells 12 at most" in line for line in rest)
    assert not Path("flock.sqlite").exists()


def test_the_json_is_that_of_the_page(files: Quail) -> None:
    answer = files("offers", "two.toml", "--hens", "12", "--on", "2027-05-02", "--json")
    assert (answer.code, answer.err) == (0, "")
    told = answer.json
    fits(told, SHAPE)
    page = (Path(__file__).parents[2] / "docs" / "offers.md").read_text(encoding="utf-8")
    for key in (*SHAPE, *OFFER):
        assert f"`{key}`" in page
    for offer in told["offers"]:
        fits(offer, OFFER)
        for name in ("cost_per_hen", "hens", "hatch_of_set", "survival", "unbroken"):
            assert set(offer[name]) == {"mean", "q10", "q90"}
    best, other = told["offers"]
    assert (best["source"], best["reaches"], other["reaches"]) == ("creek-farm", True, False)
    assert best["cost"] == pytest.approx(best["eggs"] * 0.5 + 2 * 20 * 0.3)
    assert best["chance"] >= 0.8
    assert (best["chance_with_most"], other["most_eggs"], other["eggs"]) == (None, 12, 12)


def test_the_same_question_has_the_same_answer(files: Quail) -> None:
    words = ("offers", "two.toml", "--hens", "12", "--on", "2027-05-02", "--json")
    assert files(*words).out == files(*words).out


def test_no_offer_is_enough(files: Quail) -> None:
    Path("few.toml").write_text(
        TWO.partition("[[offer]]")[0] + "[[offer]]" + TWO.split("[[offer]]")[2]
    )
    answer = files("offers", "few.toml", "--hens", "12")
    assert (answer.code, answer.err) == (1, "")
    assert "No offer brings 12 hens at lay with a chance of 80%." in answer.out
    assert "eggs from friend, if it will sell so many." in answer.out
    told = files("offers", "few.toml", "--hens", "12", "--json")
    assert told.code == 1
    assert told.json["reached"] is False


def test_the_flock_tells_its_goal_its_money_and_its_machine(kept: Quail) -> None:
    kept("log", "goal", "eggs_per_week=120", "certainty=0.9", "at=2027-01-01")
    text = TWO.replace('currency = "EUR"', "").encode()
    answer = kept("offers", "-", "--on", "2027-05-06", "--json", stdin=text)
    assert answer.code == 0, answer.err
    assert (answer.json["hens"], answer.json["certainty"], answer.json["room_eggs"]) == (
        25,
        0.9,
        60,
    )
    shown = kept("offers", "-", "--on", "2027-05-06", stdin=text)
    assert "Home: eggs for 25 hens at lay" in shown.out
    assert "Your incubators hold 60 eggs" in shown.out


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("two.toml",), "How many hens do you want at lay?"),
        (("two.toml", "--hens", "0"), "--hens is 1 to 1000, not 0."),
        (("two.toml", "--hens", "9", "--certainty", "80"), "--certainty is a number from 0.5"),
        (("two.toml", "--hens", "9", "--certainty", "nan"), "--certainty is a number from 0.5"),
        (("two.toml", "--hens", "9", "--on", "soon"), "--on: 'soon' is not a date"),
        (("none.toml", "--hens", "9"), "There is no file none.toml."),
        (("bad.toml", "--hens", "9"), "Line 3, offer 1, price_per_egg: -1 will not do."),
    ],
)
def test_bad_input_gets_a_sentence(files: Quail, words: tuple[str, ...], says: str) -> None:
    Path("bad.toml").write_text("[[offer]]\nsource = 'a'\nprice_per_egg = -1\nroute = 'own'\n")
    answer = files("offers", *words)
    assert (answer.code, answer.out) == (2, "")
    assert says in answer.err


def test_a_flock_file_that_is_named_must_be_there(files: Quail) -> None:
    answer = files("--flock", "none.sqlite", "offers", "two.toml", "--hens", "9")
    assert answer.code == 3
    assert "There is no flock file at none.sqlite" in answer.err
