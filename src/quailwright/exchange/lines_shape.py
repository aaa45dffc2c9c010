"""The JSON shapes of `breeding inbreeding`, `kinship`, `lines` and `family`."""

from typing import Any, TypedDict

from quailwright.exchange.family_page import Family, Node
from quailwright.exchange.lines_page import InbredRow, KinRow, LinesPage
from quailwright.flock.breeding import Breeding

_PLACES = 6


class BirdInbreeding(TypedDict):
    """One of `breeding inbreeding --json`: a ringed bird, and its inbreeding from 0 to 1."""

    bird: str
    inbreeding: float


class BirdKinship(TypedDict):
    """One of `breeding kinship --json`: a ringed bird, and its kinship with others by ring."""

    bird: str
    kinship: dict[str, float]


class LinesShape(TypedDict):
    """`breeding lines --json`."""

    as_of: str
    cocks: int
    hens: int
    effective_size: float | None
    rise_per_generation: float | None
    chicks_inbreeding: float | None
    pens: list[dict[str, Any]]
    between: list[dict[str, Any]]
    groups: list[dict[str, Any]]
    generations: list[dict[str, Any]]
    realised: dict[str, Any] | None
    founders: list[dict[str, Any]]
    effective_founders: float | None
    problems: list[str]
    said: list[str]


class FamilyShape(TypedDict):
    """`breeding family BIRD --json`."""

    bird: str
    about: list[str]
    inbreeding: float
    fathers: dict[str, float]
    mothers: dict[str, float]
    tree: list[dict[str, Any]]
    sibs: list[dict[str, Any]]
    kin: list[dict[str, Any]]
    chicks: list[dict[str, Any]]
    weights: list[list[str]]
    said: list[str]


def inbreeding_shape(rows: list[InbredRow]) -> list[BirdInbreeding]:
    """`breeding inbreeding --json`."""
    return [{"bird": row.bird, "inbreeding": _exact(row.share)} for row in rows]


def kinship_shape(found: dict[str, dict[str, float]]) -> list[BirdKinship]:
    """`breeding kinship --json`."""
    return [
        {"bird": ring, "kinship": {other: _exact(kin) for other, kin in row.items()}}
        for ring, row in found.items()
    ]


def _exact(share: float) -> float:
    """Without the noise of the last binary digits."""
    return round(share, 12)


def lines_shape(found: Breeding, told: LinesPage) -> LinesShape:
    """`breeding lines --json`."""
    done = found.realised
    groups = found.groups
    return {
        "as_of": found.on.isoformat(),
        "cocks": found.cocks,
        "hens": found.hens,
        "effective_size": _rounded(found.size),
        "rise_per_generation": _rounded(found.rise),
        "chicks_inbreeding": _rounded(found.chicks_inbreeding),
        "pens": [
            {
                "place": pen.place,
                "cocks": pen.cocks_there,
                "hens": pen.hens_there,
                "chicks_inbreeding": _rounded(pen.chicks_inbreeding),
                "kinship_within": _rounded(pen.within),
                "sure_from": None if pen.sure_from is None else pen.sure_from.isoformat(),
            }
            for pen in found.pens
        ],
        "between": [
            {"place": one, "other": other, "kinship": _rounded(kin)}
            for one, other, kin in found.between
        ],
        "groups": [
            {
                "group": name,
                "kinship": {
                    other: None if n == m and kin != kin else _rounded(float(kin))
                    for m, (other, kin) in enumerate(
                        zip(groups.groups, groups.kinship[n], strict=True)
                    )
                },
            }
            for n, name in enumerate(groups.groups)
        ],
        "generations": [
            {
                "generation": each.number,
                "birds": each.birds,
                "mean": _rounded(each.mean),
                "most": _rounded(each.most),
            }
            for each in found.generations
        ],
        "realised": None if done is None else {
            "birds": done.birds,
            "rise_per_generation": _rounded(done.rise),
            "effective_size": _rounded(done.size),
            "error": _rounded(done.error),
        },
        "founders": [
            {
                "name": one.name,
                "birds": one.birds,
                "share": _rounded(one.share),
                "source": one.source,
            }
            for one in found.founders
        ],
        "effective_founders": _rounded(found.effective_founders),
        "problems": told.problems,
        "said": [
            told.summary, *told.answer, *told.brings, told.realised, told.founders_say, *told.notes,
        ],
    }  # fmt: skip


def family_shape(told: Family) -> FamilyShape:
    """`breeding family BIRD --json`."""
    return {
        "bird": told.bird,
        "about": told.about,
        "inbreeding": _exact(told.inbreeding),
        "fathers": {name: _exact(chance) for name, chance in told.parents[0].items()},
        "mothers": {name: _exact(chance) for name, chance in told.parents[1].items()},
        "tree": [_node(node) for node in told.tree],
        "sibs": [_kin(row) for row in told.sibs],
        "kin": [_kin(row) for row in told.kin],
        "chicks": [
            {"of": brood.of, "birds": [ring for ring, _ in brood.rings], "others": brood.others}
            for brood in told.broods
        ],
        "weights": [list(one) for one in told.weights],
        "said": [told.says, told.parents_say, *([told.eggs] if told.eggs else []), *told.problems],
    }


def _node(node: Node) -> dict[str, Any]:
    return {
        "as": node.role,
        "name": node.name,
        "bird": node.ring or None,
        "note": node.note,
        "parents": [_node(each) for each in node.parents],
    }


def _kin(row: KinRow) -> dict[str, Any]:
    return {"bird": row.bird, "kinship": _exact(row.kinship), "how": row.how}


def _rounded(number: float | None) -> float | None:
    """To six places; null for what is not known or has no end."""
    if number is None or number != number or number in (float("inf"), float("-inf")):
        return None
    return round(number, _PLACES)
