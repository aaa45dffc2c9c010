"""Backups: where they go, how often, the last ones and whether they are whole."""

from fastapi import APIRouter
from starlette.responses import Response

router = APIRouter(default_response_class=Response, include_in_schema=False)
