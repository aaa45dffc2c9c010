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
    from quailwright.exchange.costs_told import Costs

router = APIRouter(default_response_class=Response, include_in_schema=False)

_SHEET = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


def reckoned(
    home: Home, flock: Flock, day: date, first: date | None, last: date | None, minute: float
) -> "Costs":
    """The costs of these days of the flock that stands now, reckoned once for all who ask.

    Raises BadInput.
    """
    from quailwright.exchange.costs_told import costs

    return home.desk.once(
        flock,
        f"costs {first} {last} {minute}",
        day,
        lambda: costs(home.desk.entries(), flock, day, first, last, minute),
    )


def _asked(home: Home, typed: dict[str, str]) -> tuple[Flock, "Costs"]:
    from quailwright.exchange.costs_page import asked

    flock = home.flock()
    day = day_at(flock, home.now())
    days = asked(typed, flock, day)
    return flock, reckoned(home, flock, day, days.first, days.last, days.minute)


@router.get("/costs")
def costs(request: Request, home: AtHome, who: Reader) -> Response:
    """What it costs: of the last year, of this month, or of the days asked for."""
    from quailwright.exchange.costs_page import FIELDS, THIS_MONTH, costs_page

    typed = dict(request.query_params)
    flock, found = _asked(home, typed)
    told = costs_page(found, flock)
    days = {"from": told.first.isoformat(), "until": told.last.isoformat()}
    files = urlencode({**days, "minute": f"{found.account.minute_price:g}"})
    return page(
        request,
        who,
        "costs.html",
        told=told,
        typed={name: typed.get(name, "") for name in FIELDS},
        this_month=typed.get("span") == THIS_MONTH,
        a_year=not any(typed.get(name) for name in (*FIELDS, "span")),
        files=files,
        units=units_of(flock),
    )


@router.get("/costs/months.csv")
def months(request: Request, home: AtHome, who: Reader) -> Response:
    """The months as CSV, as `costs --csv` writes them."""
    from quailwright.exchange.costs_told import costs_csv

    _, found = _asked(home, dict(request.query_params))
    return _file(costs_csv(found.account).encode(), "text/csv; charset=utf-8", found, "csv")


@router.get("/costs/costs.xlsx")
def sheet(request: Request, home: AtHome, who: Reader) -> Response:
    """The spreadsheet with its formulas, as `costs --sheet` writes it."""
    from quailwright.exchange.costs_sheet import costs_sheet

    _, found = _asked(home, dict(request.query_params))
    return _file(costs_sheet(found), _SHEET, found, "xlsx")


def _file(content: bytes, media_type: str, found: "Costs", ending: str) -> Response:
    name = f"costs-{found.account.first}-{found.account.last}.{ending}"
    return Response(
        content,
        media_type=media_type,
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )
