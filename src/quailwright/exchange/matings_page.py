"""Matings as a page, paper and the terminal tell them: who goes where, and what comes of it."""

import csv
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

import msgspec

from quailwright.exchange.keep_page import weight_alone
from quailwright.exchange.mating_words import (
    bird_words,
    in_a_row,
    inbreeding_words,
    number_typed,
    share_typed,
    share_words,
    whole_typed,
)
from quailwright.exchange.record import posted_entries
from quailwright.exchange.typed import at_present
from quailwright.flock.pens import sure_after_d
from quailwright.flock.state import Flock
from quailwright.guide import wording
from quailwright.guide.round import units_of
from quailwright.husbandry import facts
from quailwright.husbandry.age import DAYS_A_WEEK
from quailwright.husbandry.selection.traits import TRAITS, TraitName
from quailwright.journal.entries import Entry, Units
from quailwright.journal.findings import BadInput
from quailwright.language import figure, mark, say, say_many
from quailwright.planning.inbred import Cost, cost_of
from quailwright.planning.mating_asked import Ask
from quailwright.planning.mating_birds import Candidate, LeftOut
from quailwright.planning.mating_outcome import Outcome
from quailwright.planning.matings import PenPlan, Plan, matings

FIELDS = (
    "pens", "hens_per_cock", "cocks", "hens", "together", "apart", "leave_out", "most", "values",
    "gain", "by",
)  # fmt: skip
"""Of the form, as the page and the API have them."""

FIGURES = (
    "mating.stored_sperm_d",
    "mating.cock_old_d",
    "housing.hens_per_cock",
    "mating.inbreeding_refused",
)
"""What the page stands on."""


@dataclass(frozen=True, slots=True)
class Pairing:
    """What is written down of a pen: rings of the cocks and the hens."""

    pen: str
    cocks: tuple[str, ...]
    hens: tuple[str, ...]

    @property
    def told(self) -> str:
        """It in a line, to be seen before it is written."""
        return say(
            "{pen}: {cock} with {hens}",
            pen=self.pen,
            cock=in_a_row(self.cocks),
            hens=in_a_row(self.hens),
        )


@dataclass(frozen=True, slots=True)
class PenCard:
    """A pen as its card tells it. `sentence`: the whole of it in one."""

    pen: str
    known: bool
    cock: str
    cock_note: str
    hens: list[tuple[str, str]]
    together: str
    sentence: str
    inbreeding: str
    warning: str
    sure: str
    moved: str
    room: str
    pairing: Pairing | None


@dataclass(frozen=True, slots=True)
class WayRow:
    """A way to mate the birds, and what it comes to, in words."""

    way: str
    hens: int
    inbreeding: str
    rise: str
    size: str


@dataclass(frozen=True, slots=True)
class ChoiceRow:
    """A step between least kinship and most gain, in words. `kinship`: among the chicks."""

    cocks: str
    gain: str
    inbreeding: str
    kinship: str


@dataclass(frozen=True, slots=True)
class MatingsPage:
    """All of it, said."""

    on: date
    summary: str
    pens: list[PenCard]
    ways: list[WayRow]
    meaning: list[str]
    left: list[str]
    choices: list[ChoiceRow]
    warnings: list[str]
    notes: list[str]
    unringed: bool

    @property
    def pairings(self) -> list[Pairing]:
        """What can be written down of these pens."""
        return [card.pairing for card in self.pens if card.pairing is not None]

    @property
    def entries_to_send(self) -> str:
        """The same as JSON for the phone, which adds id, moment and name and sends it."""
        return msgspec.json.encode(
            [
                {"kind": "pairing", "pen": each.pen, "cocks": each.cocks, "hens": each.hens}
                for each in self.pairings
            ]
        ).decode()


def pairing_entries(
    pairings: Sequence[Pairing], ids: Sequence[str], by: str, now: datetime, zone_name: str
) -> list[Entry]:
    """The entries of pairings from now on, each with its id. Raises BadInput with every finding."""
    return posted_entries(
        msgspec.json.encode(
            [
                {
                    "id": entry_id,
                    "at": at_present(now, zone_name),
                    "kind": "pairing",
                    **({"by": by} if by else {}),
                    "pen": each.pen,
                    "cocks": each.cocks,
                    "hens": each.hens,
                }
                for each, entry_id in zip(pairings, ids, strict=True)
            ]
        )
    )


