"""The JSON shapes of `breeding cross`, `breeding hidden` and `breeding colours`."""

from fractions import Fraction
from typing import TypedDict

from quailwright.exchange.colours_told import LocusTold
from quailwright.exchange.cross_parents import Parent
from quailwright.exchange.cross_told import CrossTold, Sexable
from quailwright.exchange.hidden_told import HiddenTold


class ParentShape(TypedDict):
    """A parent: its ring or null, its look by code, its genotype as far as it is told."""

    name: str
    ring: str | None
    look: list[str]
    genotype: str


class ChicksShape(TypedDict):
    """Odds of one look: exact as a fraction, and as numbers among cocks and hens; the range over
    what the parents may hide, null where nothing is hidden."""

    look: list[str]
    name: str
    share: float
    exact: str
    of_cocks: float
    of_hens: float
    low: float | None
    high: float | None
    published: bool


class DeathShape(TypedDict):
    """Embryos that die of a lethal genotype, as a share of all."""

    locus: str
    genotype: str
    share: float
    days: str


class SexingShape(TypedDict):
    """What colour tells of sex: `all`, `some` or `none` of the chicks; `at_hatch` as published."""

    tells: str
    cocks: list[list[str]]
    hens: list[list[str]]
    either: list[list[str]]
    unpublished: list[list[str]]
    at_hatch: bool


class CrossShape(TypedDict):
    """`breeding cross --json`."""

    cock: ParentShape
    hen: ParentShape
    loci: list[str]
    carriers: float
    recombination: float
    chicks: list[ChicksShape]
    deaths: list[DeathShape]
    hatching: float
    sexing: SexingShape
    said: list[str]


class BeliefShape(TypedDict):
    """How likely a parent has a genotype; the range as carriers are rare or common."""

    parent: str
    locus: str
    genotype: str
    chance: float
    low: float
    high: float
    hides: bool


class MoreShape(TypedDict):
    """Chicks that make it sure, none of them showing it; null where the cross cannot tell."""

    parent: str
    locus: str
    genotype: str
    share: float
    chicks: int | None


class CountShape(TypedDict):
    """Chicks counted, and how many the likeliest genotypes let expect; null where none can."""

    looks: list[list[str]]
    sex: str
    chicks: int
    expected: float | None


class HiddenShape(TypedDict):
    """`breeding hidden --json`. `fit` and `sexes_fit` are chances; null where they say nothing."""

    cock: ParentShape
    hen: ParentShape
    possible: bool
    counts: list[CountShape]
    beliefs: list[BeliefShape]
    fit: float | None
    fit_exact: bool
    sexes_fit: float | None
    more: list[MoreShape]
    said: list[str]


class LookShape(TypedDict):
    """A look of a locus, by the genotypes that make it."""

    genotypes: str
    name: str
    told: str


class LocusShape(TypedDict):
    """A locus of the table of colours."""

    locus: str
    name: str
    gene: str
    chromosome: str
    on_z: bool
    alleles: list[str]
    predicted: bool
    standing: str
    about: str
    side_effects: str
    looks: list[LookShape]
    source: str
    certainty: str


class ColoursShape(TypedDict):
    """`breeding colours --json`: the table, and crosses on hand whose chicks tell their sex."""

    loci: list[LocusShape]
    sexable: list["SexableShape"]


class SexableShape(TypedDict):
    """Cocks and hens on hand whose chicks tell their sex by colour."""

    cocks: list[str]
    hens: list[str]
    sexing: SexingShape
    said: list[str]


def cross_shape(told: CrossTold) -> CrossShape:
    """`breeding cross --json`."""
    return {
        "cock": _parent(told.cock),
        "hen": _parent(told.hen),
        "loci": list(told.codes),
        "carriers": float(told.carriers),
        "recombination": float(told.recombination),
        "chicks": [
            {
                "look": list(row.look),
                "name": row.name,
                "share": _rounded(row.chicks),
                "exact": str(row.chicks),
                "of_cocks": _rounded(row.cocks),
                "of_hens": _rounded(row.hens),
                "low": None if row.low is None else _rounded(row.low),
                "high": None if row.high is None else _rounded(row.high),
                "published": row.published,
            }
            for row in told.rows
        ],
        "deaths": [
            {
                "locus": death.lethal.locus,
                "genotype": "/".join(death.lethal.genotype),
                "share": _rounded(death.share),
                "days": death.lethal.days,
            }
            for death in told.found.deaths
        ],
        "hatching": _rounded(told.found.hatching),
        "sexing": _sexing(told),
        "said": [*told.answer, *told.deaths, *told.sexes, *told.cares, *told.notes],
    }


def hidden_shape(told: HiddenTold) -> HiddenShape:
    """`breeding hidden --json`."""
    found = told.found
    expected = {each.count: each.chicks for each in found.expected}
    return {
        "cock": _parent(told.cock),
        "hen": _parent(told.hen),
        "possible": found.possible,
        "counts": [
            {
                "looks": [list(seen) for seen in sorted(one.looks)],
                "sex": one.sex,
                "chicks": one.chicks,
                "expected": round(expected[one], 3) if one in expected else None,
            }
            for one in told.counts
        ],
        "beliefs": [
            {
                "parent": one.parent,
                "locus": one.locus,
                "genotype": "/".join(one.pair),
                "chance": round(one.chance, 6),
                "low": round(one.low, 6),
                "high": round(one.high, 6),
                "hides": one.hides,
            }
            for one in found.beliefs
        ],
        "fit": None if found.fit is None else round(found.fit, 6),
        "fit_exact": found.exact,
        "sexes_fit": None if found.sexes is None else round(found.sexes, 6),
        "more": [
            {
                "parent": one.parent,
                "locus": one.locus,
                "genotype": "/".join(one.pair),
                "share": _rounded(one.share),
                "chicks": one.chicks,
            }
            for one in found.more
        ],
        "said": [*told.answer, *told.warnings, *told.more, *told.notes],
    }


def colours_shape(table: list[LocusTold], on_hand: list[Sexable]) -> ColoursShape:
    """`breeding colours --json`."""
    return {
        "loci": [
            {
                "locus": one.locus.code,
                "name": one.name,
                "gene": one.locus.gene,
                "chromosome": one.locus.chromosome,
                "on_z": one.locus.on_z,
                "alleles": list(one.locus.alleles),
                "predicted": one.locus.predicted,
                "standing": one.locus.standing,
                "about": one.about,
                "side_effects": one.side_effects,
                "looks": [
                    {"genotypes": genotypes, "name": name, "told": told}
                    for genotypes, name, told in one.looks
                ],
                "source": one.locus.source,
                "certainty": one.locus.certainty,
            }
            for one in table
        ],
        "sexable": [
            {
                "cocks": list(one.cocks),
                "hens": list(one.hens),
                "sexing": _sexing(one),
                "said": list(one.said),
            }
            for one in on_hand
        ],
    }


def _parent(one: Parent) -> ParentShape:
    return {
        "name": one.name,
        "ring": one.ring,
        "look": list(one.told.look),
        "genotype": str(one.told.genotype or ""),
    }


def _sexing(told: CrossTold | Sexable) -> SexingShape:
    tells = told.sexing
    return {
        "tells": tells.tells,
        "cocks": [list(seen) for seen in tells.cocks],
        "hens": [list(seen) for seen in tells.hens],
        "either": [list(seen) for seen in tells.either],
        "unpublished": [list(seen) for seen in tells.unpublished],
        "at_hatch": tells.at_hatch,
    }


def _rounded(share: Fraction) -> float:
    return round(float(share), 6)
