"""What docs/security.md promises of packages, files of others, privileges and of itself."""

import ast
import hashlib
import importlib.metadata
import importlib.util
import json
import os
import re
import subprocess
import sys
import tomllib
from pathlib import Path
from typing import Any

from tests.test_project import ROOT, asked_for, normal, pinned

SOURCE = ROOT / "src" / "quailwright"
DOC = (ROOT / "docs" / "security.md").read_text(encoding="utf-8")


def _audit() -> Any:
    found = importlib.util.spec_from_file_location("audit", ROOT / "scripts" / "audit.py")
    assert found is not None
    assert found.loader is not None
    module = importlib.util.module_from_spec(found)
    found.loader.exec_module(module)
    return module


def test_nothing_is_imported_that_is_not_pinned_and_asked_for() -> None:
    imported = set()
    for file in SOURCE.rglob("*.py"):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                imported |= {each.name.split(".")[0] for each in node.names}
            elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
                imported.add(node.module.split(".")[0])
    foreign = imported - set(sys.stdlib_module_names) - {"quailwright"}
    of_module = importlib.metadata.packages_distributions()
    packages = {normal(of_module[name][0]) for name in foreign - {"pydantic", "h11"}}
    assert packages <= asked_for("requirements.in")
    assert {"pydantic", "h11"} <= pinned("requirements.lock").keys()  # of fastapi and uvicorn


def test_setting_up_runs_no_code_of_packages_and_takes_only_what_the_hashes_name() -> None:
    said = (ROOT / "scripts" / "environment.py").read_text(encoding="utf-8")
    assert "--require-hashes" in said
    assert "--only-binary" in said
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    assert project["build-system"]["build-backend"] == "hatchling.build"
    assert "hooks" not in project.get("tool", {}).get("hatch", {}).get("build", {})
    assert not (ROOT / "setup.py").exists()


def test_files_of_others_are_as_their_manifest_says() -> None:
    looked_at = 0
    for manifest in ROOT.glob("**/vendored/vendored.toml"):
        if ".venv" in str(manifest):
            continue
        for text in re.findall(r"[0-9a-f]{64}", manifest.read_text(encoding="utf-8")):
            hashes = {
                hashlib.sha256(file.read_bytes()).hexdigest() for file in manifest.parent.iterdir()
            }
            assert text in hashes
            looked_at += 1
    assert looked_at >= 3


def test_an_audit_that_looked_nothing_up_does_not_pass() -> None:
    audit = _audit()
    clean = {"name": "a", "version": "1", "vulns": []}
    skipped = {"name": "b", "skip_reason": "Dependency not found"}
    known = {"name": "c", "version": "1", "vulns": [{"id": "X-1", "fix_versions": ["2"]}]}
    assert audit.verdict({"lock": [clean]})[0] == 0
    assert audit.verdict({"lock": [clean, skipped]})[0] == 3
    assert audit.verdict({"lock": None})[0] == 3
    assert audit.verdict({"lock": [clean, known, skipped]})[0] == 1
    assert audit.told("Traceback (most recent call last)") is None
    assert audit.told('{"dependencies": []}') == []


WATCHED = """
import json, os, sys
seen = {"written": [], "listens": [], "runs": []}
def look(event, given):
    if event == "open" and given[0] and not isinstance(given[0], int):
        if isinstance(given[2], int) and given[2] & (os.O_WRONLY | os.O_RDWR | os.O_CREAT):
            seen["written"].append(os.path.abspath(os.fsdecode(given[0])))
    elif event == "sqlite3.connect":
        seen["written"].append(os.path.abspath(os.fsdecode(given[0])))
    elif event in ("os.mkdir", "os.remove", "os.rmdir") and given[-1] == -1:
        seen["written"].append(os.path.abspath(os.fsdecode(given[0])))
    elif event == "os.rename":
        seen["written"] += [os.path.abspath(os.fsdecode(each)) for each in given[:2]]
    elif event in ("socket.bind", "socket.connect"):
        seen["listens"].append(str(given[1]))
    elif event in ("subprocess.Popen", "os.system", "os.exec", "os.posix_spawn", "os.fork"):
        seen["runs"].append(str(given[0]))
sys.addaudithook(look)
sys.dont_write_bytecode = True
from quailwright.cli.main import run
try:
    run()
except SystemExit as end:
    assert not end.code, end.code
finally:
    print("\\n" + json.dumps(seen))
"""


def test_commands_write_where_they_are_told_open_no_port_and_run_no_program(tmp_path: Path) -> None:
    data = tmp_path / "home" / ".local" / "share" / "quailwright"
    written: set[str] = set()
    for words in (
        ["log", "place", "place=pen", "role=pen", "floor_m2=3"],
        ["today"],
        ["backup", str(tmp_path / "out" / "b.zip")],
    ):
        for folder in ("out", "tmp"):
            (tmp_path / folder).mkdir(exist_ok=True)
        done = subprocess.run(
            [sys.executable, "-P", "-c", WATCHED, *words],
            capture_output=True, text=True, check=False, cwd=tmp_path,
            env={"HOME": str(tmp_path / "home"), "PATH": os.environ["PATH"], "LANGUAGE": "en",
                 "PYTHONPATH": str(ROOT / "src"), "TMPDIR": str(tmp_path / "tmp")},
        )  # fmt: skip
        assert done.returncode == 0, done.stderr
        seen = json.loads(done.stdout.splitlines()[-1])
        assert seen["listens"] == []
        assert seen["runs"] == []
        written |= set(seen["written"])
    assert any(Path(path).is_relative_to(data) for path in written)
    places = (data, tmp_path / "out", tmp_path / "tmp", Path("/dev"))
    above = {str(each) for each in data.parents}
    elsewhere = [
        path
        for path in written - above
        if not any(Path(path).is_relative_to(place) for place in places)
    ]
    assert elsewhere == []


def test_every_promise_names_a_test_that_is_there() -> None:
    named = set(re.findall(r"`(tests/[\w/]+\.py)::(test_\w+)`", DOC))
    assert len(named) > 40
    for file, test in named:
        assert f"def {test}(" in (ROOT / file).read_text(encoding="utf-8"), (file, test)


def test_the_unit_of_the_page_is_taken_by_systemd(tmp_path: Path) -> None:
    """The words of systemd.exec(5) that shut a service in; each stands in the example."""
    unit = DOC.split("```ini\n")[1].split("```")[0]
    for line in ("DynamicUser=yes", "ProtectSystem=strict", "ProtectHome=yes", "PrivateTmp=yes",
                 "NoNewPrivileges=yes", "CapabilityBoundingSet=", "UMask=0077",
                 "RestrictAddressFamilies=AF_INET AF_INET6 AF_UNIX"):  # fmt: skip
        assert line in unit.splitlines()
