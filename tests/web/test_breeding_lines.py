"""The pages of lines and of a bird's family: as the commands, and forms of few taps."""

from fastapi import FastAPI
from starlette.testclient import TestClient
from tests.cli.conftest import Quail, quail  # noqa: F401
from tests.makers import made
from tests.web.conftest import Enter, token_of

RINGS: tuple[tuple[str, str, dict[str, str]], ...] = (
    ("Rex", "cock", {}),
    ("Ada", "hen", {}),
    ("Bea", "hen", {}),
    ("Kim", "hen", {"sire": "Rex", "dam": "Ada"}),
    ("Bo", "cock", {"sire": "Rex", "dam": "Bea"}),
    ("Lu <b>", "hen", {"sire": "Bo", "dam": "Kim"}),
)


def ring(app: FastAPI) -> None:
    for bird, sex, parents in RINGS:
        app.state.home.record(
            made("bird", "2027-01-02", bird=bird, sex=sex, group="hens", **parents)
        )


def test_the_page_tells_who_breeds_and_what_next(app: FastAPI, keeper: TestClient) -> None:
    ring(app)
    text = keeper.get("/breeding").text
    # Two cocks and ten hens: 4 x 2 x 10 / 12, and 1 / (2 x 6.67) (Wright 1931).
    assert "2 cocks and 10 hens breed now: an effective size of 6.7, about 7.5% more" in text
    assert text.index("What to do next?") < text.index("How inbred would chicks be?")
    assert 'href="/breeding/board"' in text
    assert 'href="/breeding/family?bird=Lu%20%3Cb%3E"' in text
    assert "12.5%, as of half sibs&#39; chicks" in text
    assert "<b>Lu" not in text


def test_the_family_page_goes_up_and_down(app: FastAPI, keeper: TestClient) -> None:
    ring(app)
    text = keeper.get("/breeding/family", params={"bird": "Lu <b>"}).text
    assert "Inbreeding 12.5%: as of half sibs&#39; chicks." in text
    assert "Kim is to Bo: half sister." in text
    assert text.count("/breeding/family?bird=Rex") >= 2
    text = keeper.get("/breeding/family", params={"bird": "Rex"}).text
    assert "Its chicks" in text
    assert "granddaughter" in text


def test_a_bird_that_nobody_knows_is_asked_for_again(app: FastAPI, keeper: TestClient) -> None:
    ring(app)
    answer = keeper.get("/breeding/family?bird=Rax")
    assert answer.status_code == 422
    assert "There is no bird &#39;Rax&#39;. Did you mean &#39;Rex&#39;?" in answer.text
    assert '<option value="Rex">' in answer.text
    assert keeper.get("/api/breeding/family?bird=Rax").status_code == 422
    assert keeper.get("/api/breeding/kinship?bird=Rax").status_code == 422


def test_a_pairing_is_logged_by_ticking_birds(app: FastAPI, keeper: TestClient) -> None:
    ring(app)
    text = keeper.get("/breeding").text
    assert '<input type="checkbox" name="cocks" value="Rex" data-takes="names">' in text
    said = {"token": token_of(keeper), "back": "/breeding", "pen": "pen", "cocks": ["Rex"],
            "hens": ["Ada", "Bea"], "day": "2027-05-02"}  # fmt: skip
    assert keeper.post("/log/pairing", data=said, follow_redirects=False).status_code == 303
    pairing = app.state.home.flock().pairings["pen"]
    assert (pairing.cocks, pairing.hens) == (["Rex"], ["Ada", "Bea"])
    # The six of the pen without a ring run with him too; Kim and Lu, with rings, are not named.
    assert "1 cock and 8 hens breed now" in keeper.get("/breeding").text


def test_a_circle_typed_in_the_form_is_refused_there(app: FastAPI, keeper: TestClient) -> None:
    ring(app)
    said = {"token": token_of(keeper), "back": "/breeding", "bird": "Rex", "sex": "cock",
            "sire": "Bo", "day": "2027-05-02"}  # fmt: skip
    answer = keeper.post("/log/bird", data=said)
    assert answer.status_code == 422
    assert "Rex would be its own ancestor" in answer.text


def test_who_only_reads_gets_no_form(app: FastAPI, enter: Enter) -> None:
    ring(app)
    text = enter("viewer").get("/breeding").text
    assert "How inbred would chicks be?" in text
    assert 'action="/log/' not in text


def test_the_api_says_as_the_commands(app: FastAPI, keeper: TestClient, quail: Quail) -> None:  # noqa: F811
    ring(app)
    flock = app.state.home.settings.flock
    on = ("--flock", flock, "--on", "2027-05-03", "--json")
    for path, words in (
        ("inbreeding", ("inbreeding",)),
        ("kinship?bird=Rex&bird=Kim", ("kinship", "Rex", "Kim")),
        ("kinship?bird=Lu%20%3Cb%3E", ("kinship", "Lu <b>")),
        ("lines", ("lines",)),
        ("family?bird=Kim", ("family", "Kim")),
    ):
        assert keeper.get(f"/api/breeding/{path}").json() == quail("breeding", *words, *on).json
