"""`tables`: every table as a spreadsheet, and a keeper's own old sheet taken in."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from quailwright.cli import show
from quailwright.cli.options import (
    FlockOption,
    JsonOption,
    OnOption,
    fresh_id,
    moment_asked,
    now,
    opened,
)
from quailwright.exchange.typed import at_present
from quailwright.flock.fold import fold, newest_zone
from quailwright.guide import told
from quailwright.journal.findings import BadInput, Finding
from quailwright.language import say, say_many

if TYPE_CHECKING:
    from quailwright.exchange.tables_in_seen import Preview

app = typer.Typer(
    no_args_is_help=True,
    rich_markup_mode=None,
    help="Every table as a spreadsheet, and an old sheet taken in.",
    epilog="Example: quailwright tables export flock.xlsx",
)

_ROWS_SHOWN = 20
_LEFT_SHOWN = 30

EXPORT_EXAMPLES = """Examples:

\b
  quailwright tables export flock.xlsx
  quailwright tables export flock.zip --on 2027-01-01
  quailwright tables export eggs.csv --table eggs
  quailwright tables export a-folder

docs/tables.md tells what stands in each table."""

IMPORT_EXAMPLES = """Examples:

\b
  quailwright tables import eggs.xlsx
  quailwright tables import eggs.xlsx --write-match eggs.toml
  quailwright tables import eggs.xlsx --match eggs.toml --dry-run
  quailwright tables import eggs.xlsx --match eggs.toml

Without --match nothing is written: it tells what it understood, and what it asks. docs/tables.md
tells how a match is written."""


@app.command("list")
def list_(as_json: JsonOption = False) -> None:
    """The tables there are."""
    from quailwright.exchange.tables_out import TABLES

    if as_json:
        show.json_document(
            [
                {"table": table.name, "columns": [column.name for column in table.columns]}
                for table in TABLES
            ]
        )
        return
    rows = [(table.name, say(table.about)) for table in TABLES]
    show.table((say("table"), say("what stands in it")), rows)


@app.command("export", epilog=EXPORT_EXAMPLES)
def export(
    ctx: typer.Context,
    target: Annotated[
        Path, typer.Argument(help="A workbook (.xlsx), a .zip, one .csv, or a folder.")
    ],
    flock_file: FlockOption = None,
    on: OnOption = None,
    table: Annotated[
        list[str] | None,
        typer.Option("--table", metavar="NAME", help="Only this table; may be given again."),
    ] = None,
) -> None:
    """Writes every table to a spreadsheet or to CSV."""
    from quailwright.exchange.tables_out import tables_asked
    from quailwright.exchange.tables_out_files import written

    with opened(ctx, flock_file) as store:
        entries = store.entries()
        asked = tables_asked(entries, store, None if on is None else moment_asked(
            on, newest_zone(entries)), now())  # fmt: skip
        files = written(target, asked, table or [], False)
    for file in files:
        print(say("Written: {file}", file=file))


@app.command("import", epilog=IMPORT_EXAMPLES)
def import_(
    ctx: typer.Context,
    file: Annotated[Path, typer.Argument(help="Your sheet: .xlsx, .xls, .ods, .csv or .tsv.")],
    flock_file: FlockOption = None,
    match_file: Annotated[
        Path | None,
        typer.Option("--match", metavar="MATCH.toml", help="How the sheet is to be read."),
    ] = None,
    sheet: Annotated[
        str, typer.Option("--sheet", metavar="S", help="Which sheet of the book.")
    ] = "",
    kind: Annotated[str, typer.Option("--kind", metavar="KIND", help="What one row tells.")] = "",
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Say what would be written; write nothing.")
    ] = False,
    write_match: Annotated[
        Path | None,
        typer.Option("--write-match", metavar="MATCH.toml", help="Write down how it was read."),
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Takes in a sheet of your own, all or nothing."""
    from quailwright.exchange.costs_told import write_whole
    from quailwright.exchange.record import record
    from quailwright.exchange.tables_in import previewed
    from quailwright.exchange.tables_in_grid import read_book
    from quailwright.exchange.tables_in_guess import seems
    from quailwright.exchange.tables_in_match import (
        Match,
        checked,
        match_text,
        questions_text,
        read_match,
    )
    from quailwright.journal.jsonl import read_file

    book = read_book(file)
    with opened(ctx, flock_file, create=match_file is not None and not dry_run) as store:
        entries = store.entries()
        flock = fold(entries, now())
        if match_file is None:
            checked(Match(sheet, kind=kind))
            match = seems(book, flock, sheet, kind)
        else:
            match = read_match(read_file(match_file), str(match_file))
            if sheet or not match.sheet:
                from dataclasses import replace

                match = replace(match, sheet=sheet or book.sheets[0].name)
        seen = previewed(book, match, flock, entries, now())
        if write_match is not None:
            asked = questions_text([(one.about, one.text) for one in seen.asked])
            write_whole(write_match, (match_text(seen.match) + asked).encode())
        if match_file is not None:
            _refuse(seen)
        writes = match_file is not None and not dry_run
        if writes and seen.new:
            record(store, seen.new, now())
    if as_json:
        show.json_document(_shape(seen, writes))
        return
    _show(seen, writes)
    if write_match is not None:
        print(say("Written: {file}", file=write_match))
    if match_file is None:
        _next(seen, file, write_match)


