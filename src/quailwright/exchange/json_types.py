"""The JSON shapes of docs/contract.md as types: what a script may rely on, field by field."""

from typing import Annotated, Any, NotRequired, TypedDict

import msgspec
from msgspec import Meta

from quailwright.journal.entries import LONGEST_BRIEF


class Quantiles(TypedDict):
    """The mean of a quantity and its quantiles."""

    mean: float
    q05: float
    q10: float
    q25: float
    q50: float
    q75: float
    q90: float
    q95: float


class QuantileTimes(TypedDict):
    """The same of an instant, each as ISO 8601."""

    mean: str
    q05: str
    q10: str
    q25: str
    q50: str
    q75: str
    q90: str
    q95: str


class TaskShape(TypedDict):
    """One thing to do."""

    task: str
    rule: str
    why: str
    minutes: float
    due: str
    overdue_days: int
    caution: str
    place: str
    subject: str
    count: str
    times_left: int
    once: bool
    apart: bool
    certainty: str
    figures: list[str]
    printed: str
    tick: dict[str, Any]


class PlaceShape(TypedDict):
    """A place with its tasks."""

    place: str
    tasks: list[TaskShape]


class SignShape(TypedDict):
    """Something that looks wrong."""

    sign: str
    where: str
    since: str
    evidence: str
    check: str
    then: list[str]
    shared: list[str]
    unshared: list[str]
    ring: str


class WatchedShape(TypedDict):
    """Something watched: eggs and cracked eggs are shares, feed is kg, water litres."""

    place: str
    group: str
    what: str
    usual: float | None
    now: float | None
    last: str
    ready: bool
    since: str | None


class BlindShape(TypedDict):
    """Something of a pen that nobody logs, and what it would show."""

    place: str
    what: str
    kind: str
    why: str


class SignsShape(TypedDict):
    """`signs --json`."""

    on: str
    signs: list[SignShape]
    watched: list[WatchedShape]
    blind: list[BlindShape]
    false_signs_a_year: float


class TodayShape(TypedDict):
    """`today --json`."""

    on: str
    minutes: float
    minutes_apart: float
    places: list[PlaceShape]
    signs: list[SignShape]
    withheld: list[dict[str, Any]]
    missed: list[dict[str, Any]]
    coming: list[TaskShape]


class EggsShape(TypedDict):
    """The eggs of a hatch."""

    set: int
    removed: int
    alive: int
    hatched: int


class StepShape(TypedDict):
    """A dated step of a hatch."""

    what: str
    at: str
    done: bool
    rule: str


class LossShape(TypedDict):
    """The weight loss of a hatch, and what to set."""

    weighing_doubtful: bool
    points: list[dict[str, float]]
    rate_pct_per_day: Quantiles
    loss_at_stop_pct: Quantiles
    corridor_pct: list[float]
    humidity_to_set_pct: float | None
    humidity_display_pct: float | None
    wet_bulb_c: float | None
    leave_it: bool | None
    chance_in_corridor: float
    chance_if_set: float | None
    chance_if_weighed_again: float | None
    conductance_mg_day_torr: Quantiles
    shell_factor: dict[str, float]
    hygrometer_offset_pct: dict[str, float] | None


class HatchShape(TypedDict):
    """`hatch NAME --json`."""

    hatch: str
    place: str
    set_at: str
    now: str
    day: int
    eggs: EggsShape
    steps: list[StepShape]
    dates: dict[str, str]
    weight_loss: LossShape
    window: QuantileTimes
    first_hatch_at: QuantileTimes
    expected_chicks: float
    result: dict[str, Any] | None
    usual_hatch_of_set: dict[str, Any]
    causes: list[dict[str, Any]]
    best_check: dict[str, Any] | None
    blames: bool | None
    said: list[str]


class HatchAheadShape(TypedDict):
    """A hatch under way, as the outlook sees it."""

    hatch: str
    is_set: bool
    chicks: Quantiles
    first_hatch_at: QuantileTimes | None
    hens_at_8_weeks: Quantiles


