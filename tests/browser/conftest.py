"""A real Chromium on a real server: phones as a shed has them."""

import gc
import os
import shutil
import signal
import subprocess
import threading
import time
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
import uvicorn
from playwright.sync_api import Browser, BrowserContext, Page, Playwright, expect, sync_playwright

from quailwright.exchange.demo_file import build_demo
from quailwright.journal.entries import Entry
from quailwright.journal.store import open_store
from quailwright.web.app import create_app
from quailwright.web.home import LOOPBACK, Settings
from quailwright.web.serving import listening

PLAIN_HOST = "shed.test"
"""A name that Chromium is told leads here: unlike localhost it gets no service worker."""
CHROMIUM_ARGS = ["--no-sandbox", f"--host-resolver-rules=MAP {PLAIN_HOST} 127.0.0.1"]
PHONE = {"width": 390, "height": 844}
DESKTOP = {"width": 1280, "height": 900}
_PATIENCE_S = 30
expect.set_options(timeout=_PATIENCE_S * 1000)


def now() -> datetime:
    """The present: what the phone's own clock says too."""
    return datetime.now(UTC)


def chromium() -> str | None:
    """Debian's Chromium, or None for the one that playwright brought."""
    names = ("chromium", "chromium-browser", "google-chrome")
    return next(filter(None, map(shutil.which, names)), None)


class Server:
    """The pages of a flock file on a port of their own; it can go away and come back."""

    def __init__(self, flock: str, invented: bool = True) -> None:
        self.flock = flock
        self._invented = invented
        self.around: Callable[[Any], Any] = lambda app: app
        # Bound as long as the tests, and never listening: while the server is away, nothing else on
        # this computer is given its port.
        self._place = listening("127.0.0.1", 0, any_near=False)
        self.port = self._place.getsockname()[1]
        self.start()

    @property
    def address(self) -> str:
        """Where a browser on this computer finds it."""
        return f"http://localhost:{self.port}"

    def start(self) -> None:
        """Begins to serve, on the same port as before."""
        hosts = (*LOOPBACK, PLAIN_HOST)
        app = create_app(Settings(self.flock, now, hosts=hosts, invented=self._invented))
        listener = listening("127.0.0.1", self.port, any_near=False)
        listener.listen(64)
        config = uvicorn.Config(
            self.around(app), log_level="error", access_log=False, timeout_graceful_shutdown=1
        )
        self._server = uvicorn.Server(config)
        self._thread = threading.Thread(target=self._server.run, args=([listener],), daemon=True)
        self._thread.start()
        until(lambda: self._server.started)

    def stop(self) -> None:
        """Goes away: to a phone, the signal is lost."""
        self._server.should_exit = True
        self._thread.join(_PATIENCE_S)
        assert not self._thread.is_alive(), "the server did not stop"

    def close(self) -> None:
        """Goes away for good."""
        self.stop()
        self._place.close()

    def entries(self) -> list[Entry]:
        """The journal as it stands in the file."""
        with open_store(self.flock) as store:
            return store.entries()


def until(holds: Callable[[], object], what: str = "") -> None:
    """Waits until something holds. Raises AssertionError when it does not come to."""
    end = time.monotonic() + _PATIENCE_S
    while not holds():
        assert time.monotonic() < end, what or "it did not come"
        time.sleep(0.02)


_ROWS = """() => {
    const { src } = document.querySelector("script[src$='/app.js']");
    return import(src.replace("/app.js", "/queue.js"))
        .then((queue) => queue.waiting())
        .then((rows) => rows.filter((row) => !row.refusal).length);
}"""


def all_sent(page: Page) -> None:
    """Waits until nothing on the phone waits to be sent: the server has said that it has it all.

    That the line of what waits is hidden does not tell: it is so until the script has looked too.
    """
    until(lambda: page.evaluate(_ROWS) == 0, "something still waits on the phone")


