"""One target of scripts/fuzz in a process of its own: `fuzz_child.py TARGET FOLDER PACKAGES ...`.

With `fuzz`, atheris tries inputs until libFuzzer's own options end it. With `cover`, every input of
the corpus is taken once more under coverage.py, and the share of lines reached is printed.
"""

import hashlib
import importlib
import json
import random
import resource
import sys
import time
import traceback
from collections.abc import Callable
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parent.parent
HANG_CPU_S = 5.0
MOST_MEMORY_KB = 500_000
_TOLD_EVERY = 20


class Tries:
    """Takes inputs, keeps the smallest of each kind of fault, and counts."""

    def __init__(self, take: Callable[[bytes], bool], folder: Path) -> None:
        self._take = take
        self._folder = folder
        self._found: dict[str, int] = {}
        self.counts = {"tried": 0, "taken": 0, "faults": 0, "slowest_s": 0.0}

    def __call__(self, data: bytes) -> None:
        """One input."""
        self.counts["tried"] += 1
        before, began = _memory_kb(), time.process_time()
        try:
            self.counts["taken"] += self._take(data)
        except BaseException as error:
            if isinstance(error, KeyboardInterrupt | SystemExit):
                raise
            self._note(_signature(error), data, "".join(traceback.format_exception(error)))
        spent = time.process_time() - began
        self.counts["slowest_s"] = max(self.counts["slowest_s"], round(spent, 2))
        if spent > HANG_CPU_S:
            self._note("hang", data, f"It took {spent:.1f} s of the processor.")
        if _memory_kb() - before > MOST_MEMORY_KB:
            self._note("memory", data, f"It took {_memory_kb() - before:,} kB more.")
        if self.counts["tried"] % _TOLD_EVERY == 0:
            self.tell()

    def tell(self) -> None:
        """Writes the counts down for the parent."""
        (self._folder / "counts.json").write_text(json.dumps(self.counts))

    def _note(self, signature: str, data: bytes, told: str) -> None:
        self.counts["faults"] += 1
        if len(data) >= self._found.get(signature, len(data) + 1):
            return
        self._found[signature] = len(data)
        name = hashlib.sha256(signature.encode()).hexdigest()[:12]
        (self._folder / f"{name}.input").write_bytes(data)
        (self._folder / f"{name}.txt").write_text(f"{signature}\n{told}")
        self.tell()


def _memory_kb() -> int:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss


def _signature(error: BaseException) -> str:
    """What kind of fault it is: its type, and the line of ours that it came out of."""
    where = ""
    for frame in traceback.extract_tb(error.__traceback__):
        if "quailwright" in frame.filename or "/scripts/" in frame.filename:
            where = f"{Path(frame.filename).name}:{frame.name}:{frame.lineno}"
    return f"{type(error).__name__} {where}"


def main() -> None:
    """Does what the parent asks."""
    mode, name, folder, packages, *options = sys.argv[1:]
    sys.path.insert(0, str(ROOT))
    sys.path.append(packages)
    apart = Path(folder)
    if mode == "cover":
        _cover(name, apart)
        return
    atheris: Any = importlib.import_module("atheris")
    # Modules are imported where they are used, so it looks on to the end.
    with atheris.instrument_imports(include=["quailwright"]):
        inputs: Any = importlib.import_module("scripts.fuzz_inputs")
        target = importlib.import_module("scripts.fuzz_targets").TARGETS[name]
        seeds = list(dict.fromkeys(target.seeds()))
        tries = Tries(target.ready(), apart / "found")
        for number, seed in enumerate(seeds):
            (apart / "corpus" / f"seed{number}").write_bytes(seed)
        (apart / "words").write_text(inputs.dictionary())

        def mutator(data: bytes, most: int, seed: int) -> bytes:
            rng = random.Random(seed)
            if rng.random() < 0.4:
                return bytes(atheris.Mutate(data, most))
            return bytes(inputs.changed(data, rng, most))

        arguments = [sys.argv[0], *options, f"-dict={apart / 'words'}", str(apart / "corpus")]
        atheris.Setup(arguments, tries, custom_mutator=mutator)
        atheris.Fuzz()


def _cover(name: str, apart: Path) -> None:
    coverage: Any = importlib.import_module("coverage")
    targets: Any = importlib.import_module("scripts.fuzz_targets")
    target = targets.TARGETS[name]
    modules = [f"quailwright.{each}" for each in target.covers]
    lines = coverage.Coverage(data_file=None, source_pkgs=modules, messages=False)
    lines.start()
    take = target.ready()
    for path in sorted((apart / "corpus").iterdir()):
        try:
            take(path.read_bytes())
        except Exception:
            continue
    lines.stop()
    there = reached = 0
    for module in modules:
        _, statements, _, missing, _ = lines.analysis2(importlib.import_module(module))
        there += len(statements)
        reached += len(statements) - len(missing)
    print(json.dumps({"lines": there, "reached": reached}))


if __name__ == "__main__":
    main()
