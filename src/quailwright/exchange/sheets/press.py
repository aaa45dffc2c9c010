"""A PDF from a template and its data: paper, fonts, frame, codes, and the clock that dates it."""

import json
import re
import subprocess
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import cache, lru_cache
from importlib import resources
from typing import Any, Final, Literal
from urllib.parse import quote, urlencode

from quailwright.exchange.demo_file import INVENTED
from quailwright.exchange.sheets import typesetter
from quailwright.flock.state import Flock
from quailwright.guide import wording
from quailwright.guide.cautions import cautions_for, who_decides
from quailwright.guide.round import day_at, units_of
from quailwright.journal.entries import Units
from quailwright.journal.findings import BadInput
from quailwright.journal.moments import until
from quailwright.journal.store import Store
from quailwright.language import Said, say, spoken

Paper = Literal["a4", "letter"]
PAPERS: Final[Mapping[Paper, str]] = {"a4": "a4", "letter": "us-letter"}
"""The papers there are, and what typst calls them."""

OURS: Final = b"/Author(quailwright)"
"""Stands in every PDF that is made here, and tells it from a file of the keeper's."""

_LONGEST_WAIT_S = 60
_CODES = 200

Data = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Press:
    """What every sheet is made from.

    Attributes:
        flock: what stands as of `asked`.
        asked: the moment (aware) or day it is told of.
        now: the instant at which it is printed (aware).
        paper: to print on.
        address: of the pages, as a phone opens them (`http://192.168.1.20:8765`); "" where it is
            not known: then no sheet bears a code.
    """

    store: Store
    flock: Flock
    asked: date | datetime
    now: datetime
    paper: Paper
    address: str = ""

    @property
    def on(self) -> date:
        """The day at the holding that the sheets are told of."""
        return day_at(self.flock, self.asked)

    @property
    def moment(self) -> datetime:
        """The instant that the sheets are told of: the end of the day, for a day."""
        return until(self.asked, self.flock.zone).moment(self.flock.zone)

    @property
    def units(self) -> Units:
        """The keeper's units."""
        return units_of(self.flock)

    @property
    def invented(self) -> bool:
        """Whether the flock is a demo's."""
        holding = self.flock.holding
        return holding is not None and holding.note.startswith(INVENTED)

    def code(self, path: str, caption: str, **query: str) -> dict[str, str] | None:
        """A code that opens a page of ours on a phone; None where no address is known."""
        if not self.address:
            return None
        address = f"{self.address.rstrip('/')}{path}"
        if query:
            address = f"{address}?{urlencode(query, quote_via=quote)}"
        return {"svg": _code(address), "caption": caption}


def paper_of(text: str, flock: Flock) -> Paper:
    """The paper asked for; else Letter where the keeper's units are those of the United States.

    Raises BadInput.
    """
    match text.strip().lower():
        case "a4":
            return "a4"
        case "letter":
            return "letter"
        case "":
            return "letter" if units_of(flock) == "us" else "a4"
        case _:
            raise BadInput(
                say("There is no paper {paper!r} here: a4 or letter.", paper=text.strip()[:40])
            )


def pdf(press: Press, template: str, title: str, data: Data) -> bytes:
    """The sheet as PDF: the same bytes for the same data, paper, language and clock.

    Args:
        template: the name of a template here.
        title: of the document.
        data: what the template asks for: text, numbers, lists and mappings.
    """
    holding = press.flock.holding
    frame = {
        "title": title,
        "paper": PAPERS[press.paper],
        "language": spoken(),
        "flock": holding.name if holding is not None else "",
        "made": say("As of {day}", day=wording.full_day(press.on)),
        "invented": say("Invented") if press.invented else "",
        "pages": say("{page} of {pages}", page="{page}", pages="{pages}"),
        "caution": say("Caution:"),
        "tick": say("box to tick"),
    }
    shown = _breakable({**data, "frame": frame})
    asked = {
        "source": _source(template),
        "data": json.dumps(shown, ensure_ascii=False),
        "timestamp": int(press.now.timestamp()),
    }
    done = subprocess.run(
        [sys.executable, "-P", typesetter.__file__],
        input=json.dumps(asked).encode(),
        capture_output=True,
        timeout=_LONGEST_WAIT_S,
        check=False,
    )
    if done.returncode:
        raise RuntimeError(f"{template} could not be set: {done.stderr.decode(errors='replace')}")
    return done.stdout


def day_and_clock(at: datetime) -> str:
    """`Sunday 2 May 2027, 20:00`."""
    return say("{day}, {clock}", day=wording.full_day(at), clock=f"{at:%H:%M}")


def in_address(name: str) -> str:
    """A keeper's name as one part of an address."""
    return quote(name, safe="")


def cautions(step: str) -> list[str]:
    """The cautions of a step, each with who decides."""
    return [
        f"{each.said_at(step)} {say('Who decides: {who}.', who=who_decides(each))}"
        for each in cautions_for(step)
    ]


@cache
def _source(template: str) -> str:
    """A template with what all share before it: one text, which reads no other file."""
    here = resources.files(__package__)
    names = ("frame", template)
    return "\n".join(here.joinpath(f"{name}.typ").read_text(encoding="utf-8") for name in names)


@lru_cache(_CODES)
def _code(address: str) -> str:
    """A QR code (ISO/IEC 18004) as a drawing."""
    import segno

    code = segno.make(address, error="m", micro=False)
    return str(code.svg_inline(border=4, dark="#000", light="#fff"))


_LONG = re.compile(r"[^\s\u200b]{17,}")
_PIECE = 8
_CONTROL = re.compile(r"[\x00-\x08\x0b-\x1f\x7f]")


def _breakable(value: Any) -> Any:
    """The same, what is kept to be said later said, with places to break in very long words."""
    if isinstance(value, Said):
        value = say(value)
    if isinstance(value, str):
        if value.startswith("<svg"):
            return value
        return _LONG.sub(_with_breaks, _CONTROL.sub(" ", value))
    if isinstance(value, Mapping):
        return {key: _breakable(each) for key, each in value.items()}
    if isinstance(value, Sequence):
        return [_breakable(each) for each in value]
    return value


def _with_breaks(word: re.Match[str]) -> str:
    whole = word[0]
    return "\u200b".join(whole[at : at + _PIECE] for at in range(0, len(whole), _PIECE))
