"""Backups: where they go, how often, the last ones and whether they are whole."""

from collections.abc import Mapping
from http import HTTPStatus

from fastapi import APIRouter, Request
from starlette.responses import FileResponse, RedirectResponse, Response

from quailwright.exchange import backup_schedule
from quailwright.exchange.backups import held_words, size_words
from quailwright.guide.round import day_at
from quailwright.journal.findings import BadInput
from quailwright.language import mark, say
from quailwright.web.guard import Keeper, OwnForm, Reader, Visitor, may_reach_out
from quailwright.web.home import AtHome, Home
from quailwright.web.view import page

router = APIRouter(default_response_class=Response, include_in_schema=False)

_DAYS = (
    mark("Monday"), mark("Tuesday"), mark("Wednesday"), mark("Thursday"), mark("Friday"),
    mark("Saturday"), mark("Sunday"),
)  # fmt: skip
_FIELDS = ("folder", "every", "weekday", "at")


@router.get("/settings/backup")
def backup(request: Request, home: AtHome, who: Reader) -> Response:
    """Whether there are backups, and how to have them made."""
    may_reach_out(home)
    return _backup_page(request, home, who)


@router.post("/settings/backup")
def change_backup(request: Request, home: AtHome, who: Keeper, form: OwnForm) -> Response:
    """Chooses, stops, or makes one now, as the button pressed says."""
    may_reach_out(home)
    store = home.desk.store
    typed = {name: str(form.get(name, "")) for name in _FIELDS}
    try:
        match form.get("do"):
            case "choose":
                backup_schedule.choose(store, **typed)
            case "stop":
                backup_schedule.stop(store)
            case "now":
                backup_schedule.ask(store, home.now())
            case _:
                raise BadInput(say("Nothing was asked for. Press one of the buttons."))
    except BadInput as error:
        return _backup_page(request, home, who, typed, error.sentence)
    return RedirectResponse("/settings/backup", HTTPStatus.SEE_OTHER)


@router.get("/settings/backup/file")
def backup_file(home: AtHome, who: Keeper, name: str = "") -> Response:
    """One backup, to take along: for keepers, because it holds secrets."""
    may_reach_out(home)
    if not name:
        return RedirectResponse("/settings/backup", HTTPStatus.SEE_OTHER)
    path = backup_schedule.file_of(home.desk, name)
    return FileResponse(
        path,
        media_type="application/zip",
        filename=path.name,
        # It is pressed already: the pages would press it again.
        headers={"Cache-Control": "no-store", "Content-Encoding": "identity"},
    )


def _backup_page(
    request: Request,
    home: Home,
    who: Visitor,
    typed: Mapping[str, str] | None = None,
    wrong: str = "",
) -> Response:
    now = home.now()
    told = backup_schedule.told(home.desk, now)
    stands = told.chosen or backup_schedule.Chosen(folder="", marker="")
    fields = {name: str(getattr(stands, name)) for name in _FIELDS} | dict(typed or {})
    return page(
        request,
        who,
        "backup.html",
        status=HTTPStatus.UNPROCESSABLE_ENTITY if wrong else HTTPStatus.OK,
        told=told,
        damage_says=home.desk.store.damaged,
        on=day_at(home.flock(), now),
        now=now,
        fields=fields,
        wrong=wrong,
        days=_DAYS,
        held_words=held_words,
        size_words=size_words,
    )
