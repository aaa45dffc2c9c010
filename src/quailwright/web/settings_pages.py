"""Settings: how the flock is kept. Each change is an entry that says who made it, and when."""

from http import HTTPStatus

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from quailwright.exchange import settings_told
from quailwright.exchange.settings_told import KIND_OF, Setting
from quailwright.guide import figures
from quailwright.guide.at_hand import known_names
from quailwright.guide.round import units_of
from quailwright.journal.findings import BadInput, FlockUnusable, QuailwrightError
from quailwright.language import mark, say
from quailwright.web.entering import said_by_field, sent_back, write, write_all
from quailwright.web.forms import Form, as_typed, form_of, typed_fields
from quailwright.web.guard import Keeper, OwnForm, Reader, Visitor
from quailwright.web.home import AtHome, Home
from quailwright.web.view import page

router = APIRouter(prefix="/settings", default_response_class=Response, include_in_schema=False)

_TITLES = {
    "holding": mark("Where the flock lives"),
    "places": mark("Places"),
    "instruments": mark("Instruments"),
    "sources": mark("Sources of eggs"),
    "feeds": mark("Feeds"),
}
_CHANGES = ("every_days", "day", "minutes", "task", "why", "caution")
"""What of a rule may be changed, besides silencing it."""
_OWN_RULE = ("task", "stage", "why", "every_days", "day", "minutes", "place", "caution")


@router.get("")
def settings(request: Request, home: AtHome, who: Reader) -> Response:
    """What there is to set."""
    flock = home.flock()
    titles = {what: say(title) for what, title in _TITLES.items()}
    return page(request, who, "settings.html", titles=titles, flock=flock)


@router.get("/care")
def care(request: Request, home: AtHome, who: Reader) -> Response:
    """Every rule of care, by what it belongs to."""
    flock = home.flock()
    stages = settings_told.care_by_stage(flock)
    return page(request, who, "care.html", stages=stages, units=units_of(flock))


@router.get("/care/own")
def own_rule_form(request: Request, home: AtHome, who: Keeper) -> Response:
    """The form for a rule of one's own."""
    return _own_rule_page(request, home, who, {})


@router.post("/care/own")
def own_rule(request: Request, home: AtHome, who: Keeper, form: OwnForm) -> Response:
    """Adds a rule."""
    typed = typed_fields(form)
    try:
        entry = write(home, who, settings_told.own_rule(home.flock(), typed))
    except FlockUnusable:
        raise
    except QuailwrightError as error:
        return _own_rule_page(request, home, who, typed, error)
    return sent_back(form, entry)


@router.get("/care/rule")
def care_rule(request: Request, home: AtHome, who: Reader, name: str = "") -> Response:
    """One rule: what it asks, why, on whose word, and how to change it."""
    return _rule_page(request, home, who, name, {}) if name else _to("/settings/care")


@router.post("/care/rule")
def change_rule(request: Request, home: AtHome, who: Keeper, form: OwnForm) -> Response:
    """Changes, silences or brings back a rule, as the button pressed says."""
    typed = typed_fields(form)
    do, name = typed.pop("do", ""), typed.get("rule", "")
    about: dict[str, str] = {field: typed[field] for field in ("rule", "place") if field in typed}
    try:
        settings_told.care_of(home.flock(), (), name)
        match do:
            case "silence" | "back":
                said = {"silenced": "true" if do == "silence" else "false"}
            case _:
                said = {field: typed[field] for field in _CHANGES if field in typed}
                if not said:
                    raise BadInput(say("Nothing was changed. Fill in what should differ."))
        entry = write(home, who, {"kind": "care_rule", **about, **said})
    except FlockUnusable:
        raise
    except QuailwrightError as error:
        return _rule_page(request, home, who, name, typed, error)
    return sent_back(form, entry)


@router.post("/places")
def walk(home: AtHome, who: Keeper, form: OwnForm) -> Response:
    """Moves a place up or down in the walk, closes it or opens it again."""
    flock, name = home.flock(), str(form.get("place", ""))
    match form.get("do"):
        case "up" | "down" as way:
            said = settings_told.moved(flock, name, -1 if way == "up" else 1)
        case "close":
            said = [{**settings_told.place_entry(flock, name), "closed": "true"}]
        case "open":
            said = [{**settings_told.place_entry(flock, name), "closed": "false"}]
        case _:
            raise BadInput(say("Nothing was asked for. Press one of the buttons."))
    write_all(home, who, said)
    return _to("/settings/places")


