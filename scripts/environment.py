"""Make a virtual environment from a lock file: `environment.py ROOT FOLDER LOCK STAMP`.

Standard library only, since it runs before anything is installed. Words for the reader go to
stderr. The stamp is written last: an environment without its stamp was interrupted and is made
anew. Exit codes: 0 made, 3 could not be made, 130 interrupted.
"""

import compileall
import fcntl
import os
import re
import shutil
import subprocess
import sys
import venv
from collections import deque
from collections.abc import Iterator
from pathlib import Path

PINNED = re.compile(r"^[A-Za-z0-9]", re.MULTILINE)
NAMED = re.compile(
    r"Collecting (?P<name>[^=\s]+)==(?P<version>\S+)"
    r"|Processing .*?(?P<file_name>[^/\s-]+)-(?P<file_version>[^/\s-]+)-[^/]*\.whl"
)


def say(words: str) -> None:
    """Print a line of progress on stderr."""
    print(words, file=sys.stderr, flush=True)


def lines_of(command: list[str], held: int) -> Iterator[str]:
    """Run a command and yield the lines that it prints; raise CalledProcessError if it fails.

    `held` is the file descriptor of the set-up's turn. The command inherits it, so that the turn
    is not given to another set-up while the command still writes, even if this process is killed.
    """
    with subprocess.Popen(
        command,
        env={**os.environ, "PIP_USER": "0"},
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        errors="replace",
        pass_fds=(held,),
    ) as running:
        recent: deque[str] = deque(maxlen=12)
        for line in running.stdout or ():
            recent.append(line.rstrip())
            yield recent[-1]
    if running.returncode != 0:
        raise subprocess.CalledProcessError(running.returncode, command, "\n  ".join(recent))


def install(python: Path, lock: Path, held: int) -> None:
    """Install what the lock pins, each file checked against its hash, and show each package."""
    count = len(PINNED.findall(lock.read_text(encoding="utf-8")))
    if count == 0:
        return
    command = [str(python), "-I", "-m", "pip", "install", "--require-hashes", "--no-deps"]
    command += ["--only-binary", ":all:", "--no-input", "--disable-pip-version-check"]
    command += ["--progress-bar", "off", "--no-color", "--requirement", str(lock)]
    seen = 0
    for line in lines_of(command, held):
        if line.startswith("Ignoring "):
            count -= 1
        elif named := NAMED.match(line):
            seen += 1
            say(f"  {seen} of {count}: {' '.join(filter(None, named.groups()))}")
        elif line.startswith("Installing collected packages"):
            say("  unpacking")


def make(root: Path, folder: Path, lock: Path, stamp: str, held: int) -> None:
    """Make the environment in `folder` from nothing, and stamp it when it is whole."""
    if folder.exists():
        shutil.rmtree(folder)
    say(f"Setting up {folder.name} with Python {sys.version.split()[0]} (once; about a minute).")
    venv.create(folder, symlinks=True)
    python = folder / "bin" / "python"
    for _ in lines_of([str(python), "-I", "-m", "ensurepip", "--default-pip"], held):
        pass
    install(python, lock, held)
    source = root / "src"
    version = f"python{sys.version_info.major}.{sys.version_info.minor}"
    paths = folder / "lib" / version / "site-packages" / "quailwright-source.pth"
    # Seen from there: Python 3.11 reads it by the locale, which may not know the folder's name.
    paths.write_text("../../../../src\n", encoding="ascii")
    compileall.compile_dir(source, quiet=2)
    unfinished = folder / "stamp.unfinished"
    unfinished.write_text(f"{stamp}\n", encoding="utf-8")
    unfinished.replace(folder / "stamp")
    say("Ready.")


def make_once(root: Path, folder: Path, lock: Path, stamp: str) -> None:
    """Make the environment, unless another set-up made it while this one waited its turn."""
    with (root / f"{folder.name}.lock").open("w") as turn:
        try:
            fcntl.flock(turn, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            say("Another set-up is running here; waiting for it.")
            fcntl.flock(turn, fcntl.LOCK_EX)
        made = folder / "stamp"
        if made.is_file() and made.read_text(encoding="utf-8").rstrip("\n") == stamp:
            return
        make(root, folder, lock, stamp, turn.fileno())


def last_words(error: subprocess.CalledProcessError) -> str:
    """What the installer said at its end; of a fault of its own, the last line alone."""
    said: str = error.output
    return said.rpartition("\n")[2].strip() if '  File "' in said else said


def main(root: Path, folder: str, lock: str, stamp: str) -> int:
    """Make the environment and return the exit code."""
    try:
        make_once(root, root / folder, root / lock, stamp)
    except KeyboardInterrupt:
        say("Set-up was interrupted. Run this again to start it afresh.")
        return 130
    except subprocess.CalledProcessError as error:
        say(f"{folder} could not be set up. The installer's last words:\n  {last_words(error)}")
        if "No space left on device" in error.output:
            say("Make room on the disk and in the folder for temporary files (TMPDIR, else /tmp), "
                "and run this again.")  # fmt: skip
        else:
            say("If this machine has no network now, connect it and run this again.")
        return 3
    except OSError as error:
        say(f"{folder} could not be set up: {error}")
        return 3
    return 0


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1]), *sys.argv[2:5]))
