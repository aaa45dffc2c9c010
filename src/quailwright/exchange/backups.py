"""Backups made and put back: written beside their place, proven, and only then given their name."""

import os
import re
import tempfile
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from quailwright import __version__
from quailwright.flock.digest import digest
from quailwright.flock.fold import fold
from quailwright.flock.state import Flock
from quailwright.journal import drafts
from quailwright.journal.findings import BadInput, QuailwrightError, Withheld
from quailwright.journal.store import Store
from quailwright.language import later, say, say_many

if TYPE_CHECKING:
    from collections.abc import Iterable

    from quailwright.journal.backup import Manifest
    from quailwright.journal.entries import Entry
    from quailwright.journal.restoring import Restored

_DRAFT = ".part"
_MARK_LENGTH = 8
_OURS = re.compile(
    r"\Aquailwright-[a-z0-9-]{1,40}-(?P<mark>[0-9a-f]{8})-"
    r"(?P<at>\d{4}-\d{2}-\d{2}T\d{6}Z)(-\d+)?\.zip\Z"
)


@dataclass(frozen=True, slots=True)
class BackedUp:
    """A backup that was made.

    Attributes:
        path: its file.
        bytes: its size.
        entries, readings: how many it holds.
        whole: whether it was restored and found equal; else only what was written was read again.
        why_not: why it was not restored; kept in English, to be said where it is shown.
    """

    path: Path
    bytes: int
    entries: int
    readings: int
    whole: bool
    why_not: str = ""


def state_of(entries: "Iterable[Entry]") -> str:
    """The digest of what stands after all entries."""
    return digest(fold(entries))


def back_up(store: Store, target: Path, now: datetime, quick: bool = False) -> BackedUp:
    """Writes a backup to a file, or to a folder under a name of its own, and proves it.

    A file of that name is replaced only where it is a backup of this flock; it has its name only
    once it is proven. With `quick` it is not restored, only read again.
    Raises BadInput where it cannot be written, FlockUnusable where the flock cannot be read.
    """
    from quailwright.journal.backup import write

    try:
        path = None if target.is_dir() else target
        folder = target if path is None else target.parent
        replaced = None if path is None or not path.exists() else _mark_of(path)
        drafts.clear(folder)
        handle, name = tempfile.mkstemp(
            prefix=drafts.begins("quailwright"), suffix=_DRAFT, dir=folder
        )
    except (OSError, ValueError) as error:
        raise _unwritable(target, error) from error
    draft = Path(name)
    stands: list[Flock] = []

    def state(entries: "Iterable[Entry]") -> str:
        stands.append(fold(entries))
        return digest(stands[-1])

    try:
        with os.fdopen(handle, "w+b") as stream:
            manifest = write(store, stream, now, __version__, state)
            stream.flush()
            os.fsync(stream.fileno())
        if replaced is not None and replaced not in (manifest.mark, ""):
            raise BadInput(
                say("{path} is a backup of another flock, or of one that this was before: it is "
                    "left as it is. Name another file.", path=path)
            )  # fmt: skip
        whole, why_not = _proven(draft, quick)
        size = draft.stat().st_size
        final = _put(draft, path or _free(folder, file_name(stands[-1], manifest.mark, now)))
    except OSError as error:
        raise _unwritable(target, error) from error
    finally:
        with suppress(OSError):
            draft.unlink(missing_ok=True)
    return BackedUp(final, size, manifest.rows("entry"), manifest.rows("reading"), whole, why_not)


def _proven(draft: Path, quick: bool) -> tuple[bool, str]:
    from quailwright.journal.backup import open_backup
    from quailwright.journal.restoring import NoRoom, prove

    try:
        with open_backup(draft) as backup:
            if quick:
                backup.check()
                return False, later("Only its checksums were asked for.")
            try:
                restored = prove(backup, state_of)
            except NoRoom:
                backup.check()
                return False, later("There was no room to restore it and compare.")
            if not restored.same_state:
                raise Withheld(say("The flock that was restored does not stand as it did."))
            return True, ""
    except QuailwrightError as error:
        raise Withheld(
            say(
                "The backup was written, but is not right when it is read back, and was thrown "
                "away: {why}",
                why=error.sentence,
            )
        ) from error


def _put(draft: Path, path: Path) -> Path:
    draft.replace(path)
    drafts.sync_folder(path.parent)
    return path