class OutlookShape(TypedDict):
    """`outlook --json`. A week has `from`, then quantiles by quantity, then `chance_of_goal`."""

    as_of: str
    question: str | None
    planned: dict[str, Any]
    draws: int
    seed: int
    weeks: list[dict[str, Any]]
    hatches: list[HatchAheadShape]
    rates: list[dict[str, Any]]
    said: list[str]


class PlannedSetShape(TypedDict):
    """Eggs to set, and how many of their birds stay, chosen on which day."""

    on: str
    source: str
    eggs: int
    place: str
    keep_hens: int
    keep_cocks: int
    choose_on: str


class PlanShape(TypedDict):
    """`plan --json`. A week has `from` too."""

    as_of: str
    status: str
    out_of_reach: list[str]
    stopped: bool
    certainty: float
    sets: list[PlannedSetShape]
    culls: list[dict[str, Any]]
    weeks: list[dict[str, Any]]
    chance_met_overall: float
    chance_met_every_week: float
    chance_table_birds: float | None
    cost: dict[str, Any]
    minutes_per_day: list[float]
    busiest_day: dict[str, Any]
    peak: dict[str, float]
    gap: float
    calendar: list[dict[str, Any]]
    seed: int
    choice: str
    reasons: list[str]
    alternatives: list[dict[str, Any]]
    choices: list[dict[str, Any]]
    said: list[str]
    accepted_entries: int
    what_if: NotRequired[dict[str, Any]]
    again: NotRequired[dict[str, Any]]
    plan: NotRequired[str]


CostsShape = TypedDict(
    "CostsShape",
    {
        "from": str,
        "until": str,
        "currency": str,
        "per_egg": dict[str, Any],
        "per_dozen": dict[str, Any],
        "per_hen_at_lay": dict[str, Any],
        "per_dressed_bird": dict[str, Any],
        "per_hour": dict[str, Any],
        "cocks": dict[str, Any],
        "costs": dict[str, float],
        "income": dict[str, float],
        "result": float,
        "shares": dict[str, dict[str, float]],
        "eggs": dict[str, int],
        "break_even": dict[str, float | None],
        "feed": dict[str, Any],
        "months": list[dict[str, Any]],
        "hatches": list[dict[str, Any]],
        "what_moves": dict[str, Any] | None,
        "plan": list[dict[str, Any]],
        "said": list[str],
    },
)
"""`costs --json`."""


class LightTurn(TypedDict):
    """When lay stops or starts by itself: in the middle of flocks, the first and the last."""

    early: str
    middle: str
    late: str
    some_never: bool


class LightStep(TypedDict):
    """The timer from a day on; `lamp` holds pairs of on and off in the clock of that day."""

    on: str
    lamp: list[list[str]]
    day_h: float
    light_h: float
    clock_h: float


class LightShape(TypedDict):
    """`light --json`."""

    as_of: str
    until: str
    latitude: float
    longitude: float
    timezone: str
    place_by_timezone: bool
    sun: dict[str, str | None]
    day_h: float
    lamp: list[str] | None
    light_h: float
    wanted_h: float
    wanted_told: bool
    end: str
    rests: bool
    steps: list[LightStep]
    weeks: list[dict[str, Any]]
    lay_stops: LightTurn | None
    lay_starts: LightTurn | None
    hens: int
    eggs: float
    lamp_burns_h: float
    kwh: float | None
    cost: float | None
    clock_changes: list[dict[str, Any]]
    too_young: list[dict[str, Any]]
    said: list[str]


class QuantileDays(TypedDict):
    """A day with its chance, as ISO 8601; null beyond the weeks looked at."""

    q10: str | None
    q50: str | None
    q90: str | None


class BagShape(TypedDict):
    """A bag in the store, in the order in which they are opened."""

    kg: float
    bought_on: str | None
    mixed_on: str | None
    runs_out: QuantileDays
    keeps_until: str | None
    left_then_kg: Quantiles | None


class FeedOfShape(TypedDict):
    """A feed in the store."""

    feed: str
    stage: str | None
    serves: list[str]
    kg: float
    runs_out: QuantileDays
    delivery_days: float | None
    order_by: str | None
    keeps_days: float
    keeps_told: bool
    bags: list[BagShape]


