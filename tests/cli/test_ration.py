"""`ration` and `blend`: what a keeper sees and what scripts read, and the exit code with it."""

import re
from pathlib import Path

import pytest
from tests.cli.conftest import Quail
from tests.cli.test_json import fits

from quailwright.husbandry.ingredients import ingredients
from quailwright.planning import blend_brief, ration_brief

NUMBER = (int, float)
OR_NULL = (int, float, type(None))
RATION = {
    "status": str, "stage": str, "batch_kg": NUMBER, "certainty": NUMBER, "currency": str,
    "cost": OR_NULL, "cost_per_kg": OR_NULL, "exact_cost_per_kg": OR_NULL,
    "rounding_cost_per_kg": OR_NULL, "margin_cost_per_kg": OR_NULL, "whole_scoops": bool,
    "finer_scoop_kg": OR_NULL, "feasible_on_mean": bool, "mix": list, "exact_mix": list,
    "needs": list, "prices": list,
    "worth": list, "clashes": list, "short": list, "unchecked": list, "untold": dict,
    "cautions": list, "said": list,
}  # fmt: skip
PART = {
    "ingredient": str, "kg": NUMBER, "share_pct": NUMBER, "scoops": (int, type(None)),
    "price_per_kg": NUMBER, "certainty": str, "basis": str,
}  # fmt: skip
NEED = {
    "nutrient": str, "unit": str, "min": OR_NULL, "max": OR_NULL, "asked_min": OR_NULL,
    "holds": OR_NULL, "surely": OR_NULL, "met": bool, "sources": list, "others": list,
}  # fmt: skip
BLEND = {
    "status": str, "targets": dict, "birds": list, "currency": str, "total_kg": NUMBER,
    "cost": OR_NULL, "mix": list, "holds": dict, "square": (dict, type(None)),
    "calcium_max_pct": OR_NULL, "shell_g_per_hen_a_day": OR_NULL, "left_out": dict,
    "cautions": list, "said": list,
}  # fmt: skip
PRICES = {"maize": 0.3, "sbm48": 0.6, "veg_oil": 1.3, "limestone": 0.15, "dcp": 0.9, "salt": 0.2,
          "dl_met": 5, "peas": 0.55}  # fmt: skip
LAYER = (
    'stage = "layer"\nbatch_kg = 20\nscoop_kg = 0.25\ncurrency = "EUR"\n'
    + "".join(
        f'[[ingredient]]\ningredient = "{name}"\nprice_per_kg = {price}\n'
        for name, price in PRICES.items()
    )
    + '[[ingredient]]\ningredient = "premix"\nprice_per_kg = 4\nshare_pct = 0.5\n'
)
TWO = """
stage = "layer"
[[ingredient]]
ingredient = "maize"
price_per_kg = 0.3
[[ingredient]]
ingredient = "sbm48"
price_per_kg = 0.6
"""
PEN = """
batch_kg = 10
birds = ["grower", "layer"]
[target]
protein_pct = 20
[[feed]]
feed = "crumbs"
protein_pct = 28
calcium_pct = 1.1
price_per_kg = 1.2
[[feed]]
feed = "maize"
price_per_kg = 0.3
"""


def page() -> str:
    """docs/feed.md."""
    return (Path(__file__).parents[2] / "docs" / "feed.md").read_text(encoding="utf-8")


def test_a_layer_ration_says_what_it_rests_on_and_what_it_does_not_cover(quail: Quail) -> None:
    answer = quail("ration", "-", stdin=LAYER.encode())
    assert (answer.code, answer.err) == (0, "")
    text = " ".join(answer.out.split())
    assert text.startswith("Layer ration, 20 kg: ")
    for said in (
        "a chance of 80%",
        "kept from memory or inferred",
        "Put the figures of labels or a laboratory into the brief first",
        "The safe base is a balanced feed",
        "Not checked: vitamins and trace minerals.",
        "Not covered: moulds and their poisons, the size of the grain",
        "Whole scoops cost ",
        "Another 0.1 % of methionine would cost ",
        "Field peas, white flowered is worth buying below 0.",
        "Limestone: A layer's calcium damages the kidneys of birds not in lay.",
    ):
        assert said in text, said


