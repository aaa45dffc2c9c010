"""The tables are well formed, and a figure is always handed out with its source."""

import csv
import subprocess
import sys
from importlib import resources
from typing import get_args

import pytest

from quailwright.husbandry import facts

COLUMNS = ["key", "value", "low", "high", "unit", "conditions", "source", "certainty", "seen"]

UNITS = {
    "%", "%/d", "1/d", "1/year", "1/week", "W", "birds", "count", "d", "deg", "eggs", "fraction",
    "fraction/week", "fraction/°C", "g", "g/d", "h", "h/week", "kcal/kg", "lux", "m", "min",
    "min/bird", "min/egg", "m²", "m³/h/kg", "points/d", "ppm", "rad", "rad/d", "ratio", "times/d",
    "week", "°C", "°C h", "°C/week", "K", "K/m", "1/K", "1/K²", "1/K³", "mg/day/torr", "points",
    "log odds", "kWh", "kcal/kg^0.75/d", "g/kg^0.75/d", "kcal/g", "g/g",
    "W/m/K", "W/m²/K", "m²K/W", "J/m³/K", "J/kg/K", "1/h", "MJ/kg/d", "kcal/kg^0.67/d",
    "kg/m³", "L", "s",
    "deg/century", "deg/century²",
}  # fmt: skip

ALL_ROWS = [row for key in facts.keys() for row in facts.rows(key)]  # noqa: SIM118


@pytest.mark.parametrize("subject", facts.subjects())
def test_table_has_the_nine_columns_in_order(subject: str) -> None:
    table = resources.files(facts).joinpath(f"{subject}.csv").read_text(encoding="utf-8")
    lines = list(csv.reader(table.splitlines()))
    assert lines[0] == COLUMNS
    assert {len(line) for line in lines} == {len(COLUMNS)}


@pytest.mark.parametrize("subject", facts.subjects())
def test_rows_of_a_key_stand_together_so_that_the_first_is_plain(subject: str) -> None:
    table = resources.files(facts).joinpath(f"{subject}.csv").read_text(encoding="utf-8")
    in_order = [line["key"] for line in csv.DictReader(table.splitlines())]
    runs = [key for i, key in enumerate(in_order) if i == 0 or in_order[i - 1] != key]
    assert len(runs) == len(set(runs))


def test_every_row_is_well_formed() -> None:
    for row in ALL_ROWS:
        assert row.certainty in get_args(facts.Certainty), row
        assert row.unit in UNITS, row
        assert row.conditions.strip(), row
        assert row.seen.strip(), row
        assert bool(row.source) is not (row.certainty == "common practice, no source"), row
        numbers = [n for n in (row.low, row.value, row.high) if n is not None]
        assert numbers, row
        assert numbers == sorted(numbers), row


def test_rows_of_a_key_share_one_unit() -> None:
    for key in facts.keys():  # noqa: SIM118
        assert len({row.unit for row in facts.rows(key)}) == 1, key


def test_only_published_rows_claim_to_have_been_read() -> None:
    for row in ALL_ROWS:
        if row.certainty == "from memory":
            assert row.seen.startswith("not read"), row
        if row.certainty == "published":
            assert row.seen.startswith(("read", "derived by arithmetic")), row


def test_figure_is_the_first_row_and_rows_keep_the_others() -> None:
    every = facts.rows("incubation.temperature")
    assert facts.figure("incubation.temperature") == every[0]
    assert facts.value("incubation.temperature") == every[0].value == 37.5
    assert len(every) > 3


def test_spread_spans_values_and_ranges_of_every_source() -> None:
    # Review 50 to 60 %; best of three humidities 36 %; by weight loss 30 to 53 %; up to 65 %.
    assert facts.spread("incubation.humidity_setter") == (30.0, 65.0)


def test_cite_names_number_unit_conditions_source_and_certainty() -> None:
    line = facts.figure("incubation.weight_loss_whole").cite()
    assert line == (
        "15 % (12.5 to 17.5), of egg weight over the whole incubation, natural nests of 81 bird "
        "species. Source: Ar and Rahn 1980, American Zoologist. Certainty: published "
        "(read in an excerpt)."
    )


def test_cite_of_common_practice_says_that_there_is_no_source() -> None:
    line = facts.figure("incubation.rest_posted_h").cite()
    assert line.startswith("48 h, ")
    assert "Source:" not in line
    assert line.endswith("Certainty: common practice, no source.")


def test_every_citation_is_one_line() -> None:
    assert all("\n" not in row.cite() for row in ALL_ROWS)


def test_unknown_key_names_the_nearest() -> None:
    with pytest.raises(facts.UnknownFigure, match=r"incubation\.temperature"):
        facts.figure("incubation.temprature")


@pytest.mark.parametrize("key", ["", "incubation", "nothing.temperature", "incubation."])
def test_unknown_key_is_refused_whatever_its_shape(key: str) -> None:
    with pytest.raises(facts.UnknownFigure):
        facts.rows(key)


def test_unknown_subject_names_the_tables() -> None:
    with pytest.raises(facts.UnknownFigure, match="brooding"):
        facts.keys("brood")


def test_value_of_a_range_is_refused_with_the_range() -> None:
    assert facts.spread("care.ammonia_harm") == (25.0, 50.0)
    with pytest.raises(facts.UnknownFigure, match="25 to 50 ppm"):
        facts.value("care.ammonia_harm")


def test_import_brings_in_neither_numerics_nor_the_tables() -> None:
    code = (
        "import sys; from quailwright.husbandry import facts;"
        "heavy = {'numpy', 'scipy', 'pandas', 'sqlalchemy'} & set(sys.modules);"
        "print(sorted(heavy), facts._table.cache_info().currsize)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[] 0"