FeedWeekShape = TypedDict(
    "FeedWeekShape", {"from": str, "starter": Quantiles, "grower": Quantiles, "layer": Quantiles}
)
"""A week: kilograms of feed by stage."""


class UnservedShape(TypedDict):
    """Birds that no feed on the record is for."""

    stage: str
    kg_a_week: float


class UseShape(TypedDict):
    """Feed given of late beside what was to be expected."""

    days: int
    kg: float
    expected_kg: float
    low_kg: float
    high_kg: float
    by_own_record: bool
    is_odd: bool


class FeedShape(TypedDict):
    """`outlook --feed --json`."""

    as_of: str
    draws: int
    seed: int
    weeks: list[FeedWeekShape]
    feeds: list[FeedOfShape]
    unserved: list[UnservedShape]
    use: UseShape | None
    spill: dict[str, float]
    said: list[str]


class CleaningShape(TypedDict):
    """What is due at a place again and again."""

    task: str
    every_days: float
    last: str | None


class PenRoomShape(TypedDict):
    """A pen or brooder: its birds, its floor, and what each standard has room for there."""

    place: str
    brooder: bool
    birds: int
    hens: int
    cocks: int
    chicks: int
    age_days: int | None
    floor_m2: float | None
    floor_kind: str | None
    floor_m2_per_bird: float | None
    needed_m2: float
    least_m2: float
    too_small: bool
    fits: dict[str, int | None]
    height_m: float | None
    height: str | None
    hens_per_cock: float | None
    cleaning: list[CleaningShape]


class StandardShape(TypedDict):
    """A standard of room. Floor for a bird to 7, 21 and 42 days of age, and grown."""

    standard: str
    name: str
    floor_m2: list[float | None]
    says: list[str]
    figures: list[str]


class SoonShape(TypedDict):
    """Room that runs short."""

    sign: str
    where: str
    evidence: str
    check: str


class HousingShape(TypedDict):
    """`housing --json`."""

    on: str
    standard: str | None
    chosen: bool
    least_m2_per_grown_bird: float
    places: list[PenRoomShape]
    standards: list[StandardShape]
    soon: list[SoonShape]
    said: list[str]


class ManureWeekShape(TypedDict):
    """A week of droppings, fresh, with the nitrogen in them."""

    week_from: str
    birds: int
    droppings_kg: float
    droppings_low_kg: float
    droppings_high_kg: float
    nitrogen_kg: float


class BeddingShape(TypedDict):
    """Bedding of a littered place."""

    place: str
    litres_a_change: float
    every_days: float
    litres_a_week: float
    kg_a_week: float


class MixShape(TypedDict):
    """Droppings with one material: buckets to a bucket of droppings, at each end of the ratio."""

    material: str
    possible: bool
    buckets_low: float | None
    buckets_high: float | None
    kg_per_kg_low: float | None
    kg_per_kg_high: float | None
    water_l_low: float | None
    water_l_high: float | None
    too_wet: bool


class ManureShape(TypedDict):
    """`manure --json`."""

    on: str
    material: str
    carbon_to_nitrogen: list[float]
    moisture: list[float]
    weeks: list[ManureWeekShape]
    bedding: list[BeddingShape]
    mixes: list[MixShape]
    said: list[str]


class PlanRequest(msgspec.Struct, forbid_unknown_fields=True):
    """What the planner is asked: a brief in TOML; the accepted one where it is null.

    Each of `what_if` is told otherwise, as in `limits.max_birds=100`.
    """

    brief: Annotated[str, Meta(max_length=LONGEST_BRIEF)] | None
    choice: Annotated[str, Meta(max_length=80)] = "as asked"
    what_if: Annotated[list[Annotated[str, Meta(max_length=200)]], Meta(max_length=20)] = []
    seed: Annotated[int, Meta(ge=0, le=2**31)] = 1
    anew: bool = False
    ways_out: bool = True
    choices: bool = False


