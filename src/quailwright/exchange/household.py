"""Who may open the pages: passphrases, sign-ins and roles, over what `journal.people` keeps."""

import base64
import hashlib
import hmac
import json
import re
import secrets
import threading
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import get_args

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from quailwright.journal import options, people
from quailwright.journal.entries import NAME
from quailwright.journal.findings import BadInput
from quailwright.journal.moments import utc_text
from quailwright.journal.people import Person, PersonRole
from quailwright.journal.store import Store
from quailwright.language import say

SHORTEST_PASSPHRASE, LONGEST_PASSPHRASE = 10, 200
LONGEST_NAME = 40
STAYS_SIGNED_IN = timedelta(days=180)
TOKEN_BYTES = 32
CODE_BYTES, CODE_STAYS = 10, timedelta(days=60)
_INVITED = "invited"
_LONGEST_TYPED = 40
_CLOCKS_DIFFER = timedelta(days=1)
"""By so much the clock may be set back before those who signed in have to do so again."""
_KNOWN = "known_browsers"
"""The option with the key by which browsers are known again."""

_hasher = PasswordHasher()
_hashing = threading.BoundedSemaphore(2)
"""Each hash takes 64 MiB (RFC 9106, section 4): many tries at once must not take all there is."""
_OF_NOBODY = _hasher.hash("nobody signs in with this")
"""Checked when the name is not known, so that the answer takes as long as for one that is."""


@dataclass(frozen=True, slots=True)
class Household:
    """The people of one flock file."""

    store: Store

    def everyone(self) -> list[Person]:
        """Everyone, in the order in which they came. Raises FlockUnusable."""
        with self.store.household() as connection:
            return people.everyone(connection)

    def begin(self, name: str, passphrase: str, now: datetime, code: str | None = None) -> None:
        """Makes the first person, a keeper. Raises BadInput, also when there is one already.

        With `code`, only for who brings the one that `invite` gave; it opens this once.
        """
        # Looked at first: hashing takes time and memory, and anybody may ask for this.
        _none_yet(self.everyone())
        hashed = _checked(name, passphrase)
        with self.store.household(writes=True) as connection:
            _none_yet(people.everyone(connection))
            if code is not None:
                if not _opens(options.get(connection, _INVITED), code, now):
                    raise BadInput(
                        say("That code opens nothing, or no longer. Ask your office for a new one.")
                    )
                options.put(connection, _INVITED, None)
            people.add(connection, name, "keeper", hashed, now)

    def invite(self, noise: bytes, now: datetime) -> str:
        """A code with which the first person of this flock is made; an earlier one ends.

        `noise`: `CODE_BYTES` random bytes. Raises BadInput where somebody is there already.
        """
        code = base64.b32encode(noise[:CODE_BYTES]).decode()
        kept = {"hash": _hash_of(code), "until": utc_text(now + CODE_STAYS)}
        with self.store.household(writes=True) as connection:
            if people.everyone(connection):
                raise BadInput(
                    say("Somebody has set a passphrase already; a keeper of theirs adds people.")
                )
            options.put(connection, _INVITED, json.dumps(kept))
        return "-".join(code[at : at + 4] for at in range(0, len(code), 4))

    def add(self, name: str, role: str, passphrase: str, now: datetime) -> None:
        """Takes in a person. Raises BadInput."""
        hashed = _checked(name, passphrase)
        as_role = _role(role)
        with self.store.household(writes=True) as connection:
            if any(one.name.casefold() == name.casefold() for one in people.everyone(connection)):
                raise BadInput(say("There is a {name} already. Give another name.", name=name))
            people.add(connection, name, as_role, hashed, now)

    def change(self, person: int, role: str, passphrase: str = "") -> None:
        """Gives a person a role, and a new passphrase if one is given; then all sign in again.

        Raises BadInput, also when no keeper would be left.
        """
        as_role = _role(role)
        hashed = _checked_passphrase(passphrase) if passphrase else None
        with self.store.household(writes=True) as connection:
            everyone = people.everyone(connection)
            known = _known(everyone, person)
            if as_role != "keeper":
                _keep_a_keeper(everyone, person)
            people.change(connection, person, as_role, hashed or known.passphrase_hash)
            if hashed is not None:
                people.end_all(connection, person)

    def remove(self, person: int) -> None:
        """Takes a person off, and signs them out. Raises BadInput when no keeper would be left."""
        with self.store.household(writes=True) as connection:
            everyone = people.everyone(connection)
            _known(everyone, person)
            _keep_a_keeper(everyone, person)
            people.remove(connection, person)

    def sign_in(self, name: str, passphrase: str, token: str, now: datetime) -> Person | None:
        """Lets the holder of `token` in as the person of that name; None where they do not fit."""
        fits = None
        for one in self.everyone():
            if one.name.casefold() == name.strip().casefold():
                fits = one
        if not _verified(fits.passphrase_hash if fits is not None else _OF_NOBODY, passphrase):
            return None
        if fits is not None:
            with self.store.household(writes=True) as connection:
                people.begin(connection, fits.id, _hash_of(token), now)
        return fits

    def signed_in(self, token: str, now: datetime) -> Person | None:
        """Who holds that token, while their sign-in lasts.

        One that began by a clock that ran years ahead would last for years.
        """
        first, last = now - STAYS_SIGNED_IN, now + _CLOCKS_DIFFER
        with self.store.household() as connection:
            return people.signed_in(connection, _hash_of(token), first, last)

    def mark_of_known(self, name: str, salt: str) -> str:
        """What tells a browser on which `name` has signed in from one on which nobody has."""
        return f"{salt}.{_signed(self._key_of_known(), name, salt)}"

    def knows(self, mark: str, name: str) -> str:
        """The salt of a mark that was made for that name; "" for anything else."""
        salt, _, signed = mark.partition(".")
        if not salt or not signed:
            return ""
        expected = _signed(self._key_of_known(), name, salt)
        return salt if hmac.compare_digest(signed.encode(), expected.encode()) else ""

    def _key_of_known(self) -> str:
        with self.store.household() as connection:
            key = options.get(connection, _KNOWN)
        if key is None:
            with self.store.household(writes=True) as connection:
                key = options.get(connection, _KNOWN) or secrets.token_hex(TOKEN_BYTES)
                options.put(connection, _KNOWN, key)
        return key

    def sign_out(self, token: str) -> None:
        """Ends the sign-in of that token."""
        with self.store.household(writes=True) as connection:
            people.end(connection, _hash_of(token))

    def sign_out_everywhere(self, person: int) -> None:
        """Ends every sign-in of a person."""
        with self.store.household(writes=True) as connection:
            people.end_all(connection, person)


