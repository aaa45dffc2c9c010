"""An entry in words: what kind it is, and what it says, field by field, in the language spoken."""

import re
from collections.abc import Iterator, Mapping
from functools import cache
from typing import Any, Final

from quailwright.journal.entries import KINDS, Entry, as_dict, kind_of
from quailwright.language import figure, mark, say, says_commas

_TOLD_ELSEWHERE = {"id", "kind", "at", "by", "note", "force", "instead"}


def kind_words(kind: str) -> str:
    """`eggs collected` for `eggs_collected`."""
    return say(KIND_WORDS.get(kind, kind.replace("_", " ")))


KIND_WORDS: Final[Mapping[str, str]] = {
    "holding": mark("holding"),
    "place": mark("place"),
    "instrument": mark("instrument"),
    "source": mark("source"),
    "feed": mark("feed"),
    "goal": mark("goal"),
    "care_rule": mark("care rule"),
    "plan_accepted": mark("plan accepted"),
    "set_planned": mark("set planned"),
    "cull_planned": mark("cull planned"),
    "eggs_received": mark("eggs received"),
    "eggs_set": mark("eggs set"),
    "eggs_weighed": mark("eggs weighed"),
    "eggs_candled": mark("eggs candled"),
    "turning_stopped": mark("turning stopped"),
    "chicks_hatched": mark("chicks hatched"),
    "eggs_opened": mark("eggs opened"),
    "hatch_closed": mark("hatch closed"),
    "group": mark("group"),
    "birds_moved": mark("birds moved"),
    "birds_sexed": mark("birds sexed"),
    "birds_died": mark("birds died"),
    "birds_processed": mark("birds processed"),
    "birds_out": mark("birds out"),
    "birds_counted": mark("birds counted"),
    "birds_weighed": mark("birds weighed"),
    "eggs_collected": mark("eggs collected"),
    "eggs_out": mark("eggs out"),
    "eggs_boxed": mark("eggs boxed"),
    "eggs_ordered": mark("eggs ordered"),
    "egg_rule": mark("egg rule"),
    "feed_bought": mark("feed bought"),
    "feed_given": mark("feed given"),
    "feed_counted": mark("feed counted"),
    "water_given": mark("water given"),
    "temperature_seen": mark("temperature seen"),
    "care": mark("task done"),
    "treated": mark("treated"),
    "quarantine": mark("quarantine"),
    "outage": mark("outage"),
    "contact": mark("contact"),
    "money": mark("money"),
    "bird": mark("bird"),
    "bird_weighed": mark("bird weighed"),
    "hen_laid": mark("hen laid"),
    "bird_left": mark("bird left"),
    "pairing": mark("pairing"),
    "retract": mark("retract"),
}
"""What each kind is called."""


def field_words(name: str) -> str:
    """`storage, °C` for `storage_c`; a field's name as a keeper reads it."""
    for end, unit in _UNITS.items():
        if name.endswith(end) and "_per_" not in name:
            return f"{_in_words(name.removesuffix(end))}, {say(unit)}"
    return _in_words(name)


def _in_words(code: str) -> str:
    """`laid from` for `laid_from`."""
    return say(code.replace("_", " "))


FIELD_WORDS: Final = frozenset({
    mark("id"), mark("at"), mark("by"), mark("note"), mark("force"), mark("name"),
    mark("latitude"), mark("longitude"), mark("altitude"), mark("timezone"), mark("units"),
    mark("currency"), mark("light target"), mark("place"), mark("role"), mark("capacity eggs"),
    mark("floor"), mark("heater"), mark("walk order"), mark("closed"), mark("instrument"),
    mark("temperature offset"), mark("humidity offset"), mark("source"), mark("route"),
    mark("price per egg"), mark("feed"), mark("protein"), mark("me"), mark("calcium"),
    mark("price per kg"), mark("bag"), mark("stage"), mark("eggs per week"),
    mark("delivery days"), mark("keeps days"), mark("mixed on"), mark("lasts years"),
    mark("table birds per month"), mark("from"), mark("until"), mark("certainty"), mark("rule"),
    mark("silenced"), mark("task"), mark("why"), mark("minutes"), mark("every days"), mark("day"),
    mark("caution"), mark("brief"), mark("hatch"), mark("on"), mark("eggs"), mark("group"),
    mark("hatched on"), mark("keep hens"), mark("keep cocks"), mark("lot"), mark("broken"),
    mark("cost"), mark("laid from"), mark("laid to"), mark("mean egg"), mark("storage"),
    mark("total"), mark("clear"), mark("dead"), mark("chicks"), mark("infertile"), mark("early"),
    mark("middle"), mark("late"), mark("pipped"), mark("contaminated"), mark("hens"),
    mark("cocks"), mark("to group"), mark("found"), mark("live"), mark("dressed"), mark("use"),
    mark("income"), mark("weights"), mark("birds"), mark("sex"), mark("cracked"), mark("to"),
    mark("kg"), mark("product"), mark("dose"), mark("eggs withheld until"),
    mark("meat withheld until"), mark("directed by"), mark("lowest"), mark("highest"),
    mark("amount"), mark("category"), mark("bird"), mark("sire"), mark("dam"), mark("plumage"),
    mark("mass"), mark("genotype"), mark("days"), mark("pen"), mark("entry"), mark("instead"),
    mark("lamp on"), mark("lamp off"),
    mark("rests in winter"), mark("false signs a year"), mark("space standard"),
    mark("height"), mark("floor kind"),
    mark("together"), mark("box"), mark("order"), mark("checked on"), mark("said by"),
    mark("litres"), mark("spot"), mark("contact"), mark("phone"), mark("egg storage"),
    mark("label name"), mark("label contact"), mark("label text"),
})  # fmt: skip
"""What the fields of all kinds are called, without their units."""

