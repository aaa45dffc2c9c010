"""Sensors: what they show now, devices with a key, the broker and its topics."""

from collections import defaultdict
from http import HTTPStatus

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from quailwright.exchange.mqtt import ListenerShown
from quailwright.exchange.now_page import now_page
from quailwright.exchange.now_shown import readings_now
from quailwright.exchange.sensor_guess import Guess, guess
from quailwright.exchange.sensor_payload import USUAL
from quailwright.exchange.sensor_settings import (
    KEY_BYTES,
    LONGEST_ADDRESS,
    LONGEST_FILTER,
    LONGEST_NAME,
    Sensors,
)
from quailwright.exchange.sensors_page import (
    FORMS,
    HUMIDITY_UNITS,
    QUANTITIES,
    TEMPERATURE_UNITS,
    how_of,
    request_text,
    sensors_page,
)
from quailwright.guide.round import units_of
from quailwright.journal.findings import BadInput
from quailwright.language import say
from quailwright.web.guard import Keeper, OwnForm, Reader, Visitor, may_reach_out
from quailwright.web.home import AtHome, Home
from quailwright.web.view import page

router = APIRouter(default_response_class=Response, include_in_schema=False)

_MOST_TRIED = 5_000
_MOST_UNKNOWN = 20
_OF_DEVICES = ("add_device", "remove_device", "try")
"""What can be done with devices that bring their readings; all else is of a broker."""


@router.get("/readings")
def readings(request: Request, home: AtHome, who: Reader) -> Response:
    """What every sensor shows now, and its last 24 hours."""
    flock = home.flock()
    told = readings_now(
        home.desk.store, flock, home.days.days(home.desk.store, flock, home.now()), home.now()
    )
    shown = now_page(told, units_of(flock), flock.zone)
    return page(request, who, "readings.html", told=shown)


@router.get("/settings/sensors")
def sensors(request: Request, home: AtHome, who: Reader) -> Response:
    """Which devices send readings, of which place, and whether they work now."""
    return _page(request, home, who)


@router.post("/settings/sensors")
def change(request: Request, home: AtHome, who: Keeper, form: OwnForm) -> Response:
    """Does what the button pressed says."""
    typed = {name: str(value).strip() for name, value in form.items()}
    settings = Sensors(home.desk.store)
    if typed.get("do") not in _OF_DEVICES:
        may_reach_out(home)
    try:
        match typed.get("do"):
            case "add_device":
                return _new_key(request, home, who, typed)
            case "remove_device":
                settings.remove_device(_number(typed))
            case "broker":
                address, password = typed.get("address", ""), str(form.get("password", ""))
                settings.set_broker(address, typed.get("user", ""), password, keep=not password)
            case "no_broker":
                settings.set_broker("", "", "", keep=False)
            case "explore":
                settings.explore(home.now())
            case "add_topic":
                _add_topic(home, typed)
            case "remove_topic":
                settings.remove_topic(_number(typed))
            case "try":
                sample = typed.get("sample", "")[:_MOST_TRIED]
                tried = guess(sample.encode(), typed.get("topic", ""), home.now())
                return _page(request, home, who, sample=sample, tried=tried)
            case _:
                raise BadInput(say("Nothing was asked for. Press one of the buttons."))
    except BadInput as error:
        return _page(request, home, who, error.sentence, typed)
    return RedirectResponse("/settings/sensors", HTTPStatus.SEE_OTHER)


def _new_key(request: Request, home: Home, who: Visitor, typed: dict[str, str]) -> Response:
    how = how_of(typed)
    place, name = _place(home, typed), typed.get("name", "")
    key = Sensors(home.desk.store).add_device(
        name, place, typed.get("instrument", ""), how, home.now(), home.settings.noise(KEY_BYTES)
    )
    asked = request_text(request.url.netloc, key, how)
    response = _page(request, home, who, key=key, device=name, asked=asked)
    response.headers["Cache-Control"] = "no-store"
    return response


def _add_topic(home: Home, typed: dict[str, str]) -> None:
    level = typed.get("instrument_level", "")
    if level and not (level.isdecimal() and len(level) < _DIGITS):
        raise BadInput(say("Which part of the topic names the instrument is a number from 1 on."))
    Sensors(home.desk.store).add_topic(
        typed.get("topic", ""), _place(home, typed), typed.get("instrument", ""), how_of(typed),
        int(level) if level else None, home.now(),
    )  # fmt: skip


_DIGITS = 10


def _place(home: Home, typed: dict[str, str]) -> str:
    place = typed.get("place", "")
    if place not in home.flock().places:
        raise BadInput(say("Choose the place whose air it measures."))
    return place


def _number(typed: dict[str, str]) -> int:
    text = typed.get("id", "")
    return int(text) if text.isdecimal() and len(text) < _DIGITS else -1


def _page(
    request: Request,
    home: Home,
    who: Visitor,
    wrong: str = "",
    typed: dict[str, str] | None = None,
    *,
    key: str = "",
    device: str = "",
    asked: str = "",
    sample: str = "",
    tried: Guess | None = None,
) -> Response:
    settings, flock, now = Sensors(home.desk.store), home.flock(), home.now()
    at_work = home.caretaker.told("sensors") is not None
    shown = home.caretaker.shown("sensors") if at_work else None
    told = sensors_page(
        settings.devices(),
        settings.listening(),
        shown if isinstance(shown, ListenerShown) else None,
        home.devices_sent.every(),
        home.desk.store.latest_readings(),
        flock,
        units_of(flock),
        now,
    )
    return page(
        request,
        who,
        "sensors.html",
        status=HTTPStatus.UNPROCESSABLE_ENTITY if wrong else HTTPStatus.OK,
        told=told,
        wrong=wrong,
        typed=defaultdict(str, typed or {}),
        places=[place.name for place in flock.in_walking_order() if not place.closed],
        most_unknown=_MOST_UNKNOWN,
        usual=USUAL,
        forms=FORMS,
        quantities=QUANTITIES,
        temperature_units=TEMPERATURE_UNITS,
        humidity_units=HUMIDITY_UNITS,
        key=key,
        device=device,
        asked=asked,
        sample=sample,
        tried=tried,
        host=request.url.netloc,
        loopback=request.url.hostname in ("localhost", "127.0.0.1", "::1"),
        longest_name=LONGEST_NAME,
        longest_topic=LONGEST_FILTER,
        longest_address=LONGEST_ADDRESS,
    )
