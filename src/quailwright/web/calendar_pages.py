"""The calendar: a file to take along, private addresses that phones subscribe to."""

from fastapi import APIRouter
from starlette.responses import Response

router = APIRouter(default_response_class=Response, include_in_schema=False)
