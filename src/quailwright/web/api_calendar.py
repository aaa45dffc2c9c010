"""The JSON API of the calendar."""

from fastapi import APIRouter
from starlette.responses import Response

router = APIRouter(prefix="/api", default_response_class=Response)
