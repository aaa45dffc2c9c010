"""A blend in words, and its JSON shape."""

from collections.abc import Iterator
from datetime import date
from typing import Any

from quailwright.flock.state import Flock
from quailwright.guide import wording
from quailwright.husbandry import facts
from quailwright.husbandry.nutrients import NUTRIENTS, amount_said
from quailwright.journal.findings import BadInput
from quailwright.language import figure, mark, say
from quailwright.planning.blend import Blend, ShelfFeed, Square, blended
from quailwright.planning.blend_brief import read_blend


def blend_of(name: str, data: bytes, flock: Flock, on: date) -> Blend:
    """The blend that a brief asks for. Raises BadInput with every problem of it."""
    asked, findings = read_blend(data, flock, on)
    if asked is None:
        raise BadInput(say("{file} cannot be used as it is.", file=name), tuple(findings))
    return blended(asked)


def targets_said(blend: Blend) -> str:
    """`protein 20.0 %, calcium 1.10 %`."""
    return ", ".join(
        say("{nutrient} {amount}", nutrient=say(NUTRIENTS[code].name), amount=amount_said(code, n))
        for code, n in blend.asked.targets.items()
    )


def status_words(blend: Blend) -> str:
    """Whether the target is reached, in a sentence."""
    asked = blend.asked
    if blend.status == "met":
        if asked.from_need:
            return say(
                "This blend holds what the most demanding of these birds need: {targets}.",
                targets=targets_said(blend),
            )
        return say("This blend holds {targets}.", targets=targets_said(blend))
    for code, target in asked.targets.items():
        low, high = blend.reach[code]
        if low == high != target:
            return say(
                "No: these feeds hold {held} of {nutrient}, so no blend of them holds {target}.",
                held=amount_said(code, low),
                nutrient=say(NUTRIENTS[code].name),
                target=amount_said(code, target),
            )
        if not low <= target <= high:
            return say(
                "No: these feeds hold {low} to {high} of {nutrient}, so no blend of them holds "
                "{target}.",
                low=amount_said(code, low),
                high=amount_said(code, high),
                nutrient=say(NUTRIENTS[code].name),
                target=amount_said(code, target),
            )
    return say(
        "No blend of these feeds holds {targets} within the amounts, the stock, the calcium that "
        "these birds stand, and how much of each ingredient they may have.",
        targets=targets_said(blend),
    )


def mixed(blend: Blend) -> list[tuple[ShelfFeed, float, float]]:
    """What is in it: each feed with its kilograms and its share (0 to 1), in the keeper's order."""
    if not blend.total_kg:
        return []
    rows = zip(blend.asked.feeds, blend.kilograms.tolist(), strict=True)
    return [(feed, kg, kg / blend.total_kg) for feed, kg in rows if kg > 1e-9]


def holds_said(blend: Blend) -> str:
    """`It holds protein 20.0 %, calcium 1.10 %, energy 2810 kcal/kg.`; what no feed tells is left
    out."""
    told = [
        code
        for code in ("protein", "calcium", "energy")
        if all(code in feed.contents for feed, _, _ in mixed(blend))
    ]
    held = ", ".join(
        say(
            "{nutrient} {amount}",
            nutrient=say(NUTRIENTS[code].name),
            amount=amount_said(code, blend.holds(code)),
        )
        for code in told
    )
    return say("It holds {nutrients}.", nutrients=held)


def cautions(blend: Blend) -> list[str]:
    """What could harm birds or people, medicine first."""
    asked = blend.asked
    found = []
    if any(feed.medicated for feed in asked.feeds):
        names = ", ".join(feed.name for feed in asked.feeds if feed.medicated)
        found.append(
            say(
                "{feeds}: with a medicine in it. Some of these kill birds of the wrong species or "
                "age. Only for the species and age that the label names, kept unmixed unless it "
                "or a vet says otherwise; not for hens whose eggs are eaten unless the label says "
                "so; keep the withdrawal period for eggs and meat.",
                feeds=names,
            )
        )
    if asked.calcium_most is not None:
        found.append(
            say(
                "Birds not in lay eat of it: more than {most:g} % calcium damages their kidneys.",
                most=asked.calcium_most,
            )
        )
        for feed, _, _ in mixed(blend):
            if "calcium" not in feed.contents:
                found.append(
                    say(
                        "{feed} does not tell its calcium; it counts as none. Read the label.",
                        feed=feed.name,
                    )
                )
    if not asked.birds and any(_rich(feed) for feed in asked.feeds):
        found.append(
            say(
                "Tell who eats of it (birds): more than {most:g} % calcium, as layer feed holds, "
                "damages the kidneys of birds that do not lay.",
                most=facts.value("feeding.calcium_not_laying_max"),
            )
        )
    if {"starter", "layer"} <= asked.birds:
        found.append(
            say(
                "Chicks and hens eat here together: put no oyster shell where chicks can reach it. "
                "Give hens theirs apart."
            )
        )
    return found


def _rich(feed: ShelfFeed) -> bool:
    """Whether it may hold more calcium than birds not in lay stand."""
    most = facts.value("feeding.calcium_not_laying_max")
    return feed.layer or feed.contents.get("calcium", 0.0) > most


