"""The project as a whole: locks, documents that repeat a figure, and the start script."""

import json
import os
import re
import shutil
import signal
import subprocess
import tomllib
from pathlib import Path

import pytest
from scripts import environment

import quailwright

ROOT = Path(__file__).parent.parent
LOCKS = ("requirements.lock", "requirements-check.lock", "requirements-benchmark.lock")

# Split, so that this file is not itself a file that holds a registry's host.
REGISTRY_HOSTS = (
    "pypi" + ".org",
    "python" + "hosted.org",
    "npm" + "js.org",
    "npm" + "js.com",
    "yarn" + "pkg.com",
    "crates" + ".io",
    "deb.debian" + ".org",
    "rubygems" + ".org",
)

PINNED_WITH_HASHES = re.compile(
    r"""(
    [\w.-]+==[\w.]+ (\ ;\ [\w\s.'<>=!]+)?        # a package, its version, and where it is needed
    (\ \\\n\ {4}--hash=sha256:[0-9a-f]{64})+\n     # and what its files hash to
    )+""",
    re.VERBOSE,
)

REPORTING_PROGRAM = """\
import json, sys
import quailwright
print(json.dumps({"arguments": sys.argv[1:], "package": quailwright.__file__}))
"""


def normal(name: str) -> str:
    """The name of a package in the form of the packaging standard (PEP 503)."""
    return re.sub(r"[-_.]+", "-", name).lower()


def pinned(lock: str) -> dict[str, str]:
    """The packages that a lock pins, with their versions."""
    text = (ROOT / lock).read_text(encoding="utf-8")
    return {normal(name): version for name, version in re.findall(r"^([\w.-]+)==(\S+)", text, re.M)}


def asked_for(requirements: str) -> set[str]:
    """The packages that a requirements file names itself."""
    text = (ROOT / requirements).read_text(encoding="utf-8")
    return {normal(name) for name in re.findall(r"^(\w[\w.-]*)", text, re.M)}


def table_under(heading: str) -> dict[str, list[str]]:
    """The rows of the table under a heading of docs/dependencies.md, by their first cell."""
    text = (ROOT / "docs" / "dependencies.md").read_text(encoding="utf-8")
    section = text.split(f"## {heading}\n")[1].split("\n## ")[0]
    rows = [line.strip("| ").split(" | ") for line in section.splitlines() if line[:1] == "|"]
    return {row[0]: row[1:] for row in rows[2:]}


@pytest.mark.parametrize("lock", LOCKS)
def test_lock_has_hashes_and_no_address(lock: str) -> None:
    text = (ROOT / lock).read_text(encoding="utf-8")
    assert PINNED_WITH_HASHES.fullmatch(text)


def test_check_lock_pins_what_the_runtime_lock_pins() -> None:
    check = pinned("requirements-check.lock")
    assert {name: check.get(name) for name in pinned("requirements.lock")} == pinned(
        "requirements.lock"
    )


def test_no_tracked_file_names_a_registry_host() -> None:
    listed = subprocess.run(
        ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"],
        cwd=ROOT,
        check=True,
        capture_output=True,
        text=True,
    ).stdout
    names = [name for name in listed.split("\0") if name and (ROOT / name).is_file()]
    assert "pyproject.toml" in names
    found = [
        (name, host)
        for name in names
        for host in REGISTRY_HOSTS
        if host.encode() in (ROOT / name).read_bytes()
    ]
    assert found == []


def test_package_asks_for_the_same_as_requirements_in() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    names = {normal(re.split(r"[\[<>=~!]", line)[0]) for line in project["dependencies"]}
    assert names == asked_for("requirements.in")


@pytest.mark.parametrize(
    ("heading", "requirements", "lock"),
    [
        ("To run", "requirements.in", "requirements.lock"),
        ("To check", "requirements-check.in", "requirements-check.lock"),
    ],
)
def test_each_dependency_is_told_with_its_version(
    heading: str, requirements: str, lock: str
) -> None:
    versions = pinned(lock)
    told = {name: cells[0] for name, cells in table_under(heading).items()}
    assert told == {name: versions[name] for name in asked_for(requirements)}


def test_what_is_only_measured_with_is_told_with_its_version() -> None:
    versions = pinned("requirements-benchmark.lock")
    told = {name: cells[0] for name, cells in table_under("Only for measuring").items()}
    for name in asked_for("requirements-benchmark.in"):
        assert told[name] == versions[name]


def test_each_package_brought_along_is_told_with_its_version() -> None:
    versions = pinned("requirements.lock")
    told = {name: cells[0] for name, cells in table_under("Brought along").items()}
    assert told == {
        name: version
        for name, version in versions.items()
        if name not in asked_for("requirements.in")
    }


def test_version_is_the_changelog_top_entry() -> None:
    changelog = (ROOT / "CHANGELOG.md").read_text(encoding="utf-8")
    top = re.search(r"^## (\S+)", changelog, re.M)
    assert top is not None
    assert top[1] == quailwright.__version__


