"""`log`: writes one entry."""

import sys
from typing import Annotated

import typer

from quailwright.cli import show
from quailwright.cli.options import (
    FlockOption,
    JsonOption,
    fresh_id,
    now,
    opened,
)
from quailwright.exchange.clock_told import clock_says
from quailwright.exchange.record import record, typed_entry
from quailwright.flock.fold import newest_zone
from quailwright.journal import checks
from quailwright.journal.entries import KINDS, as_dict, kind_of
from quailwright.journal.findings import BadInput
from quailwright.journal.moments import has_happened
from quailwright.journal.store import NOTHING_YET
from quailwright.language import say

EXAMPLES = """Examples:

\b
  quailwright log holding name="Hill garden" timezone=Europe/Lisbon units=metric
  quailwright log place place=incubator role=incubator capacity_eggs=48
  quailwright log eggs_set hatch=may-1 eggs=24 place=incubator source=own at=2027-05-02T20:00
  quailwright log eggs_collected group=hens eggs=11 cracked=1 by=Ana
  quailwright log care task=drinker_clean place=pen-a
  quailwright log retract entry=0191d5a0-5f5e-7c3a-9d52-3f0c5a1b2c3d why="wrong pen"
  quailwright log eggs_set            (shows what an eggs_set entry takes)

`at` may be a day (2027-05-02, today, yesterday, tomorrow), a clock time of today (20:00) or of
another day (2027-05-02T20:00, "yesterday 20:00"), always at the holding; left out, it is now.

Kinds: """ + ", ".join(KINDS)


def log(
    ctx: typer.Context,
    kind: Annotated[
        str, typer.Argument(metavar="KIND", help="The kind of entry; see the list below.")
    ],
    fields: Annotated[
        list[str] | None, typer.Argument(metavar="field=value ...", help="What it says.")
    ] = None,
    flock_file: FlockOption = None,
    as_json: JsonOption = False,
) -> None:
    """Write one entry. With a kind and nothing else, show what that kind takes."""
    if kind in KINDS and not fields:
        _teach(kind)
        return
    with opened(ctx, flock_file, create=True) as store:
        at_hand = store.arrived_since(NOTHING_YET) or ([], NOTHING_YET)
        zone_name = newest_zone(at_hand[0])
        typed = {"kind": kind} | _split(fields or [])
        entry = typed_entry(typed, now(), fresh_id(), zone_name)
        clock = clock_says(store, now())
        recorded = record(store, [entry], now(), at_hand=at_hand)
    if as_json:
        show.json_document({"written": [as_dict(e) for e in recorded.written]})
        return
    if not recorded.written:
        print(say("Already in the journal: {id}", id=entry.id))
        return
    if clock:
        print(clock, file=sys.stderr)
    print(say("Kept: {kind}, {moment}", kind=kind_of(entry), moment=entry.at))
    if not has_happened(entry.at, now(), zone_name):
        print(say("Mind the date: it lies ahead, so it counts only from then on."))
    take_back = f'quailwright log retract entry={entry.id} why="..."'
    print(say("To take it back: {command}", command=take_back))


def _split(fields: list[str]) -> dict[str, str]:
    typed: dict[str, str] = {}
    for field in fields:
        name, equals, value = field.partition("=")
        if not equals:
            raise BadInput(say("{given!r} is not field=value. Write, say, eggs=12.", given=field))
        if name in typed:
            raise BadInput(say("{field} is given twice. Give it once.", field=name))
        typed[name] = value.strip()
    return typed


def _teach(kind: str) -> None:
    print(f"{kind}: {say(' '.join((KINDS[kind].__doc__ or '').split()))}")
    rows = [
        (name, say("yes") if needed and name not in ("id", "at") else "", say(wanted), say(meaning))
        for name, wanted, meaning, needed in checks.describe(kind)
    ]
    # Say: headings of columns, parted by commas
    columns = say("field, needed, takes, what it says")
    show.table(columns.split(", "), rows)
    show.cautions(f"kind:{kind}")
