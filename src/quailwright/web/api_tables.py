"""Tables for scripts, as CSV."""

from datetime import date, datetime
from typing import Annotated

from fastapi import APIRouter, Query
from starlette.responses import Response

from quailwright.exchange.tables_out import TABLES, table_named, tables_asked
from quailwright.exchange.tables_out_files import csv_text
from quailwright.exchange.typed import moment_asked
from quailwright.web.api import Told
from quailwright.web.guard import Reader
from quailwright.web.home import AtHome
from quailwright.web.openapi import says, tells_text

router = APIRouter(prefix="/api", default_response_class=Response)


@router.get("/tables", responses=says("Names", "Refusal"))
def tables(who: Reader) -> Response:
    """The names of the tables."""
    return Told([table.name for table in TABLES])


@router.get("/tables/{table}.csv", responses=tells_text("text/csv", "Refusal"))
def table_csv(
    home: AtHome,
    who: Reader,
    table: str,
    on: Annotated[
        str | None, Query(description="As of a day or an instant; else as of now.")
    ] = None,
) -> Response:
    """One table as CSV (RFC 4180), UTF-8, heads with units, ISO 8601 dates."""
    found = table_named(table)
    asked: date | datetime | None = None
    if on is not None:
        asked = moment_asked(on, home.now(), home.flock().zone)
    made = tables_asked(home.desk.entries(), home.desk.store, asked, home.now())
    return Response(csv_text(found, made), media_type="text/csv; charset=utf-8")
