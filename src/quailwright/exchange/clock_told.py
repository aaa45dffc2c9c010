"""Whether the computer's clock can be right: held against when entries were recorded of late.

A computer without a battery for its clock may start years ago, and one whose clock was set by hand
years ahead. Nothing is refused for it, because a wrong alarm would stand in the keeper's way: it is
said where it matters, on the round and when something is logged, until the newest entries were
recorded by the clock as it is now.
"""

from datetime import datetime, timedelta

from quailwright.journal.store import Store
from quailwright.language import say

_BEHIND, _AHEAD = timedelta(days=1), timedelta(days=400)


def clock_says(store: Store, now: datetime) -> str:
    """A sentence where `now` (aware) cannot well be the present; else "". Raises FlockUnusable."""
    newest = store.recorded_lately()
    if newest is None:
        return ""
    if now < newest - _BEHIND:
        return say(
            "This computer's clock shows {now}, and an entry was recorded on {newest} already. Set "
            "the clock: tasks, dates of new entries and what is withheld go by it.",
            now=f"{now:%Y-%m-%d %H:%M} UTC",
            newest=f"{newest:%Y-%m-%d}",
        )
    if now > newest + _AHEAD:
        return say(
            "This computer's clock shows {now}, and the newest entry was recorded on {newest}. If "
            "it is wrong, set it: eggs and meat are withheld by it.",
            now=f"{now:%Y-%m-%d %H:%M} UTC",
            newest=f"{newest:%Y-%m-%d}",
        )
    return ""
