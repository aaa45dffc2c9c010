"""What is known of one hatch when its result is judged: the evidence, with gaps left as gaps."""

from dataclasses import dataclass, field

from quailwright.language import mark


@dataclass(frozen=True, slots=True)
class Estimate:
    """A figure with its uncertainty: mean and standard deviation in the same unit."""

    mean: float
    sd: float


@dataclass(frozen=True, slots=True)
class HatchCase:
    """One hatch as evidence. None means that the record does not say.

    Attributes:
        name: the hatch.
        place: the incubator in which it was set.
        sources: the sources or own groups that the eggs came from.
        eggs_set, hatched, clear, dead: eggs set; chicks; taken out at candling as clear, as dead.
        opened: counts by stage of the unhatched eggs that were opened: infertile, early, middle,
            late, pipped, contaminated.
        closed: whether the keeper closed the hatch.
        awaited: whether eggs may still hatch, as long as it is not closed.
        route: how the eggs came (`own`, `collected`, `shipped`).
        storage_days, storage_c: mean days from lay to setting, and how warm they were kept.
        cock_age_days, hens_per_cock: of the flock that laid the eggs, where it is ours.
        loss_at_stop_pct: weight loss by the stop of turning.
        corridor_pct: the loss aimed for, lowest and highest.
        humidity_offset_pct: how far the hygrometer shows too much (negative: too little).
        offset_checked: whether the keeper logged an instrument's offsets for the machine.
        mean_c, hours_hot, hours_cold, swing_c: of the logged temperature: mean, hours far above and
            far below the band, and the usual daily difference of highest and lowest.
        readings_share: share of the hatch's hours that readings cover, 0 to 1.
        hatcher_humidity_pct: mean true humidity from the stop of turning on.
        hatcher_known_by: what that is known by, in words that are to be said.
        outage_hours, outage_lowest_c, outage_day: the worst outage: length, lowest, and its day.
        turns_ticked_share: share of hand turns ticked, None when turning is never ticked.
        stop_turning_day: day on which turning stopped.
        hours_late: mean time of the chicks against that expected from the log (negative: early).
        spread_hours: from the first to the last chick logged.
        clashed: whether another hatch shared the machine with other needs.
        parents_related: expected inbreeding of the chicks, 0 to 1.
    """

    name: str
    place: str
    sources: tuple[str, ...]
    eggs_set: int
    hatched: int
    clear: int
    dead: int
    opened: dict[str, int] = field(default_factory=dict)
    closed: bool = True
    awaited: bool = True
    route: str | None = None
    storage_days: float | None = None
    storage_c: float | None = None
    cock_age_days: float | None = None
    hens_per_cock: float | None = None
    loss_at_stop_pct: Estimate | None = None
    corridor_pct: tuple[float, float] = (0.0, 0.0)
    humidity_offset_pct: Estimate | None = None
    offset_checked: bool = False
    mean_c: float | None = None
    hours_hot: float | None = None
    hours_cold: float | None = None
    swing_c: float | None = None
    readings_share: float = 0.0
    hatcher_humidity_pct: Estimate | None = None
    hatcher_known_by: str = mark("the readings")
    outage_hours: float | None = None
    outage_lowest_c: float | None = None
    outage_day: float | None = None
    turns_ticked_share: float | None = None
    stop_turning_day: float | None = None
    hours_late: Estimate | None = None
    spread_hours: float | None = None
    clashed: bool = False
    parents_related: float | None = None