def said(blend: Blend) -> list[str]:
    """What else is to be known."""
    return [*_left_out(blend), *_old(blend), *_shell(blend), *_covers(blend)]


def _left_out(blend: Blend) -> Iterator[str]:
    for name, why in blend.left_out.items():
        if why == "medicated":
            yield say("{feed} is left out: it is medicated, and hens in lay eat here.", feed=name)
        elif why == "mouldy":
            yield say("{feed} is left out: what is mouldy is never fed.", feed=name)
        elif why == "limit":
            yield say("{feed} is left out: it is not for all birds that eat of this.", feed=name)
        elif why == "shell":
            yield say(
                "{feed} is left out: birds that do not lay eat of it. Hens get theirs in a dish of "
                "its own.",
                feed=name,
            )
        else:
            yield say(
                "{feed} is left out: a layer feed whose label tells no calcium is not for birds "
                "that do not lay.",
                feed=name,
            )


def _old(blend: Blend) -> Iterator[str]:
    for feed in blend.asked.feeds:
        if feed.old_kg > 0:
            yield say(
                "{kg:g} kg of {feed} is left out: by the journal it was mixed longer ago than it "
                "keeps.",
                kg=round(feed.old_kg, 2),
                feed=feed.name,
            )


def _shell(blend: Blend) -> Iterator[str]:
    untold = blend.untold("calcium")
    if untold and blend.asked.birds & {"starter", "layer"} == {"layer"}:
        yield say(
            "How much calcium it holds is not known: the label of {feeds} is not told. Hens in lay "
            "need about {need:g} %: read the label before you give oyster shell beside it.",
            feeds=", ".join(untold),
            need=facts.value("feeding.calcium_layer"),
        )
    if blend.shell_g is not None:
        yield say(
            "It holds {calcium} calcium where hens in lay need about {need:g} %: put oyster shell "
            "in a dish of its own that hens reach; each takes about {grams:.1f} g a day.",
            calcium=amount_said("calcium", blend.holds("calcium")),
            need=facts.value("feeding.calcium_layer"),
            grams=blend.shell_g,
        )


def _covers(blend: Blend) -> Iterator[str]:
    yield say(
        "It is aimed at {nutrients} alone. Grain or meal thins the vitamins and amino acids of a "
        "balanced feed; for more than a little of it, ask for a ration.",
        nutrients=", ".join(say(NUTRIENTS[code].name) for code in blend.asked.targets),
    )
    yield say("Never feed what is mouldy, nor thin it with good feed.")


def heading(blend: Blend) -> str:
    """`Blend, 10 kg: 6.20 EUR`."""
    if not blend.total_kg:
        return say("Blend")
    if blend.cost is None:
        return say("Blend, {kg:g} kg", kg=blend.total_kg)
    cost = wording.money(blend.cost, blend.asked.currency)
    return say("Blend, {kg:g} kg: {cost}", kg=blend.total_kg, cost=cost)


def square_lines(square: Square) -> list[str]:
    """Pearson's square as it is drawn: what each holds, the target between, parts across."""
    names = [say("{feed} {percent:g} %", feed=n, percent=h) for n, h in _pairs(square)]
    parts = [say("{parts:.4g} parts", parts=part) for part in square.parts]
    wide = max(map(len, names))
    gap = " " * (wide + 2)
    middle = f"{figure(square.target, 'g')} %"
    return [
        f"{names[0]:{wide}}{' ' * 9}{parts[0]}",
        f"{gap}\\   /",
        f"{gap}{middle}",
        f"{gap}/   \\",
        f"{names[1]:{wide}}{' ' * 9}{parts[1]}",
    ]


def _pairs(square: Square) -> Iterator[tuple[str, float]]:
    yield from zip(square.names, square.holds, strict=True)


SQUARE = mark("Each feed's parts are how far the other is from the target.")


def blend_shape(blend: Blend) -> dict[str, Any]:
    """`blend --json`."""
    asked, square = blend.asked, blend.square
    return {
        "status": blend.status,
        "targets": {code: round(value, 4) for code, value in asked.targets.items()},
        "birds": sorted(asked.birds),
        "currency": asked.currency,
        "total_kg": round(blend.total_kg, 6),
        "cost": None if blend.cost is None else round(blend.cost, 4),
        "mix": [
            {"feed": feed.name, "kg": round(kg, 6), "share_pct": round(100 * share, 6)}
            for feed, kg, share in mixed(blend)
        ],
        "holds": {
            code: round(blend.holds(code), 6)
            for code in ("protein", "calcium", "energy")
            if mixed(blend) and all(code in feed.contents for feed, _, _ in mixed(blend))
        },
        "square": None
        if square is None
        else {
            "feeds": list(square.names),
            "holds": list(square.holds),
            "target": square.target,
            "parts": [round(part, 6) for part in square.parts],
        },
        "calcium_max_pct": asked.calcium_most,
        "shell_g_per_hen_a_day": None if blend.shell_g is None else round(blend.shell_g, 3),
        "left_out": dict(blend.left_out),
        "cautions": cautions(blend),
        "said": [status_words(blend), *said(blend)],
    }
