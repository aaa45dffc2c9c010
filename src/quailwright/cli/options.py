"""What every command understands, and the small steps from what is typed to what is asked."""

import os
import secrets
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Annotated

import typer

from quailwright.exchange import typed
from quailwright.journal.ids import NOISE_BYTES, new_id
from quailwright.journal.store import Store, open_store

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
    return typed.moment_asked(text, now(), zone_name)


def with_offset(text: str, zone_name: str) -> str:
    """`at` as typed, made whole by the present day."""
    return typed.with_offset(text, now(), zone_name)
