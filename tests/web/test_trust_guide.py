"""The guide over plain http: it and the authority's certificate are served, and nothing else."""

import hashlib
import re
from datetime import UTC, datetime
from pathlib import Path

from starlette.testclient import TestClient
from tests.web.conftest import KEEPER_PAGES, READ_PAGES, WRITE_PAGES

from quailwright.exchange.certificate import https_for
from quailwright.web.trust_guide import FILE, trust_guide

HOSTS = ("localhost", "192.168.1.7")
ADDRESS = "https://192.168.1.7:8347/"


def test_guide_serves_only_the_guide(tmp_path: Path) -> None:
    https = https_for(tmp_path, HOSTS, datetime.now(UTC))
    guide = TestClient(trust_guide(ADDRESS, https.authority, HOSTS), base_url="http://192.168.1.7")
    shown = guide.get("/")
    assert shown.status_code == 200
    assert f'href="{ADDRESS}"' in shown.text
    assert https.fingerprint in shown.text
    assert "script-src 'self'" in shown.headers["Content-Security-Policy"]
    assert "Strict-Transport-Security" not in shown.headers
    assert not shown.cookies

    taken = guide.get(f"/{FILE}")
    assert taken.content == https.authority
    assert taken.headers["Content-Type"] == "application/x-x509-ca-cert"
    digest = hashlib.sha256(taken.content).hexdigest().upper()
    assert re.sub(r"(..)(?!\Z)", r"\1 ", digest) == https.fingerprint

    elsewhere = {*READ_PAGES, *WRITE_PAGES, *KEEPER_PAGES, "/sign-in", "/begin", "/api/me"} - {"/"}
    elsewhere |= {"/authority.pem", "/server.pem", "/static/app.js", "/worker.js", "/api/entries"}
    for path in elsewhere:
        assert guide.get(path).status_code == 404, path
        assert guide.post(path).status_code == 404, path
    assert guide.post("/").status_code == 405
    assert b"PRIVATE" not in shown.content + taken.content


def test_guide_is_refused_by_another_name(tmp_path: Path) -> None:
    https = https_for(tmp_path, HOSTS, datetime.now(UTC))
    guide = TestClient(trust_guide(ADDRESS, https.authority, HOSTS), base_url="http://evil.test")
    assert guide.get("/").status_code == 400
