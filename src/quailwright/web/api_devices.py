"""Where devices send what they measure, each with its key; and what all sensors show now."""

from datetime import timedelta
from http import HTTPStatus
from typing import Annotated

from fastapi import APIRouter, Depends, Request
from starlette.responses import Response

from quailwright.exchange.now_shown import days_shown, now_shape, readings_now
from quailwright.exchange.sensor_payload import LONGEST_PAYLOAD
from quailwright.exchange.sensor_sent import sent_shape, take_sent
from quailwright.exchange.sensor_settings import Keyed, Sensors
from quailwright.journal.moments import until
from quailwright.language import say
from quailwright.web.api import On, Told, as_of
from quailwright.web.guard import Reader
from quailwright.web.home import AtHome, Home
from quailwright.web.openapi import from_devices, says

router = APIRouter(prefix="/api", default_response_class=Response)

_REALM = 'Bearer realm="readings"'
_MOST_BODY_BYTES = 10 * LONGEST_PAYLOAD


async def _body(request: Request) -> bytes | None:
    """The body; None where it is longer than any message that is read."""
    taken = bytearray()
    async for part in request.stream():
        taken += part
        if len(taken) > _MOST_BODY_BYTES:
            return None
    return bytes(taken)


Body = Annotated[bytes | None, Depends(_body)]


@router.post("/readings/sent", **from_devices())
def take(request: Request, home: AtHome, body: Body) -> Response:
    """Takes what a device measured, under its key (RFC 6750): one reading, a list, or SenML.

    The key tells the place, the instrument and how the body is read. Nothing else is to be had
    with it. A repeat is harmless where each reading bears its time.
    """
    device = _holder(request, home)
    if isinstance(device, Response):
        return device
    if body is None or len(body) > LONGEST_PAYLOAD:
        sentence = say(
            "The message is too long: at most {most:,} bytes are read.", most=LONGEST_PAYLOAD
        )
        return _refusal(HTTPStatus.REQUEST_ENTITY_TOO_LARGE, sentence)
    sent = take_sent(home.desk.store, device, body, home.now())
    home.devices_sent.note(device.id, sent)
    answer = Told(sent_shape(sent))
    if not sent.found.readings:
        answer.status_code = HTTPStatus.UNPROCESSABLE_ENTITY
    return answer


def _holder(request: Request, home: Home) -> Keyed | Response:
    """The device whose key a request bears, or why it is not let in.

    Only a key that nobody holds is counted: one that is right is let in whoever else tries from
    that address, and no number of tries comes near to guessing one.
    """
    scheme, _, key = request.headers.get("Authorization", "").partition(" ")
    key = key.strip() if scheme.casefold() == "bearer" else ""
    device = Sensors(home.desk.store).holder(key) if key else None
    if device is not None:
        return device
    address = request.client.host if request.client is not None else ""
    wait = home.key_attempts.tried(address, home.now())
    if wait is not None:
        refusal = _refusal(
            HTTPStatus.TOO_MANY_REQUESTS, say("Too many wrong keys from this address. Wait.")
        )
        refusal.headers["Retry-After"] = str(-(-wait // timedelta(seconds=1)))
        return refusal
    wrong = say("No device has this key. Make one on the page of sensors, and send it as Bearer.")
    refusal = _refusal(HTTPStatus.UNAUTHORIZED, wrong)
    refusal.headers["WWW-Authenticate"] = f'{_REALM}, error="invalid_token"' if key else _REALM
    return refusal


def _refusal(status: HTTPStatus, sentence: str) -> Response:
    answer = Told({"sentence": sentence, "findings": []})
    answer.status_code = status
    return answer


@router.get("/readings/now", responses=says("NowShape", "Refusal"))
def now(home: AtHome, who: Reader, on: On = None) -> Response:
    """What every sensor shows now, corrected and as shown, against what is wanted there."""
    store = home.desk.store
    flock, asked = as_of(home, on)
    if on is None:
        return Told(
            now_shape(readings_now(store, flock, home.days.days(store, flock, asked), asked))
        )
    then = until(asked, flock.zone).moment(flock.zone)
    return Told(now_shape(readings_now(store, flock, days_shown(store, flock, then), then, then)))
