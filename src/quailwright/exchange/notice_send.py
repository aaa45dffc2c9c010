"""Sends a message by a channel, and says in a sentence whether it went. apprise is used here only.

apprise logs addresses; its log goes nowhere but into the answer, from which secrets are taken out.
"""

import logging
import re
import threading
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from quailwright.exchange.notice_address import parts_of, without_secrets
from quailwright.guide.notices.words import Letter
from quailwright.husbandry import facts
from quailwright.language import say

if TYPE_CHECKING:
    import apprise

_QUIET = ("apprise", "urllib3", "requests", "paho")
_ANSWERS = re.compile(r"(?:Socket Exception|Response Details):\s*(.+)", re.DOTALL)
_SAYS = "WARNING", "ERROR", "CRITICAL"
_LONGEST_ANSWER = 200


@dataclass(frozen=True, slots=True)
class Sent:
    """Whether a message went, and what the server answered: nothing secret in it."""

    went: bool
    answer: str


def is_understood(address: str) -> bool:
    """Whether messages can be sent to such an address; nothing is sent."""
    return _plugin(_library(), address) is not None


def send(address: str, letter: Letter, wait_s: float | None = None) -> Sent:
    """Sends a message now; waits for `notices.send_s` at most, or `wait_s`. Raises nothing.

    A server that neither answers nor hangs up keeps its own thread, in which nobody waits: it holds
    up no other channel, nor the end of the program, and is written to anew only once it let go.
    """
    busy = _busy.get(address)
    if busy is not None and busy.is_alive():
        return _no_answer()
    came: list[_Came] = []
    thread = threading.Thread(target=lambda: came.append(_sent(address, letter)), daemon=True)
    _busy[address] = thread
    thread.start()
    thread.join(facts.value("notices.send_s") if wait_s is None else wait_s)
    if thread.is_alive():
        return _no_answer()
    _busy.pop(address, None)
    if not came or came[0].fault:
        # Whatever a channel's code does, the next try and the other channels go on.
        fault = came[0].fault if came else "SystemExit"
        return Sent(False, say("It could not be sent ({fault}).", fault=fault))
    if not came[0].understood:
        return Sent(False, say("Its address is not understood. Set the channel up anew."))
    if came[0].went:
        return Sent(True, say("It was taken by the server."))
    return Sent(False, without_secrets(_answer(came[0].told), address))


_busy: dict[str, threading.Thread] = {}
"""By address, who writes to it, or waits for it still."""


def _no_answer() -> Sent:
    return Sent(False, say("The server gave no answer in time."))


@dataclass(frozen=True, slots=True)
class _Came:
    """What came of a message: what the library logged, or the fault that ended it."""

    understood: bool = True
    went: bool = False
    fault: str = ""
    told: tuple[tuple[str, str], ...] = ()


def _sent(address: str, letter: Letter) -> _Came:
    told: list[tuple[str, str]] = []
    try:
        library = _library()
        plugin = _plugin(library, address)
        if plugin is None:
            return _Came(understood=False)
        # An address may ask for more: we try again ourselves, and wait for nobody that long.
        plugin.retry = 0
        most = facts.value("notices.send_s") / 2
        plugin.socket_read_timeout = min(plugin.socket_read_timeout, most)
        plugin.socket_connect_timeout = min(plugin.socket_connect_timeout, most)
        sender = library.Apprise(asset=_asset(library))
        sender.add(plugin)
        result = sender.notify(
            body=letter.text,
            title=letter.title,
            body_format=library.NotifyFormat.TEXT,
            log_callback=lambda entry, _: told.append((entry.level, entry.message)),
            log_level=logging.DEBUG,
        )
    except Exception as error:
        return _Came(fault=type(error).__name__)
    return _Came(went=bool(result), told=tuple(told))


def _answer(told: Sequence[tuple[str, str]]) -> str:
    """What the server said, as far as the log tells; the last word is the nearest to it."""
    for _, message in reversed(told):
        found = _ANSWERS.match(message)
        if found is not None and found[1].strip("b'\" "):
            return " ".join(found[1].split())[:_LONGEST_ANSWER]
    for level, message in reversed(told):
        if level in _SAYS:
            return " ".join(message.split())[:_LONGEST_ANSWER]
    return say("The server did not take it, and did not say why.")


def _library() -> Any:
    """apprise, with its log and those of what it sends by going nowhere."""
    import apprise

    for name in _QUIET:
        logger = logging.getLogger(name)
        logger.propagate = False
        if not logger.handlers:
            logger.addHandler(logging.NullHandler())
    return apprise


def _asset(library: Any) -> "apprise.AppriseAsset":
    """Nothing kept on the disk, no answer that leads elsewhere followed, nothing fetched."""
    asset: apprise.AppriseAsset = library.AppriseAsset(
        app_id="quailwright",
        app_desc="quailwright",
        app_url="",
        image_url_mask=False,
        image_path_mask=False,
        http_redirects=False,
        storage_mode="memory",
        secure_logging=True,
        allow_templates=False,
        pgp_autogen=False,
        pem_autogen=False,
        language="en",
        # Both would have it wait in a few threads for all, which the end of the program waits for.
        async_mode=False,
        service_timeout=0,
    )
    return asset


def _plugin(library: Any, address: str) -> Any:
    return library.Apprise.instantiate(parts_of(address), asset=_asset(library))