def test_the_json_of_a_ration_is_that_of_the_page(quail: Quail) -> None:
    answer = quail("ration", "-", "--json", stdin=LAYER.encode())
    assert (answer.code, answer.err) == (0, "")
    told = answer.json
    fits(told, RATION)
    for key in (*RATION, *PART, *NEED):
        assert f"`{key}`" in page(), key
    for part in told["mix"]:
        fits(part, PART)
    for need in told["needs"]:
        fits(need, NEED)
        assert need["met"]
        assert need["sources"]
    assert (told["status"], told["whole_scoops"]) == ("met", True)
    assert sum(part["kg"] for part in told["mix"]) == pytest.approx(20, abs=0.0011)
    assert all(part["scoops"] >= 1 for part in told["mix"])
    assert told["cost"] == pytest.approx(
        sum(part["kg"] * part["price_per_kg"] for part in told["mix"]), abs=1e-4
    )
    assert told["exact_cost_per_kg"] + told["rounding_cost_per_kg"] == pytest.approx(
        told["cost_per_kg"], abs=2e-6
    )
    for one in told["prices"]:
        fits(one, {"nutrient": str, "bound": str, "per_unit": NUMBER, "step": NUMBER,
                   "step_cost_per_kg": OR_NULL, "says": str})  # fmt: skip
    for one in told["worth"]:
        fits(one, {"ingredient": str, "below": NUMBER, "why": str, "says": str})
    assert "arginine" in told["unchecked"]
    assert "vitamin_a" in told["unchecked"]


def test_the_page_names_every_ingredient_and_key() -> None:
    listed = page().partition("## Ingredients of the table")[2]
    assert set(re.findall(r"[a-z]+\w*", listed)) >= set(ingredients())
    for key in (*ration_brief.INGREDIENT, *ration_brief.TOP, *blend_brief.FEED, *blend_brief.TOP):
        assert f"`{key}`" in page() or f"{key} =" in page(), key


def test_the_same_ration_twice(quail: Quail) -> None:
    words = ("ration", "-", "--json")
    assert quail(*words, stdin=LAYER.encode()).out == quail(*words, stdin=LAYER.encode()).out


