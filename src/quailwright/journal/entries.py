"""The kinds of journal entry. Each class is one kind; its docstring and field notes teach it.

An entry is a fact that somebody saw or did. It is never changed: a mistake is mended by a
`retract` entry, which may carry the right entry as `instead`.
"""

from datetime import date
from typing import Annotated, Any, Literal, get_args

import msgspec
from msgspec import Meta, Struct

from quailwright.husbandry.housing import StandardKey
from quailwright.language import Said, later

MOST_OF_ANYTHING = 1_000_000
LONGEST_BRIEF = 20_000
"""Characters of a plan's brief."""


# Without control characters, which can drive a terminal, and lone surrogates, which no file holds.
_PRINTED = r" -~\xa0-\ud7ff\ue000-\U0010ffff"
ONE_LINE = rf"\A[{_PRINTED}]*\Z"
LINES = rf"\A[{_PRINTED}\t\n\r]*\Z"
NAME = rf"\A(?!\s)[{_PRINTED}]*\Z(?<!\s)"
CLOCK = r"\A([01]\d|2[0-3]):[0-5]\d\Z"


def _text(longest: int, pattern: str = ONE_LINE) -> Meta:
    return Meta(max_length=longest, pattern=pattern)


LONGEST_NAME = 80
Name = Annotated[str, Meta(min_length=1, max_length=LONGEST_NAME, pattern=NAME)]
LONGEST_TASK = 250
TaskName = Annotated[str, Meta(min_length=1, max_length=LONGEST_TASK, pattern=NAME)]
Count = Annotated[int, Meta(ge=0, le=MOST_OF_ANYTHING)]
Positive = Annotated[int, Meta(ge=1, le=MOST_OF_ANYTHING)]
Amount = Annotated[float, Meta(ge=0, le=1e9)]
Percent = Annotated[float, Meta(ge=0, le=100)]
Celsius = Annotated[float, Meta(ge=-90, le=150)]
Share = Annotated[float, Meta(gt=0, lt=1)]
Clock = Annotated[str, Meta(pattern=CLOCK)]

Role = Literal["incubator", "hatcher", "brooder", "pen", "egg_store"]
Route = Literal["own", "collected", "shipped"]
Stage = Literal["starter", "grower", "layer"]
Units = Literal["metric", "us"]
Sex = Literal["hen", "cock", "unknown"]
Found = Literal["chilled", "wet", "drowned", "injured", "predator", "unknown"]
FloorKind = Literal["solid", "litter", "wire"]
Spot = Literal["heated", "away", "room"]
Storage = Literal["room", "cool", "refrigerated"]
ContactRole = Literal["vet", "animal_health", "sitter", "helper", "other"]
BirdsUse = Literal["sold", "given", "lost"]
EggsUse = Literal["eaten", "sold", "given", "discarded"]
LeftUse = Literal["died", "processed", "sold", "given", "lost"]
CareStage = Literal[
    "holding", "planned_set", "received", "hatch", "machine", "chicks", "brooder", "grower", "pen",
    "planned_cull",
]  # fmt: skip


def says(text: str) -> Meta:
    """The one-line explanation of a field, shown by `log KIND --help` and in docs/journal.md.

    It is kept in English, and is in the catalogues: whoever shows it says it.
    """
    return Meta(description=text)


class Entry(
    Struct,
    frozen=True,
    kw_only=True,
    forbid_unknown_fields=True,
    omit_defaults=True,
    gc=False,
    tag_field="kind",
):
    """What every entry has."""

    id: Annotated[str, says("a UUID, made by whoever writes the entry; a repeat is harmless")]
    at: Annotated[str, says("when it happened: a date, or a date-time with its offset")]
    by: Annotated[str, _text(80), says("who did or saw it")] = ""
    note: Annotated[str, _text(2000, LINES), says("anything else, in your own words")] = ""
    force: Annotated[bool, says("true keeps an entry that contradicts the record; it is shown")] = (
        False
    )


