"""What parents hide, learnt from the looks of their chicks; and how many chicks make it sure."""

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import product
from typing import Final, Literal

from quailwright.husbandry import facts
from quailwright.husbandry.plumage.crosses import Genes, Odds, by_sex, parted, recombination
from quailwright.husbandry.plumage.genotypes import NotAGenotype
from quailwright.husbandry.plumage.guesses import Loci, Told, carriers, guess, pairs_of, plainest
from quailwright.husbandry.plumage.table import NONE_HERE, Pair, Shown, predicted
from quailwright.language import say

MOST_PAIRS: Final = 8_000
"""So many pairs of genotypes are weighed at most: some seconds of work."""

SexOfChicks = Literal["cock", "hen", ""]


@dataclass(frozen=True, slots=True)
class Count:
    """Chicks counted of one look, or of one of several: of a sex, or of a sex not told ("")."""

    looks: frozenset[Shown]
    chicks: int
    sex: SexOfChicks = ""


@dataclass(frozen=True, slots=True)
class Belief:
    """How likely a parent has a genotype at a locus.

    Attributes:
        chance: with the share of carriers as given; `low`, `high`: as carriers are rare or common
            (the range of ``plumage.carriers``).
        hides: whether it hides something that the plainest genotype there does not.
    """

    parent: Literal["cock", "hen"]
    locus: str
    pair: Pair
    chance: float
    low: float
    high: float
    hides: bool


@dataclass(frozen=True, slots=True)
class More:
    """How many further chicks tell whether a parent hides an allele, in this same cross.

    `share` of the chicks would show it, were it there; 0 where this cross cannot tell.
    """

    parent: Literal["cock", "hen"]
    locus: str
    pair: Pair
    share: Fraction
    chicks: int | None


@dataclass(frozen=True, slots=True)
class Expected:
    """Chicks of one count, and how many the likeliest genotypes let expect.

    Those whose sex was told are expected among such, the others among the others.
    """

    count: Count
    chicks: float


@dataclass(frozen=True, slots=True)
class Hidden:
    """What counts of chicks tell of their parents.

    Attributes:
        possible: whether any genotypes that the parents may have explain every chick.
        beliefs: the likeliest first, parent by parent and locus by locus, where there is a choice.
        expected: by the likeliest genotypes.
        fit: chance of counts so unlike what was expected, or unlikelier, by the likeliest
            genotypes; None for none. `exact`: by every outcome; else by chi-square.
        sexes: the same of cocks to hens among the chicks whose sex is told.
        more: where the beliefs are not sure yet.
        odd: counts that no genotypes can make.
    """

    possible: bool
    beliefs: tuple[Belief, ...]
    expected: tuple[Expected, ...]
    fit: float | None
    exact: bool
    sexes: float | None
    more: tuple[More, ...]
    odd: tuple[Count, ...]


_Bird = Mapping[str, Genes]


@dataclass(frozen=True, slots=True)
class _Pairing:
    cock: _Bird
    hen: _Bird
    sons: Odds
    daughters: Odds
    ways: Fraction

    def chance(self, count: Count) -> Fraction:
        """Of one chick: that it has this look, and this sex where it is told."""
        sides = {"cock": (self.sons,), "hen": (self.daughters,)}.get(
            count.sex, (self.sons, self.daughters)
        )
        half = Fraction(1, 2)
        return sum(
            (side.get(seen, Fraction()) * half for side in sides for seen in count.looks),
            Fraction(),
        )


def hidden(
    cock: Told,
    hen: Told,
    counts: Sequence[Count],
    codes: Loci,
    share: Fraction | None = None,
    rate: Fraction | None = None,
) -> Hidden:
    """The genotypes of two parents, by Bayes' rule over every pair that fits what is told of them.

    Chicks are taken as independent of one another, each as likely counted as any other that
    hatched; the chance of the counts is multinomial.

    Args:
        cock, hen: what is told of each.
        counts: of chicks that hatched, by look.
        codes: the loci reckoned with, and their alleles in play.
        share: of birds that hide something at a locus; None: the table's.
        rate: recombination between loci on Z in cocks; None: the table's.

    Raises:
        NotAGenotype: no bird can be as told, or there are too many possibilities.
    """
    _, on_z = parted(codes)
    rate = recombination() if rate is None else rate
    share = carriers() if share is None else share
    pairings = _pairings(cock, hen, codes, share, rate)
    counts = [one for one in counts if one.chicks]
    logs = [_log_chance(pairing, counts) for pairing in pairings]
    if all(log == -math.inf for log in logs):
        odd = tuple(one for one in counts if not any(pairing.chance(one) for pairing in pairings))
        return Hidden(False, (), (), None, False, _even_sexes(counts), (), odd)
    given = [math.log(pairing.ways) for pairing in pairings]
    chances = _posterior(logs, given)
    seen = facts.figure("plumage.carriers")
    bounds = [
        _posterior(logs, _prior_logs(pairings, cock, hen, codes, Fraction(str(bound))))
        for bound in (seen.low, seen.high)
        if bound is not None
    ]
    beliefs = _beliefs(pairings, chances, bounds, on_z)
    best = pairings[max(range(len(chances)), key=chances.__getitem__)]
    fit, exact = _fit(counts, best) if counts else (None, False)
    alike: dict[bool, int] = defaultdict(int)
    for one in counts:
        alike[bool(one.sex)] += one.chicks
    expected = tuple(
        Expected(one, float(best.chance(one)) * alike[bool(one.sex)]) for one in counts
    )
    return Hidden(
        True, beliefs, expected, fit, exact, _even_sexes(counts),
        _more(pairings, beliefs, on_z), (),
    )  # fmt: skip


