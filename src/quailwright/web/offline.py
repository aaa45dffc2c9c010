"""What makes the pages work with no signal: the worker, the manifest, the list of kept entries."""

import json

from fastapi import APIRouter, Request
from starlette.responses import JSONResponse, Response

from quailwright.language import say, spoken
from quailwright.web.guard import AnyVisitor
from quailwright.web.view import STATIC, page, static, static_version

router = APIRouter(default_response_class=Response, include_in_schema=False)

_SHELL = (
    "app.css", "app.js", "queue.js", "words.js", "vendored/htmx.min.js", "vendored/idb.js",
    "egg.svg",
)  # fmt: skip


@router.get("/worker.js")
def worker() -> Response:
    """The service worker, told which files make up the shell of this version."""
    shell = json.dumps([static(name) for name in _SHELL] + ["/kept", "/no-signal"])
    head = f"const VERSION = {json.dumps(static_version())};\nconst SHELL = {shell};\n"
    body = head + (STATIC / "worker.js").read_text(encoding="utf-8")
    return Response(body, media_type="text/javascript")


@router.get("/manifest.webmanifest")
def manifest() -> Response:
    """What a phone needs to put the pages on its home screen."""
    return JSONResponse(
        {
            "name": "quailwright",
            "short_name": "quailwright",
            "description": say("The round, the hatches and the birds of a small flock of quail."),
            "lang": spoken(),
            "start_url": "/",
            "scope": "/",
            "display": "standalone",
            "background_color": "#fbf6ea",
            "theme_color": "#fbf6ea",
            "icons": [
                {"src": static("egg.svg"), "sizes": "any", "type": "image/svg+xml"},
                _icon("icon-192.png", 192),
                _icon("icon-512.png", 512),
                _icon("icon-maskable-512.png", 512, "maskable"),
            ],
            "shortcuts": [
                {"name": say("Round"), "url": "/", "icons": [_icon("icon-192.png", 192)]},
                {
                    "name": say("Log eggs"),
                    "url": "/log/eggs_collected",
                    "icons": [_icon("icon-192.png", 192)],
                },
            ],
        },
        media_type="application/manifest+json",
    )


def _icon(name: str, side: int, purpose: str = "any") -> dict[str, str]:
    """An icon that scripts/icons drew."""
    sizes = f"{side}x{side}"
    return {"src": static(name), "sizes": sizes, "type": "image/png", "purpose": purpose}


@router.get("/kept")
def kept(request: Request, who: AnyVisitor) -> Response:
    """Entries that wait on this phone; a script of the page fills it in."""
    return page(request, who, "kept.html")


@router.get("/no-signal")
def no_signal(request: Request, who: AnyVisitor) -> Response:
    """What stands in for a page never seen before, with no signal."""
    return page(request, who, "no_signal.html")