def asked(typed: Mapping[str, str]) -> Ask:
    """What is asked, from fields as typed. Raises BadInput."""
    return Ask(
        whole_typed(
            typed.get("pens", ""), mark("The number of pens is a whole number, not {told!r}.")
        ),
        whole_typed(
            typed.get("hens_per_cock", ""),
            mark("Hens to a cock are a whole number, not {told!r}."),
        ),
        whole_typed(
            typed.get("cocks", ""), mark("The cocks to mate are a whole number, not {told!r}.")
        ),
        whole_typed(
            typed.get("hens", ""), mark("The hens to mate are a whole number, not {told!r}.")
        ),
        pairs_typed(_parts(typed.get("together", ""))),
        pairs_typed(_parts(typed.get("apart", ""))),
        tuple(_parts(typed.get("leave_out", ""))),
        share_typed(
            typed.get("most", ""),
            mark("The most inbreeding is a share such as 0.125 or 12.5 %, not {told!r}."),
        ),
        values_typed(_parts(typed.get("values", ""))),
        number_typed(typed.get("gain", ""), mark("The gain is a number, not {told!r}.")),
        _trait(typed.get("by", "").strip()),
    )


def _trait(text: str) -> TraitName | None:
    if text and text not in TRAITS:
        raise BadInput(say("A trait is weight, eggs or egg_weight, not {told!r}.", told=text[:40]))
    return next((name for name in TRAITS if name == text), None)


TRAIT_WORDS: dict[TraitName, str] = {
    "weight": mark("body weight, g"),
    "eggs": mark("eggs in 90 days"),
    "egg_weight": mark("egg weight, g"),
}
"""Traits whose values the record gives, each with its unit."""


def _parts(text: str) -> list[str]:
    return [part.strip() for part in text.replace("\n", ";").split(";") if part.strip()]


def pairs_typed(pairs: Iterable[str]) -> tuple[tuple[str, str], ...]:
    """Pairs written as `Rex=Ada`. Raises BadInput."""
    found = []
    for pair in pairs:
        one, between, other = pair.partition("=")
        if not between or not one.strip() or not other.strip():
            raise BadInput(say("Write a pair as in Rex=Ada, not {pair!r}.", pair=pair[:60]))
        found.append((one.strip(), other.strip()))
    return tuple(found)


def values_typed(values: Iterable[str]) -> dict[str, float]:
    """Breeding values written as `Ada=12.5`. Raises BadInput."""
    found: dict[str, float] = {}
    wrong = mark("Write a breeding value as in Ada=12.5, not {told!r}.")
    for each in values:
        bird, between, number = each.rpartition("=")
        value = number_typed(number, wrong) if between and bird.strip() else None
        if value is None:
            raise BadInput(say(wrong, told=each[:60]))
        found[bird.strip()] = value
    return found


def values_in(data: bytes, name: str) -> dict[str, float]:
    """Breeding values of a CSV file: a bird and a number a line; a heading may come first.

    Raises BadInput, naming the line.
    """
    try:
        lines = list(csv.reader(data.decode("utf-8-sig").splitlines()))
    except UnicodeDecodeError:
        raise BadInput(say("{file} is no text in UTF-8. Save it as CSV.", file=name)) from None
    found: dict[str, float] = {}
    for number, cells in enumerate(lines, 1):
        if not any(cell.strip() for cell in cells):
            continue
        try:
            found[cells[0].strip()] = float(cells[1])
        except (IndexError, ValueError):
            if number == 1:
                continue
            raise BadInput(
                say(
                    "{file}, line {line}: a bird and a number stand there with a comma between, "
                    "as in Ada,12.5.",
                    file=name,
                    line=number,
                )
            ) from None
    return found