def _fit(counts: Sequence[Count], best: _Pairing) -> tuple[float, bool]:
    """How the likeliest genotypes fit the looks of chicks, sexed or not."""
    sums: dict[frozenset[Shown], int] = defaultdict(int)
    for one in counts:
        sums[one.looks] += one.chicks
    shares = [best.chance(Count(seen, 0)) for seen in sums]
    return fit_of(list(sums.values()), shares)


def _pairings(
    cock: Told, hen: Told, codes: Loci, share: Fraction, rate: Fraction
) -> list[_Pairing]:
    _, on_z = parted(codes)
    of_cock, of_hen = guess(cock, "cock", codes, share), guess(hen, "hen", codes, share)
    units = list(of_cock)
    number = math.prod(len(of_cock[unit]) * len(of_hen[unit]) for unit in units)
    if number > MOST_PAIRS:
        raise NotAGenotype(
            say(
                "The parents may be {number:,} pairs of genotypes, and at most {most:,} are "
                "weighed: write what you know of their genes, or count fewer colours at once.",
                number=number,
                most=MOST_PAIRS,
            )
        )  # fmt: skip
    made = []
    for first in product(*(of_cock[unit] for unit in units)):
        for second in product(*(of_hen[unit] for unit in units)):
            ways = math.prod((chance for _, chance in (*first, *second)), start=Fraction(1))
            a = {unit: genes for unit, (genes, _) in zip(units, first, strict=True)}
            b = {unit: genes for unit, (genes, _) in zip(units, second, strict=True)}
            made.append(_Pairing(a, b, *by_sex(a, b, on_z, rate), ways))
    return made


def _log_chance(pairing: _Pairing, counts: Sequence[Count]) -> float:
    total = 0.0
    for one in counts:
        chance = pairing.chance(one)
        if not chance:
            return -math.inf
        total += one.chicks * math.log(chance)
    return total


def _posterior(logs: Sequence[float], given: Sequence[float]) -> list[float]:
    both = [log + before for log, before in zip(logs, given, strict=True)]
    most = max(both)
    weights = [math.exp(each - most) for each in both]
    whole = sum(weights)
    return [weight / whole for weight in weights]


def _prior_logs(
    pairings: Sequence[_Pairing], cock: Told, hen: Told, codes: Loci, share: Fraction
) -> list[float]:
    """The same pairings' chances before the chicks, with another share of carriers."""
    of_cock, of_hen = guess(cock, "cock", codes, share), guess(hen, "hen", codes, share)
    known = [{unit: dict(ways) for unit, ways in one.items()} for one in (of_cock, of_hen)]
    return [
        sum(
            math.log(side[unit][genes])
            for side, bird in zip(known, (pairing.cock, pairing.hen), strict=True)
            for unit, genes in bird.items()
        )
        for pairing in pairings
    ]


def _beliefs(
    pairings: Sequence[_Pairing], chances: Sequence[float], bounds: Sequence[Sequence[float]],
    on_z: Sequence[str],
) -> tuple[Belief, ...]:  # fmt: skip
    found: dict[tuple[Literal["cock", "hen"], str], dict[Pair, list[float]]] = {}
    series = (chances, *bounds)
    sides: tuple[Literal["cock", "hen"], ...] = ("cock", "hen")
    for at, pairing in enumerate(pairings):
        for parent, bird in zip(sides, (pairing.cock, pairing.hen), strict=True):
            for unit, genes in bird.items():
                for code, pair in pairs_of(unit, genes, on_z).items():
                    known = found.setdefault((parent, code), {})
                    sums = known.setdefault(pair, [0.0] * len(series))
                    for n, each in enumerate(series):
                        sums[n] += each[at]
    made = []
    for (parent, code), pairs in found.items():
        if len(pairs) == 1:
            continue
        for pair, sums in sorted(pairs.items(), key=lambda one: -one[1][0]):
            made.append(
                Belief(
                    parent,
                    code,
                    pair,
                    sums[0],
                    min(sums),
                    max(sums),
                    _hides(code, pair, list(pairs)),
                )
            )
    return tuple(made)


def _hides(code: str, pair: Pair, among: Sequence[Pair]) -> bool:
    """Whether a genotype has an allele that its bird need not have, by its look."""
    first = plainest(predicted()[code], among)
    pure = [one for one in first if one[0] == one[1] or one[1] == NONE_HERE]
    return pair not in (pure or first)