@app.command("imports")
def imports(
    ctx: typer.Context, flock_file: FlockOption = None, as_json: JsonOption = False
) -> None:
    """What was taken in from sheets, and whether it still stands."""
    from dataclasses import asdict

    from quailwright.exchange import tables_in_back

    with opened(ctx, flock_file) as store:
        found = tables_in_back.imports(store.entries())
    if as_json:
        show.json_document([asdict(one) for one in found])
        return
    if not found:
        print(say("Nothing was taken in from a sheet."))
        return
    show.table(
        (
            say("import"),
            say("first row"),
            say("entries"),
            say("standing"),
            say("first day"),
            say("last day"),
        ),
        [(one.id, one.file, one.entries, one.standing, one.first, one.last) for one in found],
    )


@app.command("undo")
def undo(
    ctx: typer.Context,
    import_id: Annotated[str, typer.Argument(help="The import, as `tables imports` names it.")],
    flock_file: FlockOption = None,
) -> None:
    """Takes back all entries of one import, all or nothing; the journal keeps both."""
    from quailwright.exchange.record import record
    from quailwright.exchange.tables_in_back import undoing

    with opened(ctx, flock_file) as store:
        entries = store.entries()
        at = at_present(now(), newest_zone(entries))
        made = undoing(import_id, entries, at, "", fresh_id)
        record(store, made, now())
    print(say_many("{n} entry was taken back.", "{n} entries were taken back.", len(made)))


def _refuse(seen: "Preview") -> None:
    """Raises BadInput where something is to be told, or stands against it."""
    if seen.asked:
        raise BadInput(
            say("Not taken in: the match does not tell everything."),
            tuple(Finding("shape", one.text, field=one.about) for one in seen.asked),
        )
    if seen.problems:
        raise BadInput(
            say("Not taken in; nothing was written."),
            tuple(Finding("shape", one.what, one.mend, field=one.where) for one in seen.problems),
        )


def _show(seen: "Preview", written: bool) -> None:
    from quailwright.exchange.tables_in_told import left_words, outcome, read_as

    for sentence in read_as(seen):
        print(sentence)
    if seen.asked:
        show.heading(say("To be told"))
        for one in seen.asked:
            print(f"  {one.about}: {one.text}")
            if one.choices:
                print(f"    {', '.join(one.choices)}")
    if seen.problems:
        show.heading(say("What cannot be read"))
        for problem in seen.problems[:_LEFT_SHOWN]:
            print(f"  {problem.sentence}")
        if len(seen.problems) > _LEFT_SHOWN:
            print(say("  ... and {n} more.", n=len(seen.problems) - _LEFT_SHOWN))
    if seen.rows:
        show.heading(say("Rows as entries"))
        show.table(
            (say("row"), say("day"), say("entry")),
            [
                (row.row or "", row.entry.at[:10], told.in_a_line(row.entry))
                for row in seen.rows[:_ROWS_SHOWN]
            ],
        )
        if len(seen.rows) > _ROWS_SHOWN:
            print(say("  ... and {n} more.", n=len(seen.rows) - _ROWS_SHOWN))
    if seen.left:
        show.heading(say("Rows left out"))
        for left in seen.left[:_LEFT_SHOWN]:
            print(f"  {left_words(left)}")
        if len(seen.left) > _LEFT_SHOWN:
            print(say("  ... and {n} more.", n=len(seen.left) - _LEFT_SHOWN))
    for sentence in (*seen.remarks, *outcome(seen, written)):
        print(sentence)


def _next(seen: "Preview", file: Path, write_match: Path | None) -> None:
    """What to do now, where only a look was taken."""
    match = write_match or Path(f"{file.stem}.toml")
    if write_match is None:
        print(
            say(
                "Nothing was written. Keep how it was read with --write-match {match}, look it "
                "through, and import with --match {match}.",
                match=match,
            )
        )
    elif seen.asked:
        print(say("Nothing was written. Tell in {match} what is asked above.", match=match))
    else:
        print(say("Nothing was written. Look {match} through, then import with it.", match=match))


def _shape(seen: "Preview", written: bool) -> dict[str, object]:
    from quailwright.exchange.tables_in_told import preview_shape

    return preview_shape(seen, written)
