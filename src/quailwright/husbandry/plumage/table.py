"""The loci of plumage, their alleles, and what is seen of them: `facts/plumage/`."""

import csv
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Final, Literal, cast

from quailwright.husbandry.facts import Certainty
from quailwright.language import LANGUAGES, say, speaking

NONE_HERE: Final = "W"
"""What stands in a hen's genotype for the chromosome W, which carries none of these loci."""
WILD: Final = "wild"

Standing = Literal["settled", "disputed", "undescribed"]
Pair = tuple[str, str]
"""Two alleles, the more dominant first; a hen's at a locus on Z is (allele, `NONE_HERE`)."""


@dataclass(frozen=True, slots=True)
class Locus:
    """One row of ``loci.csv``.

    Attributes:
        code: the symbol of the locus as published, in capitals.
        alleles: the most dominant first; `wild` is one of them. Empty where it is not predicted.
        same: other symbols of its alleles in papers, with the allele that each stands for.
        on_z: whether it lies on Z, of which cocks have two and hens one.
        standing: whether the loci are settled, disputed, or described nowhere that was read.
        bare: whether its genotype may be written without its code.
        maybe: codes of loci that may be this one under another name.
    """

    code: str
    name: str
    gene: str
    chromosome: str
    on_z: bool
    alleles: tuple[str, ...]
    wild: str
    same: Mapping[str, str]
    predicted: bool
    standing: Standing
    bare: bool
    maybe: frozenset[str]
    about: str
    side_effects: str
    source: str
    certainty: Certainty
    seen: str

    def ordered(self, one: str, other: str) -> Pair:
        """The two alleles, the more dominant first, `NONE_HERE` last."""
        rank = {allele: n for n, allele in enumerate((*self.alleles, NONE_HERE))}
        return (one, other) if rank[one] <= rank[other] else (other, one)

    def pairs(self, hen: bool) -> tuple[Pair, ...]:
        """Every genotype that a bird of this sex can have here."""
        if self.on_z and hen:
            return tuple((allele, NONE_HERE) for allele in self.alleles)
        return tuple(
            (one, other) for n, one in enumerate(self.alleles) for other in self.alleles[n:]
        )


@dataclass(frozen=True, slots=True)
class Look:
    """One row of ``looks.csv``: what is seen of one locus, or of several together.

    Attributes:
        code: such as ``silver``.
        locus: whose genotypes make it; "" for wild, and for what several loci make together.
        genotypes: patterns of that locus, `*` for any allele not more dominant.
        alone: whether it is seen by itself; else only together with another.
        in_down: whether a published source says that chicks show it at hatch.
        also: other words for it.
        care: what its birds need or risk, "" for nothing told.
    """

    code: str
    name: str
    locus: str
    genotypes: tuple[Pair, ...]
    alone: bool
    in_down: bool
    also: tuple[str, ...]
    told: str
    care: str
    source: str
    certainty: Certainty
    seen: str


@dataclass(frozen=True, slots=True)
class Rule:
    """One row of ``together.csv``: of these looks, the first hides `what`, or all make it."""

    does: Literal["hides", "makes"]
    looks: frozenset[str]
    what: tuple[str, ...]
    source: str


@dataclass(frozen=True, slots=True)
class Lethal:
    """One row of ``lethals.csv``: a genotype that no chick has. `days` of incubation, or ""."""

    locus: str
    genotype: Pair
    days: str
    told: str
    source: str


def _rows(name: str) -> list[dict[str, str]]:
    table = resources.files("quailwright.husbandry.facts").joinpath(f"plumage/{name}.csv")
    return list(csv.DictReader(table.read_text("utf-8").splitlines()))


@cache
def loci() -> Mapping[str, Locus]:
    """Every locus of the table by code, those that cannot be predicted too."""
    return {line["locus"]: _locus(line) for line in _rows("loci")}


def _locus(line: dict[str, str]) -> Locus:
    same = dict(pair.split("=") for pair in line["same"].split())
    alleles = tuple(part.strip() for part in line["alleles"].split(">")) if line["alleles"] else ()
    return Locus(
        line["locus"], line["name"], line["gene"], line["chromosome"], line["carried_on"] == "Z",
        alleles, line["wild"], same, line["predicted"] == "yes", cast(Standing, line["standing"]),
        line["bare"] == "yes", frozenset(line["maybe"].split()), line["about"],
        line["side_effects"], line["source"], cast(Certainty, line["certainty"]), line["seen"],
    )  # fmt: skip


