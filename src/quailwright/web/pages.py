"""The pages that are only read: the round, the birds, one place, the goal, and what else is."""

from collections.abc import Callable, Mapping
from datetime import date
from functools import cache, partial

from fastapi import APIRouter, Request
from starlette.responses import Response

from quailwright.exchange.backup_schedule import reminder
from quailwright.exchange.clock_told import clock_says
from quailwright.exchange.notice_page import open_notices
from quailwright.flock.standing import standing
from quailwright.flock.state import Flock
from quailwright.guide.at_hand import at_hand, known_names
from quailwright.guide.child import ALWAYS, childs_round
from quailwright.guide.round import Round, day_at, units_of
from quailwright.guide.signs.record import crowded
from quailwright.journal.entries import kind_of
from quailwright.journal.findings import BadInput
from quailwright.language import say
from quailwright.web.forms import Form, form_of
from quailwright.web.guard import Reader, Visitor
from quailwright.web.home import AtHome, Home
from quailwright.web.view import page, part

router = APIRouter(default_response_class=Response, include_in_schema=False)

_DONE_SHOWN = 12


Names = Callable[[str], Mapping[str, list[str]]]
"""What the fields of a kind may hold, by field."""


def forms_at(flock: Flock, place: str, on: date, who: Visitor, names: Names) -> list[Form]:
    """The forms for what is likely to be logged at a place, by this person."""
    return [
        form_of(each.kind, names(each.kind), each.known, each.asks, each.label)
        for each in at_hand(flock, place, on)
        if who.may_write(each.kind)
    ]


def round_for(who: Visitor, home: Home, flock: Flock, on: date) -> Round:
    """The day's round, as this person sees it."""
    whole = home.round(flock, on)
    return childs_round(whole, flock) if who.is_child else whole


def _forms_part(forms: list[Form], place: str, number: int) -> str:
    """The forms of one place on the round, "" where there are none."""
    return part("round_forms.html", forms=forms, place=place, n=number, path="/") if forms else ""


@router.get("/")
def the_round(request: Request, home: AtHome, who: Reader) -> Response:
    """The day's round: the first page."""
    flock = home.flock()
    on = day_at(flock, home.now())
    todays = round_for(who, home, flock, on)
    done = home.desk.done(on, home.now())
    if who.is_child:
        done = [line for line in done if who.may_write(kind_of(line.entry))]

    def forms() -> dict[str, str]:
        names = cache(partial(known_names, flock))
        return {
            each.place: _forms_part(forms_at(flock, each.place, on, who, names), each.place, number)
            for number, each in enumerate(todays.places, 1)
        }

    return page(
        request,
        who,
        "round.html",
        round=todays,
        notices=[] if who.is_child else open_notices(home.desk, flock, home.now()),
        flock=flock,
        units=units_of(flock),
        forms=home.desk.once(flock, f"forms of a {who.role}", on, forms),
        done=done[:_DONE_SHOWN],
        minded=ALWAYS if who.is_child else (),
        clock_says="" if who.is_child else clock_says(home.desk.store, home.now()),
        damaged=bool(home.desk.store.damaged) and not who.is_child,
        backup_says=reminder(home.desk.store, flock, on, home.now())
        if who.keeps and not home.settings.invented and not home.settings.office
        else "",
    )


@router.get("/birds")
def birds(request: Request, home: AtHome, who: Reader) -> Response:
    """Places and the groups in them."""
    flock = home.flock()
    on = day_at(flock, home.now())
    return page(
        request,
        who,
        "birds.html",
        stands=standing(flock, on),
        flock=flock,
        units=units_of(flock),
        too_small={sign.where: sign.evidence for sign in crowded(flock, on)},
    )


@router.get("/places/{name:path}")
def place(request: Request, home: AtHome, who: Reader, name: str) -> Response:
    """One place: what stands there, and a form for each thing likely to be logged."""
    flock = home.flock()
    on = day_at(flock, home.now())
    found = [each for each in standing(flock, on).places if each.place == name]
    if not found:
        raise BadInput(
            say("There is no place {name!r}. The page of the birds lists them.", name=name)
        )
    tasks = [each.tasks for each in round_for(who, home, flock, on).places if each.place == name]
    return page(
        request,
        who,
        "place.html",
        place=found[0],
        tasks=tasks[0] if tasks else (),
        on=on,
        forms=forms_at(flock, name, on, who, cache(partial(known_names, flock))),
        units=units_of(flock),
    )


@router.get("/more")
def more(request: Request, who: Reader) -> Response:
    """Everything that the bar at the bottom has no room for."""
    return page(request, who, "more.html")
