"""Rotation as a page and the terminal tell it: pens, who moves when, and what comes of it."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from quailwright.exchange.mating_words import (
    bird_words,
    in_a_row,
    number_typed,
    share_words,
    whole_typed,
)
from quailwright.flock.pens import sure_after_d
from quailwright.flock.state import Flock
from quailwright.guide import wording
from quailwright.husbandry import facts
from quailwright.husbandry.age import DAYS_A_WEEK
from quailwright.journal.findings import BadInput
from quailwright.language import figure, mark, say, say_many
from quailwright.planning.rotation import GENERATIONS, Rotation, RotationAsk, Turn, rotation

FIELDS = (
    "pens", "hens_per_cock", "scheme", "generations", "generation_weeks", "new_cocks", "every",
    "eggs_set", "cock_price", "chick_price",
)  # fmt: skip
"""Of the form, as the page and the API have them."""

SCHEMES = {
    "circular": mark("sons move one pen each time"),
    "cyclic": mark("sons move one pen, then two, then three"),
}


@dataclass(frozen=True, slots=True)
class StartRow:
    """A pen to begin with: its cock, his hens, and where his son goes."""

    pen: str
    cock: str
    hens: str
    son_goes: str


@dataclass(frozen=True, slots=True)
class TurnRow:
    """A generation by day."""

    number: int
    eggs_from: str
    set_on: str
    hatch_on: str
    move_on: str
    move: str


@dataclass(frozen=True, slots=True)
class AheadRow:
    """A generation's chicks: inbreeding by way."""

    number: int
    rotation: str
    one_pen: str
    closed: str


@dataclass(frozen=True, slots=True)
class PensRow:
    """So many pens: how fast inbreeding rises."""

    pens: int
    rise: str
    size: str
    until: str


@dataclass(frozen=True, slots=True)
class BloodRow:
    """New cocks every so many generations."""

    how: str
    inbreeding: str
    chicks: str
    money: str


@dataclass(frozen=True, slots=True)
class RotationPage:
    """All of it, said."""

    on: date
    summary: str
    findings: list[str]
    start: list[StartRow]
    steps: list[str]
    turns: list[TurnRow]
    ahead_says: list[str]
    ahead: list[AheadRow]
    pens_says: str
    pens: list[PensRow]
    blood_says: list[str]
    blood: list[BloodRow]
    notes: list[str]
    scheme: str

    @property
    def moves(self) -> list[str]:
        """Who moves where, once where it is the same each time."""
        if len({row.move for row in self.turns}) == 1:
            return [say("Sons move: {moves}.", moves=self.turns[0].move)]
        return [say("Round {n}: {moves}.", n=row.number, moves=row.move) for row in self.turns]

    @property
    def said(self) -> list[str]:
        """All sentences."""
        return [
            self.summary, *self.findings, *self.steps, *self.ahead_says, self.pens_says,
            *self.blood_says, *self.notes,
        ]  # fmt: skip


def asked(typed: Mapping[str, str]) -> RotationAsk:
    """What is asked, from fields as typed. Raises BadInput."""
    scheme = typed.get("scheme", "").strip()
    if scheme and scheme not in SCHEMES:
        raise BadInput(
            say("The way sons move is circular or cyclic, not {told!r}.", told=scheme[:40])
        )

    def whole(name: str, sentence: str, otherwise: int | None) -> int | None:
        found = whole_typed(typed.get(name, ""), sentence)
        return otherwise if found is None else found

    ahead = mark("The generations ahead are a whole number, not {told!r}.")
    eggs = mark("Eggs set in a generation are a whole number, not {told!r}.")
    cocks = mark("New cocks are a whole number, not {told!r}.")
    price = mark("A price is a number, not {told!r}.")
    return RotationAsk(
        whole("pens", mark("The number of pens is a whole number, not {told!r}."), None),
        whole("hens_per_cock", mark("Hens to a cock are a whole number, not {told!r}."), None),
        scheme == "cyclic",
        whole("generations", ahead, GENERATIONS) or 0,
        number_typed(
            typed.get("generation_weeks", ""),
            mark("Weeks from one generation to the next are a number, not {told!r}."),
        ),
        whole("new_cocks", cocks, 1) or 0,
        whole("every", mark("The generations between new cocks are a whole number, not {told!r}."),
              None),
        whole("eggs_set", eggs, 100) or 0,
        number_typed(typed.get("cock_price", ""), price),
        number_typed(typed.get("chick_price", ""), price),
    )  # fmt: skip


