"""Tables: every table as a spreadsheet, and a keeper's own old sheet taken in."""

from fastapi import APIRouter
from starlette.responses import Response

router = APIRouter(default_response_class=Response, include_in_schema=False)
