"""`print`: sheets, cards and labels as PDF."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated
from urllib.parse import urlsplit

import typer

from quailwright.cli import show
from quailwright.cli.options import FlockOption, OnOption, location, moment_asked, now, opened
from quailwright.cli.standing import flock_on
from quailwright.flock.fold import fold, newest_zone
from quailwright.journal.findings import BadInput
from quailwright.language import say

if TYPE_CHECKING:
    from quailwright.exchange.sheets.printed import Offered, What

EXAMPLES = """Examples:

\b
  quailwright print
  quailwright print week
  quailwright print round monday.pdf --paper letter
  quailwright print places --address http://192.168.1.20:8765
  quailwright print year 2020 year.pdf --on 2020-12-31

Without a name it tells all that can be printed. --address is that of the pages, as a phone opens
them (quailwright serve --home-network tells it); codes on paper lead there."""


def print_(
    ctx: typer.Context,
    what: Annotated[str | None, typer.Argument(help="Which sheet; left out, a list.")] = None,
    of: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="[OF]... [OUT.pdf]",
            help="Of what (a hatch, a place, days, a year), and the file; - is standard output.",
        ),
    ] = None,
    flock_file: FlockOption = None,
    on: OnOption = None,
    paper: Annotated[
        str, typer.Option("--paper", metavar="SIZE", help="a4 or letter. Default: by your units.")
    ] = "",
    address: Annotated[
        str, typer.Option("--address", metavar="URL", help="Of the pages, for codes on paper.")
    ] = "",
    day: Annotated[
        str, typer.Option("--day", metavar="DAY", help="First day of a round. Default: the day.")
    ] = "",
    morning: Annotated[str, typer.Option("--morning", help="When the first round is.")] = "",
    midday: Annotated[str, typer.Option("--midday", help="When the round at midday is.")] = "",
    evening: Annotated[str, typer.Option("--evening", help="When the last round is.")] = "",
    scoop: Annotated[
        str, typer.Option("--scoop", help="What a scoop of feed weighs, in grams (US: ounces).")
    ] = "",
    copies: Annotated[
        str, typer.Option("--copies", metavar="N", help="Labels of each box or lot. Default: 1.")
    ] = "",
    cut: Annotated[
        bool, typer.Option("--cut", help="Labels on plain paper, with lines to cut along.")
    ] = False,
    force: Annotated[
        bool, typer.Option("--force", help="Write over a file that was not made here.")
    ] = False,
) -> None:
    """Sheets, cards and labels to print, as PDF."""
    from quailwright.exchange.sheets.press import Press, paper_of
    from quailwright.exchange.sheets.printed import printed, what_of

    if what is None:
        _list(_offered(ctx, flock_file, on))
        return
    known = what_of(what)
    named, out = _parted(known, of or [])
    with opened(ctx, flock_file) as store:
        entries = store.entries()
        asked = moment_asked(on, newest_zone(entries))
        flock = fold(entries, asked)
        press = Press(store, flock, asked, now(), paper_of(paper, flock), _address(address))
        about = {
            "day": day, "copies": copies, "cut": "yes" if cut else "",
            "morning": morning, "midday": midday, "evening": evening, "scoop": scoop,
        }  # fmt: skip
        made = printed(press, known.name, {**about, **named})
    _write(out or made.name, made.data, force)


def _parted(what: "What", words: list[str]) -> tuple[dict[str, str], str]:
    """What it is of, by field, and the file to write (or "")."""
    needed = len(what.needs)
    out = ""
    names_a_file = bool(words) and (words[-1] == "-" or words[-1].lower().endswith(".pdf"))
    if len(words) > needed or names_a_file:
        *words, out = words
    if len(words) > needed:
        raise BadInput(
            say("{what} takes no {word!r}. See: quailwright print", what=what.name, word=words[-1])
        )
    if what.name == "away" and len(words) < needed:
        raise BadInput(
            say("Say the first and the last day away: quailwright print away FROM UNTIL")
        )
    return dict(zip(what.needs, words, strict=False)), out


def _address(text: str) -> str:
    """The address of the pages. Raises BadInput where it is none."""
    if not text:
        return ""
    try:
        parts = urlsplit(text)
        fits = parts.scheme in ("http", "https") and bool(parts.hostname)
    except ValueError:
        fits = False
    if not fits:
        raise BadInput(
            say("{text!r} is no address. Write it as in http://192.168.1.20:8765", text=text[:80])
        )
    return text


def _write(out: str, data: bytes, force: bool) -> None:
    from quailwright.exchange.costs_told import write_whole
    from quailwright.exchange.sheets.press import OURS

    if out == "-":
        sys.stdout.buffer.write(data)
        return
    path = Path(out)
    before = path.exists()
    if before and not force:
        try:
            ours = OURS in path.read_bytes()
        except OSError:
            ours = False
        if not ours:
            raise BadInput(
                say(
                    "{path} is there already and was not made here. Name another file, or say "
                    "--force to write over it.",
                    path=path,
                )
            )
    write_whole(path, data)
    print(say("Written anew: {path}", path=path) if before else say("Written: {path}", path=path))


def _offered(ctx: typer.Context, flock_file: str | None, on: str | None) -> "Offered | None":
    """Of what there are sheets; None where there is no flock yet and none was named."""
    from quailwright.exchange.sheets.printed import offered

    named = flock_file or (ctx.obj or {}).get("flock")
    where = location(ctx, flock_file)
    if not named and "://" not in where and not Path(where).expanduser().exists():
        return None
    flock, day = flock_on(ctx, flock_file, on)
    return offered(flock, day)


def _list(there: "Offered | None") -> None:
    from quailwright.exchange.sheets.printed import WHATS

    print(say("quailwright print WHAT [OF] [OUT.pdf] prints one of these:"))
    show.table(
        (say("what"), say("of"), say("what it is")),
        [
            (what.name, " ".join(need.upper() for need in what.needs), say(what.says))
            for what in WHATS
        ],
    )
    if there is None:
        return
    if there.lids:
        print(say("Hatches under way: {names}", names=", ".join(there.lids)))
    if there.brooders:
        print(say("Brooders with chicks: {names}", names=", ".join(there.brooders)))