class PlanAcceptance(msgspec.Struct, forbid_unknown_fields=True):
    """Which plan is taken on: `plan` of its answer, and of its `choices` the name."""

    plan: Annotated[str, Meta(max_length=80)]
    choice: Annotated[str, Meta(max_length=80)] = ""


class FindingShape(TypedDict):
    """What does not fit: what it is, where, how to mend it, and all of it as one sentence."""

    kind: str
    what: str
    mend: str
    entry: str
    line: int | None
    field: str
    forced: bool
    at: str
    sentence: str


class Refusal(TypedDict):
    """Why nothing was written or told."""

    sentence: str
    findings: list[FindingShape]


class ExtentShape(TypedDict):
    """What is kept of one instrument at one place: how many readings, the first and the last."""

    place: str
    instrument: str
    readings: int
    first: str
    last: str


ReadingsTaken = TypedDict(
    "ReadingsTaken",
    {
        "place": str,
        "instrument": str,
        "dry_run": bool,
        "written": int,
        "already": int,
        "differing": int,
        "empty": int,
        "from": str | None,
        "until": str | None,
        "read_as": dict[str, Any],
        "findings": list[dict[str, Any]],
    },
)
"""`readings import --json`."""


class InstrumentSeries(TypedDict):
    """What one instrument showed: three columns of the same length; null where not read."""

    instrument: str
    at: list[str]
    temperature_c: list[float | None]
    humidity_pct: list[float | None]


ReadingsSeries = TypedDict(
    "ReadingsSeries",
    {
        "place": str,
        "from": str,
        "until": str,
        "step_minutes": int,
        "instruments": list[InstrumentSeries],
    },
)
"""Readings of a place between two moments, as shown; means of each step where it is not 0."""

ReadingsReport = TypedDict(
    "ReadingsReport",
    {
        "place": str,
        "from": str,
        "until": str,
        "kept": list[ExtentShape],
        "instruments": list[dict[str, Any]],
        "days": list[dict[str, Any]],
    },
)
"""`readings show --json`."""


class InstrumentNowShape(TypedDict):
    """The last reading of an instrument: corrected by what it is off by, and as it showed it.

    `verdict`: well, low, high, far_low, far_high, or "" where nothing is wanted or it is stale.
    """

    instrument: str
    at: str
    age_s: float
    stale: bool
    temperature_c: float | None
    humidity_pct: float | None
    shown_temperature_c: float | None
    shown_humidity_pct: float | None
    verdict: str


class PlaceNowShape(TypedDict):
    """What the instruments of a place show, and the temperatures wanted there."""

    place: str
    role: str | None
    wanted_c: list[float] | None
    instruments: list[InstrumentNowShape]


class SilentShape(TypedDict):
    """An instrument that has not been read for long."""

    place: str
    instrument: str
    at: str


class NowShape(TypedDict):
    """`readings now --json`."""

    as_of: str
    places: list[PlaceNowShape]
    silent: list[SilentShape]


class SentRefused(TypedDict):
    """Why a part of what a device sent gave no reading."""

    sentence: str


class SentShape(TypedDict):
    """What came of what a device sent: kept, there already, there otherwise, not taken."""

    kept: int
    already: int
    differing: int
    refused: list[SentRefused]


class RuleShape(TypedDict):
    """A rule of care, as `rules --json`: when it holds, what it stands on, and what was changed."""

    rule: str
    stage: str
    task: str
    why: str
    every: float | None
    times: int
    days: list[float | None]
    start: float | None
    until: float | None
    early: float
    too_late: float | None
    instead: str
    instead_until: float | None
    instead_after: str
    moot_by: list[str]
    when: str
    minutes: float
    minutes_each: float
    sample: float | None
    apart: bool
    done_by: list[str]
    caution: str
    caution_grown: str
    young_until: float | None
    figures: list[str]
    child: bool
    source: str
    certainty: str
    original: dict[str, Any] | None
    basis: list[str]
    place: str
    silenced: bool


class JournalCheck(TypedDict):
    """`journal check --json`: `ok` where nothing is wrong that nobody insisted on."""

    ok: bool
    findings: list[FindingShape]


