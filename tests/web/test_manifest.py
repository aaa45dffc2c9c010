"""The manifest: what a phone needs to put the pages on its home screen."""

import struct

from starlette.testclient import TestClient

PNG = b"\x89PNG\r\n\x1a\n"
"""The signature of a PNG file, before its header with width and height (W3C, PNG, section 5.2)."""


def size(png: bytes) -> tuple[int, int]:
    """Width and height of a PNG image."""
    assert png.startswith(PNG)
    width, height = struct.unpack(">II", png[16:24])
    return width, height


def test_icons_are_as_large_as_the_manifest_says(keeper: TestClient) -> None:
    manifest = keeper.get("/manifest.webmanifest").json()
    drawn = [icon for icon in manifest["icons"] if icon["type"] == "image/png"]
    assert {(icon["sizes"], icon["purpose"]) for icon in drawn} == {
        ("192x192", "any"), ("512x512", "any"), ("512x512", "maskable"),
    }  # fmt: skip
    for icon in drawn:
        answer = keeper.get(icon["src"])
        assert answer.headers["Content-Type"] == "image/png"
        assert "{}x{}".format(*size(answer.content)) == icon["sizes"]


def test_an_icon_for_phones_that_read_no_manifest(keeper: TestClient) -> None:
    page = keeper.get("/sign-in").text
    address = page.partition('rel="apple-touch-icon" href="')[2].partition('"')[0]
    assert size(keeper.get(address).content) == (180, 180)


def test_shortcuts_lead_to_pages(keeper: TestClient) -> None:
    shortcuts = keeper.get("/manifest.webmanifest").json()["shortcuts"]
    assert [shortcut["name"] for shortcut in shortcuts] == ["Round", "Log eggs"]
    for shortcut in shortcuts:
        assert keeper.get(shortcut["url"]).status_code == 200