class Holding(Entry, frozen=True, kw_only=True, tag="holding"):
    """Where the flock lives and how you like figures shown."""

    name: Annotated[str, _text(80), says("what you call the place")] = ""
    latitude: Annotated[float, Meta(ge=-90, le=90), says("degrees, south is negative")] | None = (
        None
    )
    longitude: Annotated[float, Meta(ge=-180, le=180), says("degrees, west is negative")] | None = (
        None
    )
    altitude_m: Annotated[float, Meta(ge=-500, le=5000), says("metres above the sea")] | None = None
    timezone: Annotated[str, _text(64), says("IANA name, such as Europe/Lisbon")] = ""
    units: Annotated[Units | None, says("metric or us")] = None
    currency: Annotated[str, _text(8), says("three-letter code, such as EUR")] = ""
    light_target_h: (
        Annotated[float, Meta(ge=0, le=24), says("hours of light a day you aim for")] | None
    ) = None
    lamp_on: Annotated[Clock, says("when the lamp goes on, such as 05:30")] | None = None
    lamp_off: Annotated[Clock, says("when the lamp goes off, such as 08:00")] | None = None
    rests_in_winter: (
        Annotated[bool, says("the hens rest in the dark months, by your choice")] | None
    ) = None
    false_signs_a_year: (
        Annotated[
            float,
            Meta(ge=0.1, le=12),
            says("false signs that you put up with, for each pen and year; 1 unless told"),
        ]
        | None
    ) = None
    space_standard: Annotated[StandardKey, says("the standard of room that you keep to")] | None = (
        None
    )
    egg_storage: (
        Annotated[Storage, says("where table eggs are kept: room, cool or refrigerated")] | None
    ) = None
    label_name: Annotated[str, _text(80), says("your name on a label of eggs")] = ""
    label_contact: Annotated[str, _text(120), says("how to reach you, on a label of eggs")] = ""
    label_text: Annotated[str, _text(200), says("what else your place asks for on a label")] = ""


class Place(Entry, frozen=True, kw_only=True, tag="place"):
    """A machine, brooder, pen or egg store, and where it comes in your walk."""

    place: Annotated[Name, says("its name")]
    role: Annotated[Role, says("incubator, hatcher, brooder, pen or egg_store")]
    capacity_eggs: Annotated[Count, says("eggs it holds")] | None = None
    floor_m2: Annotated[Amount, says("floor for the birds, square metres")] | None = None
    height_m: Annotated[float, Meta(gt=0, le=100), says("height inside, metres")] | None = None
    floor_kind: Annotated[FloorKind, says("solid, litter or wire")] | None = None
    heater_w: Annotated[Amount, says("its heater, watts")] | None = None
    walk_order: (
        Annotated[int, Meta(ge=-9999, le=9999), says("its turn in the daily walk; low first")]
        | None
    ) = None
    closed: Annotated[bool, says("true when it is no longer used")] = False


class Instrument(Entry, frozen=True, kw_only=True, tag="instrument"):
    """A thermometer or hygrometer and how far it is off (shown value minus true value)."""

    instrument: Annotated[Name, says("its name")]
    place: Annotated[Name, says("where it hangs")]
    temperature_offset_c: (
        Annotated[float, Meta(ge=-20, le=20), says("it shows this much too warm, in degrees C")]
        | None
    ) = None
    humidity_offset_pct: (
        Annotated[float, Meta(ge=-60, le=60), says("it shows this much too humid, in points of RH")]
        | None
    ) = None


class Source(Entry, frozen=True, kw_only=True, tag="source"):
    """Where hatching eggs come from, and by what route."""

    source: Annotated[Name, says("its name")]
    route: Annotated[Route, says("own, collected (by you) or shipped (posted)")]
    price_per_egg: Annotated[Amount, says("price of one egg")] | None = None


class Feed(Entry, frozen=True, kw_only=True, tag="feed"):
    """A feed you use, from its label."""

    feed: Annotated[Name, says("its name")]
    protein_pct: Annotated[Percent, says("crude protein, %")] | None = None
    me_kcal_kg: Annotated[Amount, says("metabolisable energy, kcal a kg")] | None = None
    calcium_pct: Annotated[Percent, says("calcium, %")] | None = None
    price_per_kg: Annotated[Amount, says("price of a kg")] | None = None
    bag_kg: Annotated[Amount, says("kg in a bag")] | None = None
    stage: Annotated[Stage, says("starter, grower or layer")] | None = None
    delivery_days: Annotated[Amount, says("days from ordering it to having it")] | None = None
    keeps_days: Annotated[Amount, says("days it keeps from the day it is mixed")] | None = None