def test_maize_and_soya_alone_are_told_what_they_lack(quail: Quail) -> None:
    answer = quail("ration", "-", stdin=TWO.encode())
    assert (answer.code, answer.err) == (1, "")
    text = " ".join(answer.out.split())
    assert "No: no mix of these ingredients meets every need." in text
    assert "No mix of these ingredients reaches this: calcium at least 2.50 %." in text
    assert "sodium at least 0.15 %" in text
    assert "methionine at least 0.45 %" in text
    assert "The nearest mix, which falls short" in text
    assert "no premix is in the mix" in text
    told = quail("ration", "-", "--json", stdin=TWO.encode())
    assert told.code == 1
    fits(told.json, RATION)
    assert told.json["status"] == "infeasible"
    assert told.json["clashes"]
    assert any(short.startswith("calcium:") for short in told.json["short"])


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ('stage = "pullet"\n', 'stage: "pullet" will not do. Give starter, grower or layer.'),
        ("", "stage: this is missing."),
        ('stage = "layer"\n', "ingredient: there is no ingredient in it."),
        (
            'stage = "layer"\n[[ingredient]]\ningredient = "maize"\nprice_per_kg = -1\n',
            "Line 4, ingredient 1, price_per_kg: -1 will not do. Give a number, 0 or more.",
        ),
        (
            'stage = "layer"\n[[ingredient]]\ningredient = "meal"\nprice_per_kg = 1\n'
            'contains = { protein = "100 %" }\n',
            "Line 5, ingredient 1, contains: Protein of 100 % leaves no room for anything else",
        ),
        (
            'stage = "layer"\n[[ingredient]]\ningredient = "meal"\nprice_per_kg = 1\n'
            'contains = { protein = "40 %", energy = "0 kcal/kg" }\n',
            "Energy of 0 cannot be: whatever has protein has energy.",
        ),
        (
            'stage = "layer"\n[needs.energy]\nmin = 0\n[[ingredient]]\ningredient = "maize"\n'
            "price_per_kg = 1\n",
            "needs.energy: a ration without energy feeds no bird.",
        ),
        (
            'stage = "layer"\n[[ingredient]]\ningredient = "amprolium"\nprice_per_kg = 1\n',
            "a medicine, or a feed with one in it, is no ingredient of a ration.",
        ),
        (
            'stage = "layer"\n[[ingredient]]\ningredient = "bag_gamebird_28"\nmedicated = true\n',
            "its withdrawal period is kept.",
        ),
        (
            'stage = "starter"\n[[ingredient]]\ningredient = "oyster_shell"\nprice_per_kg = 1\n',
            "oyster shell is for hens in lay, never for chicks or growers.",
        ),
        (
            'stage = "layer"\n[[ingredient]]\ningredient = "maize"\n',
            "maize has no price. Add price_per_kg (0 if it is yours for nothing).",
        ),
        (
            'stage = "layer"\n[[ingredient]]\ningredient = "maise"\nprice_per_kg = 1\n',
            '"maise" is not in the table of ingredients.',
        ),
        (
            'stage = "layer"\n[[ingredient]]\ningredient = "premix"\nprice_per_kg = 1\n',
            "premix goes in at the dose of its label. Add share_pct, such as 0.5.",
        ),
        (
            'stage = "layer"\n[[ingredient]]\ningredient = "peas"\nprice_per_kg = 1\n'
            'basis = "dry matter"\ncontains = { protein = "23 %" }\n',
            "figures of dry matter need the dry matter.",
        ),
        (
            'stage = "layer"\n[[ingredient]]\ningredient = "peas"\nprice_per_kg = 1\n'
            "contains = { protein = 23 }\n",
            'Write it with its unit, in quotes: protein = "23 %".',
        ),
        (
            'stage = "layer"\n[needs]\nlysin = {min = 1}\n',
            "needs.lysin: nothing of this name is known here. Did you mean lysine?",
        ),
    ],
)
def test_nonsense_in_a_ration_gets_a_sentence(quail: Quail, text: str, says: str) -> None:
    answer = quail("ration", "-", stdin=text.encode())
    assert answer.code == 2
    assert answer.out == ""
    assert says in answer.err


def test_own_figures_and_needs_are_taken(quail: Quail) -> None:
    """A laboratory sheet of dry matter in g/kg and MJ/kg, and needs in two units."""
    text = LAYER + (
        '[[ingredient]]\ningredient = "farm wheat"\nlike = "wheat_soft"\nprice_per_kg = 0.05\n'
        'share_pct = 20\nanalysed = true\nbasis = "dry matter"\ndry_matter_pct = 88\n'
        'contains = { protein = "118 g/kg", energy = "14.6 MJ/kg" }\n'
        "[needs.calcium]\nmin = 3.0\nmax = 3.2\n[needs.methionine]\nmin = '4.8 g/kg'\n"
    ).replace("[needs", "\n[needs")
    answer = quail("ration", "-", "--json", stdin=text.encode())
    assert answer.code == 0, answer.err
    needs = {need["nutrient"]: need for need in answer.json["needs"]}
    assert (needs["calcium"]["min"], needs["calcium"]["max"]) == (3.0, 3.2)
    assert 3.0 - 1e-6 <= needs["calcium"]["holds"] <= 3.2 + 1e-6
    assert needs["methionine"]["min"] == 0.48
    assert needs["methionine"]["sources"] == []
    (wheat,) = [part for part in answer.json["mix"] if part["ingredient"] == "farm wheat"]
    assert wheat["share_pct"] == pytest.approx(20, abs=0.01)
    assert wheat["certainty"] == "from memory, with your own figures"


