"""The invented scenario: every name, date, price and size in this file is made up for the demo.

What the birds do in it (hatch, grow, eat, lay, die) comes from `quailwright.husbandry`. Days are
counted back from the day of the demo, so that its last weeks look the same on any date.
"""

from dataclasses import dataclass
from datetime import date
from typing import Literal

from quailwright.husbandry.feeding import Stage
from quailwright.journal import entries as kinds
from quailwright.journal.entries import Entry

FIRST_DAY = 425
"""Days before the demo on which its journal begins: about 14 months."""

HOLDING_NOTE = "Invented flock for the demo; no real place or people."
ZONE, LATITUDE_DEG, LONGITUDE_DEG = "Europe/Paris", 46.5, 2.5
LIGHT_TARGET_H = 14.0
PEOPLE, FIRST_OF_TWO = ("Mira", "Tom"), 0.6

INCUBATOR, HATCHER, BROODER = "kitchen incubator", "spare hatcher", "brooder"
NORTH_PEN, LONG_PEN, SOUTH_PEN = "north pen", "long pen", "south pen"
BACHELOR_PEN, FAR_PEN, PANTRY = "bachelor pen", "far pen", "cool pantry"

FIRST_HENS, NORTH_HENS, LONG_HENS, SOUTH_HENS = (
    "first hens",
    "north hens",
    "long hens",
    "south hens",
)
BACHELORS = "bachelors"

NEIGHBOUR, POSTED, OWN = "the neighbour's flock", "posted eggs", "our own hens"

STARTER, GROWER, LAYER = "starter crumb", "grower crumb", "layer pellets"
FEED_OF_STAGE: dict[Stage, str] = {"starter": STARTER, "grower": GROWER, "layer": LAYER}
PENS = (NORTH_PEN, LONG_PEN, SOUTH_PEN, BACHELOR_PEN, FAR_PEN)
BAG_KG = {STARTER: 10.0, GROWER: 20.0, LAYER: 20.0}
PRICE_PER_KG = {STARTER: 1.45, GROWER: 1.15, LAYER: 1.05}
BUY_BELOW_KG = 4.0
MIXED_BEFORE_D = 12
"""Days from the mill to the shed."""
LOST_IN_STORE = 0.01
"""Share of the feed that mice and dust take from the bin."""

FOUNDERS_HENS, FOUNDERS_COCKS, FOUNDERS_AGE_D = 9, 2, 70
HENS_WANTED = 14
HENS_KEPT_IN_OLD_PEN = 6


@dataclass(frozen=True, slots=True)
class Setting:
    """One hatch of the scenario: when it is set, what eggs, and the pen that its hens go to."""

    days_before: int
    time: str
    eggs: int
    source: str | None
    laid_by: str | None
    hens_join: str
    pen: str

    @property
    def posted(self) -> bool:
        """Whether the eggs came by post."""
        return self.source == POSTED


SETTINGS = (
    Setting(412, "20:00", 48, NEIGHBOUR, None, NORTH_HENS, NORTH_PEN),
    Setting(405, "21:10", 36, POSTED, None, NORTH_HENS, NORTH_PEN),
    Setting(290, "20:05", 40, None, FIRST_HENS, LONG_HENS, LONG_PEN),
    Setting(283, "20:20", 30, NEIGHBOUR, None, LONG_HENS, LONG_PEN),
    Setting(120, "20:10", 46, None, LONG_HENS, SOUTH_HENS, SOUTH_PEN),
    Setting(28, "20:15", 40, None, LONG_HENS, SOUTH_HENS, SOUTH_PEN),
    Setting(9, "20:00", 44, NEIGHBOUR, None, SOUTH_HENS, SOUTH_PEN),
    Setting(3, "20:30", 36, None, SOUTH_HENS, SOUTH_HENS, SOUTH_PEN),
)
"""The second is the bad one. On the day of the demo the last two share the incubator."""

