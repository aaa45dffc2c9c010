"""Addresses of channels: made from a form for mail, or pasted. They are secrets, and never shown.

An address is kept as apprise takes it: JSON of the parts of a mail account, or one line.
"""

import re
from collections.abc import Mapping
from typing import Any
from urllib.parse import unquote, urlsplit

import msgspec

from quailwright.journal.findings import BadInput
from quailwright.language import say

SECURITIES = ("starttls", "ssl", "insecure")
"""How mail is encrypted on its way: from the greeting on, from the first byte, not at all."""
_PORTS = {"starttls": "587", "ssl": "465", "insecure": "25"}
_MAIL = re.compile(r"[^\s@<>\"',;:]{1,64}@[^\s@<>\"',;:/]{1,190}")
_SERVER = re.compile(r"[A-Za-z0-9][A-Za-z0-9.-]{0,200}")
_LONGEST = 2000
_SHORTEST_SECRET = 3
_HOST_IS_A_HOST = (
    "json", "jsons", "xml", "xmls", "form", "forms", "mqtt", "mqtts", "mailto", "mailtos",
)  # fmt: skip
"""Open protocols: what stands as the host is one. With others it may be a key."""


def mail_address(typed: Mapping[str, str]) -> str:
    """The address of a mail account as typed: `server`, `port`, `security`, `user`, `password`,
    `to`, `from`. Raises BadInput, with nothing of the password in its sentence."""
    server = typed.get("server", "").strip()
    if not _SERVER.fullmatch(server):
        raise BadInput(say("Give the mail server's name, such as smtp.example.org."))
    security = typed.get("security", "starttls")
    if security not in SECURITIES:
        raise BadInput(say("Choose how the mail is encrypted."))
    port = typed.get("port", "").strip() or _PORTS[security]
    if not (port.isascii() and port.isdigit() and len(port) < 6 and 0 < int(port) < 65536):
        raise BadInput(say("A port is a number from 1 to 65535; left empty it is the usual one."))
    user, password = typed.get("user", "").strip(), typed.get("password", "")
    to = typed.get("to", "").strip()
    from_ = typed.get("from", "").strip() or (user if _MAIL.fullmatch(user) else to)
    for each in (to, from_):
        if not _MAIL.fullmatch(each):
            raise BadInput(say("Give a mail address, such as keeper@example.org."))
    if len(user) > 200 or len(password) > 500:
        raise BadInput(say("The name or the password of the mail account is too long."))
    parts: dict[str, Any] = {
        "schema": "mailto" if security == "insecure" else "mailtos",
        "host": server,
        "smtp_host": server,
        "port": int(port),
        "secure_mode": security,
        "targets": [to],
        "from_addr": from_,
    }
    if user:
        parts |= {"user": user, "password": password}
    return msgspec.json.encode(parts).decode()


def pasted_address(text: str) -> str:
    """An address as pasted, if it is one that messages can be sent to. Raises BadInput."""
    text = text.strip()
    if not text or len(text) > _LONGEST or re.search(r"\s", text) or "://" not in text:
        raise BadInput(say("Paste one address, such as jsons://192.0.2.10/quail, in one line."))
    from quailwright.exchange.notice_send import is_understood

    if not is_understood(text):
        raise BadInput(
            say("Messages cannot be sent to such an address. See docs/notices.md for the sorts "
                "there are, and paste it whole.")
        )  # fmt: skip
    return text


def parts_of(address: str) -> str | dict[str, Any]:
    """The address as apprise takes it."""
    if address.startswith("{"):
        parts: dict[str, Any] = msgspec.json.decode(address)
        return parts
    return address


def sort_of(address: str) -> str:
    """What may be shown of an address: its sort, and of mail whom it goes to, not in full."""
    parts = parts_of(address)
    if isinstance(parts, str):
        return parts.split("://", 1)[0].lower()
    name, _, domain = str(parts["targets"][0]).partition("@")
    return say("mail to {name}…@{domain}", name=name[:1], domain=domain)


def without_secrets(text: str, address: str) -> str:
    """A server's answer without anything of the address that could be a key."""
    for secret in sorted(_secrets(address), key=len, reverse=True):
        text = text.replace(secret, "…")
    return text


def _secrets(address: str) -> set[str]:
    parts = parts_of(address)
    if isinstance(parts, dict):
        found = {str(parts.get(name, "")) for name in ("user", "password", "from_addr")}
        found |= set(parts["targets"])
    else:
        split = urlsplit(parts)
        found = {parts, split.query, split.fragment, split.username or "", split.password or ""}
        if split.scheme.lower() not in _HOST_IS_A_HOST:
            found |= {split.netloc, *re.split(r"[@:]", split.netloc)}
        found |= set(split.path.split("/"))
        found |= set(re.split(r"[&=;]", split.query))
    found |= {unquote(each) for each in found}
    return {each for each in found if len(each) >= _SHORTEST_SECRET}
