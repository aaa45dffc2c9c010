"""Backups by themselves: when they fall due, which are kept, and what came of the last ones.

What a keeper chose and what came of it stand in `options`, so that they outlive a restart; any
process that serves the flock may ask for one, and the caretaker makes it.
"""

import os
import secrets
from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import Annotated, Literal, TypeVar
from zoneinfo import ZoneInfo

import msgspec
from msgspec import Meta, Struct

import quailwright
from quailwright.exchange.backups import BackedUp, Found, back_up, found_in, is_of
from quailwright.exchange.caretaker import Chore
from quailwright.exchange.desk import Desk
from quailwright.flock.state import Flock
from quailwright.journal import options
from quailwright.journal.entries import CLOCK
from quailwright.journal.findings import BadInput, FlockUnusable, QuailwrightError
from quailwright.journal.moments import utc_text
from quailwright.journal.store import Store
from quailwright.language import say, say_many

_CHOSEN, _CAME = "backup", "backup_came"
"""Names of the options: what was chosen, and what came of it."""

MARKER = "quailwright-backups.txt"
_LOOKED_AT_EVERY = timedelta(seconds=2)
_TRIED_AGAIN_AFTER = timedelta(hours=1)
_MOST_VERIFIED = 500

Rhythm = Literal["day", "week"]


class Chosen(Struct, frozen=True, kw_only=True):
    """What a keeper chose.

    Attributes:
        folder: where backups go; `marker` is what its marker file holds.
        every: each day, or each week on `weekday` (0 is Monday), at `at` by the holding's clock.
        days, weeks, months: of how many of them the newest backup is kept; of years, of all.
    """

    folder: str
    marker: str
    every: Rhythm = "day"
    weekday: Annotated[int, Meta(ge=0, le=6)] = 6
    at: Annotated[str, Meta(pattern=CLOCK)] = "03:30"
    days: int = 7
    weeks: int = 4
    months: int = 12


class Outcome(Struct, frozen=True, kw_only=True):
    """What came of a backup: when it began, whether it was made, where and how large.

    `whole`: it was restored and found equal. `why`: why not, or why there is none. `deleted`: the
    names of older ones that went.
    """

    at: str
    made: bool
    path: str = ""
    bytes: int = 0
    entries: int = 0
    readings: int = 0
    whole: bool = False
    why: str = ""
    deleted: tuple[str, ...] = ()

    @property
    def when(self) -> datetime:
        """When it began."""
        return datetime.fromisoformat(self.at)


class Came(Struct, frozen=True, kw_only=True):
    """What came of backups so far.

    Attributes:
        asked: when a keeper asked for one that is not begun yet, or "".
        began: when the one that is being made began, or "".
        last, good: the last that was tried, and the last that was made.
        verified: names of those that were restored and found equal, the newest last.
    """

    asked: str = ""
    began: str = ""
    last: Outcome | None = None
    good: Outcome | None = None
    verified: tuple[str, ...] = ()


_Kept = TypeVar("_Kept", Chosen, Came)


def _read(store: Store, name: str, kind: type[_Kept]) -> _Kept | None:
    with store.household() as connection:
        text = options.get(connection, name)
    if text is None:
        return None
    try:
        return msgspec.json.decode(text, type=kind)
    except msgspec.DecodeError:
        return None


def _write(store: Store, name: str, value: Struct | None) -> None:
    text = None if value is None else msgspec.json.encode(value).decode()
    with store.household(writes=True) as connection:
        options.put(connection, name, text)


def chosen(store: Store) -> Chosen | None:
    """What a keeper chose, or None while no folder is."""
    return _read(store, _CHOSEN, Chosen)


def came(store: Store) -> Came:
    """What came of backups so far."""
    return _read(store, _CAME, Came) or Came()


def _changed(store: Store, change: Callable[[Came], Came]) -> None:
    with store.household(writes=True) as connection:
        text = options.get(connection, _CAME)
        try:
            before = Came() if text is None else msgspec.json.decode(text, type=Came)
        except msgspec.DecodeError:
            before = Came()
        options.put(connection, _CAME, msgspec.json.encode(change(before)).decode())


def _replace(value: Came, **changes: object) -> Came:
    return msgspec.structs.replace(value, **changes)


# Choosing.


