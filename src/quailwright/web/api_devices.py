"""Where devices send what they measure, each with its key."""

from fastapi import APIRouter
from starlette.responses import Response

router = APIRouter(prefix="/api", default_response_class=Response)