class Goal(Entry, frozen=True, kw_only=True, tag="goal"):
    """What you keep them for, in figures. A later goal replaces the one before."""

    eggs_per_week: Annotated[Amount, says("eggs wanted a week")] | None = None
    table_birds_per_month: Annotated[Amount, says("birds wanted for the table a month")] | None = (
        None
    )
    from_: Annotated[date, says("first day")] | None = msgspec.field(default=None, name="from")
    until: Annotated[date, says("last day")] | None = None
    certainty: (
        Annotated[Share, says("how sure it must be: between 0 and 1, such as 0.8")] | None
    ) = None


class CareRule(Entry, frozen=True, kw_only=True, tag="care_rule"):
    """Your change to a rule of care, or a rule of your own. The printed rule stays readable."""

    rule: Annotated[Name, says("the rule changed (as `today --json` names it), or a new name")]
    silenced: Annotated[bool, says("true: never ask for it; false again to bring it back")] = False
    place: Annotated[Name, says("only for this place")] | None = None
    stage: Annotated[CareStage, says("for a rule of your own: what it belongs to")] | None = None
    task: Annotated[str, _text(200), says("what to do")] | None = None
    why: Annotated[str, _text(500, LINES), says("why")] | None = None
    minutes: Annotated[float, Meta(ge=0, le=1440), says("minutes it takes at a place")] | None = (
        None
    )
    every_days: (
        Annotated[float, Meta(ge=0.25, le=3650), says("days between one time and the next")] | None
    ) = None
    day: (
        Annotated[
            float,
            Meta(ge=-60, le=3650),
            says("day of the hatch or age in days, for a step done once"),
        ]
        | None
    ) = None
    caution: Annotated[str, _text(500, LINES), says("a caution to show with it")] | None = None


class PlanAccepted(Entry, frozen=True, kw_only=True, tag="plan_accepted"):
    """A plan taken on. What was planned before it no longer holds.

    A moment's entries fold in the order plan_accepted, set_planned, cull_planned, eggs_set: one
    moment may hold a whole plan.
    """

    brief: Annotated[str, _text(LONGEST_BRIEF, LINES), says("the brief it answers, in TOML")]
    certainty: Annotated[
        float, Meta(ge=0, le=1), says("chance that it meets the goal: 0 to 1, such as 0.82")
    ]


class SetPlanned(Entry, frozen=True, kw_only=True, tag="set_planned"):
    """Eggs to be set. A later entry for the same hatch replaces it.

    It is done when eggs of that hatch are set, or of the same source or group under another name
    a few days before or after.
    """

    hatch: Annotated[Name, says("the name that the hatch will bear")]
    on: Annotated[date, says("the day to set them")]
    eggs: Annotated[Positive, says("eggs to set")]
    place: Annotated[Name, says("the incubator")]
    source: Annotated[Name, says("whose eggs")] | None = None
    group: Annotated[Name, says("or: which of your own groups will lay them")] | None = None


class CullPlanned(Entry, frozen=True, kw_only=True, tag="cull_planned"):
    """From a day on no more than so many of these birds stay; the others are let go.

    Name a hatch (planned, under way or grown) or a group. Which birds stay, and where the others
    go, is your choice. A later entry for the same birds and day replaces it.
    """

    on: Annotated[date, says("the day from which no more stay")]
    hatch: Annotated[Name, says("the birds of this hatch, wherever they live")] | None = None
    group: Annotated[Name, says("or: the birds of this group")] | None = None
    hatched_on: (
        Annotated[date, says("of a group of mixed age: those hatched about this day")] | None
    ) = None
    keep_hens: Annotated[Count, says("hens that stay at most; left out: all")] | None = None
    keep_cocks: Annotated[Count, says("cocks that stay at most; left out: all")] | None = None


