"""Writing entries from forms that work without any script."""

from collections.abc import Iterable, Mapping
from http import HTTPStatus
from typing import Any

from fastapi import APIRouter, Request
from starlette.datastructures import FormData
from starlette.responses import RedirectResponse, Response

from quailwright.exchange.record import typed_entry
from quailwright.guide.at_hand import known_names
from quailwright.guide.told import kind_words
from quailwright.journal.entries import KINDS, Entry
from quailwright.journal.findings import BadInput, FlockUnusable, QuailwrightError
from quailwright.language import say
from quailwright.web.forms import form_of, typed_fields
from quailwright.web.guard import Logger, MayNot, OwnForm, Visitor, refused
from quailwright.web.home import AtHome, Home
from quailwright.web.view import page

router = APIRouter(default_response_class=Response, include_in_schema=False)

_SET_UP = (
    "holding", "place", "group", "source", "feed", "instrument", "goal", "care_rule", "egg_rule",
    "contact",
)  # fmt: skip
_TOO_MUCH_AT_ONCE = ("retract",)


@router.get("/log")
def kinds(request: Request, who: Logger) -> Response:
    """Every kind of entry, to choose from."""
    daily = [kind for kind in KINDS if kind not in (*_SET_UP, *_TOO_MUCH_AT_ONCE)]
    set_up = [kind for kind in _SET_UP if who.may_write(kind)]
    return page(request, who, "kinds.html", daily=daily, set_up=set_up)


@router.get("/log/{kind}")
def blank_form(request: Request, home: AtHome, who: Logger, kind: str) -> Response:
    """The form of a kind, with the fields that the address gives filled in."""
    return _form_page(request, home, who, _known_kind(kind, who), dict(request.query_params))


@router.post("/log/{kind}")
def log(request: Request, home: AtHome, who: Logger, kind: str, form: OwnForm) -> Response:
    """Writes the entry typed; where it cannot be, shows the form again with what is wrong."""
    typed = {**typed_fields(form), "kind": _known_kind(kind, who)}
    try:
        entry = write(home, who, typed)
    except FlockUnusable:
        raise
    except QuailwrightError as error:
        shown = {**typed, "day": str(form.get("day", "")), "clock": str(form.get("clock", ""))}
        return _form_page(request, home, who, kind, shown, error)
    return sent_back(form, entry)


def write(home: Home, who: Visitor, typed: Mapping[str, str]) -> Entry:
    """Writes an entry typed as text, by the one signed in. Raises MayNot, BadInput and its kin."""
    return write_all(home, who, [typed])[0]


def write_all(home: Home, who: Visitor, typed: Iterable[Mapping[str, str]]) -> list[Entry]:
    """Writes entries typed as text, all or none. Raises MayNot, BadInput and its kin."""
    by = {"by": who.name} if who.name else {}
    zone_name = home.flock().zone
    entries = [typed_entry({**one, **by}, home.now(), home.fresh_id(), zone_name) for one in typed]
    sentence = refused(home, who, *entries)
    if sentence:
        raise MayNot(sentence)
    home.record(*entries)
    return entries


def said_by_field(error: QuailwrightError | None) -> dict[str, tuple[str, ...]]:
    """What is wrong with what was typed, as sentences by field."""
    said: dict[str, tuple[str, ...]] = {}
    for finding in error.findings if error is not None else ():
        said[finding.field] = (
            *said.get(finding.field, ()),
            f"{say(finding.what)} {say(finding.mend)}",
        )
    return said


def sent_back(form: FormData, entry: Entry) -> Response:
    """Back to the page that the form stood on, which says what was kept."""
    back = own_address(str(form.get("back", "")))
    return RedirectResponse(f"{back}?kept={entry.id}", HTTPStatus.SEE_OTHER)


def own_address(address: str) -> str:
    """A page of ours: never another site's, whatever was sent."""
    ours = address.startswith("/") and not address.startswith(("//", "/\\"))
    return address.partition("?")[0] if ours and address.isprintable() else "/"


def _known_kind(kind: str, who: Visitor) -> str:
    if kind not in KINDS or kind in _TOO_MUCH_AT_ONCE:
        raise BadInput(
            say("There is no form for {kind!r}. The page of kinds lists them.", kind=kind)
        )
    if not who.may_write(kind):
        raise MayNot(
            say("{kind}: that is for a keeper to write.", kind=kind_words(kind).capitalize())
        )
    return kind


def _form_page(
    request: Request,
    home: Home,
    who: Visitor,
    kind: str,
    values: dict[str, str],
    error: QuailwrightError | None = None,
) -> Response:
    said = said_by_field(error)
    form = form_of(kind, known_names(home.flock(), kind), values=values, said=said)
    shown: dict[str, Any] = {"form": form, "values": values, "error": error}
    fields = {field.note.name for field in (*form.fields, *form.rest)}
    elsewhere = [said[name] for name in said if name not in fields]
    return page(
        request,
        who,
        "log.html",
        status=HTTPStatus.OK if error is None else HTTPStatus.UNPROCESSABLE_ENTITY,
        elsewhere=[sentence for sentences in elsewhere for sentence in sentences],
        may_insist=error is not None
        and bool(error.findings)
        and all(finding.kind != "shape" for finding in error.findings),
        **shown,
    )
