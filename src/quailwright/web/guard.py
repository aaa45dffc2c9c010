"""Who asks, what they may do, and whether a write comes from one of our own pages."""

import hashlib
import hmac
import re
from dataclasses import dataclass
from typing import Annotated
from urllib.parse import urlsplit

from fastapi import Depends, Request
from starlette.datastructures import FormData
from starlette.responses import Response

from quailwright.exchange import who_may
from quailwright.exchange.household import STAYS_SIGNED_IN, TOKEN_BYTES
from quailwright.exchange.who_may import may_write
from quailwright.guide.child import CHILDS_KINDS
from quailwright.journal.entries import Entry, Retract
from quailwright.journal.people import PersonRole
from quailwright.language import say
from quailwright.web.home import AtHome, Home

SIGNED_IN, VISIT, KNOWN = "quailwright", "quailwright_visit", "quailwright_known"
"""Cookies: of a sign-in, of a visitor who has not signed in, of who was signed in here before."""
_SALT_BYTES = 8
_MOST_FIELDS = 200


class NotSignedIn(Exception):
    """A page or call that needs a person."""


class NoPassphraseYet(Exception):
    """Nobody has set a passphrase for this flock."""


class MayNot(Exception):
    """Something that the person's role does not allow, or a write without its token."""

    def __init__(self, sentence: str) -> None:
        super().__init__(sentence)
        self.sentence = sentence


@dataclass(frozen=True, slots=True)
class Visitor:
    """Who asks. `role` is None for one who has not signed in; `key` is what their cookie holds."""

    name: str
    role: PersonRole | None
    person: int | None
    key: str

    @property
    def may_log(self) -> bool:
        """Whether they may write entries; of which kinds, `may_write` says."""
        return self.role in ("keeper", "helper", "child")

    @property
    def is_child(self) -> bool:
        """Whether they see what is fit for a child, and no more."""
        return self.role == "child"

    def may_write(self, kind: str) -> bool:
        """Whether they may write entries of that kind."""
        return may_write(self.role, kind)

    @property
    def keeps(self) -> bool:
        """Whether they may do all."""
        return self.role == "keeper"


def visitor(request: Request, home: AtHome) -> Visitor:
    """Who asks, by their cookies."""
    token = request.cookies.get(SIGNED_IN, "")
    person = home.household.signed_in(token, home.now()) if token else None
    if person is not None:
        return Visitor(person.name, person.role, person.id, token)
    visit = request.cookies.get(VISIT) or new_token(home)
    return Visitor("", "keeper" if home.settings.invented else None, None, visit)


AnyVisitor = Annotated[Visitor, Depends(visitor)]


_READ_BY_A_CHILD, _WRITTEN_BY_A_CHILD = ("/", "/birds", "/more"), ("/sign-out", "/api/entries")
_BELOW_FOR_A_CHILD = re.compile(
    rf"/places/.|/log/({'|'.join(CHILDS_KINDS)})\Z|/journal/[^/]+/retract\Z"
)


def reader(request: Request, home: AtHome, who: AnyVisitor) -> Visitor:
    """Someone who may read this page. Raises NotSignedIn, NoPassphraseYet or MayNot."""
    if who.role is None:
        raise NotSignedIn if home.household.everyone() else NoPassphraseYet
    if who.is_child and not _fit_for_a_child(request):
        raise MayNot(say("That page is for grown-ups."))
    return who


def _fit_for_a_child(request: Request) -> bool:
    """Pages and writes are listed, and all else is shut: what is new is looked at first."""
    path = request.url.path
    listed = _READ_BY_A_CHILD if request.method == "GET" else _WRITTEN_BY_A_CHILD
    return path in listed or _BELOW_FOR_A_CHILD.match(path) is not None


Reader = Annotated[Visitor, Depends(reader)]


