"""The work of scripts/icons: the egg as PNG, for phones that take no drawing in SVG."""

import shutil
import sys
from pathlib import Path

from playwright.sync_api import sync_playwright

ROUNDED = {"icon-192.png": 192, "icon-512.png": 512}
SQUARE = {"icon-maskable-512.png": 512, "apple-touch-icon.png": 180}
"""Phones cut these to a shape of their own: the ground reaches to the edges, and the egg stays in
the middle four fifths, which no shape cuts (W3C, Web Application Manifest, maskable icons)."""


def square(egg: str) -> str:
    """The drawing with its ground to the edges."""
    drawn = egg.replace('viewBox="0 0 64 64"', 'viewBox="-4 -4 72 72"').replace(
        '<rect width="64" height="64" rx="14"', '<rect x="-4" y="-4" width="72" height="72"'
    )
    assert drawn.count("72") == 4, "egg.svg is drawn another way now"
    return drawn


def main() -> None:
    """Draws every icon."""
    folder = Path(sys.argv[1])
    egg = (folder / "egg.svg").read_text(encoding="utf-8")
    with sync_playwright() as driver:
        browser = driver.chromium.launch(
            executable_path=shutil.which("chromium"), args=["--no-sandbox"]
        )
        for drawn, icons in ((egg, ROUNDED), (square(egg), SQUARE)):
            for name, side in icons.items():
                page = browser.new_page(viewport={"width": side, "height": side})
                page.set_content(
                    f"<style>body{{margin:0}}svg{{display:block;width:{side}px}}</style>{drawn}"
                )
                page.screenshot(path=folder / name, omit_background=True)
                page.close()
        browser.close()


if __name__ == "__main__":
    main()