class OffersRequest(msgspec.Struct, forbid_unknown_fields=True):
    """Hatching-egg offers to compare, in TOML as for `offers FILE`, for so many hens at lay."""

    offers: Annotated[str, Meta(max_length=LONGEST_BRIEF)]
    hens: Annotated[int, Meta(ge=1, le=100_000)] | None = None
    certainty: Annotated[float, Meta(ge=0.5, le=0.99)] | None = None


class OffersShape(TypedDict):
    """`offers --json`."""

    on: str
    hens: int
    certainty: float
    currency: str
    room_eggs: int | None
    reached: bool
    offers: list[dict[str, Any]]
    together: list[dict[str, Any]] | None
    said: list[str]


class FeedRequest(msgspec.Struct, forbid_unknown_fields=True):
    """What to feed, in TOML, as for `ration FILE` and `blend FILE`."""

    brief: Annotated[str, Meta(max_length=LONGEST_BRIEF)]


class NeedShape(TypedDict):
    """A need beside what the mix holds, in the nutrient's unit; null where there is no bound."""

    nutrient: str
    unit: str
    min: float | None
    max: float | None
    asked_min: float | None
    holds: float | None
    surely: float | None
    met: bool
    sources: list[str]
    others: list[str]


class RationShape(TypedDict):
    """`ration --json`. Money is in `currency`; shares are percent; what is unknown is null."""

    status: str
    stage: str
    batch_kg: float
    certainty: float
    currency: str
    cost: float | None
    cost_per_kg: float | None
    exact_cost_per_kg: float | None
    rounding_cost_per_kg: float | None
    margin_cost_per_kg: float | None
    whole_scoops: bool
    finer_scoop_kg: float | None
    feasible_on_mean: bool
    mix: list[dict[str, Any]]
    exact_mix: list[dict[str, Any]]
    needs: list[NeedShape]
    prices: list[dict[str, Any]]
    worth: list[dict[str, Any]]
    clashes: list[dict[str, Any]]
    short: list[str]
    unchecked: list[str]
    untold: dict[str, list[str]]
    cautions: list[dict[str, str]]
    said: list[str]


class SquareShape(TypedDict):
    """Pearson's square: two feeds, what each holds and its parts."""

    feeds: list[str]
    holds: list[float]
    target: float
    parts: list[float]


class BlendShape(TypedDict):
    """`blend --json`. `cost` is null where a price is missing."""

    status: str
    targets: dict[str, float]
    birds: list[str]
    currency: str
    total_kg: float
    cost: float | None
    mix: list[dict[str, Any]]
    holds: dict[str, float]
    square: SquareShape | None
    calcium_max_pct: float | None
    shell_g_per_hen_a_day: float | None
    left_out: dict[str, str]
    cautions: list[str]
    said: list[str]


class ScoreShape(TypedDict):
    """How forecasts of a week's eggs did in the past, as `outlook --past --json`."""

    weeks_ahead: int
    forecasts: int
    held: int
    error: float
    error_of_last_month: float
    sentence: str


class Written(TypedDict):
    """How many entries were written, and how many were in the journal already."""

    written: int
    already: int


class Me(TypedDict):
    """Who is signed in, to which flock (the id of its first entry), and the token of a write."""

    name: str
    role: str | None
    may_log: bool
    flock: str
    token: str


class BroodingShape(TypedDict):
    """`brooding --json`. Spans are {least, usual, most}: of the box that loses least heat, and so
    on; of hours the soonest, the usual, the latest, null where it never gets so cold."""

    on: str
    group: str
    place: str
    birds: int
    age_days: int
    hatched_on: str
    room: dict[str, Any]
    box: dict[str, Any] | None
    watts: float | None
    price_per_kwh: float | None
    held_c: dict[str, float | None] | None
    weeks: list[dict[str, Any]]
    kwh: dict[str, float | None] | None
    cost: dict[str, float | None] | None
    heat_days: int
    power_cut: dict[str, Any] | None
    changes: list[dict[str, Any]]
    seen: list[dict[str, Any]]
    heat_ends: dict[str, Any]
    out: dict[str, Any]
    cautions: list[str]
    said: list[str]
