"""The colours of ringed birds: what the record tells of their genes, by look, kin and chicks."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction

from quailwright.flock.state import Flock, RingedBird
from quailwright.husbandry.plumage.crosses import Guess
from quailwright.husbandry.plumage.genotypes import Genotype, NotAGenotype, read
from quailwright.husbandry.plumage.guesses import Loci, Sex, Told, allowed_pairs, guess, loci_of
from quailwright.husbandry.plumage.table import (
    NONE_HERE,
    Pair,
    Shown,
    look_of,
    looks_meant,
    predicted,
)

GENERATIONS = 3
"""So far back ancestors are asked for a bird's genes."""


@dataclass(frozen=True, slots=True)
class Recorded:
    """What the record tells of a ringed bird's colour.

    Attributes:
        told: its genotype and its look, as far as they are understood.
        may_be: looks that its word may mean, where it means several.
        word: its colour as the keeper wrote it.
        fault: what is wrong with its genotype, "" where nothing is.
    """

    told: Told
    may_be: tuple[str, ...] = ()
    word: str = ""
    fault: str = ""

    @property
    def known(self) -> bool:
        """Whether anything is told that can be reckoned with."""
        return self.told.genotype is not None or bool(self.told.look)


def shown_by(word: str) -> Shown:
    """The look that words name, several joined by `+`; () where one of them is none of ours."""
    found = [look_of(part) for part in word.split("+")]
    known = [look.code for look in found if look is not None]
    return tuple(known) if len(known) == len(found) else ()


def recorded(bird: RingedBird, sex: Sex | None = None) -> Recorded:
    """What the record tells of a bird's colour; `sex` is what it is taken for, its own if None."""
    genotype: Genotype | None = None
    fault = ""
    if bird.genotype:
        try:
            genotype = read(bird.genotype, sex or bird.sex)
        except NotAGenotype as error:
            fault = error.sentence
    look = shown_by(bird.plumage) if bird.plumage else ()
    may_be = tuple(one.code for one in looks_meant(bird.plumage)) if not look else ()
    return Recorded(Told(genotype, look), may_be, bird.plumage, fault)


def kin_told(flock: Flock, name: str, depth: int = GENERATIONS) -> list[Told]:
    """What is told of a ringed bird, its ancestors as far back as that, and its chicks."""
    found: list[Told] = []
    bird = flock.birds.get(name)
    if bird is None or depth < 0:
        return found
    found.append(recorded(bird).told)
    for parent in (bird.sire, bird.dam):
        if parent and parent != name:
            found += kin_told(flock, parent, depth - 1)
    if depth == GENERATIONS:
        found += [recorded(chick).told for chick in _chicks(flock, name)]
    return found


def loci_with_kin(flock: Flock, asked: Iterable[Told], names: Iterable[str]) -> Loci:
    """The loci of what is asked, and of the kin of these birds as far as they go together.

    Raises:
        NotAGenotype: what is asked does not go together.
    """
    told = list(asked)
    found = loci_of(*told)
    for name in names:
        for kin in kin_told(flock, name):
            try:
                found = loci_of(*told, kin)
            except NotAGenotype:
                continue
            told.append(kin)
    return found


def guess_of(
    flock: Flock,
    name: str,
    sex: Sex,
    codes: Loci,
    share: Fraction | None = None,
    depth: int = GENERATIONS,
    rate: Fraction = Fraction(1, 2),
) -> Guess:
    """What a ringed bird may have: by its own look and genes, its parents' and its chicks'.

    That no chick has shown an allele counts for nothing here: `hidden` weighs that.

    Args:
        codes: the loci reckoned with.
        share: of birds that hide something at a locus.
        depth: how many generations of ancestors are asked.
        rate: recombination in cocks between loci on Z.

    Raises:
        NotAGenotype: no bird can be as the record tells.
    """
    bird = flock.birds[name]
    told = of_these(recorded(bird, sex).told, codes)
    parents = None
    if depth > 0 and (bird.sire in flock.birds or bird.dam in flock.birds):
        sire = _parent(flock, bird.sire, "cock", codes, share, depth, rate)
        dam = _parent(flock, bird.dam, "hen", codes, share, depth, rate)
        parents = (sire, dam)
    return guess(told, sex, codes, share, parents, rate, _left_by_chicks(flock, bird, sex, codes))


def _parent(
    flock: Flock, name: str | None, sex: Sex, codes: Loci, share: Fraction | None,
    depth: int, rate: Fraction,
) -> Guess:  # fmt: skip
    if name is not None and name in flock.birds:
        try:
            return guess_of(flock, name, sex, codes, share, depth - 1, rate)
        except NotAGenotype:
            pass
    return guess(Told(), sex, codes, share)


def of_these(told: Told, codes: Iterable[str]) -> Told:
    """The same without loci that are not reckoned with."""
    wanted = set(codes)
    genotype = told.genotype
    if genotype is not None:
        genotype = Genotype(
            {code: pair for code, pair in genotype.pairs.items() if code in wanted},
            {code: pair for code, pair in genotype.in_phase.items() if code in wanted},
        )
    fits = told.look and set(loci_of(Told(None, told.look))) <= wanted
    return Told(genotype, told.look if fits else ())


def _chicks(flock: Flock, name: str) -> list[RingedBird]:
    return [bird for bird in flock.birds.values() if name in (bird.sire, bird.dam)]


def _left_by_chicks(
    flock: Flock, bird: RingedBird, sex: Sex, codes: Loci
) -> Mapping[str, frozenset[Pair]]:
    """Genotypes that every ringed chick of a bird can have come from, by locus."""
    known = predicted()
    left: dict[str, frozenset[Pair]] = {}
    for chick in _chicks(flock, bird.name):
        told = of_these(recorded(chick).told, codes)
        if chick.sex == "unknown" or (told.genotype is None and not told.look):
            continue
        try:
            pairs = allowed_pairs(told, chick.sex == "hen", codes)
        except NotAGenotype:
            continue
        written = told.genotype.pairs if told.genotype is not None else {}
        for code, ways in pairs.items():
            if not told.look and code not in written:
                continue  # Nothing is told of it there.
            if known[code].on_z and sex == "hen" and chick.sex == "hen":
                continue  # A hen gives her daughters no Z.
            given = {allele for pair in ways for allele in pair if allele != NONE_HERE}
            before = left.get(code, frozenset(known[code].pairs(sex == "hen")))
            left[code] = frozenset(pair for pair in before if given & set(pair))
    return left
