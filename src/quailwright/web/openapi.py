"""The OpenAPI document: paths from the handlers, shapes from the types that make the answers."""

from http import HTTPStatus
from typing import Any

import msgspec
from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi

from quailwright.exchange.calendar_shape import CalendarShape
from quailwright.exchange.cross_shape import ColoursShape, CrossShape, HiddenShape
from quailwright.exchange.json_types import (
    BlendShape,
    BroodingShape,
    CostsShape,
    ExtentShape,
    FeedRequest,
    FeedShape,
    HatchShape,
    HousingShape,
    JournalCheck,
    LightShape,
    ManureShape,
    Me,
    NowShape,
    OffersRequest,
    OffersShape,
    OutlookShape,
    PlanAcceptance,
    PlanRequest,
    PlanShape,
    RationShape,
    ReadingsReport,
    ReadingsSeries,
    ReadingsTaken,
    Refusal,
    RuleShape,
    ScoreShape,
    SentShape,
    SignsShape,
    TodayShape,
    Written,
)
from quailwright.exchange.keep_shape import GainShape, KeepShape
from quailwright.exchange.lines_shape import (
    BirdInbreeding,
    BirdKinship,
    FamilyShape,
    LinesShape,
)
from quailwright.exchange.matings_shape import MatingsShape
from quailwright.exchange.notice_shape import NoticesShape
from quailwright.exchange.rotation_shape import RotationShape
from quailwright.exchange.sitter_shape import SitterShape
from quailwright.exchange.store_told import EggStore
from quailwright.flock.standing import Standing
from quailwright.journal.entries import CLOCK, KINDS, LINES, NAME, ONE_LINE, AnyEntry

_TEXT = {"type": "string"}
_REFERENCE = "#/components/schemas/{name}"
_CONTROLS, _SURROGATES = r"\u0000-\u001f\u007f-\u009f", r"\ud800-\udfff"
_ANY_BUT = rf"[^{_CONTROLS}{_SURROGATES}]"
PATTERNS = {
    ONE_LINE: f"^{_ANY_BUT}*$",
    LINES: rf"^[^\u0000-\u0008\u000b\u000c\u000e-\u001f\u007f-\u009f{_SURROGATES}]*$",
    CLOCK: r"^([01]\d|2[0-3]):[0-5]\d$",
    NAME: rf"^(?!\s){_ANY_BUT}*(?<!\s)$",
}
"""Our patterns as JSON Schema wants them: by ECMA-262, which has no `\\A` and `\\Z`. They name what
is left out and not what is let in: programs that draw texts take minutes to list the latter."""
_LISTS = {
    "EntryList": "Entry", "Extents": "ExtentShape", "Rules": "RuleShape", "Scores": "ScoreShape",
    "Inbreedings": "BirdInbreeding", "Kinships": "BirdKinship",
}  # fmt: skip
_REFUSED = {
    HTTPStatus.UNAUTHORIZED: "Nobody is signed in.",
    HTTPStatus.FORBIDDEN: "The role does not allow it, or the write token is missing or old.",
    HTTPStatus.CONFLICT: "The answer is no: withheld, or in quarantine.",
    HTTPStatus.UNPROCESSABLE_ENTITY: "Not right, or against the record; nothing was written.",
    HTTPStatus.SERVICE_UNAVAILABLE: "The flock file cannot be used now; nothing was written.",
}


def says(shape: str, refusal: str = "") -> dict[int | str, dict[str, Any]]:
    """The `responses` of a handler that answers with a shape, or refuses with another."""
    answers: dict[int | str, dict[str, Any]] = {200: _answer("Done.", shape)}
    if refusal:
        answers |= {int(status): _answer(why, refusal) for status, why in _REFUSED.items()}
    return answers


def takes(shape: str) -> dict[str, Any]:
    """The `openapi_extra` of a handler that takes a shape as its body."""
    schema = {"$ref": _REFERENCE.format(name=shape)}
    return {"requestBody": {"required": True, "content": {"application/json": {"schema": schema}}}}