def choose(store: Store, folder: str, every: str, weekday: str, at: str) -> Chosen:
    """Has backups made into a folder from now on. Raises BadInput, saying what to mend."""
    if every not in ("day", "week"):
        raise BadInput(say("Backups are made each day or each week. Choose one."))
    try:
        asked = msgspec.convert(
            {
                "folder": "",
                "marker": "",
                "every": every,
                "weekday": int(weekday) if weekday.isdecimal() and len(weekday) == 1 else 6,
                "at": at.strip(),
            },
            Chosen,
        )
    except msgspec.ValidationError:
        raise BadInput(
            say("{at} is no time of day. Write it as 03:30.", at=repr(at[:20]))
        ) from None
    path = _folder(folder)
    settled = msgspec.structs.replace(asked, folder=str(path), marker=_marked(path))
    _write(store, _CHOSEN, settled)
    return settled


def stop(store: Store) -> None:
    """Has no more backups made. Those there are stay."""
    _write(store, _CHOSEN, None)


def _folder(typed: str) -> Path:
    """The folder that was typed, made where only its last part is missing. Raises BadInput."""
    example = "/media/me/STICK/quail"
    try:
        path = Path(typed.strip()).expanduser()
        if not typed.strip() or not path.is_absolute() or not typed.isprintable():
            raise BadInput(
                say(
                    "Write the whole path of a folder on the computer that serves these pages, "
                    "such as {example}.",
                    example=example,
                )
            )
        path = path.resolve()
        if path.is_relative_to(Path(quailwright.__file__).resolve().parent):
            raise BadInput(
                say("{path} is a folder of quailwright itself. Name another.", path=path)
            )
        if not path.parent.is_dir():
            raise BadInput(
                say(
                    "There is no folder {path}. Is the drive plugged in? Make it, or name another.",
                    path=path.parent,
                )
            )
        if path.exists() and not path.is_dir():
            raise BadInput(say("{path} is a file. Name a folder.", path=path))
        path.mkdir(mode=0o700, exist_ok=True)
    except (OSError, ValueError, RuntimeError) as error:
        why = getattr(error, "strerror", None) or error
        raise BadInput(
            say("{path} cannot be made or used: {why}. Name another.", path=typed[:200], why=why)
        ) from error
    return path


def _marked(folder: Path) -> str:
    """What the marker file of a folder holds; it is made where there is none. Raises BadInput."""
    marker = folder / MARKER
    try:
        known = _marker_in(folder)
        if known:
            if not os.access(folder, os.W_OK):
                raise PermissionError(None, say("it may not be written by you"))
            return known
        made = secrets.token_hex(8)
        text = (
            "Backups of quailwright are kept in this folder. By this file it is known again:\n"
            "while it is not there (a drive not plugged in), no backup is written.\n"
        )
        # Not through a link: that would write where somebody else says.
        handle = os.open(marker, os.O_WRONLY | os.O_CREAT | os.O_TRUNC | os.O_NOFOLLOW, 0o600)
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            file.write(f"{text}{made}\n")
    except OSError as error:
        raise BadInput(
            say(
                "{path} cannot be written: {why}. Change its permissions, or name another.",
                path=folder,
                why=error.strerror or error,
            )
        ) from error
    return made


def _marker_in(folder: Path) -> str:
    try:
        return (folder / MARKER).read_text(encoding="utf-8")[:2000].strip().rpartition("\n")[2]
    except (FileNotFoundError, NotADirectoryError, UnicodeDecodeError):
        return ""


# When.


def zone_of(flock: Flock) -> ZoneInfo:
    """The clock by which backups are made: the holding's, UTC until it is told."""
    return ZoneInfo(flock.zone or "UTC")


def last_due(schedule: Chosen, zone: ZoneInfo, now: datetime) -> datetime:
    """The last time at or before `now` for which a backup was due."""
    here = now.astimezone(zone)
    day = here.date()
    while True:
        due = _on(schedule, zone, day)
        if due is not None and due <= now:
            return due
        day -= timedelta(days=1)


def next_due(schedule: Chosen, zone: ZoneInfo, now: datetime) -> datetime:
    """The first time after `now` at which one falls due."""
    day = now.astimezone(zone).date()
    while True:
        due = _on(schedule, zone, day)
        if due is not None and due > now:
            return due
        day += timedelta(days=1)


