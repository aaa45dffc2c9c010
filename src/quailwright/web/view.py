"""Pages from templates: words and figures as a keeper reads them."""

import hashlib
import json
import re
from datetime import date, datetime
from functools import cache
from numbers import Real
from pathlib import Path
from typing import Any
from urllib.parse import quote

import jinja2
from fastapi import Request
from jinja2.utils import htmlsafe_json_dumps
from markupsafe import Markup, escape
from starlette.responses import HTMLResponse

from quailwright.exchange.store_told import held_on_this_phone
from quailwright.flock.state import Flock
from quailwright.guide import told, wording
from quailwright.guide.cautions import cautions_for, who_decides
from quailwright.guide.round import day_at
from quailwright.journal.entries import KINDS, kind_of
from quailwright.journal.moments import parse_moment
from quailwright.language import LANGUAGES, figure, say, say_many, speaking, spoken
from quailwright.web.guard import VISIT, Visitor, remember, write_token
from quailwright.web.home import Home, home_of

STATIC = Path(__file__).parent / "static"
LANGUAGE = "language"
"""The cookie with the language that was chosen on this phone."""


def say_html(text: str, /, **values: object) -> Markup:
    """As `say`, for a text with markup of its own; what is put into it is escaped."""
    safe = {
        name: value if isinstance(value, Real) else escape(value) for name, value in values.items()
    }
    return Markup(say(text, **safe))


def _at_words(at: str) -> str:
    """When an entry happened: `Sunday 2 May 2027, 20:00`, by the clock that it was written with."""
    moment = parse_moment(at)
    day = wording.full_day(moment)
    clock = f"{moment:%H:%M}" if isinstance(moment, datetime) else ""
    return say("{day}, {clock}", day=day, clock=clock) if clock else day


@cache
def static_version() -> str:
    """Changes whenever a static file does: browsers keep each version for good."""
    files = sorted(path for path in STATIC.rglob("*") if path.is_file())
    return hashlib.sha256(b"".join(path.read_bytes() for path in files)).hexdigest()[:12]


def static(name: str) -> str:
    """The address of a static file in its present version."""
    return f"/static/{static_version()}/{name}"


def in_path(name: str) -> str:
    """A keeper's name as one part of an address."""
    return quote(name, safe="")


def dialled(phone: str) -> str:
    """A number as a phone dials it: its digits and signs, without what parts them."""
    return "".join(each for each in phone if each in "+*#0123456789")


_TEXT = r'\s*("(?:[^"\\\n]|\\.)*")'
_SAID, _SAID_MANY = re.compile(rf"\bsay\({_TEXT}"), re.compile(rf"\bsay_many\({_TEXT},{_TEXT}")


@cache
def texts_of_scripts() -> tuple[frozenset[str], frozenset[tuple[str, str]]]:
    """The texts that our scripts say, as they stand in them; and those of a number of things."""
    scripts = [path.read_text(encoding="utf-8") for path in STATIC.glob("*.js")]
    one = {json.loads(text) for script in scripts for text in _SAID.findall(script)}
    many = {
        (json.loads(single), json.loads(several))
        for script in scripts
        for single, several in _SAID_MANY.findall(script)
    }
    return frozenset(one), frozenset(many)


@cache
def words_of_scripts(language: str) -> str:
    """What scripts say, and what kinds and fields are called, in a language; words.js reads it.

    JSON for an attribute of the page in single quotes: no page holds a script of its own.
    """
    alone, of_number = texts_of_scripts()
    fields = {name for kind in KINDS.values() for name in kind.__struct_encode_fields__}
    with speaking(language):
        known: dict[str, str | list[str]] = {
            name.replace("_", " "): told.field_words(name) for name in fields
        }
        known |= {kind.replace("_", " "): told.kind_words(kind) for kind in KINDS}
        known |= {text: say(text) for text in alone}
        for one, many in of_number:
            parts = {name: f"{{{name}}}" for name in re.findall(r"{(\w+)}", many)}
            known[one] = [say_many(one, many, number, **parts) for number in (1, 2)]
    spare = {text: words for text, words in known.items() if words != text}
    return htmlsafe_json_dumps(spare)


@cache
def templates() -> jinja2.Environment:
    """The templates; everything put into them is escaped."""
    made = jinja2.Environment(
        loader=jinja2.PackageLoader("quailwright.web"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters |= {
        "clock": wording.clock,
        "weekday": wording.weekday,
        "full_day": wording.full_day,
        "when": wording.when,
        "at_words": _at_words,
        "day_words": lambda day: wording.full_day(date.fromisoformat(day)),
        "kind_words": told.kind_words,
        "kind_about": told.kind_about,
        "choice_words": told.choice_words,
        "told": told.told,
        "in_a_line": told.in_a_line,
        "kind_of": kind_of,
        "in_path": in_path,
        "dialled": dialled,
        "area": wording.area,
        "sentence": lambda words: words[:1].upper() + words[1:],
        "percent": lambda share: figure(share, ".0%"),
    }
    made.globals |= {
        "static": static,
        "counted": wording.counted,
        "wording": wording,
        "cautions_for": cautions_for,
        "who_decides": who_decides,
        "say": say,
        "say_many": say_many,
        "say_html": say_html,
        "spoken": spoken,
        "languages": LANGUAGES,
        "with_token": lambda kept, token: Markup(kept.replace(TOKEN_COMES_HERE, token)),
        "words_of_scripts": words_of_scripts,
    }
    return made


TOKEN_COMES_HERE = "\uf8ff"
"""Stands for the write token in a part of a page that is kept for several visitors. It is a
character for private use (Unicode 17, section 23.5), so that no name holds it by chance."""


def part(template: str, **shown: Any) -> str:
    """A part of a page, to be kept: what it shows of a visitor is `TOKEN_COMES_HERE`."""
    return templates().get_template(template).render(token=TOKEN_COMES_HERE, **shown)


def _kept(request: Request, home: Home, who: Visitor) -> str:
    """The entry that was written just now by whoever asks, by its id; "" for anything else."""
    entry = home.desk.known(home.now()).get(request.query_params.get("kept", ""))
    return entry.id if entry is not None and entry.by in ("", who.name) else ""


def _held(home: Home, flock: Flock) -> str:
    """The eggs that are held, as JSON for an attribute in single quotes; "" where none are."""
    if not (flock.withholdings or flock.quarantines):
        return ""
    on = day_at(flock, home.now())
    return home.desk.once(
        flock, "held", on, lambda: htmlsafe_json_dumps(held_on_this_phone(flock, on) or "")
    )


def page(
    request: Request, who: Visitor, template: str, *, status: int = 200, **shown: Any
) -> HTMLResponse:
    """A page for a visitor, with what every page shows around it."""
    home: Home = home_of(request)
    flock = home.flock()
    body = (
        templates()
        .get_template(template)
        .render(
            who=who,
            token=write_token(home, who),
            path=quote(request.url.path),
            holding=flock.holding if who.role is not None else None,
            mark=home.desk.mark() if who.role is not None else "",
            invented=home.settings.invented,
            office=home.settings.office,
            kept=_kept(request, home, who),
            held=_held(home, flock) if who.may_write("eggs_out") else "",
            **shown,
        )
    )
    response = HTMLResponse(body, status_code=status)
    if who.person is None and VISIT not in request.cookies:
        remember(response, request, VISIT, who.key)
    return response