PRICE_PER_EGG = {NEIGHBOUR: 0.5, POSTED: 0.9}
BROKEN_OF_POSTED, BROKEN_OF_FETCHED = 4, 1
CANDLING_SEES = 0.75
"""Share of the clear and dead eggs that the invented keepers see through speckled shells."""
SCALE_SPREAD_G = 0.4

HOLIDAYS = ((230, 227), (70, 67))
LUMPED_WEEK = (330, 324)
"""First and last of the days whose eggs were written down only at the end, all at once."""

NO_RECORD_DAY, WALL_CALENDAR_DAY, TICK_FORGOTTEN = 0.02, 0.03, 0.07
"""Share of days without any record, of days typed in later from the wall calendar, of ticks."""
NO_GAPS_FOR_LAST = 5
MINUTES_NOTED, FAST_AND_SLOW = 0.4, (0.8, 1.4)
DONE_WHEN_DUE = 0.8
CLEANING_PUT_OFF = 20
FOUND_IN_FIRST_WEEK: tuple[kinds.Found, ...] = ("chilled", "drowned", "unknown", "unknown")
FOUND_LATER: tuple[kinds.Found, ...] = ("unknown", "unknown", "injured")
NO_CAUSE_FOR_LAST = 28
"""Days of which no death shows a cause: the demo's day is about a drinker, not about injuries."""

COLD_SNAP_BEGINS, COLD_SNAP_DAYS, COLD_SNAP_C, COLD_SNAP_LAY = (1, 14), 7, -9.0, 0.6
HEAT_WAVE_BEGINS, HEAT_WAVE_DAYS, HEAT_WAVE_C, HEAT_WAVE_LAY = (7, 16), 9, 36.0, 0.65
CALM_C = 20.0
WEATHER_ENDS_BEFORE = 20

WATER_NOTED_FROM, WATER_SPREAD = 60, 0.07
"""Since when water is noted at the pens, and how rough the filling is."""
BROODER_ROOM_C = ((18.5, 19.5), (20.5, 22.5))
"""The lowest and the highest of the room that the brooder stands in, each between these."""
DRINKER_BLOCKS, EAT_LESS_FROM, LAY_LESS_FROM = 6, 5, 4
BLOCKED_WATER, BLOCKED_FEED, BLOCKED_LAY = 0.55, 0.8, 0.55
"""A drinker in the long pen lets little through in the last days, and nobody has seen it yet."""

SLOWER_WASH = 300
GOAL_RAISED = 205
FIRST_HENS_SOLD = 195
RINGED, RINGED_WEIGHED, RINGED_HEN_DIES = 236, 200, 110
TREATED, EGGS_WITHHELD_DAYS, MEAT_WITHHELD_DAYS = 150, 14, 21
HEN_MISSING = 140
OUTAGE, OUTAGE_MINUTES, OUTAGE_LOWEST_C = 113, 140.0, 30.5
YOUNG_RINGED = 60
OLD_HENS_GO = 50
TYPING_MISTAKE = 45
WASH_EVERY_D = 45.0
LATER_GOAL = {"eggs_per_week": 90.0, "table_birds_per_month": 3.0, "certainty": 0.8}
SAMPLE_WEIGHED = 8


@dataclass(frozen=True, slots=True)
class Sensor:
    """A sensor that sends by itself, and what it shows too much."""

    name: str
    temperature_offset_c: float = 0.0
    humidity_offset_pct: float = 0.0


SENSORS = {
    INCUBATOR: Sensor("incubator sensor", 0.3, 6.0),
    HATCHER: Sensor("hatcher sensor", 0.0, -3.0),
    BROODER: Sensor("brooder sensor", -0.5),
}
SENSORS_FROM, READ_EVERY_MIN, LATE_S = 121, 5, 5
"""Days before the demo since when they send, how often, and how many seconds late at most."""
BROODER_HUMIDITY_PCT = 48.0
WARMTH_SPREAD_C = {INCUBATOR: 0.08, HATCHER: 0.08, BROODER: 0.35}
DAMP_SPREAD_PCT, WANDERS_STEPS = 1.0, 6
EGGS_COOL_C, EGGS_WARM_MIN = 2.0, 40.0
"""How much the machine cools when eggs come in, and how fast it is warm again."""
TURNED_AT, TURNING_COOLS_C, TURNING_WARMS_MIN, DRIER_PCT_PER_C = (7.2, 13.6, 21.6), 0.7, 8.0, 3.0
WARMS_AGAIN_MIN = 20.0


