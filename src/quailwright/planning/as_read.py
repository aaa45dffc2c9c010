"""Parts of sentences that are kept and read later: said in the language of whoever reads them."""

from collections.abc import Callable
from datetime import date

from quailwright.language import dated


class AsRead:
    """A part to put into a kept sentence (`language.later`) that is said when it is read."""

    def __init__(self, said: Callable[[], str]) -> None:
        self._said = said

    def __format__(self, spec: str) -> str:
        return format(self._said(), spec)


def plain_day(day: date) -> AsRead:
    """`3 May 2027`."""
    return AsRead(lambda: dated(day, f"{day.day} {day:%b %Y}", "yMMMd"))