def test_the_journal_tells_labels_and_prices(quail: Quail) -> None:
    quail("log", "feed", "feed=maize", "protein_pct=7.5", "price_per_kg=0.21", "at=2027-05-01")
    quail("log", "feed_bought", "feed=sbm48", "kg=10", "cost=5", "at=2027-05-01")
    text = LAYER.replace("price_per_kg = 0.3\n", "").replace("price_per_kg = 0.6\n", "")
    answer = quail("ration", "-", "--json", "--on", "2027-05-02", stdin=text.encode())
    assert answer.code == 0, answer.err
    prices = {part["ingredient"]: part["price_per_kg"] for part in answer.json["mix"]}
    assert (prices["maize"], prices["sbm48"]) == (0.21, 0.5)
    (maize,) = [part for part in answer.json["mix"] if part["ingredient"] == "maize"]
    assert maize["certainty"] == "from memory, with your own figures"


def test_a_blend_shows_the_square_and_the_shell(quail: Quail) -> None:
    answer = quail("blend", "-", stdin=PEN.encode())
    assert (answer.code, answer.err) == (0, "")
    text = " ".join(answer.out.split())
    assert "This blend holds protein 20.0 %." in text
    assert "crumbs 28 % 11.5 parts" in text
    assert "maize 8.5 % 8 parts" in text
    assert "put oyster shell in a dish of its own that hens reach" in text
    assert "Caution: Birds not in lay eat of it: more than 1.2 % calcium" in text


def test_the_json_of_a_blend_is_that_of_the_page(quail: Quail) -> None:
    answer = quail("blend", "-", "--json", stdin=PEN.encode())
    assert (answer.code, answer.err) == (0, "")
    fits(answer.json, BLEND)
    for key in BLEND:
        assert f"`{key}`" in page(), key
    assert answer.json["square"] == {
        "feeds": ["crumbs", "maize"], "holds": [28.0, 8.5], "target": 20.0, "parts": [11.5, 8.0],
    }  # fmt: skip
    assert answer.json["holds"]["protein"] == 20.0
    assert answer.json["cost"] == pytest.approx(5.897436 * 1.2 + 4.102564 * 0.3, abs=1e-4)


def test_a_blend_out_of_reach_says_no(quail: Quail) -> None:
    answer = quail("blend", "-", stdin=PEN.replace("= 20", "= 40").encode())
    assert (answer.code, answer.err) == (1, "")
    assert "No: these feeds hold 8.5 % to 28.0 % of protein" in answer.out


def test_medicated_feed_raises_the_caution(quail: Quail) -> None:
    text = PEN.replace('["grower", "layer"]', '["starter"]').replace(
        "calcium_pct = 1.1", "calcium_pct = 1.1\nmedicated = true"
    )
    answer = quail("blend", "-", stdin=text.encode())
    assert answer.code == 0, answer.err
    shown = " ".join(answer.out.split())
    assert "Only for the species and age that the label names" in shown
    assert "keep the withdrawal period for eggs and meat" in shown
    assert "oyster shell" not in shown


def test_the_shelf_of_the_journal_is_blended(kept: Quail) -> None:
    kept("log", "feed", "feed=pellets", "protein_pct=24", "calcium_pct=1", "at=2027-05-01")
    kept("log", "feed", "feed=maize", "protein_pct=9", "price_per_kg=0.3", "at=2027-05-01")
    answer = kept("blend", "-", "--on", "2027-05-06", "--json", stdin=b"batch_kg = 5\n")
    assert answer.code == 0, answer.err
    assert answer.json["birds"] == ["layer"]
    assert answer.json["targets"] == {"protein": 20.0}
    assert {part["feed"] for part in answer.json["mix"]} == {"pellets", "maize"}


@pytest.mark.parametrize("command", ["ration", "blend"])
def test_help_teaches_by_example(quail: Quail, command: str) -> None:
    answer = quail(command, "--help")
    assert answer.code == 0
    assert f"quailwright {command} " in answer.out
    assert max(map(len, answer.out.splitlines())) <= 100
    assert "..." not in answer.out
