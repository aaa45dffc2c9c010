"""What a bird may have, by what is written of it, by its look, and by its parents.

A look hides much. Where nothing is told, a bird is taken as wild at a locus, or as pure for what
it shows; one in so many (`plumage.carriers`, which the keeper may set) hides something lesser
there. What is shared so is a guess, and is told as one.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import product
from typing import Literal

from quailwright.husbandry import facts
from quailwright.husbandry.plumage.crosses import (
    HALF,
    Genes,
    Guess,
    Strand,
    Z,
    of_locus,
    parted,
    strands_given,
)
from quailwright.husbandry.plumage.genotypes import (
    ANY,
    Genotype,
    NotAGenotype,
    check_told_apart,
)
from quailwright.husbandry.plumage.table import (
    NONE_HERE,
    WILD,
    Locus,
    Pair,
    Shown,
    is_lethal,
    looks,
    predicted,
    rules,
    seen_of,
    shown,
)
from quailwright.language import say

Sex = Literal["cock", "hen"]

MOST_LOCI = 8
"""So many loci are reckoned with at once."""


@dataclass(frozen=True, slots=True)
class Told:
    """What is told of a bird: its genotype, its look, both, or neither."""

    genotype: Genotype | None = None
    look: Shown = ()


def carriers() -> Fraction:
    """The share of birds that hide something at a locus, by default."""
    return Fraction(str(facts.value("plumage.carriers")))


def loci_of_look(seen: Shown) -> frozenset[str]:
    """The loci that make a look; none of wild."""
    found: set[str] = set()
    for code in seen:
        if code == WILD:
            continue
        look = looks()[code]
        if look.locus:
            found.add(look.locus)
        else:
            found |= {
                looks()[part].locus for rule in rules() if code in rule.what
                for part in rule.looks
            }  # fmt: skip
    return frozenset(found)


Loci = Mapping[str, frozenset[str]]
"""The loci reckoned with, and at each the alleles that are in play; all else is left out."""


def loci_of(*birds: Told) -> Loci:
    """The loci that anything told of these birds speaks of, with the alleles it speaks of.

    An allele that shows nowhere is not in play, though a more dominant one might hide it. Where a
    genotype has `ANY`, every allele of its locus is.

    Raises:
        NotAGenotype: two may be one locus under two names, or there are more than `MOST_LOCI`.
    """
    found: dict[str, set[str]] = {}
    known = predicted()
    for bird in birds:
        for code in loci_of_look(bird.look):
            found.setdefault(code, {known[code].wild}).update(_alleles_of(code, bird.look))
        for code, pair in (bird.genotype.pairs if bird.genotype is not None else {}).items():
            alleles = known[code].alleles if ANY in pair else pair
            found.setdefault(code, {known[code].wild}).update(alleles)
    check_told_apart(sorted(found))
    if len(found) > MOST_LOCI:
        raise NotAGenotype(
            say(
                "{count} loci at once are too many to reckon with: write at most {most}.",
                count=len(found),
                most=MOST_LOCI,
            )
        )
    return {code: frozenset(alleles - {NONE_HERE}) for code, alleles in sorted(found.items())}


def _alleles_of(code: str, seen: Shown) -> frozenset[str]:
    """The alleles that a look needs at a locus."""
    parts = {part for rule in rules() if set(rule.what) & set(seen) and rule.does == "makes"
             for part in rule.looks} | set(seen)  # fmt: skip
    return frozenset(
        allele
        for part in parts
        if looks()[part].locus == code
        for allele in frozenset.intersection(*map(frozenset, looks()[part].genotypes)) - {"*"}
    )


def unplayed(told: Told, sex: Sex, loci: Loci) -> list[tuple[str, str, tuple[str, ...]]]:
    """What a look of this bird might hide besides what is in play: locus, its allele, those left.

    Only lesser mutants of the locus whose one mutant it shows; its genotype, where written, tells.
    """
    known = predicted()
    found = []
    for code in sorted(loci_of_look(told.look)):
        locus = known[code]
        needed = _alleles_of(code, told.look)
        if locus.on_z and sex == "hen":
            continue
        if len(needed) != 1 or (told.genotype is not None and code in told.genotype.pairs):
            continue
        (allele,) = needed
        lesser = locus.alleles[locus.alleles.index(allele) + 1 :]
        left = tuple(one for one in lesser if one not in loci[code] | {locus.wild})
        if left:
            found.append((code, allele, left))
    return found


def guess(
    told: Told,
    sex: Sex,
    codes: Loci,
    share: Fraction | None = None,
    parents: tuple[Guess, Guess] | None = None,
    rate: Fraction = HALF,
    only: Mapping[str, frozenset[Pair]] | None = None,
) -> Guess:
    """What a bird may have at these loci, with its chance.

    Args:
        told: where only a genotype is told, loci that it does not name are wild. Where nothing
            is told, any genotype may be.
        codes: the loci reckoned with, and their alleles in play.
        share: of birds that hide something at a locus; None: the table's.
        parents: what its sire and its dam may have at these loci.
        rate: recombination in its sire between loci on Z.
        only: genotypes left by what else is known of it, by locus.

    Raises:
        NotAGenotype: no bird can be as told.
    """
    apart, on_z = parted(codes)
    hen = sex == "hen"
    hides = carriers() if share is None else share
    allowed = allowed_pairs(told, hen, codes)
    for code, left in (only or {}).items():
        allowed[code] = [pair for pair in allowed[code] if pair in left] or allowed[code]
    found: dict[str, Sequence[tuple[Genes, Fraction]]] = {}
    for code in apart:
        weights = _weights(predicted()[code], allowed[code], hides)
        if parents is not None:
            weights = _handed_down(code, parents, weights)
        found[code] = _normal(weights)
    if on_z:
        strands = _strands(told, on_z, allowed, hides)
        if parents is not None:
            strands = _handed_down_on_z(parents, strands, rate)
        found[Z] = _normal(strands)
    return found


def _normal(weights: Mapping[Genes, Fraction]) -> tuple[tuple[Genes, Fraction], ...]:
    whole = sum(weights.values(), Fraction())
    return tuple((genes, weight / whole) for genes, weight in weights.items() if weight)


def allowed_pairs(told: Told, hen: bool, codes: Loci) -> dict[str, list[Pair]]:
    """Genotypes that what is told leaves, by locus. A look is a set of looks at each locus."""
    known = predicted()
    left: dict[str, list[Pair]] = {}
    written = told.genotype.pairs if told.genotype is not None else {}
    for code in codes:
        locus = known[code]
        playing = codes[code] | {NONE_HERE}
        pairs = [
            pair
            for pair in locus.pairs(hen)
            if not is_lethal(code, pair) and playing.issuperset(pair)
        ]
        if code in written:
            pairs = [pair for pair in pairs if _as_written(pair, written[code])]
        elif told.genotype is not None and not told.look:
            pairs = [pair for pair in pairs if set(pair) <= {locus.wild, NONE_HERE}]
        if not pairs:
            raise NotAGenotype(
                say("Locus {locus} lies on Z: a cock has two copies, a hen one and W.", locus=code)
            )
        left[code] = pairs
    if not told.look:
        return left
    states = {code: {seen_of(code, pair) for pair in pairs} for code, pairs in left.items()}
    fits: dict[str, set[str]] = {code: set() for code in codes}
    for made in product(*(sorted(states[code]) for code in codes)):
        if shown(frozenset(made) - {""}) == told.look:
            for code, state in zip(codes, made, strict=True):
                fits[code].add(state)
    left = {
        code: [pair for pair in pairs if seen_of(code, pair) in fits[code]]
        for code, pairs in left.items()
    }
    if not all(left.values()):
        raise NotAGenotype(say("No bird of these genes looks so."))
    return left


def _as_written(pair: Pair, written: Pair) -> bool:
    one, other = written
    if other == ANY:
        return one in pair or one == ANY
    return pair == written


def _weights(locus: Locus, pairs: Sequence[Pair], hides: Fraction) -> dict[Genes, Fraction]:
    """How likely each genotype is before anything is known of the bird's kin.

    Where the bird may be wild here, it is, but for the share that hides something. Else it is
    what it shows, from one parent or from both, but for the share that hides a lesser mutant. Two
    mutants are rarer than one by that share again.
    """
    first = plainest(locus, pairs)
    rest = [pair for pair in pairs if pair not in first]
    if not first or not rest:
        return {pair: Fraction(1, len(pairs)) for pair in pairs}
    rare = {pair: hides ** len(set(pair) - {locus.wild, NONE_HERE}) for pair in rest}
    whole = sum(rare.values(), Fraction())
    found: dict[Genes, Fraction] = dict.fromkeys(first, (1 - hides) / len(first))
    return found | {pair: hides * each / whole for pair, each in rare.items()}


def plainest(locus: Locus, pairs: Sequence[Pair]) -> list[Pair]:
    """Of these genotypes the wild one; else those with one mutant allele, once or twice."""
    wild = [pair for pair in pairs if set(pair) <= {locus.wild, NONE_HERE}]
    return wild or [pair for pair in pairs if len(set(pair) - {locus.wild, NONE_HERE}) == 1]


def _strands(
    told: Told, on_z: Sequence[str], allowed: Mapping[str, Sequence[Pair]], hides: Fraction
) -> dict[Genes, Fraction]:
    """As `_weights`, of loci on Z together: which copies lie together is told, or either way."""
    known = predicted()
    by_locus = [_weights(known[code], allowed[code], hides) for code in on_z]
    in_phase = told.genotype.in_phase if told.genotype is not None else {}
    found: dict[Genes, Fraction] = {}
    for pairs in product(*(weights.items() for weights in by_locus)):
        weight = Fraction(1)
        for _, chance in pairs:
            weight *= chance
        genes: list[Pair] = [pair for pair, _ in pairs]
        ways = _phases(on_z, genes, in_phase)
        for strands in ways:
            found[strands] = found.get(strands, Fraction()) + weight / len(ways)
    return found


def _phases(
    on_z: Sequence[str], genes: Sequence[Pair], in_phase: Mapping[str, Pair]
) -> list[tuple[Strand, ...]]:
    if genes[0][1] == NONE_HERE:
        return [(tuple(pair[0] for pair in genes),)]
    either = [
        [in_phase[code]] if code in in_phase and ANY not in in_phase[code]
        else sorted({pair, (pair[1], pair[0])})
        for code, pair in zip(on_z, genes, strict=True)
    ]  # fmt: skip
    found = {
        tuple(sorted((tuple(p[0] for p in way), tuple(p[1] for p in way))))
        for way in product(*either)
    }
    return sorted(found)


def _handed_down(
    code: str, parents: tuple[Guess, Guess], weights: dict[Genes, Fraction]
) -> dict[Genes, Fraction]:
    """What of these the parents hand down, and how often; as it was where they cannot."""
    found: dict[Genes, Fraction] = {}
    for (cock, first), (hen, second) in product(parents[0][code], parents[1][code]):
        for pair, share in of_locus(code, cock, hen).items():
            if pair in weights:
                found[pair] = found.get(pair, Fraction()) + first * second * share
    return found or weights


def _handed_down_on_z(
    parents: tuple[Guess, Guess], weights: dict[Genes, Fraction], rate: Fraction
) -> dict[Genes, Fraction]:
    found: dict[Genes, Fraction] = {}
    for (cock, first), (hen, second) in product(parents[0][Z], parents[1][Z]):
        for strand, share in strands_given(cock, rate).items():
            for strands in ((strand,), tuple(sorted((strand, hen[0])))):
                if strands in weights:
                    found[strands] = found.get(strands, Fraction()) + first * second * share
    return found or weights


def pairs_of(unit: str, genes: Genes, on_z: Sequence[str]) -> dict[str, Pair]:
    """The genotype of each locus of a unit."""
    if unit != Z:
        return {unit: genes}
    known = predicted()
    if len(genes) == 1:
        return {code: (genes[0][n], NONE_HERE) for n, code in enumerate(on_z)}
    return {code: known[code].ordered(genes[0][n], genes[1][n]) for n, code in enumerate(on_z)}
