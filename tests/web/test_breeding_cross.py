"""The page of a cross and the table of colours: the same as command and API; nonsense refused."""

import html
import re
from typing import Any

import msgspec
from fastapi import FastAPI
from starlette.testclient import TestClient
from tests.cli.conftest import Quail, quail  # noqa: F401
from tests.makers import made
from tests.web.conftest import Enter

from quailwright.exchange.cross_shape import ColoursShape, CrossShape, HiddenShape

ON = "2027-05-03"


def words_of(page: str) -> str:
    """A page without its marks, in one line."""
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", page)).split())


def ring(app: FastAPI, *rings: dict[str, Any]) -> None:
    app.state.home.record(*(made("bird", "2027-05-02", **each) for each in rings))


COLOURED = (
    {"bird": "Rex", "sex": "cock", "plumage": "brown"},
    {"bird": "Ada", "sex": "hen", "plumage": "wild"},
    {"bird": "Cleo", "sex": "hen", "plumage": "golden", "genotype": "F2/+"},
    {"bird": "Dot", "sex": "hen", "plumage": "white"},
    {"bird": "Vi", "sex": "hen", "plumage": "pansy"},
    {"bird": "Una", "sex": "hen"},
)


def test_page_command_and_api_agree(
    app: FastAPI,
    keeper: TestClient,
    quail: Quail,  # noqa: F811
) -> None:
    ring(app, *COLOURED)
    flock = app.state.home.settings.flock
    asked = {"cock": "Rex", "hen": "Cleo", "carriers": "0.2"}
    api = keeper.get("/api/breeding/cross", params={**asked, "on": ON}).json()
    base = ("--flock", flock, "--on", ON)
    said = quail("breeding", "cross", "Rex", "Cleo", "--carriers", "0.2", *base, "--json")
    assert said.json == api
    assert msgspec.to_builtins(msgspec.convert(api, CrossShape)) == api
    page = words_of(keeper.get("/breeding/cross", params=asked).text)
    read = " ".join(quail("breeding", "cross", "Rex", "Cleo", *base).out.split())
    for sentence in api["said"]:
        assert " ".join(sentence.split()) in page
    assert api["said"][0] in read
    assert "Cleo is called golden, your own name for it" in page
    assert "fawn + brown" in page
    hidden = {"cock": "wild", "hen": "wild", "count": ["wild=13", "lavender=5"], "on": ON}
    told = keeper.get("/api/breeding/hidden", params=hidden).json()
    again = quail("breeding", "hidden", "wild", "wild", "wild=13", "lavender=5", *base, "--json")
    assert again.json == told
    assert msgspec.to_builtins(msgspec.convert(told, HiddenShape)) == told
    table = keeper.get("/api/breeding/colours", params={"on": ON}).json()
    assert quail("breeding", "colours", *base, "--json").json == table
    assert msgspec.to_builtins(msgspec.convert(table, ColoursShape)) == table
    assert [(one["cocks"], one["hens"]) for one in table["sexable"]] == [(["Rex"], ["Ada"])]
    plain = quail("breeding", "colours", *base).out
    assert "cannot be predicted" in plain
    assert "Which birds on hand" in plain


def test_a_lethal_is_told_plainly(keeper: TestClient) -> None:
    page = words_of(keeper.get("/breeding/cross?cock=yellow&hen=yellow").text)
    assert "Chicks: 67% yellow, 33% wild. Cocks and hens alike." in page
    assert "One embryo in 4 dies (Y/Y, the agouti series): 75% of the normal hatch." in page
    assert "put yellow to another colour" in page


def test_sexing_is_told_for_birds_on_hand(app: FastAPI, keeper: TestClient) -> None:
    ring(app, *COLOURED)
    page = words_of(keeper.get("/breeding/cross").text)
    assert "Ada Colour tells the sex of every chick: cocks wild, hens brown." in page
    assert "Dot is white, which may be silver white, recessive white" in page
    assert "Vi is pansy, your own name for it: no published description" in page
    assert "1 ringed bird has neither a colour nor genes written down." in page
    assert 'href="/log/bird?bird=Vi&amp;back=/breeding/cross"' in keeper.get("/breeding/cross").text
    turned = words_of(keeper.get("/breeding/cross?cock=wild&hen=brown").text)
    assert "The other way round it does: brown cock, wild hen" in turned


def test_chicks_are_counted_on_the_page(keeper: TestClient) -> None:
    query = "cock=wild&hen=wild&look-1=wild&chicks-1=13&look-2=lavender&chicks-2=3&hens-2=2"
    text = keeper.get(f"/breeding/cross?{query}").text
    page = words_of(text)
    assert "The cock is +/lav at LAV (lavender): over 99.9%, as good as sure." in page
    assert 'name="chicks-1" value="13"' in text  # nothing typed is lost
    assert 'name="look-2" value="lavender"' in text
    assert 'name="hens-2" value="2"' in text
    bad = keeper.get("/breeding/cross?cock=wild&hen=wild&look-1=wild&chicks-1=many")
    assert "'many' is no count of chicks" in words_of(bad.text)


def test_nonsense_is_answered_with_a_sentence(app: FastAPI, keeper: TestClient) -> None:
    ring(app, *COLOURED)
    for asked, sentence in (
        ({"cock": "<script>", "hen": "wild"}, "'<script>' is no ring"),
        ({"cock": "Ada", "hen": "Rex"}, "Ada is a hen. Name a cock first, then a hen."),
        ({"cock": "brown", "hen": "wild", "carriers": "1.5"}, "Carriers are a share, such as 0.1"),
    ):
        page = keeper.get("/breeding/cross", params=asked)
        api = keeper.get("/api/breeding/cross", params=asked)
        assert page.status_code == api.status_code == 422
        assert sentence in html.unescape(page.text)
        assert sentence in api.json()["sentence"]
        assert f'value="{html.escape(asked["cock"])}"' in page.text  # nothing typed is lost


def test_a_viewer_reads_and_is_offered_no_form_to_write(app: FastAPI, enter: Enter) -> None:
    ring(app, *COLOURED)
    viewer = enter("viewer")
    text = viewer.get("/breeding/cross?cock=Rex&hen=Ada").text
    assert "Hens: all brown." in text
    assert "/log/bird" not in text


def test_the_table_says_what_is_in_dispute(keeper: TestClient) -> None:
    page = words_of(keeper.get("/breeding/colours").text)
    assert "Panda in dispute" in page
    assert "no published description: cannot be predicted" in page
    assert "Ito and Tsudzuki 1994, J Hered 85:54-56" in page
    assert "Mizutani et al. 1974" in page
