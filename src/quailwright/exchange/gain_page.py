"""What choosing brings over generations, as the terminal and the page tell it."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from quailwright.exchange.keep_page import TRAIT_WORDS, KeepPage, amount, weight_alone
from quailwright.exchange.mating_words import inbreeding_words, share_words, whole_typed
from quailwright.flock.state import Flock
from quailwright.husbandry import facts
from quailwright.husbandry.age import DAYS_A_WEEK, DAYS_A_YEAR
from quailwright.husbandry.selection.traits import TRAITS, TraitName
from quailwright.journal.findings import BadInput
from quailwright.language import figure, mark, say, say_many
from quailwright.planning.gain_ahead import GENERATIONS, SEED, GainAhead, GainAsk, gain_ahead
from quailwright.planning.keepers import Ask

GAIN_FIELDS = ("by", "cocks", "of_cocks", "hens", "of_hens", "generations", "seed")
"""Of the form, as the API has them."""


@dataclass(frozen=True, slots=True)
class GainRow:
    """A generation of chicks, in words."""

    number: str
    weight: str
    eggs: str
    egg_weight: str
    inbreeding: str


@dataclass(frozen=True, slots=True)
class GainPage:
    """All of it, said."""

    on: date
    answer: list[str]
    rows: list[GainRow]
    notes: list[str]


def gain_asked(typed: Mapping[str, str]) -> GainAsk:
    """What is asked, from fields as typed. Raises BadInput."""
    by: TraitName | None = None
    if typed.get("by", "").strip():
        by = next((name for name in TRAITS if name == typed["by"].strip()), None)
        if by is None:
            raise BadInput(
                say(
                    "Birds are chosen by weight, eggs or egg_weight, not {told!r}.",
                    told=typed["by"].strip()[:40],
                )
            )
    numbers = {
        name: whole_typed(
            typed.get(name, ""), mark("Birds and generations are whole numbers, not {told!r}.")
        )
        for name in GAIN_FIELDS[1:]
    }
    seed = numbers["seed"]
    if seed is not None and seed < 0:
        raise BadInput(say("The seed is a whole number, 0 or more."))
    return GainAsk(
        by,
        numbers["cocks"],
        numbers["of_cocks"],
        numbers["hens"],
        numbers["of_hens"],
        GENERATIONS if numbers["generations"] is None else numbers["generations"],
        SEED if seed is None else seed,
    )


def gain_of(told: KeepPage, ask: Ask) -> GainAsk:
    """What the choice of a page would bring if it were made so every generation."""
    of_cocks, of_hens = (len(cards) if told.hatch else 0 for cards in (told.cocks, told.hens))
    return GainAsk(told.leading, ask.cocks, of_cocks or None, ask.hens, of_hens or None)


def gain_page(flock: Flock, on: date, ask: GainAsk) -> tuple[GainAhead, GainPage]:
    """What choosing brings, and the page of it. Raises BadInput."""
    found = gain_ahead(flock, on, ask)
    return found, GainPage(
        on,
        _answer(found),
        [
            GainRow(
                figure(one.number),
                amount("weight", one.gains["weight"]),
                amount("eggs", one.gains["eggs"]),
                amount("egg_weight", one.gains["egg_weight"]),
                share_words(one.inbreeding),
            )
            for one in found.generations
        ],
        _notes(found),
    )


def _answer(found: GainAhead) -> list[str]:
    scheme, last = found.scheme, found.generations[-1]
    years = last.number * found.weeks * DAYS_A_WEEK / DAYS_A_YEAR
    who = (
        say(
            "For {wish}, the best {cocks} of {of_cocks} cocks and {hens} of {of_hens} hens are "
            "kept each generation.",
            wish=say(TRAIT_WORDS[found.by]), cocks=scheme.cocks, of_cocks=scheme.of_cocks,
            hens=scheme.hens, of_hens=scheme.of_hens,
        )
        if found.by == "weight"
        else say(
            "For {wish}, the best {hens} of {of_hens} hens are kept each generation, and {cocks} "
            "cocks as they come: they lay no eggs.",
            wish=say(TRAIT_WORDS[found.by]), cocks=scheme.cocks, hens=scheme.hens,
            of_hens=scheme.of_hens,
        )
    )  # fmt: skip
    return [
        who,
        say(
            "After {n} generations, some {years:.1f} years: {amount}.",
            n=last.number,
            years=years,
            amount=amount(found.by, last.gains[found.by]),
        ),
        _inbred(found),
    ]


def _inbred(found: GainAhead) -> str:
    last = found.generations[-1]
    more = last.inbreeding - last.inbreeding_even
    words = inbreeding_words(last.inbreeding)
    if more < _NOTHING:
        return say("The chicks then have {words}.", words=words)
    return say(
        "The chicks then have {words}, {more:.1%} of it because the best are often kin.",
        words=words,
        more=more,
    )


_NOTHING = 0.001


def _notes(found: GainAhead) -> list[str]:
    said = [
        say(
            "Ranges hold four times in five. They have in them that few parents drift by chance, "
            "and that heritability is not known for sure; not a bad year, and no mistake in "
            "weighing."
        ),
        say(
            "What the other traits do is by their kinship in genes, on which sources differ, for "
            "eggs and weight even in the sign."
        ),
        say(
            "Parents are mated at random here and are unrelated at the start. Good matings keep "
            "inbreeding lower."
        ),
    ]
    if found.by == "weight":
        said.append(weight_alone())
    else:
        said.append(
            say(
                "A hen's eggs are counted over {days:.0f} days alone; more days bring more.",
                days=facts.value("selection.hens_alone_d"),
            )
        )
        if found.by_sisters > 0:
            said.append(
                say_many(
                    "Cocks chosen by the eggs of their {n} full sister would add about "
                    "{more} in the first generation.",
                    "Cocks chosen by the eggs of their {n} full sisters would add about {more} "
                    "in the first generation.",
                    found.sisters,
                    more=_more(found),
                )
            )
    return said


def _more(found: GainAhead) -> str:
    if found.by == "eggs":
        return say("{eggs:.1f} eggs in 90 days", eggs=found.by_sisters)
    return say("{grams:.2f} g an egg", grams=found.by_sisters)