@pytest.fixture
def checkout(tmp_path: Path) -> Path:
    """A checkout in a folder with blanks and accents; its lock pins nothing, its program reports.

    Setting up such a checkout needs no network; all else is the real start.
    """
    folder = tmp_path / "minha criação nº 1"
    shutil.copytree(ROOT / "scripts", folder / "scripts", ignore=shutil.ignore_patterns("__*"))
    shutil.copy2(ROOT / "start", folder / "start")
    (folder / "requirements.lock").write_text("", encoding="utf-8")
    package = folder / "src" / "quailwright"
    package.mkdir(parents=True)
    (package / "__init__.py").write_text("", encoding="utf-8")
    (package / "__main__.py").write_text(REPORTING_PROGRAM, encoding="utf-8")
    return folder


def run_start(
    checkout: Path, *arguments: str, **environment: str
) -> subprocess.CompletedProcess[str]:
    """Run the checkout's start from another folder and wait for it."""
    return subprocess.run(
        [checkout / "start", *arguments],
        cwd=checkout.parent,
        env={**os.environ, **environment},
        capture_output=True,
        text=True,
        check=False,
    )


def test_two_first_starts_at_once_make_one_environment_and_later_starts_are_silent(
    checkout: Path,
) -> None:
    """Making an environment takes seconds: what one can show stands in one test."""
    both = [
        subprocess.Popen(
            [checkout / "start", name], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
        )
        for name in ("one", "two")
    ]
    said = [process.communicate() for process in both]
    assert [json.loads(out)["arguments"] for out, _ in said] == [["one"], ["two"]]
    assert sum("Setting up .venv" in err for _, err in said) == 1

    # The next start is silent, and nothing leaks in.
    impostor = checkout.parent / "quailwright"
    impostor.mkdir()
    (impostor / "__main__.py").write_text("raise SystemExit('the wrong package ran')")
    third = run_start(
        checkout,
        *("log", "note=two words"),
        PYTHONPATH=str(checkout.parent),
        PYTHONHOME="/nowhere",
        LC_ALL="C",
    )
    assert (third.returncode, third.stderr) == (0, "")
    assert json.loads(third.stdout) == {
        "arguments": ["log", "note=two words"],
        "package": str(checkout / "src" / "quailwright" / "__init__.py"),
    }

    # A lock that cannot be installed says so, and leaves no stamp.
    (checkout / "requirements.lock").write_text(
        f"no-such-package==1.0 \\\n    --hash=sha256:{'0' * 64}\n", encoding="utf-8"
    )
    failed = run_start(checkout, PIP_NO_INDEX="1")
    assert failed.returncode == 3
    assert failed.stdout == ""
    assert ".venv could not be set up" in failed.stderr
    assert "no-such-package" in failed.stderr
    assert "Traceback" not in failed.stderr
    assert not (checkout / ".venv" / "stamp").exists()


def test_a_full_disk_is_no_missing_network(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def full(*_: object) -> None:
        said = '  File "ensurepip.py", line 220\nOSError: [Errno 28] No space left on device'
        raise subprocess.CalledProcessError(1, [], said)

    monkeypatch.setattr(environment, "make_once", full)
    assert environment.main(Path(), ".venv", "lock", "stamp") == 3
    told = capsys.readouterr().err
    assert "Make room" in told
    assert "network" not in told
    assert "File" not in told


def test_killed_set_up_is_made_anew_through_a_link_and_so_it_is_for_a_changed_lock(
    checkout: Path,
) -> None:
    with subprocess.Popen(
        [checkout / "start"], stderr=subprocess.PIPE, text=True, start_new_session=True
    ) as killed:
        assert killed.stderr is not None
        assert "Setting up .venv" in killed.stderr.readline()
        os.killpg(killed.pid, signal.SIGKILL)
    assert not (checkout / ".venv" / "stamp").exists()
    link = checkout.parent / "quail"
    link.symlink_to(Path(checkout.name) / "start")
    again = subprocess.run([link, "flock"], capture_output=True, text=True, check=True)
    assert "Setting up .venv" in again.stderr
    assert json.loads(again.stdout)["arguments"] == ["flock"]

    (checkout / "requirements.lock").write_text("# another day\n", encoding="utf-8")
    assert "Setting up .venv" in run_start(checkout).stderr
    assert run_start(checkout).stderr == ""


def test_start_without_python_says_what_to_install(checkout: Path, tmp_path: Path) -> None:
    tools = tmp_path / "tools"
    tools.mkdir()
    for tool in ("bash", "cksum", "dirname", "readlink"):
        found = shutil.which(tool)
        assert found is not None
        (tools / tool).symlink_to(found)
    refused = run_start(checkout, PATH=str(tools))
    assert refused.returncode == 3
    assert "needs CPython 3.11 or later" in refused.stderr
