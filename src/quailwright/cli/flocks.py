"""`flocks`: the flocks of a database; `move`: a flock between a file and a database."""

import shlex
from typing import Annotated

import typer

from quailwright.cli import show
from quailwright.cli.options import JsonOption, now
from quailwright.language import say, say_many

EXAMPLES = """Examples:

\b
  quailwright flocks add postgresql://office@/flocks creek
  quailwright flocks list postgresql://office@/flocks
  quailwright flocks upgrade postgresql://office@/flocks
  quailwright flocks drop postgresql://office@/flocks creek

Each flock is then --flock "postgresql://office@/flocks?flock=creek". docs/growth.md tells how an
office runs it."""

MOVE_EXAMPLES = """Examples:

\b
  quailwright move home.sqlite "postgresql://office@/flocks?flock=creek"
  quailwright move "postgresql://office@/flocks?flock=creek" home.sqlite

Everything comes along: entries, readings, people, devices, settings. Where it comes from nothing is
taken away, and nothing more is written."""

app = typer.Typer(
    no_args_is_help=True, epilog=EXAMPLES, help="Many flocks in one PostgreSQL database."
)

LocationArgument = Annotated[str, typer.Argument(help="The database, a postgresql:// URL.")]


@app.command("list")
def list_(location: LocationArgument, as_json: JsonOption = False) -> None:
    """Every flock: entries, the last one, what it takes on the disk."""
    from quailwright.exchange.backups import size_words
    from quailwright.journal.flocks import open_flocks

    with open_flocks(location) as flocks:
        told = flocks.told()
    if as_json:
        show.json_document(
            [
                {
                    "flock": one.name,
                    "entries": one.entries,
                    "last_entry_at": one.last_entry_at,
                    "bytes": one.bytes,
                    "moved": one.moved,
                }
                for one in told
            ]
        )
        return
    print(say_many("{n:,} flock.", "{n:,} flocks.", len(told)))
    show.table(
        (say("flock"), say("entries"), say("last entry (UTC)"), say("size"), ""),
        [
            (
                one.name,
                one.entries,
                "" if one.last_entry_at is None else one.last_entry_at[:16].replace("T", " "),
                size_words(one.bytes),
                say("moved away") if one.moved else "",
            )
            for one in told
        ],
    )


@app.command("add")
def add(
    location: LocationArgument,
    name: Annotated[str, typer.Argument(help="Its name: a to z, 0 to 9 and -.")],
) -> None:
    """Begin an empty flock."""
    from quailwright.journal.flocks import open_flocks
    from quailwright.journal.store import with_flock, without_password

    with open_flocks(location) as flocks:
        begun = flocks.add(name, now())
        # As it is pasted into a shell, which would cut it at an `&`.
        where = shlex.quote(with_flock(without_password(location), name))
    if begun:
        print(say("{name} is begun. It is --flock {location}", name=name, location=where))
    else:
        print(say("{name} is there already. It is --flock {location}", name=name, location=where))


@app.command("drop")
def drop(
    location: LocationArgument,
    name: Annotated[str, typer.Argument(help="The flock.")],
    sure: Annotated[
        bool, typer.Option("--sure", help="Drop it though it has not moved elsewhere.")
    ] = False,
) -> None:
    """Drop a flock that has moved elsewhere, with all that was kept of it here."""
    from quailwright.journal.flocks import open_flocks

    with open_flocks(location) as flocks:
        dropped = flocks.drop(name, sure)
    print(say("{name} is dropped.", name=name))
    if dropped.aside:
        print(
            say_many(
                "So is {n:,} record of it that a restore had put aside.",
                "So are {n:,} records of it that restores had put aside.",
                dropped.aside,
            )
        )
    if dropped.role_left is not None:
        print(
            say(
                "Its role {role} is used elsewhere too, or is not this one's to drop: it stays.",
                role=dropped.role_left,
            )
        )


@app.command("upgrade")
def upgrade(location: LocationArgument) -> None:
    """Bring every flock to the schema of this quailwright."""
    from quailwright.journal.flocks import open_flocks

    with open_flocks(location) as flocks:
        older = flocks.upgrade()
    if older:
        print(say_many("{n:,} flock was upgraded.", "{n:,} flocks were upgraded.", len(older)))
    else:
        print(say("Every flock is at this quailwright's schema already."))


def move(
    from_: Annotated[
        str, typer.Argument(metavar="FROM", help="A flock file, or a postgresql:// URL.")
    ],
    to: Annotated[str, typer.Argument(metavar="TO", help="Where nothing is recorded yet.")],
    as_json: JsonOption = False,
) -> None:
    """Move a flock between a file and a database, proven equal."""
    from quailwright.exchange.backups import held_words
    from quailwright.exchange.moves import move as moved_by
    from quailwright.journal.store import without_password

    moved = moved_by(from_, to, now())
    left, there = without_password(from_), without_password(to)
    if as_json:
        show.json_document(
            {
                "from": left,
                "to": there,
                "entries": moved.entries,
                "readings": moved.readings,
                "equal": True,
            }
        )
        return
    held = held_words(moved.entries, moved.readings)
    print(say("{held} are in {flock}, equal to what was moved.", held=held, flock=there))
    print(
        say(
            "{flock} is left as it was, to be read; what is new is written in the other from now "
            "on.",
            flock=left,
        )
    )