def matings_page(flock: Flock, on: date, ask: Ask) -> tuple[Plan, MatingsPage]:
    """The matings of a flock on a day, and the page of them. Raises BadInput."""
    plan = matings(flock, on, ask)
    units = units_of(flock)
    birds = [bird for pen in plan.pens for bird in (pen.cock, *(hen.bird for hen in pen.hens))]
    return plan, MatingsPage(
        on,
        _summary(plan),
        [_card(pen, plan, units) for pen in plan.pens],
        _ways(plan),
        _meaning(plan),
        _left(plan),
        _choices(plan),
        _warnings(plan),
        [*_notes(plan), *([weight_alone()] if ask.by == "weight" else ())],
        not all(bird.ringed for bird in birds),
    )


def _told(bird: Candidate | LeftOut) -> tuple[str, str, bool, str]:
    return bird.name, bird.sex, bird.ringed, bird.group


def _summary(plan: Plan) -> str:
    hens = say_many("{n} hen", "{n} hens", plan.planned.hens)
    pens = say_many("{n} pen", "{n} pens", len(plan.pens))
    return say(
        "{hens} in {pens} of one cock each. Chicks expected: {inbreeding}.",
        hens=hens,
        pens=pens,
        inbreeding=inbreeding_words(plan.planned.inbreeding),
    )


def _card(pen: PenPlan, plan: Plan, units: Units) -> PenCard:
    hens = bird_words(_told(hen.bird) for hen in pen.hens)
    cock = in_a_row(bird_words([_told(pen.cock)]))
    where = pen.pen.name
    sentence = (
        say("Put {cock} with {hens} in {pen}.", cock=cock, hens=in_a_row(hens), pen=where)
        if pen.moved
        else say("{cock} stays with {hens} in {pen}.", cock=cock, hens=in_a_row(hens), pen=where)
    )
    worst = max((hen.inbreeding for hen in pen.hens), default=0.0)
    return PenCard(
        where,
        pen.pen.known,
        cock,
        _cock_note(pen.cock),
        _hen_by_hen(pen),
        in_a_row(hens),
        sentence,
        inbreeding_words(pen.inbreeding),
        _warned(
            worst, bird_words(_told(hen.bird) for hen in pen.hens if hen.inbreeding >= worst - 1e-9)
        ),
        _sure(pen, plan.on),
        say_many("{n} bird moves", "{n} birds move", len(pen.moved)) if pen.moved else "",
        ""
        if pen.pen.floor_m2 is None
        else say(
            "Floor {area}, {each}.",
            area=wording.area(pen.pen.floor_m2, units),
            each=wording.floor_each(pen.pen.floor_m2 / (len(pen.hens) + 1), units),
        ),
        _pairing(pen),
    )


def _hen_by_hen(pen: PenPlan) -> list[tuple[str, str]]:
    """Hens and how inbred their chicks are; those without a ring that are alike, together."""
    alike: dict[tuple[str, str, str], list[Candidate]] = {}
    for hen in pen.hens:
        words = inbreeding_words(hen.inbreeding)
        ring, group = (hen.bird.name, "") if hen.bird.ringed else ("", hen.bird.group)
        alike.setdefault((words, ring, group), []).append(hen.bird)
    return [
        (in_a_row(bird_words(_told(hen) for hen in hens)), words)
        for (words, _, _), hens in alike.items()
    ]


def _pairing(pen: PenPlan) -> Pairing | None:
    """What is written down of it; nothing where the cock or all hens have no ring."""
    hens = tuple(hen.bird.name for hen in pen.hens if hen.bird.ringed)
    if not pen.cock.ringed or not hens:
        return None
    return Pairing(pen.pen.name, (pen.cock.name,), hens)


def _cock_note(cock: Candidate) -> str:
    if cock.age_d is None:
        return say("Nobody said when the cock hatched.")
    weeks = cock.age_d / DAYS_A_WEEK
    if not cock.old:
        return say("The cock is {weeks:.0f} weeks old.", weeks=weeks)
    return say(
        "The cock is old, {weeks:.0f} weeks: let a son follow him soon.",
        weeks=weeks,
    )


