"""Ingredients of feed: what they hold, how much of them a ration may hold, and their cautions."""

import csv
import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Final

from quailwright.husbandry.facts import Certainty
from quailwright.husbandry.feeding import Stage
from quailwright.husbandry.nutrients import NUTRIENTS

STAGES: Final[tuple[Stage, ...]] = ("starter", "grower", "layer")
BY_THE_GRAM: Final = ("mineral", "amino acid", "premix", "fat")
"""Categories that are weighed on a gram scale: small parts, and oil, which nobody scoops."""


@dataclass(frozen=True, slots=True)
class Ingredient:
    """One row of ``facts/feed/ingredients.csv``.

    Attributes:
        code, name: the name in English.
        dry_matter_pct: of the ingredient as fed [%].
        composition: by nutrient code, as fed, in the nutrient's unit.
        most: share of a ration that it may make at most [%], by stage.
        protein_cv: spread of its protein between lots, standard deviation over mean.
        spread_certainty: of `protein_cv`; "" where it does not spread.
        caution: a sentence in English, "" for none.
        source, certainty, seen: of the composition.
    """

    code: str
    name: str
    category: str
    dry_matter_pct: float
    composition: Mapping[str, float]
    most: Mapping[Stage, float]
    protein_cv: float
    spread_source: str
    spread_certainty: str
    spread_seen: str
    caution: str
    source: str
    certainty: Certainty
    seen: str

    def cite(self) -> str:
        """Where its composition comes from, on one line."""
        return f"{self.code}. Source: {self.source}. Certainty: {self.certainty} ({self.seen})."


@cache
def ingredients() -> Mapping[str, Ingredient]:
    """Every ingredient of the table, by code."""
    table = resources.files("quailwright.husbandry.facts").joinpath("feed/ingredients.csv")
    rows = csv.DictReader(table.read_text("utf-8").splitlines())
    return {line["ingredient"]: _ingredient(line) for line in rows}


def _ingredient(line: dict[str, str]) -> Ingredient:
    certainties: Mapping[str, Certainty] = {
        "published": "published",
        "from memory": "from memory",
        "inferred": "inferred",
    }
    return Ingredient(
        line["ingredient"],
        line["name"],
        line["category"],
        float(line["dry_matter"]),
        {code: float(line[code]) for code in NUTRIENTS if line.get(code)},
        {stage: float(line[f"most_{stage}"]) for stage in STAGES},
        float(line["protein_cv"]),
        line["spread_source"],
        line["spread_certainty"],
        line["spread_seen"],
        line["caution"],
        line["source"],
        certainties[line["certainty"]],
        line["seen"],
    )


_MEDICINES: Final = (
    "amprolium", "antibiotic", "antibiotico", "antibiótico", "bacitracin", "chlortetracycline",
    "coccidi", "decoquinate", "diclazuril", "doxycycline", "enrofloxacin",
    "ethopabate", "erythromycin", "fenbendazole", "flubendazole", "ivermectin", "lasalocid",
    "levamisole", "maduramicin", "medicad", "medicament", "medicat", "medicine",
    "metronidazole", "monensin", "narasin", "nicarbazin",
    "oxytetracycline", "robenidine", "salinomycin", "semduramicin", "sulfa", "sulpha",
    "tetracycline", "tiamulin", "toltrazuril", "tylosin", "wormer", "zoalene",
)  # fmt: skip
"""Words by which a medicine is known; no dose of any stands anywhere here."""
_NO_MEDICINE: Final = re.compile(
    r"sul(?:f|ph)at\w*"
    r"|\b(?:un|non|no|not|without|não|nao|sem)[\s_-]*(?:antibi|coccidi|medic)\w*"
    r"|\b(?:antibi|coccidi|medic)\w*[\s_-]+free\b"
)
"""Sulfates are salts, and unmedicated feed says so."""
_MOULDS: Final = ("mould", "mold", "mofad", "mofo", "bolor", "embolor")
_LAYERS: Final = frozenset(
    (
        "breeder",
        "breeders",
        "galinha",
        "galinhas",
        "hen",
        "hens",
        "lay",
        "layer",
        "layers",
        "laying",
        "poedeira",
        "poedeiras",
        "postura",
    )
)


def is_medicine(name: str) -> bool:
    """Whether a name is that of a medicine, or of a feed with one in it."""
    low = _NO_MEDICINE.sub(" ", name.lower())
    return any(word in low for word in _MEDICINES)


_SHELLS: Final = frozenset(
    ("oyster", "oysters", "oystershell", "shell", "shells", "seashell", "seashells", "eggshell",
     "eggshells", "ostra", "ostras", "concha", "conchas")
)  # fmt: skip


def is_shell(name: str) -> bool:
    """Whether a name is that of oyster shell or the like, which chicks never get."""
    return not _SHELLS.isdisjoint(_words(name))


def is_mouldy(name: str) -> bool:
    """Whether a name says that it is mouldy, which no bird gets, however thinned."""
    return any(word.startswith(_MOULDS) for word in _words(name))


def is_layer_feed(name: str) -> bool:
    """Whether a name is that of a feed for hens in lay, rich in calcium."""
    return not _LAYERS.isdisjoint(_words(name))


def _words(name: str) -> list[str]:
    return re.findall(r"[^\W_]+", name.casefold())
