"""What scripts say: found in the scripts, put into the page in the reader's language."""

import json
import re
from html import unescape

from babel.messages.extract import extract
from starlette.testclient import TestClient

from quailwright.web.view import STATIC, texts_of_scripts, words_of_scripts

SCRIPTS = sorted(STATIC.glob("*.js"))
KEYWORDS = {"say": None, "say_many": (1, 2)}


def test_texts_found_are_those_that_the_catalogue_is_made_of() -> None:
    found: set[object] = set()
    for script in SCRIPTS:
        with script.open("rb") as file:
            found |= {text for _, text, _, _ in extract("javascript", file, KEYWORDS)}
    one, many = texts_of_scripts()
    assert found == one | many
    assert len(one) > 15


def test_scripts_say_only_texts_that_stand_there() -> None:
    """A text put together while it is said would be in no catalogue."""
    for script in SCRIPTS:
        for said in re.findall(r"(?<!function )\bsay(?:_many)?\((.)", script.read_text()):
            assert said == '"', script.name


def test_the_page_carries_them_in_its_language_and_none_in_english(keeper: TestClient) -> None:
    assert "data-words" not in keeper.get("/").text
    page = keeper.get("/", headers={"Accept-Language": "pt-BR"}).text
    carried = re.search(r"data-words='([^']+)'", page)
    assert carried is not None
    words = json.loads(unescape(carried[1]))
    assert words == json.loads(words_of_scripts("pt"))
    for text, told in words.items():
        for each in [told] if isinstance(told, str) else told:
            assert set(re.findall(r"{\w+}", each)) <= set(re.findall(r"{\w+}", text)), text
