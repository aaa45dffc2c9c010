"""`flocks invite` and `flocks night`: what an office does for the households that it serves."""

import os
import secrets
from datetime import date
from typing import Annotated

import typer

from quailwright.cli.options import now
from quailwright.journal.findings import BadInput
from quailwright.language import say, say_many

INVITE_EXAMPLES = """Examples:

\b
  quailwright flocks invite postgresql://quail@db/flocks creek

The household opens its address, and sets a name and a passphrase with this code, once. It holds for
60 days; making another ends it."""

NIGHT_EXAMPLES = """Examples:

\b
  quailwright flocks night postgresql://quail@db/flocks
  quailwright flocks night postgresql://quail@db/flocks --processes 2

Have cron or a systemd timer run it each night. Several may run at once: each flock is done once."""

Location = Annotated[str, typer.Argument(metavar="LOCATION", help="A postgresql:// URL.")]


def invite(
    location: Location,
    name: Annotated[str, typer.Argument(metavar="NAME", help="The flock.")],
) -> None:
    """Print the code with which a household sets its first passphrase."""
    from quailwright.exchange.household import CODE_BYTES, Household
    from quailwright.journal.flocks import open_flocks

    with open_flocks(location) as flocks, flocks.store(name) as store:
        print(Household(store).invite(secrets.token_bytes(CODE_BYTES), now()))


def night(
    location: Location,
    on: Annotated[
        str | None,
        typer.Option("--on", metavar="DAY", help="The night of that day; else of today (UTC)."),
    ] = None,
    processes: Annotated[
        int, typer.Option("--processes", metavar="N", min=1, max=64, help="Work in so many.")
    ] = 1,
) -> None:
    """Look after every flock once: the outlook is reckoned, old readings are thinned."""
    try:
        day = now().date() if on is None else date.fromisoformat(on)
    except ValueError:
        raise BadInput(say("--on: a day as 2027-05-02, not '{text}'.", text=on)) from None
    if processes == 1:
        failed = _work(location, day)
    else:
        from concurrent.futures import ProcessPoolExecutor

        with ProcessPoolExecutor(processes) as pool:
            failed = sum(pool.map(_work, [location] * processes, [day] * processes))
    if failed:
        print(
            say_many(
                "{n} flock could not be looked after wholly.",
                "{n} flocks could not be looked after wholly.",
                failed,
            )
        )
        raise typer.Exit(1)


def _work(location: str, day: date) -> int:
    """Takes turns with the other processes; how many flocks could not be done wholly."""
    # One flock is one processor's work: the libraries are not to take more.
    for library in ("OPENBLAS", "OMP"):
        os.environ.setdefault(f"{library}_NUM_THREADS", "1")
    from quailwright.exchange.nights import nights
    from quailwright.journal.flocks import open_flocks

    failed = 0
    with open_flocks(location, connections=3) as flocks:
        for told in nights(flocks, day, now):
            line = f"{told.name}  {told.seconds:.1f} s"
            print(f"{line}  {told.why_not}" if told.why_not else line, flush=True)
            failed += bool(told.why_not)
    return failed
