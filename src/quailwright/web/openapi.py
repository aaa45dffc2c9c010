"""The OpenAPI document: paths from the handlers, shapes from the types that make the answers."""

from http import HTTPStatus
from typing import Any

import msgspec
from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi

from quailwright.exchange.json_types import (
    HatchShape,
    Me,
    OutlookShape,
    PlanAcceptance,
    PlanRequest,
    PlanShape,
    Refusal,
    TodayShape,
    Written,
)
from quailwright.flock.standing import Standing
from quailwright.journal.entries import AnyEntry

_REFERENCE = "#/components/schemas/{name}"
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


def _answer(description: str, shape: str) -> dict[str, Any]:
    schema = {"$ref": _REFERENCE.format(name=shape)}
    return {"description": description, "content": {"application/json": {"schema": schema}}}


def document(app: FastAPI) -> dict[str, Any]:
    """The whole document."""
    made: dict[str, Any] = get_openapi(
        title=app.title, version=app.version, summary=app.summary, routes=app.routes
    )
    types = [TodayShape, Standing, HatchShape, OutlookShape, Me, Written, Refusal]
    types += [PlanShape, PlanRequest, PlanAcceptance]
    (entry, *_), components = msgspec.json.schema_components(
        [AnyEntry, *types], ref_template=_REFERENCE
    )
    components |= {
        "Entry": entry,
        "EntryList": {"type": "array", "items": {"$ref": _REFERENCE.format(name="Entry")}},
        "Names": {"type": "array", "items": {"type": "string"}},
    }
    components["Entries"] = {
        "anyOf": [{"$ref": _REFERENCE.format(name=name)} for name in ("Entry", "EntryList")]
    }
    made.setdefault("components", {}).setdefault("schemas", {}).update(components)
    return made