def rotation_page(flock: Flock, on: date, ask: RotationAsk) -> tuple[Rotation, RotationPage]:
    """A rotation of a flock from a day on, and the page of it. Raises BadInput."""
    found = rotation(flock, on, ask)
    currency = flock.holding.currency if flock.holding is not None else ""
    return found, RotationPage(
        on,
        _summary(found),
        _findings(found),
        _start(found),
        _steps(found),
        [_turn(turn, found) for turn in found.turns],
        _ahead_says(found),
        [
            AheadRow(
                n + 1,
                share_words(found.plain[n]),
                share_words(found.mixed[n]),
                share_words(found.closed[n]),
            )
            for n in range(ask.generations)
        ],
        _pens_says(found),
        [
            PensRow(
                one.pens,
                figure(one.rise, ".1%"),
                figure(one.effective_size, ".0f"),
                "" if one.until_strong is None else figure(one.until_strong, "d"),
            )
            for one in found.compared
        ],
        _blood_says(found, currency or ""),
        _blood(found, currency or ""),
        _notes(found),
        "cyclic" if ask.cyclic else "circular",
    )


def _summary(found: Rotation) -> str:
    return say(
        "{pens} of one cock each, sons moving on: as {size:.0f} birds mated by chance. All in one "
        "pen: as {mixed:.0f}.",
        pens=say_many("{n} pen", "{n} pens", len(found.hens)),
        size=found.effective_size,
        mixed=found.mixed_size,
    )


def _findings(found: Rotation) -> list[str]:
    """What is amiss now: cocks together, cocks past their best."""
    said = []
    if found.crowds:
        where = [
            say("{place} ({cocks})", place=crowd.place, cocks=crowd.cocks) for crowd in found.crowds
        ]
        said.append(
            say(
                "Several cocks live together in {places}: they fight, and one may father most "
                "chicks, which nobody sees. Give each his own pen.",
                places=in_a_row(where),
            )
            if len(where) > 1
            else say(
                "{cocks} cocks live together in {place}: they fight, and one may father most "
                "chicks, which nobody sees. Give each his own pen.",
                cocks=found.crowds[0].cocks,
                place=found.crowds[0].place,
            )
        )
    if found.old:
        names = in_a_row(
            bird_words((bird.name, bird.sex, bird.ringed, bird.group) for bird in found.old)
        )
        ages = [one.age_w for one in found.crowds if one.age_w is not None]
        said.append(
            say_many(
                "{n} cock is old: {names}. Past {old:.0f} weeks fertility is seen to fall; let a "
                "son replace him.",
                "{n} cocks are old: {names}. Past {old:.0f} weeks fertility is seen to fall; let "
                "sons replace them.",
                len(found.old),
                names=names,
                old=facts.value("mating.cock_old_d") / DAYS_A_WEEK,
            )
        )
        if len(found.crowds) == 1 and found.crowds[0].old == len(found.old) and ages:
            said.append(say("Their mean age is {weeks:.0f} weeks.", weeks=ages[0]))
    said.append(
        say(
            "By counts of cocks and hens alone the flock is as {now:.1f} birds today. In the long "
            "run all in one pen, parents taken by chance, stays near {mixed:.1f}; these pens, with "
            "a son for each cock and a daughter for each hen, make it {size:.1f}.",
            now=found.census_now,
            mixed=found.mixed_size,
            size=found.effective_size,
        )
    )
    return said