def _on(schedule: Chosen, zone: ZoneInfo, day: date) -> datetime | None:
    if schedule.every == "week" and day.weekday() != schedule.weekday:
        return None
    # Through UTC: an hour that a change of the clocks leaves out comes an hour later.
    at = datetime.combine(day, time.fromisoformat(schedule.at), zone)
    return at.astimezone(UTC).astimezone(zone)


def is_due(schedule: Chosen, so_far: Came, zone: ZoneInfo, now: datetime) -> bool:
    """Whether a backup must be made: missed ones at once, one that failed again after an hour."""
    due = last_due(schedule, zone, now)
    if so_far.good is not None and due <= so_far.good.when <= now:
        return False
    last = so_far.last
    if last is None or not due <= last.when <= now:
        return True
    return now - last.when >= _TRIED_AGAIN_AFTER


# Which are kept.


def thinned(
    found: Sequence[Found], schedule: Chosen, zone: ZoneInfo, verified: Iterable[str]
) -> list[Found]:
    """Those that go. The newest of each of so many days, weeks and months stays, and of each year.

    The newest, and the newest that was restored and found equal, always stay.
    """
    newest_first = sorted(found, key=lambda one: one.at, reverse=True)
    periods: list[tuple[int, Callable[[date], object]]] = [
        (schedule.days, lambda day: day),
        (schedule.weeks, lambda day: day.isocalendar()[:2]),
        (schedule.months, lambda day: (day.year, day.month)),
        (len(newest_first), lambda day: day.year),
    ]
    stays = {one.path for one in newest_first[:1]}
    known = set(verified)
    stays |= {one.path for one in [one for one in newest_first if one.path.name in known][:1]}
    for most, period in periods:
        seen: set[object] = set()
        for one in newest_first:
            mine = period(one.at.astimezone(zone).date())
            if mine not in seen and len(seen) < most:
                seen.add(mine)
                stays.add(one.path)
    return [one for one in newest_first if one.path not in stays]


# Doing it.


def ask(store: Store, now: datetime) -> None:
    """Asks the caretaker for a backup, now. Raises BadInput where no folder is chosen."""
    if chosen(store) is None:
        raise BadInput(say("No folder is chosen yet. Choose one first."))
    _changed(store, lambda so_far: _replace(so_far, asked=utc_text(now)))


def chore() -> Chore:
    """Looks whether a backup is due or asked for, and makes it."""
    return Chore("backup", _LOOKED_AT_EVERY, look)


def look(desk: Desk, now: datetime) -> str:
    """Makes a backup if one is due or asked for. Raises as `back_up`; what came of it is kept."""
    store = desk.store
    schedule, so_far = chosen(store), came(store)
    if schedule is None:
        return ""
    if so_far.began:
        # This is the only caretaker, and it is not making one: the one that was has ended; or
        # what stands here was restored from the backup that was being made.
        why = say(
            "It was not finished: quailwright ended meanwhile, or this record was restored from it."
        )
        broke = Outcome(at=so_far.began, made=False, why=why)
        _changed(store, lambda before: _replace(before, began="", last=broke))
        so_far = came(store)
    zone = zone_of(desk.flock(now))
    if not so_far.asked and not is_due(schedule, so_far, zone, now):
        return ""
    _changed(store, lambda before: _replace(before, asked="", began=utc_text(now)))
    try:
        made = _make(store, schedule, now)
        deleted = _thin(store, desk.mark(), schedule, zone, made)
    except QuailwrightError as error:
        note(store, Outcome(at=utc_text(now), made=False, why=error.sentence))
        raise
    except Exception as error:
        fault = type(error).__name__
        why = say("A fault of quailwright's own ({fault}).", fault=fault)
        note(store, Outcome(at=utc_text(now), made=False, why=why))
        raise
    note(store, _outcome(made, now, deleted))
    return say("A backup was made: {path}.", path=made.path)


def _make(store: Store, schedule: Chosen, now: datetime) -> BackedUp:
    folder = Path(schedule.folder)
    try:
        there = _marker_in(folder)
    except OSError:
        there = ""
    if there != schedule.marker:
        raise BadInput(
            say(
                "{folder} is not the folder that was chosen: its file {marker} is not there. Is "
                "the drive plugged in? If you moved or emptied it, choose it again.",
                folder=folder,
                marker=MARKER,
            )
        )
    return back_up(store, folder, now)