def logger(who: Reader) -> Visitor:
    """Someone who may write entries. Raises MayNot."""
    if not who.may_log:
        raise MayNot(
            say("You may look at everything here, and write nothing. Ask a keeper to log it.")
        )
    return who


Logger = Annotated[Visitor, Depends(logger)]


def refused(home: Home, who: Visitor, *entries: Entry) -> str:
    """Why this person may not write these entries, in a sentence; "" where they may."""
    if who.keeps:
        return ""
    takes_back = any(isinstance(entry, Retract) for entry in entries)
    lines = home.desk.lines() if takes_back else []
    known = {line.entry.id: line.entry for line in lines}
    return who_may.refused(who.role, who.name, entries, known)


def keeper(who: Reader) -> Visitor:
    """Someone who may do all. Raises MayNot."""
    if not who.keeps:
        raise MayNot(say("That is for a keeper of this flock."))
    return who


Keeper = Annotated[Visitor, Depends(keeper)]


def may_reach_out(home: Home) -> None:
    """Raises MayNot where an office keeps the flock: its server writes to no folder and speaks to
    no address that a household names."""
    if home.settings.office:
        raise MayNot(
            say(
                "This flock is kept by an office: from here it writes no backups, hears no broker "
                "and sends no notices. Ask the office."
            )
        )


def new_token(home: Home) -> str:
    """A random token."""
    return home.settings.noise(TOKEN_BYTES).hex()


def write_token(home: Home, who: Visitor) -> str:
    """What a page of ours puts into its forms: only who can read the page can know it.

    It is salted, so that it is another on each page and cannot be guessed from compressed sizes.
    """
    salt = home.settings.noise(_SALT_BYTES).hex()
    return f"{salt}.{_signed(who, salt)}"


def _signed(who: Visitor, salt: str) -> str:
    return hmac.new(who.key.encode(), salt.encode(), hashlib.sha256).hexdigest()


def check_token(request: Request, who: Visitor, token: str) -> None:
    """Raises MayNot when a write does not carry a token of this visitor's pages.

    Browsers tell where a write comes from (Fetch Metadata, `Origin`): with one from another site
    even a token that was found out does nothing. `null` is another site too: under our pages'
    Referrer-Policy, same-origin, their own forms never send it (Fetch Standard, "append a request
    `Origin` header"), but a page in a sandbox or a file does.
    """
    origin = request.headers.get("Origin", "")
    if request.headers.get("Sec-Fetch-Site") == "cross-site" or (
        origin and _host_of(origin) != request.url.hostname
    ):
        raise MayNot(say("This was not sent from these pages. Nothing was kept."))
    salt, _, signed = token.partition(".")
    expected = _signed(who, salt)
    if not hmac.compare_digest(signed.encode(), expected.encode()):
        raise MayNot(say("This page is too old to write from. Nothing was kept: load it anew."))


def _host_of(origin: str) -> str | None:
    try:
        return urlsplit(origin).hostname
    except ValueError:
        return None


async def own_form(request: Request, who: AnyVisitor) -> FormData:
    """A form sent from one of our pages. Raises MayNot."""
    form = await request.form(max_fields=_MOST_FIELDS, max_files=0)
    check_token(request, who, str(form.get("token", "")))
    return form


OwnForm = Annotated[FormData, Depends(own_form)]


async def own_body(request: Request, who: AnyVisitor) -> bytes:
    """A body sent by a script of our pages, with its token in a header. Raises MayNot."""
    check_token(request, who, request.headers.get("X-Write-Token", ""))
    return await request.body()


OwnBody = Annotated[bytes, Depends(own_body)]


def remember(response: Response, request: Request, name: str, value: str) -> None:
    """Sets one of our cookies: scripts cannot read it, and other sites' forms do not send it."""
    response.set_cookie(
        name,
        value,
        max_age=int(STAYS_SIGNED_IN.total_seconds()),
        httponly=True,
        secure=request.url.scheme == "https",
        samesite="lax",
    )