def from_devices() -> dict[str, Any]:
    """What a handler says that takes what devices send, and not what people do."""
    answers = says("SentShape")
    for status, why, shape in (
        (HTTPStatus.UNAUTHORIZED, "No device has that key.", "Refusal"),
        (HTTPStatus.REQUEST_ENTITY_TOO_LARGE, "The body is too long; send it in parts.", "Refusal"),
        (HTTPStatus.UNPROCESSABLE_ENTITY, "No part of it gives a reading.", "SentShape"),
        (HTTPStatus.TOO_MANY_REQUESTS, "Too many wrong keys; wait as Retry-After says.", "Refusal"),
        (HTTPStatus.SERVICE_UNAVAILABLE, "Nothing could be kept; send it again.", "Refusal"),
    ):
        answers[int(status)] = _answer(why, shape)
    kinds: dict[str, Any] = {
        kind: {"schema": {}} for kind in ("application/json", "application/senml+json")
    }
    body = {"required": True, "content": kinds | {"text/plain": {"schema": _TEXT}}}
    return {
        "responses": answers,
        "openapi_extra": {"requestBody": body, "security": [{"device": []}]},
    }


def takes_text(media_type: str) -> dict[str, Any]:
    """The `openapi_extra` of a handler that takes a text as its body."""
    return {"requestBody": {"required": True, "content": {media_type: {"schema": _TEXT}}}}


def tells_text(media_type: str, refusal: str) -> dict[int | str, dict[str, Any]]:
    """The `responses` of a handler that answers with a text."""
    answers = says(refusal, refusal)
    answers[200] = {"description": "Done.", "content": {media_type: {"schema": _TEXT}}}
    return answers


def _answer(description: str, shape: str) -> dict[str, Any]:
    schema = {"$ref": _REFERENCE.format(name=shape)}
    return {"description": description, "content": {"application/json": {"schema": schema}}}


def document(app: FastAPI) -> dict[str, Any]:
    """The whole document."""
    made: dict[str, Any] = get_openapi(
        title=app.title, version=app.version, summary=app.summary, routes=app.routes
    )
    types = [TodayShape, Standing, HatchShape, OutlookShape, Me, Written, Refusal]
    types += [PlanShape, PlanRequest, PlanAcceptance, OffersRequest, OffersShape, RuleShape]
    types += [CostsShape, FeedShape, SignsShape]
    types += [BroodingShape]
    types += [LightShape]
    types += [CalendarShape]
    types += [BirdInbreeding, BirdKinship, LinesShape, FamilyShape]
    types += [EggStore]
    types += [CrossShape, HiddenShape, ColoursShape]
    types += [SitterShape]
    types += [MatingsShape, RotationShape, NoticesShape]
    types += [KeepShape, GainShape]
    types += [FeedRequest, RationShape, BlendShape]
    types += [HousingShape, ManureShape]
    types += [NowShape, SentShape]
    types += [ExtentShape, ReadingsTaken, ReadingsSeries, ReadingsReport, JournalCheck, ScoreShape]
    (entry, *_), components = msgspec.json.schema_components(
        [AnyEntry, *types], ref_template=_REFERENCE
    )
    components |= {
        "Entry": entry,
        **{
            name: {"type": "array", "items": {"$ref": _REFERENCE.format(name=each)}}
            for name, each in _LISTS.items()
        },
        "Names": {"type": "array", "items": {"type": "string"}},
    }
    components["Entries"] = {
        "anyOf": [{"$ref": _REFERENCE.format(name=name)} for name in ("Entry", "EntryList")]
    }
    _rewrite_patterns(components)
    for kind in KINDS.values():
        fields = components[kind.__name__]["properties"]
        fields["id"]["format"] = "uuid"
        fields["at"]["anyOf"] = [{"format": "date"}, {"format": "date-time"}]
    made.setdefault("components", {}).setdefault("schemas", {}).update(components)
    made["components"]["securitySchemes"] = {"device": {"type": "http", "scheme": "bearer"}}
    return made


def _rewrite_patterns(schema: Any) -> None:
    """Puts `PATTERNS` into a schema and all that it holds."""
    if isinstance(schema, list):
        for part in schema:
            _rewrite_patterns(part)
    elif isinstance(schema, dict):
        if schema.get("pattern") in PATTERNS:
            schema["pattern"] = PATTERNS[schema["pattern"]]
        for part in schema.values():
            _rewrite_patterns(part)
