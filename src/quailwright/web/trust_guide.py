"""The guide to https at home: how a phone comes to trust the flock's computer.

It is all that is served over plain http then: no sign-in, no record, no cookie. A phone opens it
once, before it can speak to the flock's computer in secret.
"""

from collections.abc import Sequence

from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.middleware.trustedhost import TrustedHostMiddleware
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response
from starlette.routing import Route

from quailwright.exchange.certificate import fingerprint
from quailwright.web.app import Guarded, Speaking
from quailwright.web.view import STATIC, templates

FILE = "quailwright-authority.crt"


def trust_guide(address: str, authority: bytes, hosts: Sequence[str]) -> Starlette:
    """The guide to the pages at that https address, with the authority's certificate (DER)."""

    def guide(_: Request) -> Response:
        shown = {"address": address, "file": FILE, "fingerprint": fingerprint(authority)}
        return HTMLResponse(templates().get_template("trust.html").render(shown))

    def certificate(_: Request) -> Response:
        return Response(authority, media_type="application/x-x509-ca-cert")

    def style(_: Request) -> Response:
        return Response((STATIC / "app.css").read_bytes(), media_type="text/css")

    return Starlette(
        routes=[Route("/", guide), Route(f"/{FILE}", certificate), Route("/guide.css", style)],
        middleware=[
            Middleware(Guarded),
            Middleware(Speaking),
            Middleware(TrustedHostMiddleware, allowed_hosts=list(hosts)),
        ],
    )
