"""What stands on the day that a question is asked for, and the file it is asked in."""

import sys
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from quailwright.cli.options import location, moment_asked, opened
from quailwright.flock.fold import fold, newest_zone
from quailwright.flock.state import Flock
from quailwright.guide.round import day_at
from quailwright.journal.entries import Entry
from quailwright.journal.jsonl import read_file, read_stream
from quailwright.language import say

if TYPE_CHECKING:
    from quailwright.outlook.hatching import HatchTime


@dataclass(frozen=True)
class Standing:
    """The entries, the flock folded up to the moment asked for, its day, and its hatches' times."""

    entries: list[Entry]
    flock: Flock
    asked: date | datetime
    day: date
    times: "Mapping[str, HatchTime]"


def standing(ctx: typer.Context, flock_file: str | None, on: str | None) -> Standing:
    """What stands as of `--on`; nothing where there is no flock yet and none was named.

    Raises:
        BadInput: `--on` is no moment.
        FlockUnusable: the flock file that was named cannot be used.
    """
    named = flock_file or (ctx.obj or {}).get("flock")
    where = location(ctx, flock_file)
    if not named and "://" not in where and not Path(where).expanduser().exists():
        asked = moment_asked(on, "")
        nothing = fold([], asked)
        return Standing([], nothing, asked, day_at(nothing, asked), {})
    from quailwright.exchange.hatch_times import hatch_times
    from quailwright.outlook.forecast import evening

    with opened(ctx, flock_file) as store:
        entries = list(store.entries())
        asked = moment_asked(on, newest_zone(entries))
        flock = fold(entries, asked)
        day = day_at(flock, asked)
        return Standing(entries, flock, asked, day, hatch_times(store, flock, evening(flock, day)))


def flock_on(ctx: typer.Context, flock_file: str | None, on: str | None) -> tuple[Flock, date]:
    """The flock as of `--on`, and its day there.

    Raises:
        BadInput: `--on` is no moment.
        FlockUnusable: there is no flock file, or it cannot be used.
    """
    with opened(ctx, flock_file) as store:
        entries = store.entries()
    asked = moment_asked(on, newest_zone(entries))
    flock = fold(entries, asked)
    return flock, day_at(flock, asked)


def asked_file(name: str) -> bytes:
    """What a file holds, or standard input where it is `-`. Raises BadInput."""
    if name == "-":
        return read_stream(sys.stdin.buffer, say("standard input"))
    return read_file(Path(name))