_CHOSEN: Final = frozenset({
    "role", "route", "stage", "units", "sex", "found", "use", "floor_kind", "spot",
    "storage", "space_standard", "egg_storage",
})  # fmt: skip
"""Fields whose value is one of a few words of ours; others hold a keeper's own."""

VALUE_WORDS: Final = frozenset({
    mark("incubator"), mark("hatcher"), mark("brooder"), mark("pen"), mark("egg_store"),
    mark("own"), mark("collected"), mark("shipped"), mark("starter"), mark("grower"),
    mark("layer"), mark("metric"), mark("us"), mark("hen"), mark("cock"), mark("unknown"),
    mark("chilled"), mark("drowned"), mark("injured"), mark("predator"), mark("sold"),
    mark("given"), mark("lost"), mark("eaten"), mark("discarded"), mark("died"),
    mark("processed"), mark("holding"), mark("planned_set"), mark("received"), mark("hatch"),
    mark("machine"), mark("chicks"), mark("planned_cull"), mark("wet"), mark("solid"),
    mark("litter"), mark("wire"), mark("heated"), mark("away"), mark("room"), mark("cool"),
    mark("refrigerated"), mark("vet"), mark("animal_health"), mark("sitter"), mark("helper"),
    mark("other"), mark("default"), mark("trade"), mark("laboratory"), mark("swiss"),
    mark("austrian"),
})  # fmt: skip
"""The values of those fields."""

_CHOICE_WORDS: Final = (
    mark("egg store"),
    mark("planned set"),
    mark("planned cull"),
    mark("animal health"),
)
"""Those of them that a form shows otherwise than they are written."""


def choice_words(choice: str) -> str:
    """`egg store` for `egg_store`; a value to choose as a form shows it."""
    return _in_words(choice)


_SAYS_ITSELF = ("group", "hatch", "place", "task", "feed", "bird", "source")

_COUNTED = (
    "eggs", "cracked", "broken", "chicks", "hens", "cocks", "birds", "kg", "minutes", "clear",
    "dead", "infertile", "early", "middle", "late", "pipped", "contaminated",
)  # fmt: skip

_UNITS = {
    "_c": mark("°C"), "_pct": mark("%"), "_m2": mark("m²"), "_w": mark("W"), "_g": mark("g"),
    "_kcal_kg": mark("kcal/kg"), "_h": mark("h"), "_kg": mark("kg"), "_m": mark("m"),
}  # fmt: skip


def told(entry: Entry) -> list[tuple[str, str]]:
    """What an entry says: each field in words, with its value, in the order of the kind."""
    return told_fields(as_dict(entry))


def told_fields(fields: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Fields of an entry in words, each with its value."""
    return [(field_words(name), value) for name, value in _values(fields)]


def _values(fields: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    for name, value in fields.items():
        if name not in _TOLD_ELSEWHERE:
            yield name, _value(name, value)


def kind_about(kind: str) -> str:
    """What a kind is, as its own docstring says it, without the marks of code."""
    return without_marks(about(kind))


@cache
def about(kind: str) -> str:
    """The docstring of a kind, in English and in one line, as the catalogues have it."""
    return " ".join((KINDS[kind].__doc__ or "").split())


def without_marks(text: str) -> str:
    """Says a text for people: a field named in marks of code stands in words."""
    plain = say(text).replace("`at`", say("the entry"))
    return re.sub(r"`(\w+)`", lambda name: _in_words(name[1]), plain)


def in_a_line(entry: Entry) -> str:
    """An entry in one line: `eggs collected: long hens, 12 eggs`; names stand for themselves."""
    told_in_full = ", ".join(_told(name, value) for name, value in _values(as_dict(entry)))
    words = kind_words(kind_of(entry))
    return f"{words}: {told_in_full}" if told_in_full else words


def _told(name: str, value: str) -> str:
    if name in _SAYS_ITSELF:
        return value
    if name in _COUNTED:
        return say("{amount} {what}", amount=value, what=field_words(name))
    return say("{field} {value}", field=field_words(name), value=value)


def _value(name: str, value: Any) -> str:
    if isinstance(value, bool):
        return say("yes") if value else say("no")
    if isinstance(value, list):
        numbers = bool(value) and isinstance(value[0], int | float)
        return ("; " if numbers and says_commas() else ", ").join(_value(name, o) for o in value)
    if isinstance(value, float):
        return figure(value, "g")
    if name == "task":
        return say(str(value)).replace("_", " ")
    return say(str(value)) if name in _CHOSEN else str(value)