def _opens(kept: str | None, code: str, now: datetime) -> bool:
    """Whether it is the code of `invite`, and not too old."""
    if kept is None:
        return False
    known = json.loads(kept)
    typed = re.sub(r"[\s-]", "", code[:_LONGEST_TYPED]).upper().replace("0", "O").replace("1", "I")
    return hmac.compare_digest(_hash_of(typed), known["hash"]) and utc_text(now) <= known["until"]


def _signed(key: str, name: str, salt: str) -> str:
    said = f"{salt} {name.strip().casefold()}".encode()
    return hmac.new(key.encode(), said, hashlib.sha256).hexdigest()


def _none_yet(everyone: list[Person]) -> None:
    if everyone:
        raise BadInput(say("Somebody has set a passphrase already. Sign in with it."))


def _hash_of(token: str) -> str:
    """A token has as many random bits as its hash: no slow hash is needed."""
    return hashlib.sha256(token.encode()).hexdigest()


def _verified(hashed: str, passphrase: str) -> bool:
    try:
        with _hashing:
            return _hasher.verify(hashed, passphrase[: LONGEST_PASSPHRASE + 1])
    except (VerificationError, InvalidHashError):
        return False


def _checked(name: str, passphrase: str) -> str:
    """The hash of a passphrase that will do, for a name that will do. Raises BadInput."""
    if not 1 <= len(name) <= LONGEST_NAME or not re.match(NAME, name):
        raise BadInput(
            say(
                "A name has 1 to {most} characters, with no space at its ends. Write another.",
                most=LONGEST_NAME,
            )
        )
    return _checked_passphrase(passphrase)


def _checked_passphrase(passphrase: str) -> str:
    if not SHORTEST_PASSPHRASE <= len(passphrase) <= LONGEST_PASSPHRASE:
        raise BadInput(
            say(
                "A passphrase has at least {least} characters (and at most {most}). Take three or "
                "four words that only your household knows.",
                least=SHORTEST_PASSPHRASE,
                most=LONGEST_PASSPHRASE,
            )
        )
    with _hashing:
        return _hasher.hash(passphrase)


def _role(role: str) -> PersonRole:
    for known in get_args(PersonRole):
        if known == role:
            return known  # type: ignore[no-any-return]
    raise BadInput(say("A person is a keeper, a helper, a child or a viewer."))


def _known(everyone: list[Person], person: int) -> Person:
    for one in everyone:
        if one.id == person:
            return one
    raise BadInput(say("That person is not there any more. Look at the list again."))


def _keep_a_keeper(everyone: list[Person], without: int) -> None:
    if not any(one.role == "keeper" and one.id != without for one in everyone):
        raise BadInput(say("There must be a keeper. Make somebody else a keeper first."))