@dataclass(frozen=True, slots=True)
class Mishap:
    """What went wrong at a place: it grew this much cooler, or its sensor said nothing."""

    place: str
    days_before: int
    time: str
    minutes: float
    cooler_c: float = 0.0
    drier_pct_per_c: float = 0.0
    silent: bool = False


MISHAPS = (
    Mishap(INCUBATOR, OUTAGE, "13:30", OUTAGE_MINUTES, cooler_c=7.0),
    Mishap(INCUBATOR, 5, "01:10", 335.0, silent=True),
    Mishap(BROODER, 1, "19:30", 150.0, cooler_c=7.0),
    Mishap(INCUBATOR, 1, "21:40", 25.0, cooler_c=3.4, drier_pct_per_c=4.0),
)
"""A fuse, a flat battery, a heater that was weak for an evening, a door that was left ajar."""


@dataclass(frozen=True, slots=True)
class Ring:
    """A ringed bird: its colour in the keepers' words, its parents' rings, its genes if known."""

    name: str
    sex: Literal["hen", "cock", "unknown"]
    plumage: str
    sire: str | None = None
    dam: str | None = None
    genotype: str = ""


KEEPS_THE_RINGS = "Mira"
FOUNDERS_RINGED = 388
FOUNDER_RINGS = (
    Ring("F1", "cock", "wild brown"),
    Ring("F2", "hen", "wild brown"),
    Ring("F3", "hen", "silver"),
)
RINGS = (
    Ring("L1", "hen", "wild brown", "F1", "F2"),
    Ring("L2", "hen", "wild brown", "F1", "F3"),
    Ring("L3", "hen", "silver", "F1", "F3"),
    Ring("L4", "hen", "wild brown"),
    Ring("L5", "hen", "spotted white"),
    Ring("L9", "cock", "silver", genotype="B/+"),
)
"""Of the long pen, all of our own eggs: of L4, L5 and L9 only the pen of their parents is known."""
SECOND_COCK = Ring("L8", "cock", "brown")
"""Of the neighbour's eggs."""
RINGED_HEN, PAIR, YOUNG_RINGS = "L5", ("L9", "L1"), ("S1", "S2", "S3")
PAIRED_HENS = ("L1", "L2", "L3", "L4")
PAIRED_ANEW = ((50, SECOND_COCK.name), (6, PAIR[0]))
"""Days before the demo on which the four hens of the pair's pen got another cock, and which."""
OLD_HENS_ALONE, YOUNG_HENS_ALONE, ALONE_D = 160, 30, 5
SECOND_COCK_OF, YOUNG_OF, CHICKS_OF = 3, 4, 5
"""Which of the settings the second cock, the young ringed birds and the ringed chicks are of."""
CHICKS_RINGED = 9
YOUNG = (
    Ring("S1", "hen", "wild brown", *PAIR),
    Ring("S2", "hen", "silver", *PAIR),
    Ring("S3", "hen", "wild brown", *PAIR),
    Ring("S4", "hen", "silver", "L9", "L3"),
    Ring("S5", "hen", "wild brown", "L9", "L3"),
    Ring("S6", "hen", "wild brown", "L9", "L2"),
    Ring("S11", "cock", "wild brown", "L9", "L2"),
    Ring("S12", "cock", "silver", "L9", "L3"),
    Ring("S13", "cock", "silver white", "L9", "L3"),
    Ring("S14", "cock", "silver", "L9", "L3"),
    Ring("S15", "cock", "wild brown", *PAIR),
)
"""Half sibs and full sibs: of two silver birds a silver white, three silver and a wild brown."""
CHICKS = (
    Ring("C1", "unknown", "brown", "L8", "L2"),
    Ring("C2", "unknown", "wild brown", "L8", "L2"),
    Ring("C3", "unknown", "brown", "L8", "L2"),
    Ring("C4", "unknown", "wild brown", "L8", "L2"),
    Ring("C5", "unknown", "brown", "L8", "L2"),
)
"""Brown lies on Z: of a brown cock and a wild hen the brown chicks are hens."""
EQUIPMENT = {"incubator and hatcher": (260.0, 8.0), "pens": (420.0, 10.0), "drinkers": (45.0, 3.0)}
"""What was bought for the flock at the start, with its price and the years it is to last."""
MONTHLY_BILLS = {"electricity": -9.0, "bedding": -7.5}
BACHELORS_EATEN = ((349, 0.5, 0), (340, 1.0, 0), (225, 0.5, 4), (218, 1.0, 4), (52, 0.4, 4))
"""Days before the demo on which bachelors are taken, what share of them, and how many stay."""

