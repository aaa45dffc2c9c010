"""Private addresses of the calendar: who made them, what they want, and the secret in them.

An address is its own key: a calendar app signs in nowhere. Its secret part is told once; only its
hash is kept. It reads the calendar and nothing else, and it dies with the person who made it.
"""

import hashlib
import re
from dataclasses import dataclass
from datetime import datetime, timedelta

import msgspec

from quailwright.exchange.calendar_told import Wanted, settings_of, told_now
from quailwright.exchange.desk import Desk
from quailwright.exchange.household import LONGEST_NAME
from quailwright.journal import people, subscriptions
from quailwright.journal.entries import NAME
from quailwright.journal.findings import BadInput
from quailwright.journal.store import Store
from quailwright.journal.subscriptions import Subscription
from quailwright.language import say

TOKEN = re.compile(r"[0-9a-f]{64}\Z")
"""32 random bytes in hexadecimal: nobody comes to one by trying."""
MOST = 50
"""Addresses of a flock; a household has a few phones."""

ASKS_WITHIN = timedelta(days=1)
"""A calendar app that works asks at least so often, where it reaches these pages."""


@dataclass(frozen=True, slots=True)
class Address:
    """A private address as a page tells it: whose, and what is wanted; never its secret.

    `silent`: a calendar app asked once, and has not for longer than `ASKS_WITHIN`.
    """

    id: int
    name: str
    person: int | None
    whose: str
    wanted: Wanted
    made: datetime
    asked_at: datetime | None
    silent: bool


def addresses(store: Store, person: int | None, keeps: bool, now: datetime) -> list[Address]:
    """The private addresses that a person may see: their own, or all for a keeper."""
    with store.household() as connection:
        names = {one.id: one.name for one in people.everyone(connection)}
        found = subscriptions.everything(connection)
    return [
        Address(
            one.id,
            one.name,
            one.person,
            names.get(one.person or 0, ""),
            settings_of(one),
            one.made,
            one.asked_at,
            one.asked_at is not None and now - one.asked_at > ASKS_WITHIN,
        )
        for one in found
        if keeps or one.person == person
    ]


def make(
    store: Store, name: str, person: int | None, chosen: Wanted, token: str, now: datetime
) -> None:
    """Makes a private address whose secret part is `token`. Raises BadInput."""
    _check_name(name)
    with store.household(writes=True) as connection:
        if len(subscriptions.everything(connection)) >= MOST:
            raise BadInput(
                say("There are {most} addresses already. Revoke some nobody asks for.", most=MOST)
            )
        subscriptions.add(connection, name, _hash_of(token), person, _text(chosen), now)


def change(
    store: Store, number: int, person: int | None, keeps: bool, name: str, chosen: Wanted
) -> None:
    """Gives a private address another name and other wishes. Raises BadInput."""
    _check_name(name)
    with store.household(writes=True) as connection:
        _own(subscriptions.everything(connection), number, person, keeps)
        subscriptions.change(connection, number, name, _text(chosen))


def revoke(store: Store, number: int, person: int | None, keeps: bool) -> None:
    """Revokes a private address: from now on it is as if it had never been. Raises BadInput."""
    with store.household(writes=True) as connection:
        _own(subscriptions.everything(connection), number, person, keeps)
        subscriptions.remove(connection, number)


def answer(desk: Desk, token: str, now: datetime, address: str) -> bytes | None:
    """The calendar of the address with that secret part; None where there is no such one.

    It is looked up by its hash, so that how long that takes tells nothing of any secret. Notes
    when it was asked for. Raises FlockUnusable.
    """
    if not TOKEN.match(token):
        return None
    with desk.store.household() as connection:
        found = subscriptions.of_token(connection, _hash_of(token))
        if found is None or not _may_still(found, people.everyone(connection)):
            # Nothing is written for whoever tries addresses: they lock nobody out.
            return None
    with desk.store.household(writes=True) as connection:
        subscriptions.asked(connection, found.id, now)
    return told_now(desk, now, settings_of(found), address)


def _may_still(one: Subscription, everyone: list[people.Person]) -> bool:
    """Whether who made it is still of the household, and no child.

    What the invented flock's visitor made holds until somebody has set a passphrase.
    """
    if one.person is None:
        return not everyone
    return any(each.id == one.person and each.role != "child" for each in everyone)


def _own(found: list[Subscription], number: int, person: int | None, keeps: bool) -> None:
    if not any(one.id == number and (keeps or one.person == person) for one in found):
        raise BadInput(say("That address is not there any more. Look at the list again."))


def _check_name(name: str) -> None:
    if not 1 <= len(name) <= LONGEST_NAME or not re.match(NAME, name):
        raise BadInput(
            say(
                "Name the phone or the calendar: 1 to {most} characters, with no space at its "
                "ends.",
                most=LONGEST_NAME,
            )
        )


def _text(chosen: Wanted) -> str:
    return msgspec.json.encode(chosen).decode()


def _hash_of(token: str) -> str:
    """A token has as many random bits as its hash: no slow hash is needed."""
    return hashlib.sha256(token.encode()).hexdigest()
