"""Hatches: the list, and one with its dates, weight loss, result and causes."""

from fastapi import APIRouter, Request
from starlette.responses import Response

from quailwright.guide import figures
from quailwright.guide.at_hand import known_names, of_hatch
from quailwright.guide.round import day_at
from quailwright.web.forms import form_of
from quailwright.web.guard import Reader
from quailwright.web.home import AtHome
from quailwright.web.view import page

router = APIRouter(default_response_class=Response, include_in_schema=False)


@router.get("/hatches")
def hatches(request: Request, home: AtHome, who: Reader) -> Response:
    """Hatches under way, then those that are over, newest first."""
    flock = home.flock()
    newest = list(flock.hatches.values())[::-1]
    return page(
        request,
        who,
        "hatches.html",
        under_way=[hatch for hatch in newest if hatch.closed_at is None],
        over=[hatch for hatch in newest if hatch.closed_at is not None],
    )


@router.get("/hatches/{name:path}")
def hatch(request: Request, home: AtHome, who: Reader, name: str) -> Response:
    """One hatch."""
    from quailwright.exchange.hatch_told import STANDS_ON
    from quailwright.exchange.loss_chart import loss_chart
    from quailwright.guide.hatch import words
    from quailwright.guide.hatch.report import step_times

    flock, now = home.flock(), home.now()
    report = home.desk.hatch(flock, name, now)
    on = day_at(flock, now)
    forms = [
        form_of(each.kind, known_names(flock, each.kind), each.known, each.asks, each.label)
        for each in of_hatch(report.hatch, on)
    ]
    return page(
        request,
        who,
        "hatch.html",
        report=report,
        hatch=report.hatch,
        chart=loss_chart(report.weight, report.day),
        words=words,
        dates=step_times(report),
        stands_on=STANDS_ON,
        figures=figures,
        forms=forms,
    )