class EggsReceived(Entry, frozen=True, kw_only=True, tag="eggs_received"):
    """Hatching eggs that arrived. `eggs` counts all that came, `broken` those of them unfit."""

    source: Annotated[Name, says("from whom")]
    eggs: Annotated[Positive, says("eggs that came, broken ones too")]
    lot: Annotated[str, _text(80), says("lot, if the eggs have one")] = ""
    broken: Annotated[Count, says("of these, broken or cracked")] = 0
    cost: Annotated[Amount, says("what they cost, with postage")] | None = None
    laid_from: Annotated[date, says("first lay date")] | None = None
    laid_to: Annotated[date, says("last lay date")] | None = None


class EggsSet(Entry, frozen=True, kw_only=True, tag="eggs_set"):
    """Eggs put in to hatch. The moment of setting is day 0. Say the time of day if you can."""

    hatch: Annotated[Name, says("your name for this hatch")]
    eggs: Annotated[Positive, says("eggs set")]
    place: Annotated[Name, says("the incubator")]
    source: Annotated[Name, says("whose eggs")] | None = None
    group: Annotated[Name, says("or: which of your own groups laid them")] | None = None
    lot: Annotated[str, _text(80), says("lot, if the eggs have one")] = ""
    mean_egg_g: Annotated[float, Meta(ge=1, le=40), says("mean egg weight, g")] | None = None
    laid_from: Annotated[date, says("first lay date")] | None = None
    laid_to: Annotated[date, says("last lay date")] | None = None
    storage_c: Annotated[Celsius, says("where they were kept, degrees C")] | None = None


class EggsWeighed(Entry, frozen=True, kw_only=True, tag="eggs_weighed"):
    """A weighing of a hatch: so many eggs, so many grams together."""

    hatch: Annotated[Name, says("which hatch")]
    eggs: Annotated[Positive, says("eggs on the scale")]
    total_g: Annotated[
        float, Meta(gt=0, le=1e6), says("their weight together, g, without the tray")
    ]


class EggsCandled(Entry, frozen=True, kw_only=True, tag="eggs_candled"):
    """A candling: eggs taken out as clear or dead this time (not those of earlier candlings)."""

    hatch: Annotated[Name, says("which hatch")]
    clear: Annotated[Count, says("clear eggs taken out now")]
    dead: Annotated[Count, says("eggs with a dead embryo taken out now")]


class TurningStopped(Entry, frozen=True, kw_only=True, tag="turning_stopped"):
    """Turning ended and the eggs were laid down to hatch, here or in a hatcher."""

    hatch: Annotated[Name, says("which hatch")]
    place: Annotated[Name, says("the hatcher, if they moved")] | None = None


class ChicksHatched(Entry, frozen=True, kw_only=True, tag="chicks_hatched"):
    """Chicks out of the shell since the last such entry of this hatch."""

    hatch: Annotated[Name, says("which hatch")]
    chicks: Annotated[Count, says("chicks hatched since the last count")]


class EggsOpened(Entry, frozen=True, kw_only=True, tag="eggs_opened"):
    """What the unhatched eggs held when opened."""

    hatch: Annotated[Name, says("which hatch")]
    infertile: Annotated[Count, says("no sign of growth")] = 0
    early: Annotated[Count, says("died early: blood ring, small embryo")] = 0
    middle: Annotated[Count, says("died in the middle: feather germs to half filling the egg")] = 0
    late: Annotated[Count, says("died late: fills the egg, not pipped")] = 0
    pipped: Annotated[Count, says("pipped but did not come out")] = 0
    contaminated: Annotated[Count, says("rotten or leaking")] = 0


class HatchClosed(Entry, frozen=True, kw_only=True, tag="hatch_closed"):
    """The hatch is over; nothing more is awaited."""

    hatch: Annotated[Name, says("which hatch")]


class Group(Entry, frozen=True, kw_only=True, tag="group"):
    """Birds that live together: chicks from a hatch, or birds that came from elsewhere.

    With `hatch` and no counts, all chicks of the hatch not yet housed. A second entry of the same
    name adds birds to the group.
    """

    group: Annotated[Name, says("your name for them")]
    place: Annotated[Name, says("where they live")]
    hatch: Annotated[Name, says("the hatch they come from")] | None = None
    chicks: Annotated[Count, says("birds not sexed yet")] = 0
    hens: Annotated[Count, says("hens")] = 0
    cocks: Annotated[Count, says("cocks")] = 0
    hatched_on: Annotated[date, says("day they hatched, if known")] | None = None
    source: Annotated[Name, says("where they were bought")] | None = None
    cost: Annotated[Amount, says("what they cost")] | None = None


