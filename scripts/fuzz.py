"""The work of scripts/fuzz: each target for some time, then what was tried, reached and found.

`fuzz.py PACKAGES TARGET|all|stateful|api SECONDS [--seed N] [--keep FOLDER]`. A fault's smallest
input stays in build/fuzz/TARGET beside what was raised. Exit code 1 where there is one.
"""

import argparse
import importlib
import json
import os
import pkgutil
import random
import re
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

_LONGEST_INPUT = 16_384
_HANGS_AFTER_S = 120
"""By the clock, of a machine that has other work; a child itself counts 5 s of the processor."""
_LATE_S = 240
_MEMORY_MB = 2_000


@dataclass
class Told:
    """What came of a target."""

    name: str
    seconds: float = 0.0
    tried: int = 0
    taken: int = 0
    slowest_s: float = 0.0
    features: tuple[int, int] = (0, 0)
    corpus: int = 0
    lines: str = ""
    contained: int = 0
    found: list[str] = field(default_factory=list)


def fuzzed(name: str, seconds: int, seed: int, keep: Path | None) -> Told:
    """Has a target tried for so many seconds; a child that is killed by an input is begun again."""
    told = Told(name)
    left = ROOT / "build" / "fuzz" / name
    shutil.rmtree(left, ignore_errors=True)
    with tempfile.TemporaryDirectory(prefix="quail-fuzz-") as scratch:
        apart = Path(scratch)
        (apart / "found").mkdir()
        corpus = apart / "corpus"
        if keep is not None and (keep / name).is_dir():
            shutil.copytree(keep / name, corpus)
        corpus.mkdir(exist_ok=True)
        began = time.monotonic()
        until = began + seconds
        while (rest := int(until - time.monotonic())) > 0:
            ended = _child(name, apart, rest, seed, told)
            for artifact in apart.glob("ended-*"):
                _judge(name, artifact, told, apart / "found")
            if not ended:
                break
            seed += 1
        told.seconds = time.monotonic() - began
        told.corpus = sum(1 for _ in corpus.iterdir())
        told.lines = _lines(name, apart)
        if keep is not None:
            shutil.copytree(corpus, keep / name, dirs_exist_ok=True)
        for path in sorted((apart / "found").glob("*.txt")):
            told.found.append(path.read_text().partition("\n")[0])
            left.mkdir(parents=True, exist_ok=True)
            shutil.copy(path, left)
            shutil.copy(path.with_suffix(".input"), left)
    return told


def _child(name: str, apart: Path, seconds: int, seed: int, told: Told) -> int | None:
    from scripts import fuzz_child

    options = [
        f"-max_total_time={seconds}", f"-seed={seed}", f"-max_len={_LONGEST_INPUT}",
        f"-timeout={_HANGS_AFTER_S}", f"-rss_limit_mb={_MEMORY_MB}", "-print_final_stats=1",
        f"-artifact_prefix={apart}/ended-", f"-report_slow_units={_HANGS_AFTER_S}",
    ]  # fmt: skip
    log = apart / "log"
    # A child looks at its clock once it has taken all that it begins with.
    ended = fuzz_child.forked(lambda: fuzz_child.fuzz(name, apart, options), log, seconds + _LATE_S)
    text = log.read_text(errors="replace")
    counts: dict[str, Any] = {"tried": 0, "taken": 0, "slowest_s": 0.0}
    written = apart / "found" / "counts.json"
    if written.exists():
        counts = json.loads(written.read_text())
        written.unlink()
    units = re.findall(r"stat::number_of_executed_units: (\d+)", text)
    told.tried += max(int(units[-1]) if units else 0, counts["tried"])
    told.taken += counts["taken"]
    told.slowest_s = max(told.slowest_s, counts["slowest_s"])
    reached = re.findall(r"#\d+\s+(?:INITED|NEW|REDUCE|pulse|DONE)\s+cov: (\d+)", text)
    if reached:
        told.features = (told.features[0] or int(reached[0]), int(reached[-1]))
    if ended and not any(apart.glob("ended-*")):
        raise SystemExit(f"{name} could not be tried:\n{text[-3000:]}")
    return ended