@cache
def predicted() -> Mapping[str, Locus]:
    """The loci that crosses are reckoned with, by code."""
    return {code: locus for code, locus in loci().items() if locus.predicted}


@cache
def looks() -> Mapping[str, Look]:
    """Every look of the table by code."""
    return {line["look"]: _look(line) for line in _rows("looks")}


def _look(line: dict[str, str]) -> Look:
    return Look(
        line["look"], line["name"], line["locus"],
        tuple(_pair(text) for text in line["genotypes"].split()), line["alone"] == "yes",
        line["in_down"] == "yes", tuple(filter(None, line["also"].split(";"))), line["told"],
        line["care"], line["source"], cast(Certainty, line["certainty"]), line["seen"],
    )  # fmt: skip


def _pair(text: str) -> Pair:
    one, _, other = text.partition("/")
    return one, other


@cache
def rules() -> tuple[Rule, ...]:
    """What hides what, and what looks make together."""
    made = []
    for line in _rows("together"):
        does = cast(Literal["hides", "makes"], line["does"])
        seen, what = frozenset(line["looks"].split()), tuple(line["what"].split())
        made.append(Rule(does, seen, what, line["source"]))
    return tuple(made)


@cache
def lethals() -> tuple[Lethal, ...]:
    """The genotypes that no chick has."""
    return tuple(
        Lethal(line["locus"], _pair(line["genotype"]), line["days"], line["told"], line["source"])
        for line in _rows("lethals")
    )


@cache
def words_of_several() -> Mapping[str, tuple[str, ...]]:
    """Words that keepers use for more than one look, such as white, with those looks."""
    return {line["word"]: tuple(line["looks"].split()) for line in _rows("alike")}


@cache
def looks_alike() -> tuple[frozenset[str], ...]:
    """Sets of looks that are hard to tell apart, by our own judgement of their descriptions."""
    return tuple(
        frozenset(line["looks"].split()) for line in _rows("alike") if line["alike"] == "yes"
    )


def is_lethal(locus: str, pair: Pair) -> bool:
    """Whether a bird of this genotype never hatches."""
    return any(each.locus == locus and each.genotype == pair for each in lethals())


@cache
def seen_of(locus: str, pair: Pair) -> str:
    """The look that a genotype of one locus makes, or "" where it looks wild."""
    for look in looks().values():
        if look.locus == locus and any(_fits(pair, wanted) for wanted in look.genotypes):
            return look.code
    return ""


def _fits(pair: Pair, wanted: Pair) -> bool:
    return pair[0] == wanted[0] and wanted[1] in ("*", pair[1])


Shown = tuple[str, ...]
"""What is seen of a bird: codes of looks in the order of the table; `(WILD,)` of a wild one. More
than one: no published source describes them together."""


@cache
def shown(states: frozenset[str]) -> Shown:
    """What is seen where loci show these looks: by what hides what, and what they make together."""
    left = set(states) - {""}
    for rule in rules():
        if rule.does == "hides" and rule.looks <= left:
            left -= set(rule.what)
        elif rule.does == "makes" and rule.looks <= left:
            left = (left - rule.looks) | set(rule.what)
    seen = tuple(code for code, look in looks().items() if code in left and look.alone)
    return seen or (WILD,)


def plain(text: str) -> str:
    """A word for comparing: without case, accents, hyphens and spaces too many."""
    apart = unicodedata.normalize("NFKD", text.casefold())
    bare = "".join(sign for sign in apart if not unicodedata.combining(sign))
    return " ".join(bare.replace("-", " ").replace("_", " ").split())


def look_of(word: str) -> Look | None:
    """The look that a word names in any language spoken here; None where none does."""
    return _words().get(plain(word))


def looks_meant(word: str) -> tuple[Look, ...]:
    """The looks that a word of keepers may mean, where it means several; () for no such word."""
    meant = _several().get(plain(word), ())
    return tuple(looks()[code] for code in meant)


@cache
def _words() -> Mapping[str, Look]:
    known: dict[str, Look] = {}
    for look in looks().values():
        if look.alone:
            known |= dict.fromkeys(_in_every_language((look.name, *look.also)), look)
            known[plain(look.code)] = look
    return known


@cache
def _several() -> Mapping[str, tuple[str, ...]]:
    return {
        word: meant
        for told, meant in words_of_several().items()
        for word in _in_every_language((told,))
    }


def _in_every_language(words: Iterable[str]) -> set[str]:
    said = set()
    for language in LANGUAGES:
        with speaking(language):
            said |= {plain(say(word)) for word in words}
    return said