class BirdsMoved(Entry, frozen=True, kw_only=True, tag="birds_moved"):
    """Birds carried to another place: the whole group, or with counts a part (name `to_group`)."""

    group: Annotated[Name, says("which group")]
    place: Annotated[Name, says("where to")]
    to_group: Annotated[Name, says("the group they join or become")] | None = None
    chicks: Annotated[Count, says("birds not sexed yet")] = 0
    hens: Annotated[Count, says("hens")] = 0
    cocks: Annotated[Count, says("cocks")] = 0


class BirdsSexed(Entry, frozen=True, kw_only=True, tag="birds_sexed"):
    """Chicks found to be hens and cocks; the rest stay chicks."""

    group: Annotated[Name, says("which group")]
    hens: Annotated[Count, says("found to be hens")]
    cocks: Annotated[Count, says("found to be cocks")]


class BirdsDied(Entry, frozen=True, kw_only=True, tag="birds_died"):
    """Birds found dead or put down."""

    group: Annotated[Name, says("which group")]
    chicks: Annotated[Count, says("birds not sexed yet")] = 0
    hens: Annotated[Count, says("hens")] = 0
    cocks: Annotated[Count, says("cocks")] = 0
    found: Annotated[Found, says("chilled, wet, drowned, injured, predator or unknown")] | None = (
        None
    )
    together: Annotated[bool, says("found in a heap or in one corner")] = False


class BirdsProcessed(Entry, frozen=True, kw_only=True, tag="birds_processed"):
    """Birds taken for the table."""

    group: Annotated[Name, says("which group")]
    hens: Annotated[Count, says("hens")] = 0
    cocks: Annotated[Count, says("cocks")] = 0
    chicks: Annotated[Count, says("birds not sexed yet")] = 0
    live_g: Annotated[Amount, says("live weight together, g")] | None = None
    dressed_g: Annotated[Amount, says("dressed weight together, g")] | None = None


class BirdsOut(Entry, frozen=True, kw_only=True, tag="birds_out"):
    """Birds that left alive, or are lost."""

    group: Annotated[Name, says("which group")]
    use: Annotated[BirdsUse, says("sold, given or lost")]
    chicks: Annotated[Count, says("birds not sexed yet")] = 0
    hens: Annotated[Count, says("hens")] = 0
    cocks: Annotated[Count, says("cocks")] = 0
    income: Annotated[Amount, says("what was paid")] | None = None


class BirdsCounted(Entry, frozen=True, kw_only=True, tag="birds_counted"):
    """A head count. A difference from the record is shown, signed, and the count is taken over."""

    group: Annotated[Name, says("which group")]
    chicks: Annotated[Count, says("birds not sexed yet")] | None = None
    hens: Annotated[Count, says("hens")] | None = None
    cocks: Annotated[Count, says("cocks")] | None = None


class BirdsWeighed(Entry, frozen=True, kw_only=True, tag="birds_weighed"):
    """Weights of some birds of a group: each, or so many together."""

    group: Annotated[Name, says("which group")]
    weights_g: (
        Annotated[
            list[Annotated[float, Meta(gt=0, le=2000)]],
            Meta(max_length=10_000),
            says("each weight, g"),
        ]
        | None
    ) = None
    birds: Annotated[Positive, says("or: birds on the scale")] | None = None
    total_g: Annotated[float, Meta(gt=0, le=1e7), says("and their weight together, g")] | None = (
        None
    )
    sex: Annotated[Sex, says("hen, cock or unknown")] | None = None


class EggsCollected(Entry, frozen=True, kw_only=True, tag="eggs_collected"):
    """Eggs gathered from a group. The day of `at` is their lay date."""

    group: Annotated[Name, says("which group")]
    eggs: Annotated[Count, says("eggs gathered, cracked ones too")]
    cracked: Annotated[Count, says("of these, cracked or soft")] = 0
    total_g: Annotated[Amount, says("their weight together, g")] | None = None


