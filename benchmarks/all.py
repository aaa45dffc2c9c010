"""Every benchmark, one after another, onto one page: `scripts/benchmark_all [--quick] [PART ...]`.

Each part runs in a process of its own and leaves its rows in a folder (`--folder`), so that a run
that was broken off goes on where it was: parts that are there are not run again, unless they are
named or `--anew` is given. At the end docs/performance.md is written from all that are there.
`--quick` runs each part once on little, to see that it runs; it writes no page.
"""

import argparse
import importlib
import os
import platform
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import NamedTuple

import msgspec
from benchmarks.rows import Row

ROOT = Path(__file__).resolve().parent.parent
PAGE = ROOT / "docs/performance.md"


class Part(NamedTuple):
    """A module of benchmarks, and what its table says in plain words."""

    module: str
    title: str
    says: str


PARTS = {
    "journal": Part(
        "benchmarks.run",
        "The journal and the command line",
        "Ten years of an invented holding: 36,290 entries with two pens, 102,010 with eight. "
        "Folding works out what stands now from all entries; an import also checks each line and "
        "is on the disk before it ends. Of a command the whole process is timed, beside a Python "
        "that does nothing.",
    ),
    "pages": Part(
        "benchmarks.web",
        "The pages",
        "The 102,010 entries with 200,000 readings, served as `serve` does. Eight people ask one "
        "after the other as fast as they are answered, so each waits for seven others; the figure "
        "is what half of the answers stay under. Beside it a server that holds the same bytes "
        "ready and does nothing.",
    ),
    "outlook": Part(
        "benchmarks.outlook",
        "The weeks ahead",
        "Simulating 30 groups over 104 weeks beside drawing the same chances and nothing else, and "
        "beside every bird as a process of its own; learning the rates from ten years of records "
        "beside folding them.",
    ),
    "plans": Part(
        "benchmarks.plan",
        "Plans",
        "Two years, three sellers, an absence: building and solving the programme beside the "
        "solver alone on the same programme, read from a file.",
    ),
    "rations": Part(
        "benchmarks.ration",
        "Rations",
        "40 ingredients and 30 needs, beside the solver alone on the same programmes.",
    ),
    "matings": Part(
        "benchmarks.matings",
        "Matings",
        "200 candidates, 80 hens in 20 pens. The reference, a general solver of cones, solves "
        "a smaller question: shares of birds, and not whole ones.",
    ),
    "breeding": Part(
        "benchmarks.breeding",
        "Inbreeding and kinship",
        "Pedigrees of 100,000 and 1,000 birds, beside loops compiled for it.",
    ),
    "sensors": Part(
        "benchmarks.ingest",
        "Sensors",
        "From the message of a device to the disk: read, checked, mapped, kept once. The reference "
        "writes rows that are ready, in transactions of the same size, and checks nothing.",
    ),
    "readings": Part(
        "benchmarks.readings",
        "Readings by the file",
        "A CSV file of readings into a database file, and each day's mean, lowest and highest. "
        "Ours also checks each line, keeps each reading once and keeps sums of each hour ready.",
    ),
    "backup": Part(
        "benchmarks.backup",
        "Backups",
        "A million readings of ten sensors. Ours is of one moment while others write, holds every "
        "table in a form of its own with a checksum, and is proven before it bears its name: by "
        "restoring it and comparing every row, or by its checksums alone.",
    ),
    "room": Part(
        "benchmarks.room",
        "Room for readings",
        "Four sensors at a reading every ten seconds with a hatch every six weeks, thinned each "
        "day: what stays, and what it takes.",
    ),
}  # fmt: skip


class Came(msgspec.Struct):
    """What a part gave, when, on what code, and how long it took."""

    at: str
    commit: str
    seconds: float
    load: float
    rows: list[Row]


def rows_of(name: str, quick: bool) -> Iterator[Row]:
    """The rows of a part, run in this process."""
    found: Iterator[Row] = importlib.import_module(PARTS[name].module).rows(quick)
    return found


def run(name: str, folder: Path) -> Came:
    """Runs a part in a process of its own and keeps what it gave."""
    began, at = time.monotonic(), datetime.now(UTC).strftime("%Y-%m-%d %H:%M")
    words = [sys.executable, "-m", "benchmarks.all", "--rows-of", name]
    # As the command line has it; see cli/main.py.
    environment = {"OPENBLAS_NUM_THREADS": "1", **os.environ}
    done = subprocess.run(words, check=True, stdout=subprocess.PIPE, cwd=ROOT, env=environment)
    rows = msgspec.json.decode(done.stdout.splitlines()[-1], type=list[Row])
    came = Came(at, commit(), time.monotonic() - began, os.getloadavg()[0], rows)
    (folder / f"{name}.json").write_bytes(msgspec.json.encode(came))
    return came


def commit() -> str:
    """The commit that this is."""
    asked = ["git", "describe", "--always", "--dirty=, with changes", "--exclude=*"]
    told = subprocess.run(asked, cwd=ROOT, capture_output=True, text=True, check=False)
    return told.stdout.strip() or "not known"