CRACKED = 0.012
KEEP_IN_PANTRY = 18
EGGS_EATEN_ON = 0.65
EGGS_AT_A_MEAL, EGGS_GIVEN = (4, 12), 6
PRICE_PER_DOZEN, PRICE_PER_HEN = 3.0, 9.0
BOXES_SINCE, BOXES_KEPT = 90, 1
"""Since when eggs for sale are packed by the dozen, and the boxes left on the evening before."""
BUYERS = ("Ida", "Jonas", "Petra", "the bakery next door")
"""Invented, like all names here."""
FOOD_OFFICE, KEEPS_DAYS, ASKED_FOOD_OFFICE = "an invented food office", 21.0, (395, 130)


@dataclass(frozen=True, slots=True)
class Order:
    """Eggs that somebody wants: written down so long before the demo, for a day after it."""

    days_before: int
    name: str
    eggs: int
    wanted_in: int
    to: str


ORDERS = (
    Order(8, "cakes for the fair", 180, 14, "the bakery next door"),
    Order(3, "Ida's two dozen", 24, 2, "Ida"),
)

NOTES = {
    "cold": "Cold snap, drinkers frozen at dawn. Invented, like all of this demo.",
    "heat": "Heat wave, birds panting in the shade. Invented, like all of this demo.",
    "lump": "All of the week's eggs, counted together on the last day. Invented.",
    "calendar": "Typed in later from the wall calendar. Invented.",
    "bad": "Came late and much shaken by the post; hardly any air cell where it belongs. Invented.",
    "treated": "Given and withheld as the vet directed; the paper is in the folder. Invented.",
    "missing": "One hen fewer than the record says, and nothing found. Invented.",
    "outage": "A fuse in the kitchen went. Invented.",
    "surplus": "More cocks than the pens want. Invented.",
    "basket": "Hatched in the basket of that pair. Invented.",
    "alone": "Kept alone for five days, to see what she lays. Invented.",
    "paired": "The four ringed hens with another cock. Invented.",
    "typed": "Counted the basket again. Invented.",
    "wash": "The pens stay damp in this invented place, so we wash more often.",
    "last": "The far pen is only for newcomers. Invented.",
    "founders": "Bought together, already laying. Invented.",
}


def last_before(month_day: tuple[int, int], latest: date) -> date:
    """The last date with this month and day that is not after `latest`."""
    this_year = latest.replace(month=month_day[0], day=month_day[1])
    return this_year if this_year <= latest else this_year.replace(year=latest.year - 1)