def _start(found: Rotation) -> list[StartRow]:
    names = [pen.pen.name for pen in found.start.pens]
    step = found.turns[0].step if found.turns else 1
    return [
        StartRow(
            pen.pen.name,
            in_a_row(bird_words([(pen.cock.name, "cock", pen.cock.ringed, pen.cock.group)])),
            in_a_row(
                bird_words(
                    (hen.bird.name, "hen", hen.bird.ringed, hen.bird.group) for hen in pen.hens
                )
            ),
            names[(at + step) % len(names)],
        )
        for at, pen in enumerate(found.start.pens)
    ]


def _steps(found: Rotation) -> list[str]:
    most, fewest = max(found.hens), min(found.hens)
    hens = (
        say_many("{n} hen", "{n} hens", most)
        if most == fewest
        else say("{fewest} or {most} hens", fewest=fewest, most=most)
    )
    return [
        say("Split them into single-cock pens: each cock gets {hens}.", hens=hens),
        say(
            "Gather and set the eggs of each pen apart, and mark chicks by pen before they mix, "
            "within a day of hatching."
        ),
        say(
            "From each pen keep one son, and a daughter of each hen as far as eggs can be told "
            "apart; else daughters of as many hens as you can."
        ),
        say(
            "Daughters stay in the pen that they hatched from. Each son moves one pen right, the "
            "last pen's to the first. The old cocks go."
        )
        if not found.ask.cyclic
        else say(
            "Daughters stay in the pen that they hatched from. Sons move one pen right the first "
            "time, two the second, three the third; the old cocks go."
        ),
    ]


def _turn(turn: Turn, found: Rotation) -> TurnRow:
    names = [pen.pen.name for pen in found.start.pens]
    moves = [
        say("{pen} to {next}", pen=pen, next=names[(at + turn.step) % len(names)])
        for at, pen in enumerate(names)
    ]
    move = moves[0]
    for each in moves[1:]:
        move = say("{first}, {rest}", first=move, rest=each)
    return TurnRow(
        turn.number,
        wording.when(turn.eggs_from, found.on),
        wording.when(turn.set_on, found.on),
        wording.when(turn.hatch_on, found.on),
        wording.when(turn.move_on, found.on),
        move,
    )


def _ahead_says(found: Rotation) -> list[str]:
    last = found.ask.generations
    said = [
        say_many(
            "In {n} generation chicks are {rotated:.0%} inbred with rotation, {mixed:.0%} all in "
            "one pen, {closed:.0%} where each pen keeps to itself.",
            "In {n} generations chicks are {rotated:.0%} inbred with rotation, {mixed:.0%} all in "
            "one pen, {closed:.0%} where each pen keeps to itself.",
            last,
            rotated=found.plain[-1],
            mixed=found.mixed[-1],
            closed=found.closed[-1],
        )
    ]
    if found.overtakes is None or found.overtakes > 1:
        said.append(
            say(
                "Rotation costs here: neighbours are kin. One pen has less inbreeding in all 40 "
                "generations looked at, if every cock there fathers alike, which they do not."
            )
            if found.overtakes is None
            else say(
                "At first rotation may cost: neighbours are kin. From generation {n} on its chicks "
                "are less inbred than those of one pen, even if every cock there fathered alike.",
                n=found.overtakes,
            )
        )
    other = found.rotated if found.ask.cyclic else found.cyclic
    if other[-1] < found.plain[-1] - _NOTABLE:
        said.append(
            say("Moving sons one pen each time comes to {share:.0%}.", share=other[-1])
            if found.ask.cyclic
            else say(
                "Moving sons one pen, then two, then three comes to {share:.0%}: better with as "
                "many pens as these, if you keep note of whose turn it is.",
                share=other[-1],
            )
        )
    return said


_NOTABLE = 0.005


def _pens_says(found: Rotation) -> str:
    hens = max(1, round(sum(found.hens) / len(found.hens)))
    rows = {one.pens: one for one in found.compared}
    return say_many(
        "How many pens? Each with a cock and {n} hen, {few} pens add {fast:.1%} a generation, "
        "{many} pens {slow:.1%}.",
        "How many pens? Each with a cock and {n} hens, {few} pens add {fast:.1%} a generation, "
        "{many} pens {slow:.1%}.",
        hens,
        few=3,
        many=6,
        fast=rows[3].rise,
        slow=rows[6].rise,
    )


