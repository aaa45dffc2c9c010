"""The JSON API of notices."""

from fastapi import APIRouter
from starlette.responses import Response

router = APIRouter(prefix="/api", default_response_class=Response)