class EggsOut(Entry, frozen=True, kw_only=True, tag="eggs_out"):
    """Eggs that left the store. The oldest that fit are taken first."""

    use: Annotated[EggsUse, says("eaten, sold, given or discarded")]
    eggs: Annotated[Positive, says("eggs")]
    group: Annotated[Name, says("only from this group")] | None = None
    laid_from: Annotated[date, says("only laid on or after this day")] | None = None
    laid_to: Annotated[date, says("only laid on or before this day")] | None = None
    income: Annotated[Amount, says("what was paid")] | None = None
    to: Annotated[str, _text(80), says("to whom")] = ""
    box: Annotated[Name, says("only from this box")] | None = None
    order: Annotated[Name, says("the order that they fill")] | None = None


class EggsBoxed(Entry, frozen=True, kw_only=True, tag="eggs_boxed"):
    """Eggs put into a box, the oldest that fit first. A second entry adds to the same box.

    What holds one lot of a box back holds the whole box back.
    """

    box: Annotated[Name, says("what is written on it")]
    eggs: Annotated[Positive, says("eggs put in")]
    group: Annotated[Name, says("only from this group")] | None = None
    laid_from: Annotated[date, says("only laid on or after this day")] | None = None
    laid_to: Annotated[date, says("only laid on or before this day")] | None = None


class EggsOrdered(Entry, frozen=True, kw_only=True, tag="eggs_ordered"):
    """Eggs promised to somebody. A later entry of the same order replaces it."""

    order: Annotated[Name, says("your name for it")]
    eggs: Annotated[Count, says("eggs wanted; 0 calls it off")]
    on: Annotated[date, says("the day they are wanted")]
    to: Annotated[str, _text(80), says("for whom")] = ""
    price_per_egg: Annotated[Amount, says("price of one egg")] | None = None


class EggRule(Entry, frozen=True, kw_only=True, tag="egg_rule"):
    """How long eggs may be kept where you live, as somebody told you. It is yours to ask again."""

    storage: Annotated[Storage, says("room, cool or refrigerated")]
    keeps_days: Annotated[float, Meta(ge=1, le=365), says("days from the day of lay")]
    checked_on: Annotated[date, says("the day on which you asked")]
    said_by: Annotated[
        str, Meta(min_length=1, max_length=120, pattern=ONE_LINE), says("who said so")
    ]


class FeedBought(Entry, frozen=True, kw_only=True, tag="feed_bought"):
    """Feed that came into the store."""

    feed: Annotated[Name, says("which feed")]
    kg: Annotated[Amount, says("kilograms")]
    cost: Annotated[Amount, says("what it cost")] | None = None
    mixed_on: Annotated[date, says("day it was mixed or milled")] | None = None


class FeedGiven(Entry, frozen=True, kw_only=True, tag="feed_given"):
    """Feed taken from the store for the birds."""

    feed: Annotated[Name, says("which feed")]
    kg: Annotated[Amount, says("kilograms")]
    place: Annotated[Name, says("where it was given")] | None = None


class WaterGiven(Entry, frozen=True, kw_only=True, tag="water_given"):
    """Water filled in at a place since the last time. It tells what the birds drink."""

    place: Annotated[Name, says("where")]
    litres: Annotated[float, Meta(ge=0, le=10_000), says("litres filled in")]


class TemperatureSeen(Entry, frozen=True, kw_only=True, tag="temperature_seen"):
    """Lowest and highest since the last look, from a thermometer that keeps them."""

    place: Annotated[Name, says("where")]
    lowest_c: Annotated[Celsius, says("lowest, degrees C")] | None = None
    highest_c: Annotated[Celsius, says("highest, degrees C")] | None = None
    spot: (
        Annotated[Spot, says("under the heat, away from it, or the room: heated, away, room")]
        | None
    ) = None


class FeedCounted(Entry, frozen=True, kw_only=True, tag="feed_counted"):
    """Feed weighed in the store. A difference is shown, signed, and the weight is taken over."""

    feed: Annotated[Name, says("which feed")]
    kg: Annotated[Amount, says("kilograms there")]


class Care(Entry, frozen=True, kw_only=True, tag="care"):
    """A task done: a tick on the round."""

    task: Annotated[TaskName, says("the task, as `today` names it: its rule, or its text")]
    place: Annotated[Name, says("where")] | None = None
    minutes: Annotated[float, Meta(ge=0, le=1440), says("minutes it took")] | None = None


