"""Genotypes as keepers write them: ``B/+ E/E``, ``AL: C/A``, a hen's one copy ``C/W``."""

import re
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Final

from quailwright.husbandry.plumage.table import (
    NONE_HERE,
    Locus,
    Pair,
    is_lethal,
    predicted,
)
from quailwright.language import say

ANY: Final = "?"
"""An allele that is not known, as in ``lav/?``."""


class NotAGenotype(ValueError):
    """What is written is no genotype: the sentence says what is allowed."""

    @property
    def sentence(self) -> str:
        """What is wrong, and what is allowed."""
        return str(self.args[0])


@dataclass(frozen=True, slots=True)
class Genotype:
    """What is written of a bird's alleles.

    Attributes:
        pairs: by locus. `ANY` stands for an allele that is not known.
        in_phase: loci on Z of which it is known which copies lie together: the first ones of
            each, as written (by ``|``).
    """

    pairs: Mapping[str, Pair] = field(default_factory=dict)
    in_phase: Mapping[str, Pair] = field(default_factory=dict)

    def __str__(self) -> str:
        return " ".join(spelled(code, pair) for code, pair in self.pairs.items())


def spelled(code: str, pair: Pair) -> str:
    """One locus as it is read back: ``E/+``, or with its code where the alleles do not tell."""
    text = f"{pair[0]}/{pair[1]}"
    return text if [locus.code for locus in _meant(*pair)] == [code] else f"{code}: {text}"


_SEPARATORS: Final = re.compile(r"[,;\s]+")
_PART: Final = re.compile(
    r"(?:(?P<code>[^\W_]\w*)\s*[:*]\s*)?(?P<one>[\w+?-]+)\s*(?P<sign>[/|])\s*"
    r"(?:[^\W_]\w*\*)?(?P<other>[\w+?-]+)(?=[,;\s]|$)"
)


def read(text: str, sex: str = "unknown") -> Genotype:
    """What a genotype says.

    Args:
        text: loci one after another, parted by spaces, commas or semicolons.
        sex: `cock`, `hen` or `unknown`. A hen has one copy of a locus on Z, and W in place of the
            other.

    Raises:
        NotAGenotype: with a sentence that names the locus, the allele and what is allowed.
    """
    told = unicodedata.normalize("NFKC", text).replace("\N{MINUS SIGN}", "-").strip()
    pairs: dict[str, Pair] = {}
    in_phase: dict[str, Pair] = {}
    at = 0
    while at < len(told):
        part = _PART.match(told, at)
        if part is None:
            wrong = _SEPARATORS.split(told[at:])[0]
            raise NotAGenotype(
                say(
                    "{written!r} is no genotype: write two alleles with a stroke between them, "
                    "such as B/+ or AL: C/A; a hen's one copy of a locus on Z as AL: C/W.",
                    written=wrong,
                )
            )  # fmt: skip
        locus = _locus(part["code"], part["one"], part["other"])
        one, other = (_allele(locus, part[name]) for name in ("one", "other"))
        _check_sex(locus, one, other, sex)
        if locus.code in pairs:
            raise NotAGenotype(
                say("Locus {locus} is written twice: write it once.", locus=locus.code)
            )
        if part["sign"] == "|" and locus.on_z and NONE_HERE not in (one, other):
            in_phase[locus.code] = (one, other)
        pairs[locus.code] = _ordered(locus, one, other)
        if is_lethal(locus.code, pairs[locus.code]):
            raise NotAGenotype(
                say(
                    "No bird is {written} at locus {locus} ({name}): such chicks die before they "
                    "hatch.",
                    written=f"{one}/{other}",
                    locus=locus.code,
                    name=say(locus.name),
                )
            )
        at = part.end()
        while at < len(told) and _SEPARATORS.match(told[at]):
            at += 1
    check_told_apart(pairs)
    return Genotype(pairs, in_phase)


def is_like_genotype(text: str) -> bool:
    """Whether a text is meant as a genotype, right or wrong, and not as the name of a colour."""
    return "/" in text or "|" in text


