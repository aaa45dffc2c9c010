"""Cautions stand where the table says: on forms, on pages, and where a kind is taught."""

import html
import re

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient
from tests.cli.conftest import Quail, quail
from tests.makers import made

from quailwright.guide.cautions import all_cautions, cautions_for, who_decides

__all__ = ["quail"]


def steps(of: str) -> list[str]:
    """The steps of a sort that the table names."""
    found = {step for each in all_cautions() for step in each.steps}
    return sorted(step.partition(":")[2] for step in found if step.startswith(f"{of}:"))


def test_the_table_names_no_sort_of_step_that_is_not_tested() -> None:
    sorts = {step.partition(":")[0] for each in all_cautions() for step in each.steps}
    # Rules: tests/guide/test_cautions.py. The sheet: tests/exchange/test_sitter.py.
    assert sorts == {"command", "kind", "page", "rule", "sheet"}
    assert steps("sheet") == ["away"]
    asked = {step for each in all_cautions() for step in each.further}
    assert asked == {step for step in asked if step.startswith(("page:", "command:"))}


@pytest.mark.parametrize("kind", steps("kind"))
def test_the_form_of_a_kind_says_its_cautions(keeper: TestClient, kind: str) -> None:
    text = html.unescape(keeper.get(f"/log/{kind}").text)
    for each in all_cautions():
        assert (each.text in text) == (f"kind:{kind}" in each.steps), each.caution


@pytest.mark.parametrize("path", steps("page"))
def test_a_page_says_its_cautions(keeper: TestClient, path: str) -> None:
    text = html.unescape(keeper.get(path).text)
    for each in all_cautions():
        step = f"page:{path}"
        assert (each.text in text) == (step in each.steps), each.caution
        assert text.count(each.said_at(step)) == (step in each.steps), each.caution


@pytest.mark.parametrize("command", steps("command"))
def test_a_command_says_its_cautions(quail: Quail, command: str) -> None:
    quail("log", "holding", "timezone=Europe/Lisbon", "latitude=38.7", "longitude=-9.1")
    told = quail(command)
    assert told.code == 0, told.err
    said = " ".join(told.out.split())
    for each in all_cautions():
        step = f"command:{command}"
        assert (each.text in said) == (step in each.steps), each.caution
        assert said.count(each.said_at(step)) == (step in each.steps), each.caution


def test_a_page_and_its_command_say_the_same() -> None:
    for page, command in (
        ("/brooding", "brooding"), ("/light", "light"), ("/housing", "housing"),
        ("/manure", "manure"), ("/eggs/store", "eggs"), ("/signs", "signs"),
    ):  # fmt: skip
        told = [
            [(each.caution, each.said_at(step)) for each in cautions_for(step)]
            for step in (f"page:{page}", f"command:{command}")
        ]
        assert told[0] == told[1]
        assert told[0]


def test_what_a_step_says_besides_stands_on_the_page_of_all(keeper: TestClient) -> None:
    text = html.unescape(keeper.get("/cautions").text)
    for each in all_cautions():
        assert set(each.further) <= set(each.steps), each.caution
        for more in each.further.values():
            assert more in text


@pytest.mark.parametrize("kind", steps("kind"))
def test_log_kind_says_its_cautions(quail: Quail, kind: str) -> None:
    said = " ".join(quail("log", kind).out.split())
    for each in all_cautions():
        assert (each.text in said) == (f"kind:{kind}" in each.steps), each.caution


def test_the_short_forms_of_a_place_say_them_too(app: FastAPI, keeper: TestClient) -> None:
    text = html.unescape(keeper.get("/places/pen").text)
    form = text.split('action="/log/birds_died"')[1].split("</form>")[0]
    assert "open no dead bird" in form


def test_the_page_lists_all_with_who_decides_and_whom_to_ring(
    app: FastAPI, keeper: TestClient
) -> None:
    text = html.unescape(keeper.get("/cautions").text)
    for each in all_cautions():
        assert each.text in text
        assert who_decides(each) in text
        assert each.source in text
    assert "/log/contact?role=vet&back=/cautions" in text
    app.state.home.record(
        made("contact", "2027-05-03", contact="Dr. Moss", role="vet", phone="555 0100")
    )
    told = html.unescape(keeper.get("/cautions").text)
    medicines = told.split('id="medicines"')[1].split("</article>")[0]
    assert 'Dr. Moss, vet: <a href="tel:5550100">555 0100</a>' in medicines
    manure = told.split('id="manure"')[1].split("</article>")[0]
    assert "555 0100" not in manure


def test_the_round_and_today_say_a_caution_once(
    app: FastAPI, keeper: TestClient, quail: Quail
) -> None:
    places = [
        (made("place", "2027-01-01", place=f"pen {n}", role="pen", walk_order=n),
         made("group", "2027-01-01", group=f"hens {n}", place=f"pen {n}", hens=9,
              hatched_on="2026-10-01"))
        for n in range(10, 15)
    ]  # fmt: skip
    app.state.home.record(*(entry for pair in places for entry in pair))
    text = html.unescape(keeper.get("/").text)
    cautions = re.findall(r'<p class="caution">(.*?)</p>', text)
    assert any("move nothing, sell nothing" in each for each in cautions)
    assert len(cautions) == len(set(cautions))
    quail("log", "holding", "timezone=Europe/Lisbon", "at=2027-01-01")
    for place in ("a", "b", "c"):
        quail("log", "place", f"place={place}", "role=pen", "at=2027-01-01")
        quail("log", "group", f"group={place}", f"place={place}", "hens=9", "at=2027-01-01",
              "hatched_on=2026-10-01")  # fmt: skip
    told = quail("today", "--on", "2027-05-03").out
    # Folded to the terminal's width, a caution goes on at its own indent.
    found = re.findall(r"^( +)(Caution: .*(?:\n\1(?!Caution: )\S.*)*)", told, re.M)
    lines = [" ".join(each.split()) for _, each in found]
    assert any("move nothing, sell nothing" in line for line in lines)
    assert len(lines) == len(set(lines))
