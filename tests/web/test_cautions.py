"""Cautions stand where the table says: on forms, on pages, and where a kind is taught."""

import html

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient
from tests.cli.conftest import Quail, quail
from tests.makers import made

from quailwright.guide.cautions import all_cautions, who_decides

__all__ = ["quail"]


def steps(of: str) -> list[str]:
    """The steps of a sort that the table names."""
    found = {step for each in all_cautions() for step in each.steps}
    return sorted(step.partition(":")[2] for step in found if step.startswith(f"{of}:"))


def test_the_table_names_no_sort_of_step_that_is_not_tested() -> None:
    sorts = {step.partition(":")[0] for each in all_cautions() for step in each.steps}
    # Rules: tests/guide/test_cautions.py. The sheet: tests/exchange/test_sitter.py.
    assert sorts == {"kind", "page", "rule", "sheet"}
    assert steps("sheet") == ["away"]


@pytest.mark.parametrize("kind", steps("kind"))
def test_the_form_of_a_kind_says_its_cautions(keeper: TestClient, kind: str) -> None:
    text = html.unescape(keeper.get(f"/log/{kind}").text)
    for each in all_cautions():
        assert (each.text in text) == (f"kind:{kind}" in each.steps), each.caution


@pytest.mark.parametrize("path", steps("page"))
def test_a_page_says_its_cautions(keeper: TestClient, path: str) -> None:
    text = html.unescape(keeper.get(path).text)
    for each in all_cautions():
        assert (each.text in text) == (f"page:{path}" in each.steps), each.caution


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
