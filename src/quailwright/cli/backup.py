"""`backup` and `restore`: one file, checked."""

import os
import sys
from pathlib import Path
from typing import Annotated

import typer

from quailwright.cli import show
from quailwright.cli.options import FlockOption, JsonOption, location, now, opened
from quailwright.journal.findings import BadInput
from quailwright.language import say

EXAMPLES = """Examples:

\b
  quailwright backup /media/me/STICK/
  quailwright backup monday.zip
  quailwright backup monday.zip --check

The file is restored into a place of its own and compared before it gets its name.
It holds secrets (hashes of passphrases): only you may read it; keep it so."""

RESTORE_EXAMPLES = """Examples:

\b
  quailwright restore monday.zip --flock new.sqlite
  quailwright restore monday.zip --replace

Without --replace nothing that holds a record is touched. With it, what stood there is kept beside,
under a name with the date."""

QuickOption = Annotated[
    bool, typer.Option("--quick", help="Compare checksums only; do not restore it to try it.")
]


def backup(
    ctx: typer.Context,
    file: Annotated[str, typer.Argument(help="The file to write, or a folder.")],
    check: Annotated[
        bool, typer.Option("--check", help="Write nothing: see whether that file is right.")
    ] = False,
    quick: QuickOption = False,
    flock_file: FlockOption = None,
    as_json: JsonOption = False,
) -> None:
    """Write everything into one file, proven by restoring it."""
    if check:
        _check(Path(file).expanduser(), quick, as_json)
        return
    if file == "-":
        raise BadInput(say("A backup is a file, read back to prove it: name one, or a folder."))
    if file.endswith(os.sep) and not Path(file).expanduser().is_dir():
        raise BadInput(
            say("There is no folder {folder}. Is the drive plugged in? Else make it.", folder=file)
        )
    from quailwright.exchange import backup_schedule, backups

    with opened(ctx, flock_file) as store:
        made = backups.back_up(store, Path(file).expanduser(), now(), quick)
        backup_schedule.note_made(store, made, now())
    if as_json:
        show.json_document(
            {
                "file": str(made.path),
                "bytes": made.bytes,
                "entries": made.entries,
                "readings": made.readings,
                "restored_and_equal": made.whole,
            }
        )
        return
    held, size = backups.held_words(made.entries, made.readings), backups.size_words(made.bytes)
    if made.whole:
        print(
            say(
                "{file}: {held}, {size}. Restored to try it, and found equal.",
                file=made.path,
                held=held,
                size=size,
            )
        )
    else:
        print(
            say(
                "{file}: {held}, {size}. Its checksums are right. {why_not}",
                file=made.path,
                held=held,
                size=size,
                why_not=say(made.why_not),
            )
        )


def _check(path: Path, quick: bool, as_json: bool) -> None:
    from quailwright.exchange import backups

    found = backups.check(path, quick)
    manifest, restored = found.manifest, found.restored
    entries, readings = manifest.rows("entry"), manifest.rows("reading")
    if as_json:
        show.json_document(
            {
                "ok": True,
                "made_at": manifest.made_at,
                "quailwright": manifest.quailwright,
                "schema": manifest.schema,
                "entries": entries,
                "readings": readings,
                "restored_and_equal": restored is not None,
            }
        )
        return
    held = backups.held_words(entries, readings)
    if restored is None:
        print(
            say("{held}: every checksum is right (made at {at}).", held=held, at=manifest.made_at)
        )
        return
    print(
        say(
            "{held}: restored to try it, equal to what was backed up (made at {at}).",
            held=held,
            at=manifest.made_at,
        )
    )
    _say_reckoned(restored.same_state, manifest.quailwright)


def _say_reckoned(same: bool, version: str) -> None:
    if not same:
        print(
            say(
                "Every entry is equal. This quailwright reckons what stands from them in another "
                "way than the one that made the backup ({version}).",
                version=version,
            ),
            file=sys.stderr,
        )


def restore(
    ctx: typer.Context,
    file: Annotated[str, typer.Argument(help="A backup.")],
    replace: Annotated[
        bool,
        typer.Option("--replace", help="Put what stands there aside first, under a dated name."),
    ] = False,
    flock_file: FlockOption = None,
    as_json: JsonOption = False,
) -> None:
    """Put a backup back, and prove that it is equal."""
    from quailwright.exchange import backups
    from quailwright.journal.store import without_password

    where = location(ctx, flock_file)
    path = Path(file).expanduser()
    if (
        "://" not in where
        and path.exists()
        and path.resolve() == Path(where).expanduser().resolve()
    ):
        raise BadInput(say("The backup and the flock file are one and the same. Name another."))
    restored = backups.restore(path, where, replace, now())
    shown = without_password(where)
    if as_json:
        show.json_document(
            {
                "flock": shown,
                "entries": restored.entries,
                "readings": restored.readings,
                "equal": True,
                "aside": restored.aside or None,
            }
        )
        return
    held = backups.held_words(restored.entries, restored.readings)
    print(say("{held}, equal to what was backed up.", held=held))
    print(say("They are in {flock}.", flock=shown))
    if restored.aside:
        print(say("What stood there before is kept as {aside}.", aside=restored.aside))
    print(
        say(
            "Nobody is signed in any more. People, passphrases, device keys and calendar addresses "
            "are those of the backup: look under Settings at People, Sensors and Calendar for what "
            "was ended since."
        )
    )
    _say_reckoned(restored.same_state, "")