@pytest.fixture(scope="session")
def demo_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The invented flock of today, made once."""
    path = tmp_path_factory.mktemp("demo") / "demo.sqlite"
    build_demo(str(path), now().astimezone().date(), 1, now())
    return path


@contextmanager
def serving(flock: str, invented: bool = True) -> Iterator[Server]:
    """A server while it is needed."""
    server = Server(flock, invented)
    try:
        yield server
    finally:
        server.close()
        # A browser may connect in the very moment in which the server stops. Such a connection is
        # dropped here, and not held against whatever test runs when it is collected.
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", ResourceWarning)
            gc.collect()


@pytest.fixture
def demo(demo_once: Path, tmp_path: Path) -> Iterator[Server]:
    """The invented flock, served; each test has its own copy."""
    with serving(str(shutil.copy(demo_once, tmp_path / "demo.sqlite"))) as server:
        yield server


@pytest.fixture(scope="session")
def shown(demo_once: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """The invented flock, served to tests that only look."""
    copy = tmp_path_factory.mktemp("shown") / "demo.sqlite"
    with serving(str(shutil.copy(demo_once, copy))) as server:
        yield server


@pytest.fixture(scope="session")
def playwright() -> Iterator[Playwright]:
    """The driver, with a Chromium that it can start."""
    if os.environ.get("QUAILWRIGHT_WITHOUT_BROWSER"):  # said by ./check
        pytest.skip("no browser can be driven here")
    with sync_playwright() as driver:
        if chromium() is None and not Path(driver.chromium.executable_path).exists():
            pytest.skip("no Chromium is installed here")
        yield driver


@pytest.fixture(scope="session")
def browser(playwright: Playwright) -> Iterator[Browser]:
    """One Chromium for all tests that do not kill it."""
    launched = playwright.chromium.launch(executable_path=chromium(), args=CHROMIUM_ARGS)
    yield launched
    launched.close()


Phone = Callable[..., Page]


@pytest.fixture
def phone(browser: Browser) -> Iterator[Phone]:
    """Opens a page on a phone of its own; at the end, no script may have failed on any."""
    contexts: list[BrowserContext] = []
    faults: list[str] = []

    def opened(address: str, **settings: Any) -> Page:
        settings = {"viewport": PHONE, "is_mobile": True, "has_touch": True, **settings}
        context = browser.new_context(**settings)
        context.set_default_timeout(_PATIENCE_S * 1000)
        contexts.append(context)
        page = context.new_page()
        watch(page, faults)
        page.goto(address)
        return page

    yield opened
    for context in contexts:
        context.close()
    assert faults == []


def watch(page: Page, faults: list[str]) -> None:
    """Notes what fails in a page's scripts, and what its policy forbids."""
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.on(
        "console",
        lambda said: (
            faults.append(said.text)
            if said.type == "error"
            and "ERR_" not in said.text
            and "Failed to load" not in said.text
            else None
        ),
    )


class KillableChromium:
    """A Chromium of its own process and profile, which can be killed as a phone kills an app."""

    def __init__(self, playwright: Playwright, profile: Path) -> None:
        self._playwright = playwright
        self._profile = profile
        self.start()

    def start(self) -> None:
        """Starts it, or starts it again on the same profile."""
        program = chromium() or self._playwright.chromium.executable_path
        told = self._profile / "DevToolsActivePort"
        told.unlink(missing_ok=True)
        self._process = subprocess.Popen(
            [
                *(program, "--headless=new", "--remote-debugging-port=0", "--no-first-run"),
                *(f"--user-data-dir={self._profile}", *CHROMIUM_ARGS, "about:blank"),
            ],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
        )
        until(lambda: told.exists() and told.read_text().count("\n"), "Chromium did not start")
        port = told.read_text().split()[0]
        self._browser = self._playwright.chromium.connect_over_cdp(f"http://127.0.0.1:{port}")

    def page(self, address: str) -> Page:
        """A page in its one profile."""
        page = self._browser.contexts[0].new_page()
        page.set_default_timeout(_PATIENCE_S * 1000)
        page.set_viewport_size({"width": 390, "height": 844})
        page.goto(address)
        return page

    def kill(self) -> None:
        """Ends every process of it at once, with no warning."""
        with suppress(ProcessLookupError):
            os.killpg(self._process.pid, signal.SIGKILL)
        self._process.wait()


@pytest.fixture
def killable(playwright: Playwright, tmp_path: Path) -> Iterator[KillableChromium]:
    """A Chromium to kill."""
    started = KillableChromium(playwright, tmp_path / "profile")
    yield started
    started.kill()
