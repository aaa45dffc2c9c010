"""`journal`: import, export and check the journal as JSON Lines."""

import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import typer

from quailwright.cli import show
from quailwright.cli.options import FlockOption, JsonOption, location, now, opened
from quailwright.exchange import record, shapes
from quailwright.flock.fold import newest_zone
from quailwright.journal.damage import damaged
from quailwright.journal.entries import Entry
from quailwright.journal.jsonl import read_file, read_stream, write_lines
from quailwright.journal.moments import has_happened, instant
from quailwright.language import say, say_many

app = typer.Typer(
    no_args_is_help=True,
    rich_markup_mode=None,
    help="The journal as a whole: import, export, check.",
    epilog="Example: quailwright journal export flock.jsonl",
)

_IMPORT_EXAMPLES = """Examples:

\b
  quailwright journal import year.jsonl
  quailwright journal import - < year.jsonl

One entry as a JSON object on each line. All lines are kept, or none; every bad line is named.
Importing the same file again changes nothing."""


@app.command("import", epilog=_IMPORT_EXAMPLES)
def import_(
    ctx: typer.Context,
    file: Annotated[str, typer.Argument(help="A JSON Lines file, or - for standard input.")],
    as_found: Annotated[
        bool,
        typer.Option(
            "--as-found",
            help="Keep entries that do not fit, too: what was salvaged may speak of what is lost.",
        ),
    ] = False,
    flock_file: FlockOption = None,
    as_json: JsonOption = False,
) -> None:
    """Take in entries from a file, all or none."""
    stdin = file == "-"
    data = read_stream(sys.stdin.buffer, say("standard input")) if stdin else read_file(Path(file))
    with opened(ctx, flock_file, create=True) as store:
        recorded = record.import_lines(store, data, now(), as_found)
        zone_name = newest_zone(store.entries())
    _say_what_lies_ahead(recorded.written, zone_name)
    written = len(recorded.written)
    empty = not written and not recorded.already
    if empty:
        print(say("The file holds no entries: nothing was imported."), file=sys.stderr)
    if as_json:
        show.json_document({"written": written, "already": recorded.already})
        return
    if empty:
        return
    kept = say_many("{n} entry kept", "{n} entries kept", written)
    already = say_many(
        "{n} was in the journal already", "{n} were in the journal already", recorded.already
    )
    print(f"{kept}, {already}.")


def _say_what_lies_ahead(written: Sequence[Entry], zone_name: str) -> None:
    present = now()
    ahead = [entry.at for entry in written if not has_happened(entry.at, present, zone_name)]
    if ahead:
        farthest = max(ahead, key=lambda at: instant(at, zone_name))
        print(
            say_many(
                "Mind the dates: {n} entry lies ahead, up to {day}, and counts only from then on.",
                "Mind the dates: {n} entries lie ahead, up to {day}, and count only from then on.",
                len(ahead),
                day=farthest[:10],
            ),
            file=sys.stderr,
        )


@app.command("export", epilog="Example: quailwright journal export flock.jsonl")
def export(
    ctx: typer.Context,
    file: Annotated[str, typer.Argument(help="A file, or - for standard output.")] = "-",
    flock_file: FlockOption = None,
    as_json: JsonOption = False,
) -> None:
    """Write the whole journal as JSON Lines."""
    with opened(ctx, flock_file) as store:
        if file == "-":
            sys.stdout.buffer.writelines(write_lines(store.entries()))
            return
        count = record.export_file(store, Path(file))
    if as_json:
        show.json_document({"exported": count, "file": file})
        return
    print(
        say_many("{n} entry written to {file}.", "{n} entries written to {file}.", count, file=file)
    )


_CHECK_EXAMPLE = """Example: quailwright journal check

Exit code 1 when something is wrong that nobody insisted on."""


@app.command("check", epilog=_CHECK_EXAMPLE)
def check(ctx: typer.Context, flock_file: FlockOption = None, as_json: JsonOption = False) -> None:
    """Look for damage, impossible counts and things never logged."""
    with opened(ctx, flock_file) as store:
        findings = record.check(store)
    wrong = [finding for finding in findings if not finding.forced]
    if as_json:
        show.json_document({"ok": not wrong, "findings": shapes.findings_shape(findings)})
    elif not findings:
        print(say("The journal is whole, and nothing in it contradicts itself."))
    else:
        for finding in findings:
            told = finding.sentence
            if finding.forced:
                told = say("Kept because you insisted: {finding}", finding=told)
            print(f"{finding.at or finding.entry}  {told}")
        if any(finding.kind == "damage" for finding in findings):
            found = say_many("{n} thing is wrong in it.", "{n} things are wrong in it.", len(wrong))
            print(damaged(location(ctx, flock_file), found).sentence)
    if wrong:
        raise typer.Exit(1)


_SALVAGE_EXAMPLE = """Example: quailwright journal salvage rescued.jsonl

For a flock file that is damaged. The file is only read. Then, in this order:

\b
  quailwright restore LAST_BACKUP.zip --replace
  quailwright journal import rescued.jsonl --as-found"""


@app.command("salvage", epilog=_SALVAGE_EXAMPLE)
def salvage(
    ctx: typer.Context,
    file: Annotated[str, typer.Argument(help="The JSON Lines file to write.")],
    flock_file: FlockOption = None,
    as_json: JsonOption = False,
) -> None:
    """Write what can be read of a damaged flock file."""
    where = location(ctx, flock_file)
    found = record.salvage_file(where, Path(file))
    count = len(found.entries)
    if as_json:
        show.json_document({"salvaged": count, "missing": found.missing, "file": file})
    else:
        print(
            say_many(
                "{n} entry written to {file}.", "{n} entries written to {file}.", count, file=file
            )
        )
        if found.missing:
            print(
                say_many(
                    "At least {n} entry could not be read.",
                    "At least {n} entries could not be read.",
                    found.missing,
                )
            )
    if found.missing or not count:
        raise typer.Exit(1)
