"""What scripts say on a page in another language."""

import json
from typing import Any

from playwright.sync_api import Browser, expect
from tests.browser.conftest import PHONE, Server

WORDS = {
    "Kept: {entry}": "Guardado: {entry}",
    "eggs collected": "ovos recolhidos",
    "eggs": "ovos",
    "{n} day": ["{n} dia", "{n} dias"],
}
"""Of a page in Portuguese; what it lacks is said in English."""


def test_scripts_say_the_words_that_the_page_carries(demo: Server, browser: Browser) -> None:
    context = browser.new_context(
        viewport={"width": PHONE["width"], "height": PHONE["height"]}, service_workers="block"
    )
    page = context.new_page()

    def in_portuguese(route: Any) -> None:
        answer = route.fetch()
        carrying = f"data-kept-at=\"\" data-words='{json.dumps(WORDS)}'"
        body = answer.text().replace('data-kept-at=""', carrying).replace('lang="en"', 'lang="pt"')
        route.fulfill(response=answer, body=body)

    page.route(f"{demo.address}/", in_portuguese)
    page.goto(f"{demo.address}/")
    pen = page.locator("section.place", has_text="long pen")
    pen.get_by_text("Eggs", exact=True).click()
    pen.locator("details[open] input[name=eggs]").fill("7")
    pen.locator("details[open] button.main").click()
    expect(page.locator("#said")).to_contain_text("Guardado: ovos recolhidos:")
    expect(page.locator("#said")).to_contain_text("7 ovos")
    script = page.locator('script[type="module"]').get_attribute("src") or ""
    days = page.evaluate(
        "(words) => import(words).then((w) => [1, 2].map((n) => "
        "w.say_many('{n} day', '{n} days', n)))",
        script.replace("app.js", "words.js"),
    )
    assert days == ["1 dia", "2 dias"]
    context.close()
