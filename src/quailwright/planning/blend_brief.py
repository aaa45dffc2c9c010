"""What a keeper asks of a blend, read from TOML, with the shelf and the birds of the journal."""

from collections.abc import Iterator, Mapping
from dataclasses import replace
from datetime import date
from typing import Annotated, Any, Final

import msgspec
from msgspec import Meta

from quailwright.flock.state import FeedStock, Flock
from quailwright.husbandry import facts
from quailwright.husbandry.feeding import Stage, stage
from quailwright.husbandry.ingredients import STAGES, Ingredient, is_layer_feed, is_medicine
from quailwright.husbandry.nutrients import Basis, as_fed, problems_of
from quailwright.journal import entries as kinds
from quailwright.journal.findings import Finding
from quailwright.language import mark, say
from quailwright.outlook.feed_ahead import past_keeping_kg
from quailwright.planning.blend import BlendAsked, ShelfFeed
from quailwright.planning.brief import AMOUNT, Document, Field, Path, read_document
from quailwright.planning.ration_brief import (
    BASIS,
    CURRENCY,
    DRY_MATTER,
    FLAG,
    KG,
    NAME,
    PERCENT,
    known,
)
from quailwright.planning.ration_mix import BATCH_KG

_TARGET: Final = {"protein_pct": PERCENT, "calcium_pct": PERCENT}
_CODES: Final = {"protein_pct": "protein", "calcium_pct": "calcium", "me_kcal_kg": "energy"}
FEED: Final = {
    "feed": NAME,
    "protein_pct": PERCENT,
    "me_kcal_kg": AMOUNT,
    "calcium_pct": PERCENT,
    "price_per_kg": AMOUNT,
    "bag_kg": AMOUNT,
    "stage": Field(kinds.Stage, mark("starter, grower or layer")),
    "stock_kg": AMOUNT,
    "kg": KG,
    "share_pct": PERCENT,
    "min_pct": PERCENT,
    "max_pct": PERCENT,
    "basis": BASIS,
    "dry_matter_pct": DRY_MATTER,
    "medicated": FLAG,
    "note": Field(str, mark("a text")),
}
_BIRDS: Final = Field(
    Annotated[list[kinds.Stage], Meta(min_length=1)],
    mark('who eats of it, such as birds = ["grower", "layer"]'),
)
TOP: Final = {
    "batch_kg": KG,
    "currency": CURRENCY,
    "birds": _BIRDS,
    "place": Field(kinds.Name, mark("the name of a place")),
}


def read_blend(data: bytes, flock: Flock, on: date) -> tuple[BlendAsked | None, list[Finding]]:
    """A blend's brief from TOML: what it asks, or None and every problem found in it.

    Args:
        data: the file.
        flock: for the feeds on the shelf, their labels and prices; where the brief names no feed,
            all of them whose protein is known.
        on: the day, for the ages of the birds that eat of it where the brief does not tell them.
    """
    document, findings = read_document(data)
    if document is None:
        return None, findings
    document.keys((), (*TOP, "target", "feed"), document.values)
    given = {name: value for name, value in document.values.items() if name in TOP}
    told = document.fields((), TOP, given)
    place = told.get("place")
    birds: frozenset[Stage] = frozenset(told.get("birds", ())) or stages_of(flock, on, place)
    if place is not None and "birds" not in told and not birds:
        document.find(
            ("place",),
            say("the journal knows of no birds in {place}.", place=place),
            say("Tell who eats of it: {example}.", example='birds = ["grower", "layer"]'),
        )
    shelf = {name.casefold(): stock for name, stock in flock.feeds.items()}
    if "feed" in document.values:
        feeds = tuple(_feeds(document, shelf, birds, on))
    else:
        feeds = tuple(_of_journal(flock, birds, on))
    targets, from_need = _targets(document, birds)
    if len(feeds) < 2 and not document.findings:
        document.find(
            ("feed",),
            say("a blend needs two feeds or more."),
            say("Add [[feed]] with feed and protein_pct for each."),
        )
    _told_of(document, feeds, targets)
    if document.findings:
        return None, document.in_order_of_lines()
    fixed = any(feed.exactly_kg is not None for feed in feeds)
    batch = told.get("batch_kg", None if fixed else BATCH_KG)
    currency = told.get("currency") or (flock.holding.currency if flock.holding else None) or ""
    return BlendAsked(feeds, targets, batch, birds, currency, from_need), []


def _targets(document: Document, birds: frozenset[Stage]) -> tuple[dict[str, float], bool]:
    """What the blend is to hold; by default the protein of the most demanding of the birds."""
    given = document.values.get("target", {})
    told = document.fields(("target",), _TARGET, given)
    targets = {_CODES[name]: float(value) for name, value in told.items()}
    if targets or not isinstance(given, dict) or given:
        return targets, False
    if not birds:
        document.find(
            ("target",),
            say("what is it to hold?"),
            say("Add [target] with protein_pct, or birds with who eats of it."),
        )
        return {}, False
    return {"protein": max(facts.value(f"feeding.protein_{stage}") for stage in birds)}, True


def _told_of(
    document: Document, feeds: tuple[ShelfFeed, ...], targets: Mapping[str, float]
) -> None:
    """Every feed must tell what is aimed at: what is unknown is not nothing."""
    names = {code: name for name, code in _CODES.items()}
    for number, feed in enumerate(feeds, 1):
        for code in targets:
            if code not in feed.contents:
                document.find(
                    ("feed", number, names[code]),
                    say("{feed} does not tell it.", feed=feed.name),
                    say("Add it from the label."),
                )


