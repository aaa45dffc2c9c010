"""What is typed often starts at once: it loads no web, statistics or plotting library."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

HEAVY = (
    "fastapi",
    "starlette",
    "uvicorn",
    "jinja2",
    "argon2",
    "segno",
    "scipy",
    "alembic",
    "babel",
)
PROGRAM = """
import sys
from quailwright.cli.main import run
try:
    run()
except SystemExit as leaving:
    assert not leaving.code, leaving.code
print(sorted(set(sys.argv[0].split(",")) & {name.partition(".")[0] for name in sys.modules}))
"""


@pytest.mark.parametrize("words", ["log care task=feed_water", "today", "flock"])
def test_daily_commands_load_nothing_heavy(tmp_path: Path, words: str) -> None:
    flock = str(tmp_path / "flock.sqlite")
    begin = [sys.executable, "-m", "quailwright", "log", "--flock", flock, "holding", "name=Home"]
    subprocess.run(begin, check=True, capture_output=True)
    program = (
        f"import sys\nsys.argv = [{','.join(HEAVY)!r}, *{[*words.split(), '--flock', flock]!r}]"
    )
    ran = subprocess.run(
        [sys.executable, "-c", program + PROGRAM], check=True, capture_output=True, text=True
    )
    assert ran.stdout.splitlines()[-1] == "[]"


def test_linear_algebra_takes_one_thread_unless_told() -> None:
    """Its threads spin while they wait for busy cores: a page took seconds of them."""
    program = """
import os, sys
from quailwright.cli.main import run
sys.argv = ["quailwright", "--version"]
try:
    run()
except SystemExit:
    print(os.environ["OPENBLAS_NUM_THREADS"])
"""
    for told, expected in (({}, "1"), ({"OPENBLAS_NUM_THREADS": "3"}, "3")):
        kept = {k: v for k, v in os.environ.items() if k != "OPENBLAS_NUM_THREADS"}
        ran = subprocess.run(
            [sys.executable, "-c", program], check=True, capture_output=True, text=True,
            env=kept | told,
        )  # fmt: skip
        assert ran.stdout.split()[-1] == expected
