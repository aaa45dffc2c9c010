"""The page of a brooder: its fields, and the answer below them."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from quailwright.exchange.brooding_asked import filled, names, questions
from quailwright.exchange.brooding_told import Told, brooding_of
from quailwright.exchange.plan_asked import Question
from quailwright.flock.state import Flock
from quailwright.journal.findings import BadInput
from quailwright.journal.store import Store
from quailwright.language import say


@dataclass(frozen=True, slots=True)
class BroodingPage:
    """The fields with what was typed, and what comes of it; `told` is None where it cannot be.

    `elsewhere` is what is wrong that stands beside no field, in sentences.
    """

    asked: list[Question]
    told: Told | None
    elsewhere: list[str]


def brooding_page(store: Store, flock: Flock, on: date, typed: Mapping[str, str]) -> BroodingPage:
    """The page: what is wrong stands beside its field, and nothing typed is lost."""
    wrong: dict[str, tuple[str, ...]] = {}
    elsewhere: list[str] = []
    answer = None
    try:
        answer = brooding_of(store, flock, on, typed)
    except BadInput as error:
        fields = names(on)
        elsewhere = [error.sentence]
        for one in error.findings:
            if one.field in fields:
                wrong[one.field] = (*wrong.get(one.field, ()), f"{say(one.what)} {say(one.mend)}")
            else:
                elsewhere.append(one.sentence)
    return BroodingPage(questions(filled(typed, flock, on), flock, on, wrong), answer, elsewhere)