def _ordered(locus: Locus, one: str, other: str) -> Pair:
    if ANY in (one, other):
        return (other, one) if one == ANY else (one, other)
    return locus.ordered(one, other)


def _locus(code: str | None, one: str, other: str) -> Locus:
    known = predicted()
    if code is not None:
        by_fold = {each.casefold(): locus for each, locus in known.items()}
        if code.casefold() not in by_fold:
            raise NotAGenotype(
                say(
                    "There is no locus {code!r} that can be predicted. There are {loci}.",
                    code=code,
                    loci=", ".join(known),
                )
            )
        return by_fold[code.casefold()]
    meant = _meant(one, other)
    if len(meant) == 1:
        return meant[0]
    written = f"{one}/{other}"
    if meant:
        raise NotAGenotype(
            say(
                "{written} may be of more than one locus. Write the locus before it: {ways}.",
                written=written,
                ways=", ".join(f"{locus.code}: {written}" for locus in meant),
            )
        )
    raise NotAGenotype(
        say(
            "No locus has the alleles {written}. There are {loci}. The stock's own form is + or N.",
            written=written,
            loci="; ".join(
                f"{locus.code}: {', '.join(locus.alleles)}"
                for locus in known.values()
                if locus.bare
            ),
        )
    )


def _meant(one: str, other: str) -> list[Locus]:
    """The loci that have both alleles, and may be written without their code."""
    return [
        locus
        for locus in predicted().values()
        if locus.bare and all(_has(locus, each, bare=True) for each in (one, other))
        and not {one, other} <= {ANY, NONE_HERE}
    ]  # fmt: skip


def _has(locus: Locus, written: str, bare: bool = False) -> str:
    """The locus's allele that is written so, or ""."""
    if written == ANY:
        return ANY
    if locus.on_z and written in (NONE_HERE, NONE_HERE.lower(), "-"):
        return NONE_HERE
    names = {allele: allele for allele in locus.alleles} | dict(locus.same)
    if written in names:
        return names[written]
    if written == "+" and not bare:
        return locus.wild
    folded = [name for name in names if name.casefold() == written.casefold()]
    return names[folded[0]] if len(folded) == 1 else ""


def _allele(locus: Locus, written: str) -> str:
    found = _has(locus, written)
    if found:
        return found
    raise NotAGenotype(
        say(
            "Locus {locus} ({name}) has no allele {written!r}. It has {alleles}.",
            locus=locus.code,
            name=say(locus.name),
            written=written,
            alleles=", ".join(locus.alleles),
        )
    )


def _check_sex(locus: Locus, one: str, other: str, sex: str) -> None:
    has_w = [one, other].count(NONE_HERE)
    if has_w == 2:
        raise NotAGenotype(
            say("Locus {locus}: a bird has at least one copy besides W.", locus=locus.code)
        )
    if locus.on_z and sex == "hen" and not has_w:
        raise NotAGenotype(
            say(
                "Locus {locus} lies on Z, and a hen has one Z: write one allele and W, such as "
                "{locus}: {example}/W.",
                locus=locus.code,
                example=one if one != ANY else locus.wild,
            )
        )
    if sex == "cock" and has_w:
        raise NotAGenotype(
            say(
                "Locus {locus}: a cock has two Z and no W. Write two alleles of {alleles}.",
                locus=locus.code,
                alleles=", ".join(locus.alleles),
            )
        )


def check_told_apart(codes: Iterable[str]) -> None:
    """Raises NotAGenotype where two of these loci may be one under two names."""
    known = predicted()
    told = list(codes)
    for n, code in enumerate(told):
        for other in told[n + 1 :]:
            if other in known[code].maybe or code in known[other].maybe:
                raise NotAGenotype(
                    say(
                        "{one} ({one_name}) and {other} ({other_name}) may be one locus under two "
                        "names, which nobody has settled: a cross with both cannot be predicted.",
                        one=code,
                        one_name=say(known[code].name),
                        other=other,
                        other_name=say(known[other].name),
                    )
                )
