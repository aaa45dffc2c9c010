"""Sheets, cards and labels as PDF."""

from fastapi import APIRouter
from starlette.responses import Response

router = APIRouter(default_response_class=Response, include_in_schema=False)
