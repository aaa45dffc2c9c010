"""The pages are held to the code: commands run, references are current, links lead somewhere."""

import os
import re
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from tests.cli.conftest import Quail
from tests.cli.conftest import quail as quail_fixture

quail = quail_fixture
ROOT = Path(__file__).resolve().parent.parent
PAGES = [ROOT / "README.md", ROOT / "CONTRIBUTING.md", *sorted((ROOT / "docs").glob("*.md"))]
ENVIRONMENT = {**os.environ, "PYTHONPATH": str(ROOT / "src"), "QUAILWRIGHT_TRACEBACK": "1"}


def said_while_serving(folder: Path, *words: str) -> str:
    """What a command says that serves until it is stopped."""
    with subprocess.Popen(
        [sys.executable, "-m", "quailwright", *words],
        env=ENVIRONMENT | {"XDG_DATA_HOME": str(folder)},
        stdout=subprocess.PIPE,
        text=True,
    ) as process:
        assert process.stdout is not None
        said = ""
        try:
            for line in process.stdout:
                said += line
                if "Stop with" in line:
                    process.send_signal(signal.SIGINT)
            assert process.wait() == 0
        finally:
            process.kill()  # where it did not end
    return said


def commands_of_readme() -> list[str]:
    """Every `./start` line of the README's code blocks, without the words beside it."""
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    blocks = re.findall(r"```\n(.*?)```", text, re.S)
    lines = [line for block in blocks for line in block.splitlines()]
    return [re.split(r"\s{2,}", line)[0] for line in lines if line.startswith("./start ")]


def test_every_command_of_the_readme_runs_in_the_order_shown(tmp_path: Path, quail: Quail) -> None:
    """In this process: starting anew for each of them would take most of the time."""
    entry = '{"kind": "care", "id": "00000001-0000-4000-8000-000000000001", "at": "2027-05-02"'
    (tmp_path / "year.jsonl").write_text(f'{entry}, "task": "feed_water"}}\n', encoding="utf-8")
    commands = commands_of_readme()
    assert len(commands) >= 8
    for command in commands:
        if command == "./start demo":
            assert "Open http://127.0.0.1:" in said_while_serving(tmp_path, "demo")
            continue
        words = re.findall(r'(?:[^\s"]|"[^"]*")+', command)[1:]
        ran = quail(*(word.replace('"', "") for word in words))
        assert ran.code == 0, f"{command}\n{ran.err}"
        assert ran.out


def test_the_readme_names_the_two_commands_on_its_first_screen() -> None:
    first_screen = (ROOT / "README.md").read_text(encoding="utf-8").splitlines()[:20]
    assert any(line.startswith("./start demo --no-serve") for line in first_screen)
    assert any(line.startswith("./check") for line in first_screen)


@pytest.mark.parametrize("name", ["journal", "cautions"])
def test_pages_made_from_the_program_are_current(name: str) -> None:
    script = ROOT / "scripts" / f"{name}_reference.py"
    ran = subprocess.run(
        [sys.executable, str(script)], env=ENVIRONMENT, capture_output=True, text=True, check=True
    )
    assert ran.stdout == (ROOT / "docs" / f"{name}.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_links_lead_to_files(page: Path) -> None:
    for target in re.findall(r"\]\(([^)#:]+)\)", page.read_text(encoding="utf-8")):
        assert (page.parent / target).exists(), f"{page.name} links to {target}"
