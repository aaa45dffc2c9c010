"""The first questions to a new flock, each a page of its own."""

from http import HTTPStatus
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from quailwright.exchange import first_run
from quailwright.guide.round import day_at, todays_round
from quailwright.journal.findings import FlockUnusable, QuailwrightError
from quailwright.web.entering import said_by_field, write_all
from quailwright.web.forms import typed_fields
from quailwright.web.guard import Keeper, OwnForm, Visitor
from quailwright.web.home import AtHome, Home
from quailwright.web.view import page

router = APIRouter(prefix="/first", default_response_class=Response, include_in_schema=False)

_ASKED_AS = {"floor_m2": "floor", "hatched_on": "weeks"}
"""Fields of an entry that a question asks for in another way."""


@router.get("")
def begin(home: AtHome, who: Keeper) -> Response:
    """The first of the questions."""
    return _to(first_run.questions(home.flock(), {})[0], {})


@router.get("/done")
def done(request: Request, home: AtHome, who: Keeper) -> Response:
    """The end: what the round holds now, and the plan that the answers ask for."""
    from quailwright.exchange.plan_asked import questions

    flock = home.flock()
    on = day_at(flock, home.now())
    asked = questions(flock, on) if flock.goal is not None else ()
    return page(
        request, who, "first_done.html", round=todays_round(flock, on), flock=flock, asked=asked
    )


@router.get("/{question}")
def ask(request: Request, home: AtHome, who: Keeper, question: str) -> Response:
    """One question."""
    carried = first_run.carried(question, dict(request.query_params))
    return _asked(request, home, who, question, carried)


@router.post("/{question}")
def answer(request: Request, home: AtHome, who: Keeper, question: str, form: OwnForm) -> Response:
    """Writes what the answer says, and asks the next; where it cannot be, asks again."""
    typed = typed_fields(form)
    again = typed.pop("again", "")
    flock = home.flock()
    try:
        said = first_run.entries_for(question, flock, typed, day_at(flock, home.now()))
        written = write_all(home, who, said)
    except FlockUnusable:
        raise
    except QuailwrightError as error:
        return _asked(request, home, who, question, typed, error)
    carried = {} if said else first_run.carried(question, typed)
    following = first_run.following(question, home.flock(), carried)
    if again and said:
        following = "birds" if question == "counts" else question
    return _to(following, carried, written[-1].id if written else "")


def _to(question: str, carried: dict[str, str], kept: str = "") -> Response:
    query = urlencode({**carried, **({"kept": kept} if kept else {})})
    where = f"/first/{question or 'done'}{'?' if query else ''}{query}"
    return RedirectResponse(where, HTTPStatus.SEE_OTHER)


def _asked(
    request: Request,
    home: Home,
    who: Visitor,
    name: str,
    typed: dict[str, str],
    error: QuailwrightError | None = None,
) -> Response:
    flock = home.flock()
    question = first_run.question(name, flock, typed)
    said = {_ASKED_AS.get(field, field): each for field, each in said_by_field(error).items()}
    fields = {field.name for field in question.fields}
    handed_on = first_run.carried(name, typed)
    carried = {name: text for name, text in handed_on.items() if name not in fields}
    number, of = first_run.number_of(name, flock, typed)
    query = f"?{urlencode(carried)}" if carried else ""
    before = first_run.preceding(name, flock, typed)
    skips_to = question.skips_to or first_run.following(name, flock, typed) or "done"
    return page(
        request,
        who,
        "first_run.html",
        status=HTTPStatus.OK if error is None else HTTPStatus.UNPROCESSABLE_ENTITY,
        question=question,
        carried=carried,
        number=number,
        of=of,
        back=f"/first/{before}{query}" if before else "/",
        skip=f"/first/{skips_to}{'' if question.skips_to else query}",
        said=said,
        elsewhere=[one for field, each in said.items() if field not in fields for one in each],
        error=error,
    )
