"""Notices that go out of the house: by which channels, by which rules, what was told."""

from fastapi import APIRouter
from starlette.responses import Response

router = APIRouter(default_response_class=Response, include_in_schema=False)
