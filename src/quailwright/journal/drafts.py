"""Files of our own for as long as they take to make, and files that get their name once whole.

A draft is named `.NAME.PROCESS-...`, so that what a killed process left is known and taken away by
the next one that works there. A name is on the disk once its folder was synced.
"""

import os
import shutil
import tempfile
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from quailwright.journal.findings import BadInput
from quailwright.language import say

_OURS = "quailwright"


def begins(name: str) -> str:
    """How the names of this process's drafts of a file begin."""
    return f".{name}.{os.getpid()}-"


def left_by_others(folder: Path, name: str, ending: str = "") -> list[Path]:
    """Drafts of a file of which no process works any more."""
    found = []
    with suppress(OSError):
        for one in folder.iterdir():
            if not one.name.startswith(f".{name}.") or ending not in one.name:
                continue
            process, dash, _ = one.name.removeprefix(f".{name}.").partition("-")
            if dash and process.isdecimal() and not is_running(int(process)):
                found.append(one)
    return found


def clear(folder: Path, name: str = _OURS, ending: str = "") -> None:
    """Takes away what killed processes left of drafts of a file, or of folders of our own."""
    for left in left_by_others(folder, name, ending):
        with suppress(OSError):
            if left.is_dir() and not left.is_symlink():
                shutil.rmtree(left)
            else:
                left.unlink(missing_ok=True)


def is_running(process: int) -> bool:
    """Whether a process of that number runs on this computer."""
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except (OSError, OverflowError):
        return True
    return True


@contextmanager
def folder_apart(within: Path | None = None) -> Iterator[Path]:
    """A folder of our own, among the temporary ones or within another. Raises OSError."""
    where = within or Path(tempfile.gettempdir())
    clear(where)
    with tempfile.TemporaryDirectory(prefix=begins(_OURS), dir=where) as folder:
        yield Path(folder)


def make_folder(folder: Path, mode: int = 0o700) -> None:
    """Makes a folder and those above it that are missing, all with that mode. Raises OSError."""
    missing = [one for one in (folder, *folder.parents) if not one.exists()]
    for one in reversed(missing):  # not by `parents`, which gives those above another mode
        one.mkdir(mode=mode, exist_ok=True)
        sync_folder(one.parent)
    folder.mkdir(exist_ok=True)


def write_whole(path: Path, parts: Iterable[bytes]) -> None:
    """Writes a file whole or not at all, in the place of any of that name but a record's.

    Raises OSError; BadInput where a flock file or a backup has that name.
    """
    if holds_a_record(path):
        raise BadInput(
            say(
                "{path} is a flock file or a backup: it is left as it is. Name another file.",
                path=path,
            )
        )
    clear(path.parent, path.name)
    handle, name = tempfile.mkstemp(prefix=begins(path.name), dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.writelines(parts)
            stream.flush()
            os.fsync(stream.fileno())
        Path(name).replace(path)
    except OSError:
        Path(name).unlink(missing_ok=True)
        raise
    sync_folder(path.parent)


_FLOCK_FILE, _ZIP = b"SQLite format 3\0", b"PK"


def holds_a_record(path: Path) -> bool:
    """Whether a file is a flock file (a damaged one, too) or a backup. Raises OSError."""
    from quailwright.journal.damage import noted

    if not path.is_file():
        return False
    with path.open("rb") as stream:
        head = stream.read(len(_FLOCK_FILE))
    if head == _FLOCK_FILE or noted(path) is not None:
        return True
    if not head.startswith(_ZIP):
        return False
    from zipfile import BadZipFile, ZipFile

    from quailwright.journal.backup import BODIES, MANIFEST

    with suppress(BadZipFile, ValueError, NotImplementedError), ZipFile(path) as archive:
        return {MANIFEST, BODIES} <= set(archive.namelist())
    return False


def sync_folder(folder: Path) -> None:
    """Has the names of a folder written to the disk, where the system can."""
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
