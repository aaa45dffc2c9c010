"""The command `quailwright`: one function a command, each a few lines over the layers below."""

import io
import os
import re
import sys
from collections.abc import Iterator
from typing import Annotated, Any, TextIO

import typer
from typer.main import get_command

from quailwright import __version__
from quailwright.cli import (
    away,
    backup,
    blend,
    breeding,
    brooding,
    calendar,
    costs,
    eggs,
    flock,
    flocks,
    hatch,
    housing,
    journal,
    light,
    log,
    notices,
    offers,
    office,
    outlook,
    plan,
    ration,
    readings,
    serve,
    sheets,
    signs,
    tables,
    today,
)
from quailwright.cli.options import FlockOption
from quailwright.journal.findings import QuailwrightError
from quailwright.language import ENGLISH, of_terminal, say, speaking, spoken

_SHOWN_FINDINGS = 1000
INTERNAL_FAULT = 70

EXAMPLES = """Examples:

\b
  quailwright demo
  quailwright log eggs_set
  quailwright today
  quailwright today --help"""

app = typer.Typer(
    name="quailwright",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    help="A small flock of Coturnix quail: record it, know what stands, see what to do today.",
    epilog=EXAMPLES,
)


def _show_version(asked: bool) -> None:
    if asked:
        print(f"quailwright {__version__}")
        raise typer.Exit


@app.callback()
def common(
    ctx: typer.Context,
    flock_file: FlockOption = None,
    version: Annotated[
        bool,
        typer.Option(
            "--version", callback=_show_version, is_eager=True, help="Show the version and end."
        ),
    ] = False,
) -> None:
    """Holds what may stand before the command."""
    ctx.obj = {"flock": flock_file}


app.command("log", no_args_is_help=True, epilog=log.EXAMPLES)(log.log)
app.command("today", epilog=today.EXAMPLES)(today.today)
app.command("signs", epilog=signs.EXAMPLES)(signs.signs)
app.command("flock", epilog=flock.EXAMPLES)(flock.flock)
app.command("eggs", epilog=eggs.EXAMPLES)(eggs.eggs)
app.command("hatch", epilog=hatch.EXAMPLES)(hatch.hatch)
app.command("outlook", epilog=outlook.EXAMPLES)(outlook.outlook)
app.command("plan", epilog=plan.EXAMPLES)(plan.plan)
app.command("costs", epilog=costs.EXAMPLES)(costs.costs)
app.command("offers", no_args_is_help=True, epilog=offers.EXAMPLES)(offers.offers)
app.command("ration", no_args_is_help=True, epilog=ration.EXAMPLES)(ration.ration)
app.command("blend", no_args_is_help=True, epilog=blend.EXAMPLES)(blend.blend)
app.command("brooding", epilog=brooding.EXAMPLES)(brooding.brooding)
app.command("housing", epilog=housing.EXAMPLES)(housing.housing)
app.command("manure", epilog=housing.MANURE_EXAMPLES)(housing.manure)
app.command("light", epilog=light.EXAMPLES)(light.light)
app.command("away", no_args_is_help=True, epilog=away.EXAMPLES)(away.away)
app.command("print", epilog=sheets.EXAMPLES)(sheets.print_)
app.command("calendar", epilog=calendar.EXAMPLES)(calendar.calendar)
app.command("rules", epilog=today.RULES_EXAMPLES)(today.rules)
app.command("serve", epilog=serve.EXAMPLES)(serve.serve)
app.command("demo", epilog=today.DEMO_EXAMPLES)(today.demo)
app.command("backup", no_args_is_help=True, epilog=backup.EXAMPLES)(backup.backup)
app.command("restore", no_args_is_help=True, epilog=backup.RESTORE_EXAMPLES)(backup.restore)
app.command("move", no_args_is_help=True, epilog=flocks.MOVE_EXAMPLES)(flocks.move)
flocks.app.command("invite", epilog=office.INVITE_EXAMPLES)(office.invite)
flocks.app.command("night", epilog=office.NIGHT_EXAMPLES)(office.night)
app.add_typer(flocks.app, name="flocks")
app.add_typer(breeding.app, name="breeding")
app.add_typer(journal.app, name="journal")
app.add_typer(readings.app, name="readings")
app.add_typer(tables.app, name="tables")
app.add_typer(notices.app, name="notices")


def run() -> None:
    """Runs the command line in the terminal's language."""
    # NumPy's linear algebra, before it loads: its threads spin while they wait for busy cores, and
    # the matrices of a flock are so small that one thread is as fast.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    with speaking(of_terminal()):
        _run()


def _run() -> None:
    """Every failure ends in a sentence and an exit code."""
    stdout = sys.stdout
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")
    try:
        command = get_command(app)
        if spoken() != ENGLISH:
            for each in _commands(command):
                _say_help(each)
        command(prog_name="quailwright")
    except SystemExit as leaving:
        sys.exit(0 if _reader_has_gone(stdout) else leaving.code)
    except QuailwrightError as error:
        _say(error)
        sys.exit(error.exit_code)
    except KeyboardInterrupt:
        sys.exit(130)
    except Exception as error:
        if os.environ.get("QUAILWRIGHT_TRACEBACK"):
            raise
        print(
            say(
                "quailwright: a fault of its own ({fault}). Nothing of this command was kept. Set "
                "QUAILWRIGHT_TRACEBACK=1 to see where.",
                fault=f"{type(error).__name__}: {error}",
            ),
            file=sys.stderr,
        )
        sys.exit(INTERNAL_FAULT)


def help_texts() -> set[str]:
    """What `--help` says of commands and options, for the catalogues: it is written beside them.

    Examples are left as they are: they are commands.
    """
    commands = list(_commands(get_command(app)))
    texts = [text for each in commands for text in (each.help, each.short_help)]
    texts += [getattr(part, "help", None) for each in commands for part in each.params]
    return {text for text in texts if text}


def _commands(command: Any) -> Iterator[Any]:
    """A command and all below it."""
    yield command
    for each in getattr(command, "commands", {}).values():
        yield from _commands(each)


def _say_help(command: Any) -> None:
    """Help was written when the commands were made; now the language is known."""
    for part in (command, *command.params):
        for name in ("help", "short_help"):
            if text := getattr(part, name, None):
                setattr(part, name, say(text))


def _reader_has_gone(stdout: TextIO) -> bool:
    """Whether what reads the output (`| head`) has ended: no fault, and nothing more to say."""
    if sys.stdout is stdout:
        try:
            stdout.flush()
        except BrokenPipeError:
            os.dup2(os.open(os.devnull, os.O_WRONLY), stdout.fileno())
        else:
            return False
    return True


_DRIVING = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]")
"""What would drive the terminal that it is shown on, or turn the order of what is read there."""


def _harmless(text: str) -> str:
    return _DRIVING.sub(lambda found: f"\\u{ord(found[0]):04x}", text)


def _say(error: QuailwrightError) -> None:
    print(f"quailwright: {_harmless(error.sentence)}", file=sys.stderr)
    for finding in error.findings[:_SHOWN_FINDINGS]:
        print(f"  {_harmless(finding.sentence)}", file=sys.stderr)
    unsaid = len(error.findings) - _SHOWN_FINDINGS
    if unsaid > 0:
        print(say("  ... and {n} more.", n=unsaid), file=sys.stderr)