class Treated(Entry, frozen=True, kw_only=True, tag="treated"):
    """A treatment that a vet directed, with the days until which eggs and meat are withheld."""

    group: Annotated[Name, says("which group")]
    product: Annotated[
        str, Meta(min_length=1, max_length=120, pattern=ONE_LINE), says("what was given")
    ]
    dose: Annotated[str, _text(200), says("as the vet or the label directs")] = ""
    eggs_withheld_until: Annotated[date, says("last day on which eggs are withheld")] | None = None
    meat_withheld_until: Annotated[date, says("last day on which meat is withheld")] | None = None
    directed_by: Annotated[str, _text(120), says("the vet who directed it")] = ""


class Quarantine(Entry, frozen=True, kw_only=True, tag="quarantine"):
    """A place kept apart: nothing moves out of it until after that day."""

    place: Annotated[Name, says("which place")]
    until: Annotated[date, says("last day of quarantine")]


class Outage(Entry, frozen=True, kw_only=True, tag="outage"):
    """Power or heat that failed at a place."""

    place: Annotated[Name, says("where")]
    minutes: Annotated[Amount, says("how long")]
    lowest_c: Annotated[Celsius, says("lowest temperature seen, degrees C")] | None = None
    highest_c: Annotated[Celsius, says("highest temperature seen, degrees C")] | None = None


class Contact(Entry, frozen=True, kw_only=True, tag="contact"):
    """Whom to ring. A later entry of the same name replaces it."""

    contact: Annotated[Name, says("who, in your own words")]
    role: Annotated[ContactRole, says("vet, animal_health, sitter, helper or other")]
    phone: Annotated[str, _text(60), says("number to ring; empty takes the name off the list")] = ""


class Money(Entry, frozen=True, kw_only=True, tag="money"):
    """Money in, or out when negative, that no other entry carries."""

    amount: Annotated[float, Meta(ge=-1e9, le=1e9), says("negative is spent")]
    category: Annotated[Name, says("what for, in your own word")]
    to: Annotated[str, _text(80), says("to or from whom")] = ""
    lasts_years: (
        Annotated[float, Meta(gt=0, le=100), says("of equipment: years to spread it over")] | None
    ) = None


class Bird(Entry, frozen=True, kw_only=True, tag="bird"):
    """One bird known by its ring. Its group already counts it; this adds none."""

    bird: Annotated[Name, says("its ring or name")]
    sex: Annotated[Sex, says("hen, cock or unknown")]
    group: Annotated[Name, says("the group it lives in")] | None = None
    hatch: Annotated[Name, says("the hatch it came from")] | None = None
    sire: Annotated[Name, says("its father's ring")] | None = None
    dam: Annotated[Name, says("its mother's ring")] | None = None
    plumage: Annotated[str, _text(80), says("its colour, in your own word")] = ""
    genotype: Annotated[str, _text(200), says("its colour genes, where known, as in B/+ E/E")] = ""
    hatched_on: Annotated[date, says("day it hatched")] | None = None


class BirdWeighed(Entry, frozen=True, kw_only=True, tag="bird_weighed"):
    """The weight of one ringed bird."""

    bird: Annotated[Name, says("its ring")]
    mass_g: Annotated[float, Meta(gt=0, le=2000), says("grams")]


class HenLaid(Entry, frozen=True, kw_only=True, tag="hen_laid"):
    """Eggs known to be of one ringed hen, as of one kept alone for some days.

    The eggs of her group already count them; this adds none.
    """

    bird: Annotated[Name, says("her ring")]
    eggs: Annotated[Count, says("eggs that she laid")]
    days: Annotated[int, Meta(ge=1, le=366), says("in how many days, up to this one")]
    total_g: Annotated[Amount, says("their weight together, g")] | None = None


class BirdLeft(Entry, frozen=True, kw_only=True, tag="bird_left"):
    """One ringed bird that is gone. It also leaves its group's count: do not log it there again."""

    bird: Annotated[Name, says("its ring")]
    use: Annotated[LeftUse, says("died, processed, sold, given or lost")]


