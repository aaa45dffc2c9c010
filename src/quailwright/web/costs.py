"""Costs: what an egg, a bird and an hour cost, by month and by hatch, and the files to take."""

from datetime import date
from typing import TYPE_CHECKING
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from starlette.responses import Response

from quailwright.flock.state import Flock
from quailwright.guide.round import day_at, units_of
from quailwright.web.guard import Reader
from quailwright.web.home import AtHome, Home
from quailwright.web.view import page

if TYPE_CHECKING:
    from quailwright.exchange.costs_page import Asked, Taken

router = APIRouter(default_response_class=Response, include_in_schema=False)

_SHEET = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


def reckoned(home: Home, flock: Flock, day: date, days: "Asked") -> "Taken":
    """The costs of these days of the flock that stands now, reckoned once for all who ask.

    Raises BadInput.
    """
    from quailwright.exchange.costs_page import taken

    return home.desk.once(
        flock, f"costs {days}", day, lambda: taken(home.desk.entries(), flock, day, days)
    )


def _asked(request: Request, home: Home) -> "Taken":
    from quailwright.exchange.costs_page import asked

    flock = home.flock()
    day = day_at(flock, home.now())
    return reckoned(home, flock, day, asked(request.query_params, flock, day))


@router.get("/costs")
def costs(request: Request, home: AtHome, who: Reader) -> Response:
    """What it costs: of the last year, of this month, or of the days asked for."""
    from quailwright.exchange.costs_page import FIELDS, THIS_MONTH

    typed = request.query_params
    told = _asked(request, home).page
    days = {"from": told.first.isoformat(), "until": told.last.isoformat()}
    return page(
        request,
        who,
        "costs.html",
        told=told,
        typed={name: typed.get(name, "") for name in FIELDS},
        this_month=typed.get("span") == THIS_MONTH,
        a_year=not any(typed.get(name) for name in (*FIELDS, "span")),
        files=urlencode({**days, "minute": f"{told.minute:g}"}),
        units=units_of(home.flock()),
    )


@router.get("/costs/months.csv")
def months(request: Request, home: AtHome, who: Reader) -> Response:
    """The months as CSV, as `costs --csv` writes them."""
    found = _asked(request, home)
    return _file(found.months.encode(), "text/csv; charset=utf-8", found, "csv")


@router.get("/costs/costs.xlsx")
def sheet(request: Request, home: AtHome, who: Reader) -> Response:
    """The spreadsheet with its formulas, as `costs --sheet` writes it."""
    found = _asked(request, home)
    return _file(found.sheet, _SHEET, found, "xlsx")


def _file(content: bytes, media_type: str, found: "Taken", ending: str) -> Response:
    name = f"costs-{found.page.first}-{found.page.last}.{ending}"
    return Response(
        content,
        media_type=media_type,
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )
