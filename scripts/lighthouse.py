"""The work of scripts/lighthouse: the demo's pages as Lighthouse's phone sees them.

Each page is measured several times and the median counts; what costs a mark is named.
"""

import argparse
import json
import subprocess
import sys
import tempfile
import threading
import time
from datetime import UTC, datetime
from pathlib import Path
from statistics import median
from typing import Any

import uvicorn

from quailwright.exchange.demo_file import build_demo
from quailwright.web.app import create_app
from quailwright.web.home import Settings
from quailwright.web.serving import listening

NOW = datetime(2027, 5, 2, 5, 30, tzinfo=UTC)
PAGES = {
    "sign-in": "/sign-in",
    "round": "/",
    "hatch": "/hatches/apr-23",
    "birds": "/birds",
    "journal": "/journal",
}
CATEGORIES = ("performance", "accessibility", "best-practices")
_TIMES = {
    "first-contentful-paint": "first paint",
    "largest-contentful-paint": "largest paint",
    "total-blocking-time": "blocked",
    "cumulative-layout-shift": "shift",
    "total-byte-weight": "bytes",
}
ENOUGH = 95


def served(flock: str) -> str:
    """Serves a flock as of that morning until this program ends; gives the address."""
    listener = listening("127.0.0.1", 0, any_near=False)
    listener.listen(64)
    app = create_app(Settings(flock, lambda: NOW, invented=True))
    server = uvicorn.Server(uvicorn.Config(app, log_level="error"))
    threading.Thread(target=server.run, args=([listener],), daemon=True).start()
    while not server.started:
        time.sleep(0.05)
    return f"http://localhost:{listener.getsockname()[1]}"


def measured(program: str, address: str, folder: Path) -> Any:
    """Lighthouse's report of one look at a page."""
    report = folder / "report.json"
    subprocess.run(
        [
            program, address, "--quiet", f"--only-categories={','.join(CATEGORIES)}",
            "--output=json", f"--output-path={report}",
            "--chrome-flags=--headless=new --no-sandbox --disable-dev-shm-usage",
        ],
        check=True,
        stdout=subprocess.DEVNULL,
    )  # fmt: skip
    return json.loads(report.read_text(encoding="utf-8"))


def marks(report: Any) -> dict[str, float]:
    """The marks of a report, of 100."""
    return {name: 100 * (report["categories"][name]["score"] or 0) for name in CATEGORIES}


def costly(report: Any) -> list[str]:
    """What costs a mark."""
    return sorted(
        {
            f"{audit['id']}: {audit['title']} ({audit.get('displayValue', '')})"
            for name in CATEGORIES
            for each in report["categories"][name]["auditRefs"]
            for audit in [report["audits"][each["id"]]]
            if each["weight"] and audit["score"] is not None and audit["score"] < 0.9
        }
    )


def main() -> int:
    """Measures every page; 1 when one has too few marks."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("program")
    parser.add_argument("--runs", type=int, default=3)
    given = parser.parse_args()
    few = False
    print(f"{'':10}" + "".join(f"{name:>16}" for name in (*CATEGORIES, *_TIMES.values())))
    with tempfile.TemporaryDirectory(prefix="lighthouse-") as scratch:
        flock = str(Path(scratch) / "demo.sqlite")
        build_demo(flock, NOW.date(), 1, NOW)
        address = served(flock)
        for name, path in PAGES.items():
            runs = [
                measured(given.program, address + path, Path(scratch)) for _ in range(given.runs)
            ]
            got = {each: median(marks(run)[each] for run in runs) for each in CATEGORIES}
            times = [
                median(run["audits"][audit].get("numericValue", 0.0) for run in runs)
                for audit in _TIMES
            ]
            cells = [f"{mark:.0f}" for mark in got.values()] + [f"{value:.5g}" for value in times]
            print(f"{name:10}" + "".join(f"{cell:>16}" for cell in cells), flush=True)
            for line in costly(runs[-1]):
                print(f"    {line}")
            few = few or any(mark < ENOUGH for mark in got.values())
    return 1 if few else 0


if __name__ == "__main__":
    sys.exit(main())
