"""Whom to keep for breeding, as a page and the terminal tell it."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from quailwright.exchange.keep_chart import KeepChart, keep_chart
from quailwright.exchange.mating_words import inbreeding_words, number_typed, whole_typed
from quailwright.flock.state import Flock
from quailwright.husbandry import facts
from quailwright.husbandry.age import DAYS_A_WEEK
from quailwright.husbandry.inheritance.effective_size import rise
from quailwright.husbandry.selection.traits import TRAITS, TraitName
from quailwright.journal.findings import BadInput
from quailwright.language import figure, mark, say, say_many
from quailwright.planning.keepers import (
    Ask,
    Keepers,
    Pen,
    Range,
    Ranked,
    Worth,
    default_goal,
    keepers,
)
from quailwright.planning.mating_birds import weeks_if_old
from quailwright.planning.merit import Basis

FIELDS = ("from", "cocks", "hens", *TRAITS)
"""Of the form, as the page and the API have them."""

TRAIT_WORDS: dict[TraitName, str] = {
    "weight": mark("heavier birds"),
    "eggs": mark("more eggs"),
    "egg_weight": mark("larger eggs"),
}

COUNTS = {"0": mark("not"), "1": mark("some"), "2": mark("much")}
"""How much a trait counts, as a form asks it."""

FIGURES = (
    "selection.weight_heritability",
    "selection.eggs_heritability",
    "selection.egg_weight_heritability",
    "selection.weight_eggs_genetic",
)
"""What the page stands on."""


@dataclass(frozen=True, slots=True)
class Card:
    """A bird, said.

    Attributes:
        verdict: keep, or not kept and why.
        lines: what it passes on by trait, how surely, its parents.
    """

    name: str
    kept: bool
    verdict: str
    lines: list[str]


@dataclass(frozen=True, slots=True)
class KeepPage:
    """All of it, said.

    Attributes:
        leading: the trait that counts most.
        answer: whom to keep, first.
        brings: what the next chicks gain, and how inbred they are.
        cocks, hens: cards, the best first.
        charts: of each sex with two birds or more.
        pens: what is told of birds without a ring; `records`: what to record, and what it brings.
        basis: what the values stand on; `notes`: what else is to be known.
    """

    on: date
    hatch: str
    leading: TraitName
    wants: str
    answer: list[str]
    brings: list[str]
    cocks: list[Card]
    hens: list[Card]
    charts: list[KeepChart]
    pens: list[str]
    records: list[str]
    basis: list[str]
    notes: list[str]
    counts: dict[str, str]


def goal_typed(text: str) -> dict[str, str]:
    """`weight=1 eggs=2` as fields of the form. Raises BadInput."""
    found: dict[str, str] = {}
    for word in text.replace(",", " ").split():
        name, sign, value = word.partition("=")
        if not sign or name not in TRAITS:
            raise BadInput(
                say(
                    "{word!r} is no wish: write weight=1, eggs=2 or egg_weight=1, one after "
                    "another.",
                    word=word[:40],
                )
            )
        found[name] = value
    return found


def asked(typed: Mapping[str, str]) -> Ask:
    """What is asked, from fields as typed. Raises BadInput."""
    weights = {
        name: number_typed(
            typed.get(name, ""),
            mark("How much it counts is a number from 0 to 10, such as 1, not {told!r}."),
        )
        for name in TRAITS
    }
    told = any(weight is not None for weight in weights.values())
    return Ask(
        typed.get("from", "").strip() or None,
        whole_typed(
            typed.get("cocks", ""), mark("Cocks to keep are a whole number, not {told!r}.")
        ),
        whole_typed(typed.get("hens", ""), mark("Hens to keep are a whole number, not {told!r}.")),
        {name: weight or 0.0 for name, weight in weights.items()} if told else None,
    )


def keep_page(flock: Flock, on: date, ask: Ask) -> tuple[Keepers, KeepPage]:
    """Whom to keep of a flock, and the page of it. Raises BadInput."""
    found = keepers(flock, on, ask)
    return found, KeepPage(
        on,
        found.hatch or "",
        _leading(found),
        _wants(found),
        _answer(found),
        _brings(found),
        [_card(found, one) for one in found.cocks],
        [_card(found, one) for one in found.hens],
        [
            keep_chart(some, title)
            for some, title in (
                (found.cocks, say("Cocks: what each passes on, against the middle of all")),
                (found.hens, say("Hens: what each passes on, against the middle of all")),
            )
            if len(some) > 1
        ],
        [_pen(pen) for pen in found.pens] if len(found.pens) > 1 else [],
        _records(found),
        [_basis(found.merits.bases[name]) for name in TRAITS if _told(found, name)],
        _notes(found),
        {name: f"{found.goal.get(name, 0.0):g}" for name in TRAITS},
    )


def hatches_with_rings(flock: Flock) -> list[str]:
    """Hatches of which ringed birds live, the newest first."""
    names = [bird.hatch for bird in flock.birds.values() if bird.hatch and bird.left is None]
    order = {name: n for n, name in enumerate(flock.hatches)}
    return sorted(dict.fromkeys(names), key=lambda name: -order.get(name, -1))


def amount(name: TraitName, some: Range) -> str:
    """A figure of a trait with its range and unit: `+8 g (likely -2 to +18)`."""
    if name == "weight":
        return say(
            "{mean:+.0f} g (likely {low:+.0f} to {high:+.0f})",
            mean=_plain(some.mean, 0), low=_plain(some.low, 0), high=_plain(some.high, 0),
        )  # fmt: skip
    if name == "eggs":
        return say(
            "{mean:+.1f} eggs in 90 days (likely {low:+.1f} to {high:+.1f})",
            mean=_plain(some.mean, 1), low=_plain(some.low, 1), high=_plain(some.high, 1),
        )  # fmt: skip
    return say(
        "{mean:+.2f} g an egg (likely {low:+.2f} to {high:+.2f})",
        mean=_plain(some.mean, 2), low=_plain(some.low, 2), high=_plain(some.high, 2),
    )  # fmt: skip


def _plain(number: float, places: int) -> float:
    """No minus before a nought."""
    return round(number, places) + 0.0


def surely(accuracy: float) -> str:
    """How surely a value is known, in words."""
    if accuracy < _HARDLY:
        return say("hardly known: almost a guess")
    if accuracy < _LITTLE:
        return say("little known ({accuracy:.2f} of 1)", accuracy=accuracy)
    if accuracy < _FAIRLY:
        return say("fairly known ({accuracy:.2f} of 1)", accuracy=accuracy)
    return say("well known ({accuracy:.2f} of 1)", accuracy=accuracy)


_HARDLY, _LITTLE, _FAIRLY = 0.1, 0.5, 0.7


def _told(found: Keepers, name: TraitName) -> bool:
    """Whether a trait counts, or has records."""
    basis = found.merits.bases[name]
    return found.goal.get(name, 0.0) > 0 or basis.own + basis.pens > 0


def _leading(found: Keepers) -> TraitName:
    return max(TRAITS, key=lambda name: found.goal.get(name, 0.0))


def _much(weight: float) -> str:
    """As the form has it; a number where another was asked for."""
    word = COUNTS.get(f"{weight:g}")
    return say("counts {weight:g}", weight=weight) if word is None else say(word)


def _wants(found: Keepers) -> str:
    parts = [
        say("{wish} ({much})", wish=say(TRAIT_WORDS[name]), much=_much(found.goal[name]))
        for name in TRAITS
        if found.goal.get(name, 0.0) > 0
    ]
    said = ", ".join(parts)
    if found.goal_own:
        return say("What counts, as you asked: {wishes}.", wishes=said)
    return say("What counts, by what you keep them for: {wishes}.", wishes=said)


def _names(some: list[Ranked]) -> str:
    return ", ".join(one.member.called for one in some)


def _answer(found: Keepers) -> list[str]:
    cocks = [one for one in found.cocks if one.kept]
    hens = [one for one in found.hens if one.kept]
    if not found.merits.lines.alive:
        return [say("No living birds are recorded yet, so there is nobody to choose from.")]
    if not (found.cocks or found.hens):
        if found.hatch:
            return [
                say(
                    "No ringed bird of {hatch} is grown and sexed, so nobody can be told from "
                    "another. Below is what a ring and a scale would bring.",
                    hatch=found.hatch,
                )
            ]
        return [
            say(
                "No bird that lives has a ring, so nobody can be told from another. Below is what "
                "pens tell, and what a ring and a scale would bring."
            )
        ]
    said = []
    basis = found.merits.bases
    if not any(one.own + one.pens for one in basis.values()):
        said.append(
            say(
                "Nothing is weighed or counted yet, so this is no more than an order by family: "
                "keep whom you like, of as many families as you can."
            )
        )
    if cocks:
        said.append(
            say_many(
                "Keep {n} cock: {names}.", "Keep {n} cocks: {names}.", len(cocks),
                names=_names(cocks),
            )
        )  # fmt: skip
    if hens:
        said.append(
            say_many(
                "Keep {n} hen: {names}.", "Keep {n} hens: {names}.", len(hens), names=_names(hens)
            )
        )
    return said


def _brings(found: Keepers) -> list[str]:
    said = []
    for name, change in found.change.items():
        if not _told(found, name):
            continue
        if name == "weight":
            said.append(
                say(
                    "Their chicks, against chicks of all: weight at {weeks:.0f} weeks {amount}.",
                    weeks=found.merits.performance.weight_age_d / 7,
                    amount=amount(name, change),
                )
            )
        elif name == "eggs":
            said.append(say("Eggs of their daughters: {amount}.", amount=amount(name, change)))
        else:
            said.append(
                say("Egg weight of their daughters: {amount}.", amount=amount(name, change))
            )
    if said:
        said.append(
            say("Likely means four times in five, of {n:.0f} chicks raised.",
                n=facts.value("selection.chicks_raised"))
        )  # fmt: skip
    if not math.isnan(found.inbreeding):
        said += _without_limit(found)
        said.append(
            say(
                "Mated each with each, their chicks have on average {words}; the nearest kin "
                "among them {most}. If all were bred from: {every:.1%}.",
                words=inbreeding_words(found.inbreeding),
                most=inbreeding_words(found.inbreeding_most),
                every=found.inbreeding_all,
            )
        )
        if found.inbreeding_most >= facts.value("mating.inbreeding_strong"):
            said.append(say("Some of them are near kin: let the matings say who goes with whom."))
        said.append(
            say(
                "As many cocks and hens make an effective size of {size:.1f}: about {rate:.1%} "
                "more inbreeding each generation, however they are mated.",
                size=found.effective_size,
                rate=float(rise(found.effective_size)),
            )
        )
    return said


def _without_limit(found: Keepers) -> list[str]:
    """What the limit on brothers and sisters costs now."""
    counting = _leading(found)
    if counting not in found.free_change:
        return []
    return [
        say(
            "The best alone, brothers and sisters or not, would bring {amount}, and chicks with "
            "{inbreeding:.1%} inbreeding; from then on more of it each generation.",
            amount=amount(counting, found.free_change[counting]),
            inbreeding=found.free_inbreeding,
        )
    ]


def _card(found: Keepers, one: Ranked) -> Card:
    lines = [
        say("{wish}: {amount}", wish=_passes(name), amount=amount(name, one.traits[name]))
        for name in TRAITS
        if found.goal.get(name, 0.0) > 0
    ]
    lines.append(say("How sure: {words}.", words=surely(one.accuracy)))
    father, mother = one.parents
    if father and mother:
        lines.append(say("Of {father} and {mother}.", father=father, mother=mother))
    elif father or mother:
        lines.append(say("Of {parent}; the other parent is not sure.", parent=father or mother))
    weeks = weeks_if_old(one.member, found.on)
    if weeks is not None:
        lines.append(
            say(
                "He is {weeks:.0f} weeks old: past {old:.0f} weeks fertility is seen to fall.",
                weeks=weeks,
                old=facts.value("mating.cock_old_d") / DAYS_A_WEEK,
            )
        )
    if one.kept:
        verdict = say("keep")
    elif one.instead and one.member.sex == "cock":
        verdict = say("not kept: {kin}, of the same father, is", kin=one.instead)
    elif one.instead:
        verdict = say("not kept: {kin}, of the same family, is", kin=one.instead)
    else:
        verdict = say("not kept")
    return Card(one.member.called, one.kept, verdict, lines)


def _passes(name: TraitName) -> str:
    if name == "weight":
        return say("weight passed on")
    if name == "eggs":
        return say("eggs passed on")
    return say("egg weight passed on")


def _pen(pen: Pen) -> str:
    return say_many(
        "{group}, {n} bird without a ring: {points:+.2f} of a usual difference between birds "
        "(likely {low:+.2f} to {high:+.2f}); {sure}.",
        "{group}, {n} birds without a ring: {points:+.2f} of a usual difference between birds "
        "(likely {low:+.2f} to {high:+.2f}); {sure}.",
        pen.birds,
        group=pen.group,
        points=_plain(pen.points.mean, 2),
        low=_plain(pen.points.low, 2),
        high=_plain(pen.points.high, 2),
        sure=surely(pen.accuracy),
    )


def _records(found: Keepers) -> list[str]:
    """What to record, where too little is."""
    ringed = len(found.cocks) + len(found.hens)
    said = []
    for one in found.worth:
        own = found.merits.bases[one.trait].own
        hens = len(found.hens)
        enough = own >= ringed / 2 if one.trait == "weight" else own >= hens / 2
        if ringed and own and enough:
            continue
        said.append(_worth(one))
    if said and not found.merits.bases["weight"].own:
        said.append(
            say(
                "Begin with rings: at four weeks each bird gets one and is weighed once (log bird, "
                "log bird_weighed), with its parents or its pen."
            )
        )
    return said


def _worth(one: Worth) -> str:
    if one.trait == "weight":
        return say(
            "Weigh every bird at four weeks, ringed, and keep the best {cocks} of {of_cocks} cocks "
            "and {hens} of {of_hens} hens: the next chicks weigh {amount}.",
            cocks=one.cocks, of_cocks=one.of_cocks, hens=one.hens, of_hens=one.of_hens,
            amount=amount("weight", one.gain),
        )  # fmt: skip
    return say(
        "Keep each hen alone for {days:.0f} days, count her eggs, and keep the best {hens} of "
        "{of_hens}: their daughters lay {amount}. So few days tell little; twice as many tell "
        "more.",
        days=facts.value("selection.hens_alone_d"),
        hens=one.hens,
        of_hens=one.of_hens,
        amount=amount("eggs", one.gain),
    )


def _basis(basis: Basis) -> str:
    """What a trait's values stand on, in a line."""
    parts = [_recorded(basis)]
    if basis.sd_own:
        parts.append(say("Birds differ by {sd}, by your records.", sd=_spread(basis)))
    else:
        parts.append(say("Birds differ by {sd}, as is usual.", sd=_spread(basis)))
    least = facts.value("selection.records_to_learn")
    if basis.heritability_own:
        parts.append(
            say(
                "Heritability {h2:.2f} ± {error:.2f}, learned from these records.",
                h2=basis.heritability,
                error=basis.heritability_sd,
            )
        )
    elif basis.own < least:
        parts.append(
            say(
                "Heritability {h2:.2f} ± {error:.2f}, as published: too few records to learn it "
                "from, {own} of about {least:.0f}.",
                h2=basis.heritability,
                error=basis.heritability_sd,
                own=basis.own,
                least=least,
            )
        )
    else:
        parts.append(
            say(
                "Heritability {h2:.2f} ± {error:.2f}, as published: by {own} records it is still "
                "too unsure here.",
                h2=basis.heritability,
                error=basis.heritability_sd,
                own=basis.own,
            )
        )
    return say("{trait}: {what}", trait=_named(basis.name), what=" ".join(parts))


