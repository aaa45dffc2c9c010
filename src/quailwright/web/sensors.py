"""Sensors: what they show now, devices with a key, the broker and its topics."""

from fastapi import APIRouter
from starlette.responses import Response

router = APIRouter(default_response_class=Response, include_in_schema=False)