def _blood_says(found: Rotation, currency: str) -> list[str]:
    if not found.new_blood:
        return []
    best = min(range(len(found.worth)), key=lambda n: abs(found.new_blood[n].every - 3))
    blood, worth = found.new_blood[best], found.worth[best]
    a_cock = worth.chicks / worth.cocks if worth.cocks else 0.0
    said = [
        say(
            "Of {eggs} eggs set a generation, new blood every {every} generations keeps about "
            "{chicks:.1f} chicks more alive ({low:.1f} to {high:.1f}, as lines differed), "
            "{each:.1f} for each new cock, on the mean of the next {ahead}.",
            eggs=found.ask.eggs_set,
            every=blood.every,
            chicks=worth.chicks,
            low=worth.chicks_low,
            high=worth.chicks_high,
            each=a_cock,
            ahead=found.ask.generations,
        )
    ]
    priced = [
        (one, each)
        for one, each in zip(found.new_blood, found.worth, strict=True)
        if each.cost is not None and each.worth is not None
    ]
    if priced:
        pays = [pair for pair in priced if (pair[1].worth or 0) > (pair[1].cost or 0)]
        if pays:
            one, each = max(pays, key=lambda pair: (pair[1].worth or 0) - (pair[1].cost or 0))
            said.append(
                say(
                    "At your prices it pays most every {every} generations: chicks worth {worth} "
                    "for cocks at {cost} a generation.",
                    every=one.every,
                    worth=wording.money(each.worth or 0.0, currency),
                    cost=wording.money(each.cost or 0.0, currency),
                )
            )
        else:
            said.append(
                say("At your prices chicks alone do not pay for new blood in these generations.")
            )
    else:
        said.append(
            say(
                "It pays where a cock, and his weeks apart, cost you less than so many chicks are "
                "worth. Tell both prices, and it is reckoned."
            )
        )
    said += [
        say(
            "Eggs from outside bring as much as cocks and less disease: hatch them apart, and take "
            "sons of theirs."
        ),
        say(
            "Birds from elsewhere bring germs: keep them apart for {days:.0f} days, with kit of "
            "their own and last on the round, and ask a vet before they meet yours.",
            days=facts.value("care.quarantine_d"),
        ),
    ]
    return said


def _blood(found: Rotation, currency: str) -> list[BloodRow]:
    return [
        BloodRow(
            say_many(
                "{cocks} each generation",
                "{cocks} every {n} generations",
                one.every,
                cocks=say_many("{n} new cock", "{n} new cocks", one.cocks),
            ),
            share_words(one.inbreeding[-1]),
            figure(worth.chicks, ".1f"),
            ""
            if worth.cost is None or worth.worth is None
            else wording.money(worth.worth - worth.cost, currency),
        )
        for one, worth in zip(found.new_blood, found.worth, strict=True)
    ]


def _notes(found: Rotation) -> list[str]:
    return [
        say(
            "These are means over all ways the young may be drawn, exact for the scheme; a real "
            "flock strays from them, the more the smaller it is."
        ),
        say(
            "The kinship of today's birds is in the generations ahead; the pens compared begin "
            "with unrelated birds."
        ),
        say(
            "{weeks:.0f} weeks from one generation to the next are reckoned with. Sons can move at "
            "{move:.0f} weeks; eggs are surely theirs {wait:.0f} days later.",
            weeks=found.ask.generation_w or facts.value("mating.generation_w"),
            move=facts.value("mating.sons_move_d") / DAYS_A_WEEK,
            wait=sure_after_d(),
        ),
        say(
            "What inbreeding costs was seen in lines of full sibs, which differed widely: where it "
            "comes slowly, less is lost. Lay and weight, lost as well, are not in the chicks."
        ),
    ]