def set_up() -> list[tuple[type[Entry], dict[str, object]]]:
    """The entries of the first day, without their moments: holding, places, things and goal."""
    return [
        (
            kinds.Holding,
            {
                "name": "The demo garden",
                "latitude": LATITUDE_DEG,
                "longitude": LONGITUDE_DEG,
                "timezone": ZONE,
                "units": "metric",
                "currency": "EUR",
                "light_target_h": LIGHT_TARGET_H,
                "space_standard": "swiss",
                "egg_storage": "cool",
                "label_name": "The demo garden",
                "label_contact": "invented, phone 0000 10",
                "label_text": "Quail eggs. Cook them through.",
                "note": HOLDING_NOTE,
            },
        ),
        *[
            (kinds.Place, {"place": place, "role": role, "walk_order": order, **size})
            for order, (place, role, size) in enumerate(_PLACES, start=1)
        ],
        *[(kinds.Instrument, fields) for fields in _INSTRUMENTS],
        (
            kinds.Source,
            {"source": NEIGHBOUR, "route": "collected", "price_per_egg": PRICE_PER_EGG[NEIGHBOUR]},
        ),
        (
            kinds.Source,
            {"source": POSTED, "route": "shipped", "price_per_egg": PRICE_PER_EGG[POSTED]},
        ),
        (kinds.Source, {"source": OWN, "route": "own"}),
        *[
            (kinds.Feed, {"feed": feed, "price_per_kg": PRICE_PER_KG[feed], **label})
            for feed, label in _LABELS.items()
        ],
        (
            kinds.Goal,
            {"eggs_per_week": 60.0, "table_birds_per_month": 2.0, "certainty": 0.8},
        ),
        (kinds.Contact, {"contact": "the vet in the next town", "role": "vet", "phone": "0000 11"}),
        (
            kinds.Contact,
            {
                "contact": "the county's animal-health line",
                "role": "animal_health",
                "phone": "0000 12",
            },
        ),
        (kinds.Contact, {"contact": "our neighbour", "role": "sitter", "phone": "0000 13"}),
        *[
            (kinds.Money, {"amount": -price, "category": thing, "lasts_years": years})
            for thing, (price, years) in EQUIPMENT.items()
        ],
    ]


_PEN = {"height_m": 1.8, "floor_kind": "litter"}
_PLACES: tuple[tuple[str, str, dict[str, object]], ...] = (
    (INCUBATOR, "incubator", {"capacity_eggs": 96, "heater_w": 80.0}),
    (HATCHER, "hatcher", {"capacity_eggs": 60, "heater_w": 60.0}),
    (
        BROODER,
        "brooder",
        {"floor_m2": 1.2, "height_m": 0.45, "floor_kind": "litter", "heater_w": 250.0},
    ),
    (NORTH_PEN, "pen", {"floor_m2": 2.4, **_PEN}),
    (LONG_PEN, "pen", {"floor_m2": 2.8, **_PEN}),
    (SOUTH_PEN, "pen", {"floor_m2": 2.4, **_PEN}),
    (BACHELOR_PEN, "pen", {"floor_m2": 1.6, **_PEN}),
    (FAR_PEN, "pen", {"floor_m2": 1.5, **_PEN}),
    (PANTRY, "egg_store", {}),
)

_INSTRUMENTS: tuple[dict[str, object], ...] = (
    {
        "instrument": SENSORS[INCUBATOR].name,
        "place": INCUBATOR,
        "temperature_offset_c": SENSORS[INCUBATOR].temperature_offset_c,
        "humidity_offset_pct": SENSORS[INCUBATOR].humidity_offset_pct,
    },
    {
        "instrument": SENSORS[HATCHER].name,
        "place": HATCHER,
        "humidity_offset_pct": SENSORS[HATCHER].humidity_offset_pct,
    },
    {
        "instrument": SENSORS[BROODER].name,
        "place": BROODER,
        "temperature_offset_c": SENSORS[BROODER].temperature_offset_c,
    },
)

_LABELS: dict[str, dict[str, object]] = {
    STARTER: {
        "stage": "starter", "protein_pct": 27.0, "calcium_pct": 1.0, "bag_kg": 10.0,
        "delivery_days": 5.0, "keeps_days": 90.0,
    },
    GROWER: {
        "stage": "grower", "protein_pct": 22.0, "calcium_pct": 0.9, "bag_kg": 20.0,
        "delivery_days": 5.0, "keeps_days": 90.0,
    },
    LAYER: {
        "stage": "layer", "protein_pct": 20.0, "calcium_pct": 2.9, "bag_kg": 20.0,
        "delivery_days": 2.0, "keeps_days": 60.0,
    },
}  # fmt: skip
