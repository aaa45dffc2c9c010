"""The work of scripts/lighthouse: the demo's pages as Lighthouse's phone sees them.

Each page is measured several times and the median counts; what costs a mark is named.
"""

import argparse
import json
import subprocess
import sys
import tempfile
from datetime import UTC, datetime
from pathlib import Path
from statistics import median
from typing import Any

from quailwright.exchange.demo_file import build_demo
from quailwright.web.app import create_app
from quailwright.web.home import Settings
from quailwright.web.serving import beside, listening

NOW = datetime(2027, 5, 2, 5, 30, tzinfo=UTC)
PAGES = {
    "sign-in": "/sign-in",
    "round": "/",
    "hatch": "/hatches/apr-23",
    "birds": "/birds",
    "plan": "/plan",
    "outlook": "/outlook",
    "eggs": "/eggs",
    "journal": "/journal",
    "costs": "/costs",
    "feed": "/feed",
    "blend": "/feed/blend",
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


def looked_at(program: str, name: str, address: str, runs: int, folder: Path) -> bool:
    """Prints a page's marks and what costs one; whether it has enough."""
    try:
        reports = [measured(program, address, folder) for _ in range(runs)]
    except subprocess.CalledProcessError:
        print(f"{name:10} Lighthouse could not look at {address}")
        return False
    got = [median(marks(report)[each] for report in reports) for each in CATEGORIES]
    times = [
        median(report["audits"][audit].get("numericValue", 0.0) for report in reports)
        for audit in _TIMES
    ]
    cells = [f"{mark:.0f}" for mark in got] + [f"{value:.5g}" for value in times]
    print(f"{name:10}" + "".join(f"{cell:>16}" for cell in cells), flush=True)
    for line in costly(reports[-1]):
        print(f"    {line}")
    return min(got) >= ENOUGH


def main() -> int:
    """Measures every page; 1 when one has too few marks."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("program")
    parser.add_argument("--runs", type=int, default=3)
    given = parser.parse_args()
    print(f"{'':10}" + "".join(f"{name:>16}" for name in (*CATEGORIES, *_TIMES.values())))
    with tempfile.TemporaryDirectory(prefix="lighthouse-") as scratch:
        flock = str(Path(scratch) / "demo.sqlite")
        build_demo(flock, NOW.date(), 1, NOW)
        app = create_app(Settings(flock, lambda: NOW, invented=True))
        with beside(app, listening("127.0.0.1", 0, any_near=False)) as port:
            enough = [
                looked_at(
                    given.program, name, f"http://localhost:{port}{path}", given.runs, Path(scratch)
                )
                for name, path in PAGES.items()
            ]
    return 0 if all(enough) else 1


if __name__ == "__main__":
    sys.exit(main())
