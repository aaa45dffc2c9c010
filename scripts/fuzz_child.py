"""One target of scripts/fuzz, in a process that is forked once all modules are instrumented."""

import ast
import hashlib
import importlib
import json
import os
import random
import resource
import time
import traceback
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from scripts import fuzz_inputs as inputs
from scripts.fuzz_targets import TARGETS

HANG_CPU_S = 5.0
MOST_MEMORY_KB = 500_000
_TOLD_EVERY = 20


class Tries:
    """Takes inputs, keeps the smallest of each kind of fault, and counts."""

    def __init__(self, take: Callable[[bytes], bool], folder: Path) -> None:
        self._take = take
        self._folder = folder
        self._found: dict[str, int] = {}
        self.tried = self.taken = 0
        self.slowest_s = 0.0

    def __call__(self, data: bytes) -> None:
        """One input."""
        self.tried += 1
        before, began = _memory_kb(), time.process_time()
        try:
            self.taken += self._take(data)
        except (KeyboardInterrupt, SystemExit):
            raise
        except BaseException as error:
            self._note(_signature(error), data, "".join(traceback.format_exception(error)))
        spent = time.process_time() - began
        self.slowest_s = max(self.slowest_s, round(spent, 2))
        if spent > HANG_CPU_S:
            self._note("hang", data, f"It took {spent:.1f} s of the processor.")
        if _memory_kb() - before > MOST_MEMORY_KB:
            self._note("memory", data, f"It took {_memory_kb() - before:,} kB more.")
        if self.tried % _TOLD_EVERY == 0:
            told = {"tried": self.tried, "taken": self.taken, "slowest_s": self.slowest_s}
            (self._folder / "counts.json").write_text(json.dumps(told))

    def _note(self, signature: str, data: bytes, told: str) -> None:
        if len(data) >= self._found.get(signature, len(data) + 1):
            return
        self._found[signature] = len(data)
        name = hashlib.sha256(signature.encode()).hexdigest()[:12]
        (self._folder / f"{name}.input").write_bytes(data)
        (self._folder / f"{name}.txt").write_text(f"{signature}\n{told}")


def _memory_kb() -> int:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss


def _signature(error: BaseException) -> str:
    """What kind of fault it is: its type, and the line of ours that it came out of."""
    where = ""
    for frame in traceback.extract_tb(error.__traceback__):
        if "quailwright" in frame.filename or "/scripts/" in frame.filename:
            where = f"{Path(frame.filename).name}:{frame.name}:{frame.lineno}"
    return f"{type(error).__name__} {where}"


def fuzz(name: str, apart: Path, options: Sequence[str]) -> None:
    """Tries inputs until libFuzzer's options end this process. Works in the folder `apart`."""
    atheris: Any = importlib.import_module("atheris")
    target = TARGETS[name]
    for number, seed in enumerate(dict.fromkeys(target.seeds())):
        (apart / "corpus" / f"seed{number}").write_bytes(seed)
    (apart / "words").write_text(inputs.dictionary())

    def mutator(data: bytes, most: int, seed: int) -> bytes:
        rng = random.Random(seed)
        if rng.random() < 0.4:
            return bytes(atheris.Mutate(data, most))
        return inputs.changed(data, rng, most)

    arguments = ["fuzz", *options, f"-dict={apart / 'words'}", str(apart / "corpus")]
    atheris.Setup(arguments, Tries(target.ready(), apart / "found"), custom_mutator=mutator)
    atheris.Fuzz()


def cover(name: str, apart: Path) -> None:
    """Takes every input of the corpus once more, and notes which lines of functions are reached."""
    coverage: Any = importlib.import_module("coverage")
    modules = [importlib.import_module(f"quailwright.{each}") for each in TARGETS[name].covers]
    lines = coverage.Coverage(
        data_file=None, include=[str(each.__file__) for each in modules], messages=False
    )
    take = TARGETS[name].ready()
    lines.start()
    for path in sorted((apart / "corpus").iterdir()):
        try:
            take(path.read_bytes())
        except Exception:
            continue
    lines.stop()
    there = reached = 0
    for module in modules:
        _, statements, _, missing, _ = lines.analysis2(module)
        inside = _in_functions(Path(str(module.__file__))).intersection(statements)
        there += len(inside)
        reached += len(inside.difference(missing))
    (apart / "lines").write_text(f"{reached} of {there}")


def _in_functions(path: Path) -> set[int]:
    """Lines within functions: the others ran when the module was imported."""
    return {
        line
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
        for line in range(node.body[0].lineno, (node.end_lineno or node.lineno) + 1)
    }


def forked(work: Callable[[], None], log: Path, within_s: float) -> int | None:
    """Does work in a process of its own; its exit code, None where it took too long."""
    process = os.fork()
    if process == 0:
        status = 1
        try:
            stream = os.open(log, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
            os.dup2(stream, 1)
            os.dup2(stream, 2)
            work()
            status = 0
        except BaseException:
            traceback.print_exc()
        finally:
            os._exit(status)
    until = time.monotonic() + within_s
    while time.monotonic() < until:
        ended, status = os.waitpid(process, os.WNOHANG)
        if ended:
            return os.waitstatus_to_exitcode(status)
        time.sleep(0.2)
    os.kill(process, 9)
    os.waitpid(process, 0)
    return None
