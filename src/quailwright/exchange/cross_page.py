"""The page of a cross: birds to choose from, the odds, and a form to count chicks by."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from quailwright.exchange.colours_told import look_choices
from quailwright.exchange.cross_parents import FIELDS, FIGURES, asked, unknown_words
from quailwright.exchange.cross_told import CrossTold, Sexable, cross_told, sexable
from quailwright.exchange.hidden_told import HiddenTold, counts_of, hidden_told
from quailwright.flock.plumage import recorded
from quailwright.flock.state import Flock, RingedBird
from quailwright.husbandry import facts
from quailwright.journal.findings import BadInput
from quailwright.language import figure, mark

__all__ = ["FIELDS", "FIGURES", "CrossPage", "cross_page"]

KINDS = {
    "chicks": mark("chicks"),
    "cocks": mark("cocks"),
    "hens": mark("hens"),
}
"""How chicks of a look are counted: of any sex, or by sex where it is seen."""


@dataclass(frozen=True, slots=True)
class CountRow:
    """A look to count chicks of, with what was typed, by `KINDS`."""

    look: str
    number: int
    typed: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class CrossPage:
    """All of it, said.

    Attributes:
        cocks, hens: names to choose from, rings first.
        on_hand: crosses of birds on hand whose chicks tell their sex.
        unknown: a ringed bird whose colour tells nothing, what to do, and the others of its word.
        untold: how many ringed birds have neither a colour nor genes written down.
        counting: rows of the form that counts chicks.
    """

    cocks: list[str]
    hens: list[str]
    on_hand: list[Sexable]
    unknown: list[tuple[str, str, list[str]]]
    untold: int
    cross: CrossTold | None = None
    counting: list[CountRow] = field(default_factory=list)
    hidden: HiddenTold | None = None
    fault: str = ""
    kinds: Mapping[str, str] = field(default_factory=lambda: KINDS)

    @property
    def usual_carriers(self) -> str:
        """The share that is guessed where none is typed."""
        return figure(facts.value("plumage.carriers"))

    @property
    def usual_recombination(self) -> str:
        """The same of recombination."""
        return figure(facts.value("plumage.recombination_al_br"))


def cross_page(flock: Flock, typed: Mapping[str, str], counted: Mapping[str, str]) -> CrossPage:
    """The page for what was typed; without a cock and a hen, only what may be chosen.

    Args:
        flock: of which birds may be chosen.
        typed: the fields of `FIELDS`.
        counted: chicks as typed, `look-1` naming the look of `chicks-1`, `cocks-1`, `hens-1`.

    Raises:
        BadInput: cock, hen or a setting is none.
    """
    rings: dict[str, list[str]] = {"cock": [], "hen": []}
    alike: dict[str, list[RingedBird]] = {}
    untold = 0
    for bird in flock.birds.values():
        if bird.left is not None:
            continue
        found = recorded(bird)
        if not found.known:
            if bird.plumage or found.fault:
                word = bird.genotype if found.fault else bird.plumage.casefold()
                alike.setdefault(word, []).append(bird)
            else:
                untold += 1
            continue
        for sex, names in rings.items():
            if bird.sex in (sex, "unknown"):
                names.append(bird.name)
    unknown = [
        (some[0].name, unknown_words(some[0], recorded(some[0])), [bird.name for bird in some[1:]])
        for some in alike.values()
    ]
    choices = look_choices()
    cocks, hens = [*rings["cock"], *choices], [*rings["hen"], *choices]
    on_hand = sexable(flock)
    if not any(typed.get(name, "").strip() for name in ("cock", "hen")):
        return CrossPage(cocks, hens, on_hand, unknown, untold)
    ask = asked(typed)
    told = cross_told(flock, ask)
    counting = _counting(told, counted)
    hidden, fault = None, ""
    texts = [
        f"{_with_sex(row.look, kind)}={number}"
        for row in counting
        for kind, number in row.typed.items()
        if row.look and number.strip() not in ("", "0")
    ]
    if texts:
        try:
            hidden = hidden_told(flock, ask, counts_of(texts))
        except BadInput as wrong:
            fault = wrong.sentence
    return CrossPage(cocks, hens, on_hand, unknown, untold, told, counting, hidden, fault)


def _with_sex(look: str, kind: str) -> str:
    return look if kind == "chicks" else f"{look} {kind}"


_SPARE = 1
"""Empty rows, for a look that was not expected."""


def _counting(told: CrossTold, counted: Mapping[str, str]) -> list[CountRow]:
    looks = [row.name for row in told.rows if len(row.look) == 1]
    number = 1
    while counted.get(f"look-{number}") is not None and number <= len(counted):
        look = counted[f"look-{number}"].strip()
        if look and look not in looks:
            looks.append(look)
        number += 1
    at = {counted.get(f"look-{n}", "").strip(): n for n in range(1, number) if counted[f"look-{n}"]}
    rows = [
        CountRow(look, n, {kind: counted.get(f"{kind}-{at.get(look, 0)}", "") for kind in KINDS})
        for n, look in enumerate(looks, 1)
    ]
    spare = [CountRow("", len(rows) + 1 + n, dict.fromkeys(KINDS, "")) for n in range(_SPARE)]
    return rows + spare
