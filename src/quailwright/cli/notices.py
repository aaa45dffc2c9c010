"""`notices`: what is wrong, by which rules the household is told, a test."""

import textwrap
from typing import TYPE_CHECKING, Annotated

import typer

from quailwright.cli import show
from quailwright.cli.options import FlockOption, JsonOption, OnOption, moment_asked, now, opened
from quailwright.flock.fold import fold, newest_zone
from quailwright.journal.moments import until
from quailwright.language import say

if TYPE_CHECKING:
    from quailwright.exchange.notice_shape import NoticesShape

EXAMPLES = """Examples:

\b
  quailwright notices
  quailwright notices --json
  quailwright notices test
  quailwright notices test "my mail"

Channels and rules are set on the page /settings/notices. Watch is kept while `quailwright serve`
runs. docs/notices.md tells how."""

app = typer.Typer(
    invoke_without_command=True,
    epilog=EXAMPLES,
    help="What is wrong now, and who is told of it.",
)


@app.callback()
def notices(
    ctx: typer.Context,
    flock_file: FlockOption = None,
    on: OnOption = None,
    as_json: JsonOption = False,
) -> None:
    """What is wrong now, and who is told of it."""
    ctx.obj = {**(ctx.obj or {}), **({"flock": flock_file} if flock_file else {})}
    if ctx.invoked_subcommand is not None:
        return
    from quailwright.exchange.desk import Desk
    from quailwright.exchange.notice_page import watch_kept
    from quailwright.exchange.notice_shape import notices_shape

    with Desk(opened(ctx, flock_file)) as desk:
        entries = desk.entries()
        asked = moment_asked(on, newest_zone(entries))
        flock = fold(entries, asked)
        moment = until(asked, flock.zone).moment(flock.zone)
        told = notices_shape(desk, flock, moment)
        if as_json:
            show.json_document(told)
            return
        works, _ = watch_kept(desk, flock, moment)
        _show(told, works)


def _show(told: "NoticesShape", works: str) -> None:
    print(works)
    if not told["on"]:
        print(say("Switch them on at /settings/notices, while `quailwright serve` runs."))
    show.heading(say("What is wrong"))
    if not told["open"]:
        _wrapped(say("Nothing that notices look at."))
    for one in told["open"]:
        _wrapped(one["sentence"])
        if one["first"]:
            _wrapped(one["first"])
        if one["seen_by"]:
            _wrapped(say("{name} sees to it.", name=one["seen_by"]))
    show.heading(say("Channels"))
    if not told["channels"]:
        _wrapped(say("None: what is wrong is told on the pages alone."))
    for channel in told["channels"]:
        line = say("{name}: {sort}", name=channel["name"], sort=channel["sort"])
        if not channel["on"]:
            line = say("{name}: off", name=channel["name"])
        elif channel["failures"]:
            line = say("{name}: fails ({n} in a row)", name=channel["name"], n=channel["failures"])
        _wrapped(line)


def try_out(
    ctx: typer.Context,
    channel: Annotated[
        str, typer.Argument(help="The channel, by its name. Default: every one.")
    ] = "",
    flock_file: FlockOption = None,
) -> None:
    """Send a test now, and say whether it went."""
    from quailwright.exchange.notice_settings import channel_of, safe_channels
    from quailwright.exchange.notice_watch import send_test

    with opened(ctx, flock_file) as store:
        asked = [channel] if channel else [one.name for one in safe_channels(store)]
        if not asked:
            print(say("There is no channel yet. Set one up at /settings/notices."))
            raise typer.Exit(1)
        failed = False
        for name in asked:
            known = channel_of(store, name)
            sent = send_test(store, known, now())
            failed = failed or not sent.went
            if sent.went:
                print(say("{name}: it went. {answer}", name=known.name, answer=say(sent.answer)))
            else:
                print(
                    say("{name}: it did not go. {answer}",
                        name=known.name, answer=say(sent.answer))
                )  # fmt: skip
    raise typer.Exit(1 if failed else 0)


app.command("test")(try_out)


def _wrapped(text: str) -> None:
    print(textwrap.fill(text, 100, initial_indent="  ", subsequent_indent="  "))
