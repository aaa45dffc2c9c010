"""Sheets as PDF on the pages, codes that open what they say, and a lid typed back in one go."""

import re
from html import unescape
from urllib.parse import urlsplit

import numpy as np
import pypdfium2  # type: ignore[import-untyped]
import pytest
import zxingcpp
from fastapi import FastAPI
from starlette.testclient import TestClient
from tests.web.conftest import NOW, PHRASES, Enter, entered, journal_of, token_of

from quailwright.exchange.sheets.printed import WHATS
from quailwright.journal.entries import Care, EggsCandled, EggsWeighed

BACK = "/paper/back/hatch?hatch=may"


def codes_of(data: bytes) -> list[str]:
    """The addresses on a sheet, as an independent reader of codes reads them off a drawing."""
    found = []
    for page in pypdfium2.PdfDocument(data):
        drawn = page.render(scale=2.5, grayscale=True).to_numpy()
        codes = zxingcpp.read_barcodes(np.ascontiguousarray(drawn.squeeze()))
        found += [code.text for code in sorted(codes, key=lambda code: code.position.top_left.y)]
    return found


@pytest.mark.parametrize("what", [what.name for what in WHATS if what.name != "brooder"])
def test_each_sheet_is_a_pdf_to_look_at(reading: TestClient, what: str) -> None:
    answer = reading.get(f"/paper/{what}.pdf?paper=letter&hatch=may")
    assert answer.status_code == 200, answer.text
    assert answer.headers["content-type"] == "application/pdf"
    assert re.fullmatch(
        rf"inline; filename=\"{what}-[\w-]+\.pdf\"; filename\*=UTF-8''{what}-[\w-]+\.pdf",
        answer.headers["content-disposition"],
    )
    assert answer.headers["content-security-policy"].startswith("default-src 'none'; script-src")
    assert pypdfium2.PdfDocument(answer.content)[0].get_width() == pytest.approx(612, abs=1)


def test_paper_links_to_sheets_on_the_paper_chosen(reading: TestClient) -> None:
    text = reading.get("/paper?paper=letter").text
    assert '<a class="button asked" href="/paper?paper=letter" aria-current="true">' in text
    links = [unescape(link) for link in re.findall(r'href="(/paper/\w+\.pdf[^"]*)"', text)]
    assert "/paper/lid.pdf?paper=letter&hatch=may" in links
    assert all("paper=letter" in link for link in links)
    for link in links:
        assert reading.get(link).status_code == 200, link
    assert "no phone can open them" in text  # asked for at localhost


def test_codes_open_the_right_page(reading: TestClient) -> None:
    for sheet, titles in (
        ("places", ["box", "pen"]),
        ("lid", ["The lid of may typed back"]),
        ("week", ["Week from Mon 3 May to Sun 9 May"]),
        ("away", ["Week from Mon 3 May to Sun 9 May", "Week from Mon 10 May to Sun 16 May"]),
    ):
        asked = f"/paper/{sheet}.pdf?hatch=may" if sheet == "lid" else f"/paper/{sheet}.pdf"
        codes = codes_of(reading.get(asked).content)
        assert len(codes) >= 1
        for code, title in zip(codes, titles, strict=False):
            parts = urlsplit(code)
            assert (parts.scheme, parts.netloc) == ("http", "localhost")
            answer = reading.get(f"{parts.path}?{parts.query}")
            if sheet == "away" and answer.status_code == 422:
                assert "still to come" in answer.text  # opens once that week has begun
                continue
            assert answer.status_code == 200
            heading = re.search(r"<h1[^>]*>(.*?)</h1>", answer.text, re.DOTALL)
            assert heading is not None
            assert title in unescape(heading[1])


def test_a_viewer_reads_sheets_and_a_child_does_not(app: FastAPI, enter: Enter) -> None:
    assert enter("viewer").get("/paper/places.pdf").status_code == 200
    assert enter("viewer").get(BACK).status_code == 403
    assert enter("").get("/paper/places.pdf").status_code == 303
    app.state.home.household.add("child", "child", PHRASES["helper"], NOW)
    child = TestClient(app, base_url="http://localhost", follow_redirects=False)
    form = {"name": "child", "passphrase": PHRASES["helper"], "token": token_of(child, "/sign-in")}
    assert child.post("/sign-in", data=form).status_code == 303
    for path in ("/paper/places.pdf", BACK):
        assert child.get(path).status_code == 403


@pytest.mark.parametrize(
    "path",
    ["/paper/sonnet.pdf", "/paper/lid.pdf?hatch=june", "/paper/week.pdf?paper=a5",
     "/paper/year.pdf?year=x", "/paper/back/hatch?hatch=june"],
)  # fmt: skip
def test_what_there_is_not_is_said(reading: TestClient, path: str) -> None:
    answer = reading.get(path)
    assert answer.status_code == 422
    assert 'role="alert"' in answer.text or "<h1" in answer.text


def test_a_count_of_thousands_of_digits_in_an_address_is_passed_over(reading: TestClient) -> None:
    assert reading.get(f"{BACK}&written={'9' * 5_000}").status_code == 200


def test_a_lid_is_typed_back_once(app: FastAPI) -> None:
    keeper = entered(app, "keeper")
    text = keeper.get(BACK).text
    assert "In the journal: 24 eggs weighed 264 g on Wed 28 Apr 20:00.</span>" in text
    found = re.search(r'name="form" value="([^"]+)"', text)
    assert found is not None
    fields = {
        "token": token_of(keeper, BACK),
        "form": found[1],
        "turns|2027-05-01": "2",
        "candled|0|clear": "2",
        "candled|0|dead": "1",
        "candled|0|on": "2027-05-03",
    }
    wrong = keeper.post(BACK, data={**fields, "turns|2027-05-02": "many"})
    assert (wrong.status_code, "24 at most" in wrong.text) == (422, True)
    assert 'value="many"' in wrong.text
    assert not [each for each in journal_of(app) if isinstance(each, Care)]
    for _ in range(2):
        answer = keeper.post(BACK, data=fields)
        assert answer.headers["location"] == "/paper/back/hatch?hatch=may&written=3"
    written = journal_of(app)
    assert len([each for each in written if isinstance(each, Care)]) == 2
    assert [(each.clear, each.dead) for each in written if isinstance(each, EggsCandled)] == [
        (2, 1)
    ]
    assert len([each for each in written if isinstance(each, EggsWeighed)]) == 2
    after = keeper.get(answer.headers["location"]).text
    assert "Kept: 3 entries." in after
    assert '<span class="logged">2</span>' in after
    assert keeper.post(BACK, data={**fields, "token": "x"}).status_code == 403