@router.get("/{what}")
def listed(request: Request, home: AtHome, who: Reader, what: str) -> Response:
    """Everything of one kind that stands; of the holding, its one page."""
    kind = _kind(what)
    if kind == "holding":
        return _change_page(request, home, who, what, "")
    return page(
        request,
        who,
        "settings_list.html",
        what=what,
        title=say(_TITLES[what]),
        kind=kind,
        settings=settings_told.settings_of(home.flock(), home.desk.lines(), kind),
    )


@router.get("/{what}/change")
def change_form(request: Request, home: AtHome, who: Reader, what: str, name: str = "") -> Response:
    """One of them with its history, and the form to change it; without a name, to add one."""
    return _change_page(request, home, who, what, name)


@router.post("/{what}/change")
def change(request: Request, home: AtHome, who: Keeper, what: str, form: OwnForm) -> Response:
    """Writes what differs."""
    kind, typed = _kind(what), typed_fields(form)
    name = typed.pop("named", "")
    try:
        stands = _stands(home, kind, name)
        shown = as_typed(stands.fields) if stands is not None else {}
        if name:
            typed[kind] = name
        closed = stands is not None and stands.closed
        entry = write(home, who, settings_told.changed(kind, shown, typed, closed))
    except FlockUnusable:
        raise
    except QuailwrightError as error:
        return _change_page(request, home, who, what, name, typed, error)
    return sent_back(form, entry)


def _kind(what: str) -> str:
    if what not in KIND_OF:
        raise BadInput(say("There is no such setting. The settings list what there is."))
    return KIND_OF[what]


def _stands(home: Home, kind: str, name: str) -> Setting | None:
    """What is to be changed; None for something new."""
    if not name and kind != "holding":
        return None
    return settings_told.setting_of(home.flock(), home.desk.lines(), kind, name)


def _change_page(
    request: Request,
    home: Home,
    who: Visitor,
    what: str,
    name: str,
    typed: dict[str, str] | None = None,
    error: QuailwrightError | None = None,
) -> Response:
    kind = _kind(what)
    stands = _stands(home, kind, name)
    shown = as_typed(stands.fields) if stands is not None else {}
    named = {kind: name} if name else {}
    form = form_of(
        kind,
        known_names(home.flock(), kind),
        known={**named, "closed": ""},
        values=typed if typed is not None else shown,
        said=said_by_field(error),
    )
    return page(
        request,
        who,
        "setting.html",
        status=_status(error),
        what=what,
        title=name or say(_TITLES[what]),
        stands=stands,
        form=form,
        error=error,
        elsewhere=_elsewhere(form, error),
    )


def _own_rule_page(
    request: Request,
    home: Home,
    who: Visitor,
    typed: dict[str, str],
    error: QuailwrightError | None = None,
) -> Response:
    form = form_of(
        "care_rule",
        known_names(home.flock(), "care_rule"),
        asks=_OWN_RULE,
        values=typed,
        said=said_by_field(error),
    )
    return page(
        request,
        who,
        "care_own.html",
        status=_status(error),
        form=form,
        error=error,
        elsewhere=_elsewhere(form, error),
    )


def _rule_page(
    request: Request,
    home: Home,
    who: Visitor,
    name: str,
    typed: dict[str, str],
    error: QuailwrightError | None = None,
) -> Response:
    flock = home.flock()
    form = form_of(
        "care_rule",
        known_names(flock, "care_rule"),
        known={"rule": name},
        asks=("place", *_CHANGES),
        values=typed,
        said=said_by_field(error),
    )
    return page(
        request,
        who,
        "care_rule.html",
        status=_status(error),
        name=name,
        rules=settings_told.care_of(flock, home.desk.lines(), name),
        form=form,
        units=units_of(flock),
        error=error,
        elsewhere=_elsewhere(form, error),
        words=figures.words,
    )


def _elsewhere(form: Form, error: QuailwrightError | None) -> list[str]:
    """What is wrong with fields that the form does not show."""
    shown = {field.note.name for field in (*form.fields, *form.rest)}
    return [one for name, said in said_by_field(error).items() if name not in shown for one in said]


def _status(error: QuailwrightError | None) -> HTTPStatus:
    return HTTPStatus.OK if error is None else HTTPStatus.UNPROCESSABLE_ENTITY


def _to(where: str) -> Response:
    return RedirectResponse(where, HTTPStatus.SEE_OTHER)
