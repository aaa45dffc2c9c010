"""The page of whom to keep: as the command and the API tell it; what cannot be asked is said."""

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient
from tests.cli.conftest import Quail, quail  # noqa: F401
from tests.planning.breeders import breeders
from tests.web.conftest import NOW, Enter


@pytest.fixture
def families(app: FastAPI) -> FastAPI:
    """A flock with families, the chicks weighed."""
    told = [entry for entry in breeders(chicks=4) if entry.at[:10] <= NOW.date().isoformat()]
    with app.state.home.desk.store.writing() as writer:
        writer.append(told, NOW)
    return app


def test_page_command_and_api_agree(
    families: FastAPI,
    keeper: TestClient,
    quail: Quail,  # noqa: F811
) -> None:
    flock = families.state.home.settings.flock
    asked = {"from": "march", "cocks": "3", "hens": "4", "weight": "2", "eggs": "1"}
    command = quail(
        "breeding", "keep", "--flock", flock, "--on", "2027-05-03", "--from", "march", "--cocks",
        "3", "--hens", "4", "--for", "weight=2 eggs=1", "--json",
    )  # fmt: skip
    assert command.code == 0, command.err
    api = keeper.get("/api/breeding/keep", params=asked).json()
    assert api == command.json
    kept = [bird["bird"] for bird in api["cocks"] if bird["keep"]]
    assert len(kept) == 3
    page = keeper.get("/breeding/keep", params=asked).text
    words = quail(
        "breeding", "keep", "--flock", flock, "--on", "2027-05-03", "--from", "march", "--cocks",
        "3", "--hens", "4", "--for", "weight=2 eggs=1",
    )  # fmt: skip
    assert f"Keep 3 cocks: {', '.join(kept)}." in page
    assert api["said"][1] in words.out
    assert "less fertile" in page  # what weight alone costs
    assert "too few records to learn it from, 36 of about 300" in page
    assert page.count("<svg viewBox") == 2
    assert '<option value="2" selected>much</option>' in page


def test_gain_over_generations_on_the_page_the_terminal_and_the_api(
    families: FastAPI,
    keeper: TestClient,
    quail: Quail,  # noqa: F811
) -> None:
    flock = families.state.home.settings.flock
    options = ("--by", "weight", "--cocks", "3", "--hens", "6", "--generations", "2")
    command = quail("breeding", "gain", "--flock", flock, "--on", "2027-05-03", *options, "--json")
    assert command.code == 0, command.err
    asked = {"by": "weight", "cocks": "3", "hens": "6", "generations": "2"}
    assert keeper.get("/api/breeding/gain", params=asked).json() == command.json
    words = quail("breeding", "gain", "--flock", flock, "--on", "2027-05-03", *options)
    assert command.json["said"][0] in " ".join(words.out.split())
    page = keeper.get("/breeding/keep?cocks=3&hens=6&weight=1&ahead=yes").text
    assert "Generation 5" in page
    assert command.json["said"][0].replace("'", "&#39;") in page


def test_without_rings_the_page_says_what_to_write_down(keeper: TestClient) -> None:
    text = keeper.get("/breeding/keep").text
    assert "No bird that lives has a ring" in text
    assert "Weigh every bird at four weeks" in text or "Keep each hen alone" in text
    assert "<svg viewBox" not in text


def test_a_viewer_reads_and_writes_nothing(families: FastAPI, enter: Enter) -> None:
    text = enter("viewer").get("/breeding/keep?from=march").text
    assert "Whom to keep of march?" in text
    assert "/log/bird" not in text


@pytest.mark.parametrize(
    ("query", "sentence"),
    [
        ("cocks=some", "Cocks to keep are a whole number"),
        ("from=april", "No hatch is called &#39;april&#39;"),
        ("weight=lots", "How much it counts is a number from 0 to 10"),
        ("weight=0", "Say what counts"),
        ("hens=-2", "Birds to keep are a number from 0"),
        ("cocks=0&hens=0&ahead=yes", "Kept are one cock and one hen at least"),
    ],
)
def test_bad_input_is_answered_with_a_sentence(
    families: FastAPI, keeper: TestClient, query: str, sentence: str
) -> None:
    answer = keeper.get(f"/breeding/keep?{query}")
    assert answer.status_code == 422
    assert sentence in answer.text
    name, _, value = query.partition("&")[0].partition("=")
    assert value in answer.text, name  # nothing typed is lost


@pytest.mark.parametrize(
    "words",
    ["keep --for fun", "keep --for weight=nan", "gain --by looks", "gain --generations 99",
     "gain --seed -1", "gain --of-hens 4000"],
)  # fmt: skip
def test_the_commands_refuse_with_a_sentence(
    families: FastAPI,
    quail: Quail,  # noqa: F811
    words: str,
) -> None:
    answer = quail("breeding", *words.split(), "--flock", families.state.home.settings.flock)
    assert answer.code == 2
    assert answer.err.startswith("quailwright: ")
    assert "Traceback" not in answer.err