def _recorded(basis: Basis) -> str:
    if not (basis.own or basis.pens):
        return say("no records yet.")
    if not basis.pens:
        return say_many("{n} bird has a record.", "{n} birds have a record.", basis.own)
    if not basis.own:
        return say_many("the mean of {n} group.", "the means of {n} groups.", basis.pens)
    return say_many(
        "{n} bird has a record, and {pens} groups a mean.",
        "{n} birds have a record, and {pens} groups a mean.",
        basis.own,
        pens=basis.pens,
    )


def _named(name: TraitName) -> str:
    if name == "weight":
        return say("Weight")
    return say("Eggs") if name == "eggs" else say("Egg weight")


def _spread(basis: Basis) -> str:
    if basis.name == "weight":
        return say("{sd:.0f} g", sd=basis.sd)
    if basis.name == "eggs":
        return say("{sd:.0f} eggs in 90 days", sd=basis.sd)
    return say("{sd:.1f} g an egg", sd=basis.sd)


def _notes(found: Keepers) -> list[str]:
    said = [say(note) for note in (*found.notes, *found.merits.performance.left_out)]
    alone = sum(basis.alone for basis in found.merits.bases.values())
    if alone:
        said.append(
            say_many(
                "{n} record is of a hatch and sex with fewer than {least:.0f} records: a good bird "
                "can hardly be told from a good hatch there.",
                "{n} records are of a hatch and sex with fewer than {least:.0f} records: a good "
                "bird can hardly be told from a good hatch there.",
                alone,
                least=facts.value("selection.least_contemporaries"),
            )
        )
    if found.goal.get("weight", 0.0) > 0:
        said.append(weight_alone())
    said.append(
        say(
            "A bird passes half of what it has to each chick. Values are predictions by the record "
            "and its kin, not the bird itself: one that limps or fails to mate is no breeder, "
            "whatever stands here."
        )
    )
    return said


def weight_alone() -> str:
    """The caution of selection for weight."""
    return say(
        "Chosen for weight alone over many generations, quail became less fertile, hatched and "
        "laid worse and began to lay later (Marks 1996): keep an eye on hatch and lay, and let "
        "eggs count too."
    )


def default_counts(flock: Flock) -> dict[str, str]:
    """How much each trait counts where nothing is asked, as a form holds it."""
    return {name: figure(weight, "g") for name, weight in default_goal(flock).items()}