def chicks_needed(share: Fraction | float, sure: float | None = None) -> int:
    """How many chicks make it sure that one in so many would have shown by now.

    With a share p of chicks that would show it, none of n shows it by chance (1 - p)^n.

    Args:
        share: above 0, to 1.
        sure: 0 to 1; None: ``plumage.sure``.

    Raises:
        ValueError: the share is out of range.
    """
    if not 0 < share <= 1:
        raise ValueError(f"a share of {share} shows in no number of chicks")
    wanted = facts.value("plumage.sure") if sure is None else sure
    if share == 1:
        return 1
    return math.ceil(math.log(1 - wanted) / math.log(1 - float(share)))


def _more(
    pairings: Sequence[_Pairing], beliefs: Sequence[Belief], on_z: Sequence[str]
) -> tuple[More, ...]:
    """For each genotype that may hide something and is not settled: chicks of this cross."""
    sure = facts.value("plumage.sure")
    made = []
    for belief in beliefs:
        if not belief.hides or not 0 < belief.chance < sure:
            continue
        share = _telling(pairings, belief, on_z)
        needed = chicks_needed(share) if share else None
        made.append(More(belief.parent, belief.locus, belief.pair, share, needed))
    return tuple(made)


def _telling(pairings: Sequence[_Pairing], belief: Belief, on_z: Sequence[str]) -> Fraction:
    """The share of chicks that only a parent with the hidden allele can have.

    The partner and all else are as in the pairing that would show the most.
    """
    pairs = [_pair_at(pairing, belief, on_z) for pairing in pairings]
    among = list(dict.fromkeys(pairs))
    without: set[Shown] = set()
    for pairing, pair in zip(pairings, pairs, strict=True):
        if not _hides(belief.locus, pair, among):
            without |= set(pairing.sons) | set(pairing.daughters)
    shares = [
        sum(
            (
                chance / 2
                for side in (pairing.sons, pairing.daughters)
                for seen, chance in side.items()
                if seen not in without
            ),
            Fraction(),
        )
        for pairing, pair in zip(pairings, pairs, strict=True)
        if pair == belief.pair and without
    ]
    return max(shares, default=Fraction())


def _pair_at(pairing: _Pairing, belief: Belief, on_z: Sequence[str]) -> Pair:
    bird = pairing.cock if belief.parent == "cock" else pairing.hen
    for unit, genes in bird.items():
        found = pairs_of(unit, genes, on_z)
        if belief.locus in found:
            return found[belief.locus]
    raise KeyError(belief.locus)


_MOST_OUTCOMES: Final = 20_000


def fit_of(counts: Sequence[int], shares: Sequence[Fraction | float]) -> tuple[float, bool]:
    """The chance of counts as unlikely as these or unlikelier, and whether it is exact.

    Exact where the outcomes are few: the sum over those no likelier than the one seen (exact
    multinomial test). Else Pearson's chi-square.

    Args:
        counts: k whole numbers, at least one above 0.
        shares: k chances that sum to 1, or to less where some outcome was not counted.
    """
    number = sum(counts)
    chances = [float(share) for share in shares]
    rest = 1 - sum(chances)
    seen = list(counts)
    if rest > 1e-9:
        chances.append(rest)
        seen.append(0)
    if len(chances) == 1:
        return 1.0, True
    if math.comb(number + len(chances) - 1, len(chances) - 1) <= _MOST_OUTCOMES:
        return _exact(seen, chances), True
    # Half a second to import, and only for many chicks of many looks.
    from scipy.special import gammaincc  # type: ignore[import-untyped]

    chi2 = sum(
        (count - number * chance) ** 2 / (number * chance)
        for count, chance in zip(seen, chances, strict=True)
    )
    return float(gammaincc((len(chances) - 1) / 2, chi2 / 2)), False


def _exact(seen: Sequence[int], chances: Sequence[float]) -> float:
    number = sum(seen)
    logs = [math.log(chance) for chance in chances]
    factorials = [math.lgamma(n + 1) for n in range(number + 1)]

    def log_of(outcome: Sequence[int]) -> float:
        return factorials[number] + sum(
            count * log - factorials[count] for count, log in zip(outcome, logs, strict=True)
        )

    limit = log_of(seen) + 1e-9
    total = 0.0
    for outcome in _outcomes(number, len(chances)):
        log = log_of(outcome)
        if log <= limit:
            total += math.exp(log)
    return min(1.0, total)


def _outcomes(number: int, kinds: int) -> Iterable[tuple[int, ...]]:
    if kinds == 1:
        yield (number,)
        return
    for first in range(number + 1):
        for rest in _outcomes(number - first, kinds - 1):
            yield (first, *rest)


def _even_sexes(counts: Sequence[Count]) -> float | None:
    """The chance of cocks and hens so uneven, were they even; None where no sex is told."""
    sums: dict[str, int] = defaultdict(int)
    for one in counts:
        sums[one.sex] += one.chicks
    cocks, hens = sums["cock"], sums["hen"]
    if not cocks + hens:
        return None
    return fit_of([cocks, hens], [Fraction(1, 2)] * 2)[0]