def _warned(worst: float, hens: Sequence[str]) -> str:
    whose = in_a_row(list(hens))
    if worst >= facts.value("mating.inbreeding_strong") - 1e-9:
        return say(
            "Near kin: with {hens}, {inbreeding}. Take it only where no other pair is left.",
            hens=whose,
            inbreeding=inbreeding_words(worst),
        )
    if worst >= facts.value("mating.inbreeding_warn") - 1e-9:
        return say(
            "Kin: with {hens}, {inbreeding}.", hens=whose, inbreeding=inbreeding_words(worst)
        )
    return ""


def _sure(pen: PenPlan, on: date) -> str:
    if pen.sure_from <= on:
        return say("Eggs laid from today on are his.")
    return say("Eggs count as his from {day} on.", day=wording.when(pen.sure_from, on))


def _ways(plan: Plan) -> list[WayRow]:
    rows = [
        _way(say("as planned"), plan.planned),
        _way(say("the same birds, all in one pen"), plan.mixed),
    ]
    if plan.now is not None:
        rows.append(_way(say("as they live now"), plan.now))
    return rows


def _way(name: str, came: Outcome) -> WayRow:
    return WayRow(
        name,
        came.hens,
        share_words(came.inbreeding),
        figure(came.rise, ".1%"),
        figure(came.effective_size, ".1f"),
    )


def _meaning(plan: Plan) -> list[str]:
    planned, other = plan.planned, plan.now or plan.mixed
    said = [
        say(
            "These parents add {rise:.1%} of inbreeding a generation, as {size:.1f} birds mated by "
            "chance would.",
            rise=planned.rise,
            size=planned.effective_size,
        )
    ]
    if other.inbreeding - planned.inbreeding >= 0.0005:
        how = (
            say("As they live now, chicks would be {share:.1%} inbred.", share=other.inbreeding)
            if plan.now is not None
            else say("All in one pen, chicks would be {share:.1%} inbred.", share=other.inbreeding)
        )
        said.append(how)
        said += saved_words(cost_of(other.inbreeding, planned.inbreeding))
    elif planned.inbreeding >= 0.0005:
        said += lost_words(cost_of(planned.inbreeding))
    return said


def saved_words(saved: Cost) -> list[str]:
    """What less inbreeding saves, by published losses."""
    return [
        say(
            "By published losses the plan saves about {hatch:.0%} of the hatch and {survival:.0%} "
            "of the chicks to 4 weeks; both together {chicks:.0%} ({low:.0%} to {high:.0%}, as "
            "lines differed).",
            hatch=saved.hatch,
            survival=saved.survival,
            chicks=saved.chicks,
            low=saved.chicks_low,
            high=saved.chicks_high,
        ),
        say(
            "Their daughters lay about {eggs:.1f} eggs more in 100 days.",
            eggs=saved.eggs,
        ),
    ]


def lost_words(lost: Cost) -> list[str]:
    """What inbreeding costs, by published losses."""
    return [
        say(
            "By published losses that costs about {hatch:.0%} of the hatch and {survival:.0%} of "
            "the chicks to 4 weeks; both together {chicks:.0%} ({low:.0%} to {high:.0%}, as lines "
            "differed).",
            hatch=lost.hatch,
            survival=lost.survival,
            chicks=lost.chicks,
            low=lost.chicks_low,
            high=lost.chicks_high,
        ),
        say(
            "Their daughters lay about {eggs:.1f} eggs fewer in 100 days.",
            eggs=lost.eggs,
        ),
    ]


_WHY = {
    "young": mark("{birds}: too young until {day}."),
    "quarantine": mark("{birds}: in quarantine up to and on {day}."),
    "unsexed": mark("{birds}: hen or cock is not known yet."),
    "told": mark("{birds}: left out, as you asked."),
    "spare": mark("{birds}: not needed for these pens."),
    "no partner": mark("{birds}: too near kin to every cock here."),
    "no room": mark("{birds}: no pen has room left."),
    "no cock": mark("{birds}: no cock is left for them, nor room with the others."),
}