def _feeds(
    document: Document, shelf: Mapping[str, FeedStock], birds: frozenset[Stage], on: date
) -> Iterator[ShelfFeed]:
    for path, told in document.tables("feed", FEED):
        if "feed" in told:
            yield _feed(document, path, told, shelf.get(str(told["feed"]).casefold()), birds, on)


def _feed(
    document: Document,
    path: Path,
    told: Mapping[str, Any],
    stock: FeedStock | None,
    birds: frozenset[Stage],
    on: date,
) -> ShelfFeed:
    name = str(told["feed"])
    base = known(name)
    if _by_the_dose(base):
        document.find(
            path,
            say("{feed} is no feed to blend: it is dosed in a whole ration.", feed=name),
            say("Leave it out, or ask for a ration."),
        )
    contents: dict[str, float] = {}
    if base is not None:
        contents = {code: base.composition[code] for code in _CODES.values()}
    label = None if stock is None else _of_stock(stock, on)
    contents |= label.contents if label else {}
    basis: Basis = told.get("basis", "as fed")
    if basis == "dry matter" and "dry_matter_pct" not in told:
        document.find(
            (*path, "dry_matter_pct"),
            say("figures of dry matter need the dry matter."),
            say("Add dry_matter_pct, such as 88: what the sheet tells, or 100 less the water."),
        )
    own = {
        code: as_fed(float(told[key]), basis, told.get("dry_matter_pct", 100.0))
        for key, code in _CODES.items()
        if key in told
    }
    for problem in problems_of(own, told.get("dry_matter_pct")):
        document.find(path, problem, say("Read the label again."))
    contents |= own
    if told.get("me_kcal_kg") == 0 and "protein_pct" not in told:
        document.find(
            (*path, "me_kcal_kg"),
            say("a feed without energy feeds no bird."),
            say("Leave it out if the label does not tell it."),
        )
    document.low_first(path, told, "min_pct", "max_pct")
    limit = _limit(base, birds)
    for key in ("share_pct", "min_pct"):
        if told.get(key, 0.0) > 100 * limit:
            document.find(
                (*path, key),
                say(
                    "these birds may have {most:g} % of {feed} in their feed at most.",
                    most=100 * limit,
                    feed=name,
                ),
                say("Give that or less, or leave it out."),
            )
    return ShelfFeed(
        name,
        contents,
        told.get("price_per_kg", label.price if label else None),
        told.get("stock_kg", label.stock_kg if label else None),
        told.get("kg"),
        told["share_pct"] / 100 if "share_pct" in told else None,
        told.get("min_pct", 0.0) / 100,
        told.get("max_pct", 100.0) / 100,
        told.get("stage", "layer" if label and label.layer else None) == "layer"
        or bool(base and base.category == "complete feed" and base.most["starter"] == 0)
        or ("stage" not in told and is_layer_feed(name)),
        bool(told.get("medicated", False)) or is_medicine(name),
        limit,
        label.old_kg if label and "stock_kg" not in told else 0.0,
    )


def _limit(base: Ingredient | None, birds: frozenset[Stage]) -> float:
    """Share that the most delicate of the birds may have of it at most, 0 to 1; where the birds are
    not told, what any may have."""
    if base is None:
        return 1.0
    shares = [base.most[stage] / 100 for stage in (birds or STAGES)]
    return min(shares) if birds else max(shares)


def _by_the_dose(base: Ingredient | None) -> bool:
    return base is not None and base.category in ("amino acid", "premix")


def _of_stock(stock: FeedStock, on: date) -> ShelfFeed:
    """A feed of the journal: its label, its price, and what is left of it that is not too old."""
    old = past_keeping_kg(stock, on)
    label = stock.label
    contents: dict[str, float] = {}
    if label is not None:
        told = msgspec.structs.asdict(label)
        contents = {code: told[key] for key, code in _CODES.items() if told[key] is not None}
    return ShelfFeed(
        stock.name,
        contents,
        stock.price_per_kg,
        max(0.0, stock.kg - old) if stock.bought else None,
        layer=label.stage == "layer"
        if label is not None and label.stage is not None
        else is_layer_feed(stock.name),
        medicated=is_medicine(stock.name),
        old_kg=old,
    )


def _of_journal(flock: Flock, birds: frozenset[Stage], on: date) -> Iterator[ShelfFeed]:
    for stock in flock.feeds.values():
        feed, base = _of_stock(stock, on), known(stock.name)
        there = not stock.bought or stock.kg > 0
        if "protein" in feed.contents and there and not _by_the_dose(base):
            yield replace(feed, limit=_limit(base, birds))


def stages_of(flock: Flock, on: date, place: str | None = None) -> frozenset[Stage]:
    """Which stages the birds there belong to, of one place or of all; of a group both the oldest
    and the youngest. Birds of unknown age are as delicate as they can be: chicks take starter.
    Where there are cocks alone nobody lays: they are counted with growers."""
    found: set[Stage] = set()
    laying = False
    for group in flock.groups.values():
        birds = group.alive
        if place not in (None, group.place) or birds.chicks + birds.hens + birds.cocks <= 0:
            continue
        laying = laying or birds.chicks + birds.hens > 0
        hatched = [day for day in (group.oldest, group.youngest) if day is not None]
        found |= {stage(max(0, (on - day).days)) for day in hatched}
        if not hatched:
            found.add("starter" if birds.chicks else "layer")
    return frozenset(found if laying else ("grower" if one == "layer" else one for one in found))
