"""https at home: a Chromium that was told to trust the authority opens pages with no signal."""

import hashlib
import os
import shutil
import subprocess
from base64 import b64encode
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import serialization
from playwright.sync_api import Browser, Error, Playwright, expect
from tests.browser.conftest import CHROMIUM_ARGS, chromium, now

from quailwright.exchange.certificate import Https, https_for
from quailwright.web.home import LOOPBACK, Settings
from quailwright.web.serving import beside, create_app, listening, trust_guide

HOST = "shed-box.local"
"""A name of a home network, which Chromium is told leads here."""
HOSTS = (*LOOPBACK, HOST)
ARGS = [*CHROMIUM_ARGS[:1], f"--host-resolver-rules=MAP {HOST} 127.0.0.1"]


@pytest.fixture
def https(tmp_path: Path) -> Https:
    """An authority of this test's own."""
    return https_for(tmp_path / "https", HOSTS, now())


@pytest.fixture
def trusting(playwright: Playwright, https: Https, tmp_path: Path) -> Iterator[Browser]:
    """A Chromium whose user added the authority to those that he trusts."""
    args, home = list(ARGS), tmp_path / "home"
    store = home / ".pki" / "nssdb"
    store.mkdir(parents=True)
    if shutil.which("certutil"):
        database = ["certutil", "-d", f"sql:{store}"]
        subprocess.run([*database, "-N", "--empty-password"], check=True)
        (tmp_path / "authority.crt").write_bytes(https.authority)
        added = ["-A", "-t", "C,,", "-n", "home", "-i", str(tmp_path / "authority.crt")]
        subprocess.run([*database, *added], check=True)
    else:  # Second best: Chromium is told to take this server's key, whoever vouches for it.
        server = x509.load_pem_x509_certificate(https.server.read_bytes())
        key = server.public_key().public_bytes(
            serialization.Encoding.DER, serialization.PublicFormat.SubjectPublicKeyInfo
        )
        digest = b64encode(hashlib.sha256(key).digest()).decode()
        args.append(f"--ignore-certificate-errors-spki-list={digest}")
    launched = playwright.chromium.launch(
        executable_path=chromium(), args=args, env={**os.environ, "HOME": str(home)}
    )
    yield launched
    launched.close()


def test_pages_open_with_no_signal_on_an_address_of_the_home_network(
    trusting: Browser, https: Https, demo_once: Path, tmp_path: Path
) -> None:
    flock = str(shutil.copy(demo_once, tmp_path / "demo.sqlite"))
    app = create_app(Settings(flock, now, hosts=HOSTS, invented=True))
    listener = listening("127.0.0.1", 0, any_near=False)
    address = f"https://{HOST}:{listener.getsockname()[1]}/"
    context = trusting.new_context(viewport={"width": 390, "height": 844})
    page = context.new_page()
    with beside(app, listener, https.server):
        page.goto(address)
        assert page.evaluate("isSecureContext")
        page.evaluate("navigator.serviceWorker.ready.then(() => true)")
        page.reload()
        assert all(cookie["secure"] and cookie["httpOnly"] for cookie in context.cookies())
        page.goto(f"{address}birds")
    page.goto(address)
    expect(page.locator("#age")).to_contain_text("No signal")
    expect(page.locator("section.place").first).to_be_visible()
    context.close()


def test_the_guide_leads_from_a_phone_that_trusts_nobody_yet(
    playwright: Playwright, https: Https, demo_once: Path, tmp_path: Path
) -> None:
    flock = str(shutil.copy(demo_once, tmp_path / "demo.sqlite"))
    app = create_app(Settings(flock, now, hosts=HOSTS, invented=True))
    pages, plain = (listening("127.0.0.1", 0, any_near=False) for _ in range(2))
    address = f"https://{HOST}:{pages.getsockname()[1]}/"
    with ExitStack() as stack:
        stack.enter_context(beside(app, pages, https.server))
        guide = trust_guide(address, https.authority, HOSTS)
        stack.enter_context(beside(guide, plain))
        browser = playwright.chromium.launch(executable_path=chromium(), args=ARGS)
        page = browser.new_page(viewport={"width": 390, "height": 844})
        page.goto(f"http://{HOST}:{plain.getsockname()[1]}/")
        expect(page.locator("code").first).to_have_text(https.fingerprint)
        page.get_by_text("iPhone and iPad", exact=True).click()
        expect(page.get_by_text("Certificate Trust Settings")).to_be_visible()
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
        with page.expect_download() as taken:
            page.get_by_role("link", name="Take the certificate").click()
        assert Path(taken.value.path()).read_bytes() == https.authority
        with pytest.raises(Error, match="ERR_CERT_AUTHORITY_INVALID"):
            page.goto(address)
        browser.close()
