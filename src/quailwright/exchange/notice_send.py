"""Sends a message by a channel, and says in a sentence whether it went. apprise is used here only.

apprise logs addresses; its log goes nowhere but into the answer, from which secrets are taken out.
"""

import logging
import re
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


def send(address: str, letter: Letter) -> Sent:
    """Sends a message now; waits for `notices.send_s` at most. Raises nothing."""
    library = _library()
    try:
        plugin = _plugin(library, address)
        if plugin is None:
            return Sent(False, say("Its address is not understood. Set the channel up anew."))
        told: list[tuple[str, str]] = []
        sender = library.Apprise(asset=_asset(library))
        sender.add(plugin)
        result = sender.notify(
            body=letter.text,
            title=letter.title,
            body_format=library.NotifyFormat.TEXT,
            timeout=facts.value("notices.send_s"),
            log_callback=lambda entry, _: told.append((entry.level, entry.message)),
            log_level=logging.DEBUG,
        )
    except Exception as error:
        # Whatever a channel's code does, the next try and the other channels go on.
        return Sent(False, say("It could not be sent ({fault}).", fault=type(error).__name__))
    if result:
        return Sent(True, say("It was taken by the server."))
    if result.status == library.AppriseResultStatus.TIMEOUT:
        return Sent(False, say("The server gave no answer in time."))
    return Sent(False, without_secrets(_answer(told), address))


def _answer(told: list[tuple[str, str]]) -> str:
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
        service_timeout=facts.value("notices.send_s"),
    )
    return asset


def _plugin(library: Any, address: str) -> Any:
    return library.Apprise.instantiate(parts_of(address), asset=_asset(library))