def _mark_of(path: Path) -> str:
    """What tells the flock of a backup from others; raises BadInput for what is no backup."""
    from quailwright.journal.backup import open_backup

    try:
        with open_backup(path) as backup:
            return backup.manifest.mark
    except QuailwrightError as error:
        raise BadInput(
            say("{path} is there, and is no backup: it is left as it is. Name another file.",
                path=path)
        ) from error  # fmt: skip


def _unwritable(target: Path, error: Exception) -> BadInput:
    why = getattr(error, "strerror", None) or error
    return BadInput(
        say("No backup was made: {path} cannot be written ({why}).", path=target, why=why)
    )


# Names.


def file_name(flock: Flock, mark: str, now: datetime) -> str:
    """The name of a backup: of which flock, and of when."""
    name = flock.holding.name if flock.holding is not None else ""
    slug = re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")[:40].strip("-") or "flock"
    stamp = now.astimezone(UTC).strftime("%Y-%m-%dT%H%M%SZ")
    return f"quailwright-{slug}-{short_mark(mark)}-{stamp}.zip"


def short_mark(mark: str) -> str:
    """What of a flock's mark stands in the names of its backups."""
    return mark[-_MARK_LENGTH:].lower() if re.search(r"[0-9a-f]{8}\Z", mark.lower()) else "0" * 8


def _free(folder: Path, name: str) -> Path:
    path, number = folder / name, 1
    while path.exists():
        number += 1
        path = folder / name.replace(".zip", f"-{number}.zip")
    return path


@dataclass(frozen=True, slots=True)
class Found:
    """A backup in a folder: its file, when it was made, its size."""

    path: Path
    at: datetime
    bytes: int


def found_in(folder: Path, mark: str) -> list[Found]:
    """The backups of a flock in a folder, the newest first, by their names alone."""
    found = []
    with suppress(OSError):
        for path in folder.iterdir():
            ours = _OURS.match(path.name)
            if ours is None or ours["mark"] != short_mark(mark) or not path.is_file():
                continue
            if path.is_symlink():  # whoever put it there would have another file taken along
                continue
            with suppress(ValueError, OSError):
                at = datetime.strptime(ours["at"], "%Y-%m-%dT%H%M%SZ").replace(tzinfo=UTC)
                found.append(Found(path, at, path.stat().st_size))
    return sorted(found, key=lambda one: (one.at, one.path.name), reverse=True)


def is_of(path: Path, mark: str) -> bool:
    """Whether a file is a backup of that flock, by what it says inside."""
    from quailwright.journal.backup import open_backup

    try:
        with open_backup(path) as backup:
            return backup.manifest.mark == mark
    except QuailwrightError:
        return False


# Checking and putting back.


@dataclass(frozen=True, slots=True)
class Checked:
    """What a backup was found to be."""

    manifest: "Manifest"
    restored: "Restored | None"


def check(path: Path, quick: bool = False) -> Checked:
    """Restores a backup for as long as it takes to compare; with `quick` reads it only.

    Raises Withheld where it is not right, BadInput where it is no backup.
    """
    from quailwright.journal.backup import open_backup
    from quailwright.journal.restoring import prove

    with open_backup(path) as backup:
        if quick:
            backup.check()
            return Checked(backup.manifest, None)
        return Checked(backup.manifest, prove(backup, state_of))


def restore(path: Path, location: str, replace: bool, now: datetime) -> "Restored":
    """Puts a backup into a flock file, and proves it equal; see `journal.restoring.restore`.

    Nobody is signed in there any more.
    """
    from quailwright.journal import restoring
    from quailwright.journal.backup import open_backup

    with open_backup(path) as backup:
        return restoring.restore(backup, location, replace, now, state_of, sign_ins_end=True)


def size_words(size: int) -> str:
    """The size of a file, in words."""
    if size < 1_000_000:
        return say("{kilobytes:,.0f} kB", kilobytes=max(1, size / 1e3))
    return say("{megabytes:,.1f} MB", megabytes=size / 1e6)


def held_words(entries: int, readings: int) -> str:
    """How much a backup holds: "10,214 entries, 2,000,000 readings"."""
    parts = [say_many("{n:,} entry", "{n:,} entries", entries)]
    if readings:
        parts.append(say_many("{n:,} reading", "{n:,} readings", readings))
    return ", ".join(parts)
