"""Words that the pages of matings and rotation share: birds in a row, and how inbred chicks are."""

import math
from collections.abc import Iterable, Sequence
from datetime import date

from quailwright.exchange import kin_told
from quailwright.journal.findings import BadInput
from quailwright.language import figure, say, say_many, with_point

Bird = tuple[str, str, bool, str]
"""A name, hen or cock, whether it has a ring, and its group."""


def in_a_row(words: Sequence[str]) -> str:
    """`Ada, Bea and Cleo`."""
    if len(words) < 2:
        return "".join(words)
    first = words[0]
    for word in words[1:-1]:
        first = say("{first}, {rest}", first=first, rest=word)
    return say("{first} and {last}", first=first, last=words[-1])


def bird_words(birds: Iterable[Bird]) -> list[str]:
    """Ringed birds by their ring; the others counted by group, as nobody tells them apart."""
    named: list[str] = []
    counted: dict[tuple[str, str], int] = {}
    for name, sex, ringed, group in birds:
        if ringed:
            named.append(name)
        else:
            counted[sex, group] = counted.get((sex, group), 0) + 1
    for (sex, group), number in counted.items():
        if sex == "hen":
            said = say_many("{n} hen of {group}", "{n} hens of {group}", number, group=group)
        elif sex == "cock":
            said = say_many("{n} cock of {group}", "{n} cocks of {group}", number, group=group)
        else:
            said = say_many("{n} bird of {group}", "{n} birds of {group}", number, group=group)
        named.append(said)
    return named


def inbreeding_words(share: float) -> str:
    """`inbreeding 12.5 %: as of half sibs' chicks`: how inbred chicks are, set beside known kin."""
    if share < _NOTHING:
        return say("no inbreeding known of")
    return say(
        "inbreeding {share:.1%}: {words}", share=share, words=kin_told.inbreeding_words(share)
    )


def share_words(share: float) -> str:
    """Inbreeding as `12.5%`, for a column; `none` where that would show nothing."""
    return say("none") if share < _NOTHING else figure(share, ".1%")


_NOTHING = 0.0005
"""Less than is shown."""


def whole_typed(text: str, sentence: str) -> int | None:
    """A whole number typed into a field, None where it is empty. Raises BadInput."""
    if not text.strip():
        return None
    try:
        return int(text.strip())
    except ValueError:
        raise BadInput(say(sentence, told=text.strip()[:40])) from None


def number_typed(text: str, sentence: str) -> float | None:
    """A number typed into a field, None where it is empty. Raises BadInput."""
    if not text.strip():
        return None
    try:
        number = float(with_point(text.strip()))
    except ValueError:
        number = math.nan
    if not math.isfinite(number):
        raise BadInput(say(sentence, told=text.strip()[:40]))
    return number


def share_typed(text: str, sentence: str) -> float | None:
    """A share typed as `0.125` or `12.5 %`, None where it is empty. Raises BadInput."""
    bare = text.strip()
    if bare.endswith("%"):
        number = number_typed(bare[:-1], sentence)
        return None if number is None else number / 100
    return number_typed(bare, sentence)


def later_than(day: date, on: date) -> bool:
    """Whether a day is still to come."""
    return day > on