def kept(folder: Path) -> dict[str, Came]:
    """What is there of each part, in the order of the page."""
    files = {name: folder / f"{name}.json" for name in PARTS}
    return {
        name: msgspec.json.decode(file.read_bytes(), type=Came)
        for name, file in files.items()
        if file.exists()
    }


# The page.


def machine() -> str:
    """What it ran on, without names of hosts or people."""
    memory_gb = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 1e9
    return (
        f"{os.cpu_count()} cores, {memory_gb:.0f} GB of memory, {platform.machine()}, "
        f"{platform.system()} {platform.release().partition('-')[0]}, "
        f"CPython {platform.python_version()}, SQLite {sqlite3.sqlite_version}"
    )


HEAD = """# Performance

Made by `scripts/benchmark_all`, and by nothing else: a run writes this page anew.

How to read it. Each figure stands beside that of a named reference, which ran in turns with it, in
the same minutes on the same machine. Both are medians over the turns. The ratio is how many times
as long ours takes as the reference; in brackets stand the least and the greatest ratio of a single
turn. Where these lie on both sides of 1 the table says that there is no difference beyond the
noise, whatever the ratio. References often do less than ours (they check nothing, or answer
nothing): then the ratio tells what the rest costs. Nothing here is asserted by the tests.
"""


def page(found: dict[str, Came]) -> str:
    """docs/performance.md."""
    lines = [HEAD, f"Machine: {machine()}.", ""]
    lines += ["| part | when (UTC) | commit | took | load of the machine at its end |"]
    lines += ["|---|---|---|---:|---:|"]
    for name, came in found.items():
        lines.append(
            f"| {PARTS[name].title} | {came.at} | {came.commit} | {came.seconds:.0f} s | "
            f"{came.load:.1f} |"
        )
    total = sum(came.seconds for came in found.values())
    lines += ["", f"All parts together took {total / 60:.1f} minutes."]
    busy = [PARTS[name].title for name, came in found.items() if came.load > (os.cpu_count() or 1)]
    if busy:
        lines += ["", "The machine was busy with other work (a load above its cores) while these "
                  f"ran, so read their ratios and not their times: {', '.join(busy)}."]  # fmt: skip
    for name, part in PARTS.items():
        rows = found[name].rows if name in found else []
        told = table(rows) if rows else ["Not run."]
        lines += ["", f"## {part.title}", "", part.says, "", *told]
    return "\n".join([*lines, ""])


def table(rows: list[Row]) -> list[str]:
    """Rows as a table."""
    lines = ["| measured | figure | reference | its figure | ratio (least to greatest) | turns | |"]
    lines += ["|---|---:|---|---:|---:|---:|---|"]
    for row in rows:
        other = "" if row.reference_figure is None else f"{short(row.reference_figure)} {row.unit}"
        ratio = ""
        if row.ratio is not None and row.low is not None and row.high is not None:
            ratio = f"{short(row.ratio)} ({short(row.low)} to {short(row.high)})"
        lines.append(
            f"| {row.what} | {short(row.figure)} {row.unit} | {row.reference} | {other} | {ratio} "
            f"| {row.repeats} | {row.says} |"
        )
    return lines


def short(value: float) -> str:
    """Three figures that count."""
    return f"{value:,.0f}" if value >= 100 else f"{value:.3g}"


def main() -> int:
    """Runs what is asked for."""
    parser = argparse.ArgumentParser(description="Every benchmark, onto one page.")
    parser.add_argument("parts", nargs="*", help=f"only these: {', '.join(PARTS)}")
    parser.add_argument("--quick", action="store_true", help="each once, on little; no page")
    parser.add_argument("--anew", action="store_true", help="run again what is there")
    parser.add_argument("--folder", type=Path, default=ROOT / ".benchmarks", help="of rows")
    parser.add_argument("--rows-of", help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.rows_of:
        # Whatever a part prints goes before its rows, which are the last line.
        found = list(rows_of(asked.rows_of, quick=False))
        print("\n" + msgspec.json.encode(found).decode(), flush=True)
        return 0
    unknown = set(asked.parts) - set(PARTS)
    if unknown:
        parser.error(f"no such part: {', '.join(sorted(unknown))}. There are {', '.join(PARTS)}.")
    if asked.quick:
        for name in asked.parts or PARTS:
            print(*table(list(rows_of(name, quick=True))), sep="\n", flush=True)
        return 0
    asked.folder.mkdir(parents=True, exist_ok=True)
    for name in asked.parts or PARTS:
        if asked.parts or asked.anew or name not in kept(asked.folder):
            came = run(name, asked.folder)
            print(f"{name}: {len(came.rows)} rows in {came.seconds:.0f} s", flush=True)
    PAGE.write_text(page(kept(asked.folder)), encoding="utf-8")
    print(f"written: {PAGE.relative_to(ROOT)}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
