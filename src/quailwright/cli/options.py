"""What every command understands, and the small steps from what is typed to what is asked."""

import os
import re
import secrets
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Annotated

import typer

from quailwright.journal.findings import BadInput
from quailwright.journal.ids import NOISE_BYTES, new_id
from quailwright.journal.moments import NotAMoment, parse_moment, zone
from quailwright.journal.store import Store, open_store

_CLOCK = re.compile(r"\d{1,2}:\d{2}(:\d{2})?\Z")
_DAYS_AGO = {"today": 0, "yesterday": 1, "tomorrow": -1}

FlockOption = Annotated[
    str | None,
    typer.Option(
        "--flock",
        metavar="PATH",
        help="The flock file, or a postgresql:// URL. Else QUAILWRIGHT_FLOCK, else your own.",
    ),
]
OnOption = Annotated[
    str | None,
    typer.Option(
        "--on",
        metavar="WHEN",
        help="As of a day (2027-05-02, yesterday, tomorrow) or an instant (20:00). Default: now.",
    ),
]
JsonOption = Annotated[bool, typer.Option("--json", help="One JSON document on standard output.")]


def now() -> datetime:
    """The present instant: the only place below which the clock is not read."""
    return datetime.now(UTC)


def fresh_id() -> str:
    """The id of a new entry."""
    return new_id(now(), secrets.token_bytes(NOISE_BYTES))


def location(ctx: typer.Context, given: str | None) -> str:
    """Where the flock is: `--flock` after or before the command, the environment, the default."""
    asked = given or (ctx.obj or {}).get("flock") or os.environ.get("QUAILWRIGHT_FLOCK")
    return asked or str(data_folder() / "flock.sqlite")


def data_folder() -> Path:
    """The user's data folder for quailwright."""
    import platformdirs

    return Path(platformdirs.user_data_dir("quailwright", appauthor=False))


def opened(ctx: typer.Context, given: str | None, create: bool = False) -> Store:
    """The flock file, open. Raises FlockUnusable."""
    return open_store(location(ctx, given), create)


def moment_asked(text: str | None, zone_name: str) -> date | datetime:
    """What `--on` means: a day, an instant, or now at the holding. Raises BadInput."""
    if text is None:
        return now()
    try:
        return parse_moment(with_offset(text, zone_name))
    except NotAMoment as error:
        raise BadInput(f"--on: {error}") from None


def with_offset(text: str, zone_name: str) -> str:
    """`at` as typed, made whole.

    `today`, `yesterday` and `tomorrow` become their date; a clock time, alone (of today) or after a
    day, gets the offset that holds there.
    """
    day, _, clock = text.replace("T", " ", 1).partition(" ")
    if _CLOCK.match(day) and not clock:
        day, clock = "today", day
    if _CLOCK.match(clock) and len(clock) in (len("7:05"), len("7:05:30")):
        clock = f"0{clock}"
        text = f"{day}T{clock}"
    if day in _DAYS_AGO:
        named = local(now(), zone_name).date() - timedelta(days=_DAYS_AGO[day])
        text = f"{named}T{clock}" if clock else named.isoformat()
    try:
        typed = datetime.fromisoformat(text)
    except ValueError:
        return text
    if typed.tzinfo is not None or len(text) <= len("2027-05-02"):
        return text.replace(" ", "T", 1)
    placed = typed.replace(tzinfo=zone(zone_name)) if zone_name else typed.astimezone()
    return placed.isoformat(timespec="minutes" if not placed.second else "seconds")


def local(instant: datetime, zone_name: str) -> datetime:
    """An instant in the holding's zone, or in this computer's when none is known."""
    return instant.astimezone(zone(zone_name)) if zone_name else instant.astimezone()