def _thin(
    store: Store, mark: str, schedule: Chosen, zone: ZoneInfo, made: BackedUp
) -> tuple[str, ...]:
    """Deletes older backups of this flock. One that cannot be deleted stays."""
    verified = [*came(store).verified, *([made.path.name] if made.whole else [])]
    gone = []
    for old in thinned(found_in(Path(schedule.folder), mark), schedule, zone, verified):
        if is_of(old.path, mark):
            with suppress(OSError):
                old.path.unlink()
                gone.append(old.path.name)
    return tuple(gone)


def _outcome(made: BackedUp, now: datetime, deleted: tuple[str, ...] = ()) -> Outcome:
    return Outcome(
        at=utc_text(now),
        made=True,
        path=str(made.path),
        bytes=made.bytes,
        entries=made.entries,
        readings=made.readings,
        whole=made.whole,
        why=str(made.why_not),
        deleted=deleted,
    )


def note(store: Store, outcome: Outcome) -> None:
    """Keeps what came of a backup: the one being made is over. Raises FlockUnusable."""

    def after(before: Came) -> Came:
        verified = [name for name in before.verified if name not in outcome.deleted]
        if outcome.whole:
            verified.append(Path(outcome.path).name)
        return _replace(
            before,
            began="",
            last=outcome,
            good=outcome if outcome.made else before.good,
            verified=tuple(verified[-_MOST_VERIFIED:]),
        )

    _changed(store, after)


def note_made(store: Store, made: BackedUp, now: datetime) -> None:
    """Keeps that a backup was made by hand; a flock that may only be read keeps nothing."""
    outcome = _outcome(made, now)

    def after(before: Came) -> Came:
        verified = (*before.verified, made.path.name) if made.whole else before.verified
        return _replace(before, good=outcome, verified=verified[-_MOST_VERIFIED:])

    with suppress(FlockUnusable):
        _changed(store, after)


# Telling.

_ENTRIES_TO_MISS, _DAYS_TO_MISS = 30, 7
_OLD_AFTER = {"day": 3, "week": 10, "": 30}


def reminder(store: Store, flock: Flock, on: date, now: datetime) -> str:
    """One line for keepers when there is no backup, or only an old one; else ""."""
    first = flock.first_day
    if flock.entries < _ENTRIES_TO_MISS or first is None or (on - first).days < _DAYS_TO_MISS:
        return ""
    so_far, schedule = came(store), chosen(store)
    if so_far.good is None:
        return say("There is no backup of this record yet.")
    days = (now - so_far.good.when).days
    if days < _OLD_AFTER[schedule.every if schedule is not None else ""]:
        return ""
    return say_many("The last backup is {n} day old.", "The last backup is {n} days old.", days)


@dataclass(frozen=True, slots=True)
class Told:
    """What the page of backups shows.

    Attributes:
        chosen, came: what was chosen, and what came of it.
        next: when the next falls due, by the holding's clock.
        found: the backups in the folder, the newest first.
        folder_there: whether the folder that was chosen is there now.
        same_disk: whether it lies on the disk of the flock itself.
        zone: the clock's name.
    """

    chosen: Chosen | None
    came: Came
    next: datetime | None
    found: list[Found]
    folder_there: bool
    same_disk: bool
    zone: ZoneInfo


def told(desk: Desk, now: datetime) -> Told:
    """What the page of backups shows. Raises FlockUnusable."""
    store = desk.store
    schedule, so_far, zone = chosen(store), came(store), zone_of(desk.flock(now))
    if schedule is None:
        return Told(None, so_far, None, [], folder_there=False, same_disk=False, zone=zone)
    folder, there = Path(schedule.folder), False
    with suppress(OSError):
        there = _marker_in(folder) == schedule.marker
    return Told(
        schedule,
        so_far,
        next_due(schedule, zone, now),
        found_in(folder, desk.mark()) if there else [],
        there,
        there and _same_disk(folder, store.location),
        zone,
    )


def file_of(desk: Desk, name: str) -> Path:
    """The backup of that name in the folder that was chosen. Raises BadInput."""
    schedule = chosen(desk.store)
    found = [] if schedule is None else found_in(Path(schedule.folder), desk.mark())
    for one in found:
        if one.path.name == name:
            return one.path
    raise BadInput(say("There is no such backup any more. Look at the list again."))


def _same_disk(folder: Path, location: str) -> bool:
    if "://" in location:
        return False
    try:
        return folder.stat().st_dev == Path(location).expanduser().stat().st_dev
    except OSError:
        return False
