"""Briefs of rations and blends as a JSON body carries them."""

import msgspec

from quailwright.exchange.json_types import FeedRequest
from quailwright.journal.findings import BadInput
from quailwright.language import say


def feed_requested(body: bytes) -> bytes:
    """The TOML of a JSON body (`FeedRequest`). Raises BadInput where it is no such body."""
    try:
        request = msgspec.json.decode(body, type=FeedRequest)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
        raise BadInput(
            say("The body is not as asked for ({problem}).", problem=str(error))
        ) from None
    return request.brief.encode("utf-8", "replace")