def _judge(name: str, artifact: Path, told: Told, found: Path) -> None:
    """An input that ended a child: what a keeper would meet, where there is a process for it."""
    data = artifact.read_bytes()
    from scripts.fuzz_targets import IN_A_PROCESS_OF_ITS_OWN, in_a_process_of_its_own

    if name in IN_A_PROCESS_OF_ITS_OWN and in_a_process_of_its_own(name, data):
        told.contained += 1
    else:
        (found / f"{artifact.name}.input").write_bytes(data)
        (found / f"{artifact.name}.txt").write_text(f"ended the process: {artifact.name}\n")
    artifact.unlink()


def _lines(name: str, apart: Path) -> str:
    from scripts import fuzz_child

    fuzz_child.forked(lambda: fuzz_child.cover(name, apart), apart / "log", _LATE_S)
    found = apart / "lines"
    return found.read_text() if found.exists() else "not counted"


@contextmanager
def _unsaid() -> Iterator[None]:
    """Without a line on standard error for each module."""
    kept = os.dup(2)
    with Path(os.devnull).open("wb") as nowhere:
        os.dup2(nowhere.fileno(), 2)
    try:
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)


def _instrumented() -> None:
    """Imports every module of quailwright so that it tells which of its branches are taken."""
    atheris: Any = importlib.import_module("atheris")
    with _unsaid(), atheris.instrument_imports(include=["quailwright"]):
        import quailwright

        for each in pkgutil.walk_packages(quailwright.__path__, "quailwright."):
            if (
                not each.name.endswith(("__main__", "tables_in_reader"))
                and ".migrations" not in each.name
            ):
                importlib.import_module(each.name)
        importlib.import_module("scripts.fuzz_targets")


def stateful(seconds: int, seed: int) -> int:
    """The whole application against a simple model, for so long."""
    command = [
        sys.executable,
        "-P",
        str(ROOT / "scripts" / "fuzz_stateful.py"),
        str(seconds),
        str(seed),
    ]
    return subprocess.run(command, cwd=ROOT, check=False).returncode


def api(packages: Path, seconds: int, seed: int) -> int:
    """schemathesis, as everyone who may call the API."""
    program = packages.parents[2] / "bin" / "schemathesis"
    command = [
        sys.executable,
        "-P",
        str(ROOT / "scripts" / "fuzz_api.py"),
        str(program),
        str(seconds),
    ]
    return subprocess.run([*command, "--seed", str(seed)], cwd=ROOT, check=False).returncode


def main() -> int:
    """Reads what is asked, and tells what came of it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("environment", type=Path)
    parser.add_argument(
        "target", metavar="TARGET", help="or several with commas, all, stateful, api"
    )
    parser.add_argument("seconds", type=int, help="for each target")
    parser.add_argument("--seed", type=int, default=random.SystemRandom().randrange(2**31))
    parser.add_argument("--keep", type=Path, help="where inputs that reach more are kept for later")
    given = parser.parse_args()
    (packages,) = given.environment.glob("lib/python*/site-packages")
    print(f"Seed {given.seed}.", flush=True)
    if given.target == "stateful":
        return stateful(given.seconds, given.seed)
    if given.target == "api":
        return api(packages, given.seconds, given.seed)
    print("target | seconds | tried | taken | branches before, after | corpus | lines reached | "
          "slowest, s | reader ended, contained | faults")  # fmt: skip
    sys.path.append(str(packages))
    _instrumented()
    from scripts.fuzz_targets import TARGETS

    faults = 0
    for name in TARGETS if given.target == "all" else given.target.split(","):
        if name not in TARGETS:
            parser.error(f"there is no {name}. There are {', '.join(TARGETS)}.")
        told = fuzzed(name, given.seconds, given.seed, given.keep)
        before, after = told.features
        row = (
            name, f"{told.seconds:.0f}", f"{told.tried:,}", f"{told.taken:,}",
            f"{before:,}, {after:,}", f"{told.corpus:,}", told.lines, told.slowest_s,
            told.contained, len(told.found),
        )  # fmt: skip
        print(" | ".join(map(str, row)), flush=True)
        for each in told.found:
            print(f"    {each}", flush=True)
        faults += len(told.found)
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
