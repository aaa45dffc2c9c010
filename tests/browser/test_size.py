"""How much a phone with nothing of ours on it yet is sent before the round stands."""

from collections.abc import Awaitable, Callable
from typing import Any

from tests.browser.conftest import Phone, Server, until

LARGEST_BYTES = 100_000


def test_the_first_view_of_the_round_is_small(demo: Server, phone: Phone) -> None:
    # All that the server sends counts, headers too, whoever asks for it: the page, what it links
    # to, what its scripts import, the worker and what the worker puts by.
    sent: dict[str, int] = {}
    _count_what_is_sent(demo, sent)
    page = phone(f"{demo.address}/")
    page.wait_for_load_state("networkidle")
    page.evaluate("() => navigator.serviceWorker.ready.then(() => null)")
    until(lambda: any(path.endswith("/no-signal") for path in sent), "the worker put nothing by")
    page.wait_for_load_state("networkidle")
    page.request.get(f"{demo.address}/manifest.webmanifest")  # a phone does, headless or not
    assert {"/", "/worker.js", "/manifest.webmanifest"} <= sent.keys()
    print(sent)
    assert any(path.endswith("/vendored/idb.js") for path in sent)
    assert sum(sent.values()) < LARGEST_BYTES, sent


def _count_what_is_sent(server: Server, sent: dict[str, int]) -> None:
    """Has the server note the bytes of each answer, by path."""
    server.stop()
    server.around = lambda app: _counting(app, sent)
    server.start()


def _counting(app: Callable[..., Awaitable[None]], sent: dict[str, int]) -> Any:
    async def counted(scope: Any, receive: Any, send: Any) -> None:
        async def noted(message: Any) -> None:
            size = len(message.get("body", b""))
            size += sum(len(name) + len(value) + 4 for name, value in message.get("headers", ()))
            sent[scope["path"]] = sent.get(scope["path"], 0) + size
            await send(message)

        await app(scope, receive, noted if scope["type"] == "http" else send)

    return counted
