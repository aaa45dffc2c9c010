"""Pages from templates: words and figures as a keeper reads them."""

import hashlib
from datetime import date, datetime
from functools import cache
from numbers import Real
from pathlib import Path
from typing import Any
from urllib.parse import quote

import jinja2
from fastapi import Request
from markupsafe import Markup, escape
from starlette.responses import HTMLResponse

from quailwright.guide import told, wording
from quailwright.journal.entries import kind_of
from quailwright.journal.moments import parse_moment
from quailwright.language import LANGUAGES, figure, say, say_many, spoken
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
        "told": told.told,
        "in_a_line": told.in_a_line,
        "kind_of": kind_of,
        "in_path": in_path,
        "area": wording.area,
        "sentence": lambda words: words[:1].upper() + words[1:],
        "percent": lambda share: figure(share, ".0%"),
    }
    made.globals |= {
        "static": static,
        "counted": wording.counted,
        "wording": wording,
        "say": say,
        "say_many": say_many,
        "say_html": say_html,
        "spoken": spoken,
        "languages": LANGUAGES,
    }
    return made


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
            path=request.url.path,
            holding=flock.holding if who.role is not None else None,
            mark=home.desk.mark() if who.role is not None else "",
            invented=home.settings.invented,
            kept=request.query_params.get("kept", ""),
            **shown,
        )
    )
    response = HTMLResponse(body, status_code=status)
    if who.person is None and VISIT not in request.cookies:
        remember(response, request, VISIT, who.key)
    return response