def _left(plan: Plan) -> list[str]:
    together: dict[tuple[str, date | None], list[LeftOut]] = {}
    for left in plan.left_out:
        together.setdefault((left.why, left.until), []).append(left)
    return [
        say(
            _WHY[why],
            birds=in_a_row(bird_words(_told(each) for each in birds)),
            day="" if until is None else wording.when(until, plan.on),
        )
        for (why, until), birds in together.items()
    ]


def _choices(plan: Plan) -> list[ChoiceRow]:
    return [
        ChoiceRow(
            in_a_row(bird_words(_told(cock) for cock in choice.cocks)),
            figure(choice.outcome.gain or 0.0, "+.3g"),
            share_words(choice.outcome.inbreeding),
            share_words(choice.outcome.kinship),
        )
        for choice in plan.choices
    ]


def _warnings(plan: Plan) -> list[str]:
    said = []
    new = [pen.pen.name for pen in plan.pens if not pen.pen.known]
    if new:
        said.append(
            say_many(
                "A pen is still to be made: {pens}.",
                "{n} pens are still to be made: {pens}.",
                len(new),
                pens=in_a_row(new),
            )
        )
    if plan.needed > len(plan.pens):
        said.append(
            say_many(
                "For {hens} hens at {usual:g} to a cock, {n} pen is better.",
                "For {hens} hens at {usual:g} to a cock, {n} pens are better.",
                plan.needed,
                hens=plan.hens,
                usual=facts.value("housing.hens_per_cock"),
            )
        )
    old = sum(pen.cock.old for pen in plan.pens)
    if old:
        said.append(
            say_many(
                "{n} cock is past {weeks:.0f} weeks: fertility is seen to fall from then on.",
                "{n} cocks are past {weeks:.0f} weeks: fertility is seen to fall from then on.",
                old,
                weeks=facts.value("mating.cock_old_d") / DAYS_A_WEEK,
            )
        )
    if plan.gain_short > 0:
        said.append(
            say(
                "The gain asked for is not reached: {short:.3g} are missing. This is the nearest.",
                short=plan.gain_short,
            )
        )
    if plan.barred:
        said.append(
            say_many(
                "{n} pair was not made: too near kin, or kept apart by you.",
                "{n} pairs were not made: too near kin, or kept apart by you.",
                plan.barred,
            )
        )
    return [*said, *(say(problem) for problem in plan.problems)]


def _notes(plan: Plan) -> list[str]:
    wait, seen = sure_after_d(), facts.rows("mating.stored_sperm_d")[1]
    fades = [row for row in facts.rows("mating.cock_old_d") if row.value or row.low]
    first, last = (fades[0].value or 0) / DAYS_A_WEEK, (fades[1].low or 0) / DAYS_A_WEEK
    notes = [
        say(
            "Hens keep seed: after a change of cock, eggs are surely the new one's after "
            "{wait} days. In a trial they stayed fertile for {low:.3g} to {high:.3g} days on the "
            "mean, some of them longer.",
            wait=wait,
            low=seen.low or 0.0,
            high=seen.high or 0.0,
        ),
        say(
            "Trials disagree on old cocks: one saw fertility best at {best:.0f} weeks and fall "
            "sharply past {first:.0f}, another no fall to {last:.0f}. Clear eggs of your own sets "
            "tell.",
            best=facts.value("mating.cock_best_d") / DAYS_A_WEEK,
            first=first,
            last=last,
        ),
        say(
            "Only kin that the record knows of is counted: birds without known parents count as "
            "unrelated. Birds from one breeder may well be kin."
        ),
        say(
            "What inbreeding costs was seen in lines of full sibs, inbred in a few generations: "
            "where it comes slowly, less is lost."
        ),
        say(
            "With several cocks in a pen one may father most chicks: the true figures of one pen "
            "are then worse than shown."
        ),
    ]
    if plan.valued and plan.valued < plan.cocks + plan.hens:
        notes.append(
            say_many(
                "{n} of {all} birds has a breeding value; the others count as the mean of theirs.",
                "{n} of {all} birds have a breeding value; the others count as the mean of theirs.",
                plan.valued,
                all=plan.cocks + plan.hens,
            )
        )
    return notes