class Pairing(Entry, frozen=True, kw_only=True, tag="pairing"):
    """Which cocks run with which hens, by ring, from this moment on."""

    pen: Annotated[Name, says("the place")]
    cocks: Annotated[list[Name], Meta(max_length=1000), says("rings of the cocks")]
    hens: Annotated[list[Name], Meta(max_length=10_000), says("rings of the hens")]


class Retract(Entry, frozen=True, kw_only=True, tag="retract"):
    """Takes back an entry from this moment on; with `instead`, puts the right one in its stead."""

    entry: Annotated[str, says("the id of the entry taken back")]
    why: Annotated[str, Meta(min_length=1, max_length=500, pattern=LINES), says("why")]
    instead: Annotated["AnyFact", says("the right entry, whole")] | None = None


AnyFact = (
    Holding | Place | Instrument | Source | Feed | Goal | CareRule
    | PlanAccepted | SetPlanned | CullPlanned
    | EggsReceived | EggsSet | EggsWeighed | EggsCandled | TurningStopped | ChicksHatched
    | EggsOpened | HatchClosed | Group | BirdsMoved | BirdsSexed | BirdsDied | BirdsProcessed
    | BirdsOut | BirdsCounted | BirdsWeighed | EggsCollected | EggsOut | EggsBoxed | EggsOrdered
    | EggRule | FeedBought | FeedGiven | FeedCounted | WaterGiven | TemperatureSeen | Care | Treated
    | Quarantine | Outage | Contact | Money | Bird | BirdWeighed | HenLaid | BirdLeft | Pairing
)  # fmt: skip
AnyEntry = AnyFact | Retract

KINDS: dict[str, type[Entry]] = {str(cls.__struct_config__.tag): cls for cls in get_args(AnyEntry)}

_RANKED = (
    (Holding, Place, Instrument, Source, Feed, Goal, CareRule, EggRule, Contact, FeedBought),
    (PlanAccepted,),
    (SetPlanned,),
    (CullPlanned,),
    (EggsReceived, EggsCollected),
    (EggsSet, EggsBoxed, EggsOrdered),
    (EggsWeighed, EggsCandled),
    (TurningStopped,),
    (ChicksHatched,),
    (Group,),
    (BirdsSexed,),
    (BirdsMoved,),
    (Bird, Pairing),
)
_LAST = (BirdsCounted, FeedCounted, EggsOpened, HatchClosed)

RANK: dict[type[Entry], int] = {cls: len(_RANKED) for cls in KINDS.values()}
RANK |= {cls: rank for rank, classes in enumerate(_RANKED) for cls in classes}
RANK |= dict.fromkeys(_LAST, len(_RANKED) + 1)
"""Among entries of one moment, what is made stands before what uses it, and counts stand last."""

_decoder = msgspec.json.Decoder(AnyEntry)
_encoder = msgspec.json.Encoder()


def kind_of(entry: Entry) -> str:
    """The entry's kind, as it is written in the journal."""
    return str(entry.__struct_config__.tag)


_SUBJECTS = (
    "hatch", "group", "bird", "pen", "place", "feed", "source", "instrument", "task", "rule",
    "category", "box", "order", "storage", "contact", "name",
)  # fmt: skip


def described(entry: Entry) -> Said:
    """An entry in a keeper's words: kind, day and what it is about. To be said when shown."""
    kind, day = kind_of(entry), entry.at[:10]
    names = (getattr(entry, name, None) for name in _SUBJECTS)
    about = next(filter(None, names), None)
    if about is None:
        return later("the {kind} of {day}", kind=kind, day=day)
    return later("the {kind} of {day} ({about})", kind=kind, day=day, about=about)


def decode(body: bytes | str) -> Entry:
    """One entry from its JSON. Raises msgspec.ValidationError or DecodeError; see `checks`."""
    entry: Entry = _decoder.decode(body)
    return entry


def encode(entry: Entry) -> bytes:
    """The entry as one line of JSON (without the line's end), fields in a fixed order."""
    return _encoder.encode(entry)


def as_dict(entry: Entry) -> dict[str, Any]:
    """The entry as plain JSON values, as it is written in the journal."""
    plain: dict[str, Any] = msgspec.to_builtins(entry)
    return plain
