"""Everything of the invented holding that stands on a day, while its story is told."""

from dataclasses import dataclass, field
from datetime import date, timedelta

from numpy.random import Generator

from quailwright.exchange.demo import scenario
from quailwright.exchange.demo.birds import Group
from quailwright.exchange.demo.diary import Diary
from quailwright.exchange.demo.eggs import EggStore
from quailwright.exchange.demo.hatch import Hatch
from quailwright.husbandry.lamp import Setting


@dataclass(slots=True)
class World:
    """The holding on `day`; the demo is for the morning of `on`.

    What is done with rings has random numbers and a book of its own, so that it changes nothing of
    the rest.
    """

    on: date
    day: date
    rng: Generator
    diary: Diary
    ring_rng: Generator
    ring_book: Diary
    cold_snap: date
    heat_wave: date
    groups: dict[str, Group] = field(default_factory=dict)
    hatches: list[Hatch] = field(default_factory=list)
    eggs: EggStore = field(default_factory=EggStore)
    bins: dict[str, float] = field(default_factory=dict)
    last_done: dict[tuple[str, str | None], date] = field(default_factory=dict)
    unwritten_eggs: dict[str, int] = field(default_factory=dict)
    wash_every_d: float = 0.0
    month_done: int = 0
    timer: list[Setting] = field(default_factory=list)
    lamp: tuple[str, str] | None = None
    ringed_young: list[scenario.Ring] = field(default_factory=list)
    boxes_packed: int = 0
    boxes: list[str] = field(default_factory=list)
    eggs_withheld_until: date = date.min
    writes_today: bool = True
    from_calendar: bool = False

    @property
    def days_before(self) -> int:
        """Days left to the day of the demo."""
        return (self.on - self.day).days

    def alive(self) -> list[Group]:
        """Groups that have birds."""
        return [group for group in self.groups.values() if group.total]

    def in_cold_snap(self) -> bool:
        """Whether this is a day of the cold snap."""
        return 0 <= (self.day - self.cold_snap).days < scenario.COLD_SNAP_DAYS

    def in_heat_wave(self) -> bool:
        """Whether this is a day of the heat wave."""
        return 0 <= (self.day - self.heat_wave).days < scenario.HEAT_WAVE_DAYS

    def weather(self) -> tuple[float, float]:
        """Warmth of the day [°C], and the share of the usual lay that it leaves."""
        if self.in_cold_snap():
            return scenario.COLD_SNAP_C, scenario.COLD_SNAP_LAY
        if self.in_heat_wave():
            return scenario.HEAT_WAVE_C, scenario.HEAT_WAVE_LAY
        return scenario.CALM_C, 1.0

    def drinks(self, place: str) -> float:
        """Share of the usual water that birds there drink: less where the drinker is blocked."""
        return self._with_blocked_drinker(place, scenario.DRINKER_BLOCKS, scenario.BLOCKED_WATER)

    def eats(self, place: str) -> float:
        """Share of the usual feed that birds there eat."""
        return self._with_blocked_drinker(place, scenario.EAT_LESS_FROM, scenario.BLOCKED_FEED)

    def lays(self, place: str) -> float:
        """Share of the usual eggs that hens there lay."""
        return self._with_blocked_drinker(place, scenario.LAY_LESS_FROM, scenario.BLOCKED_LAY)

    def _with_blocked_drinker(self, place: str, from_day: int, left: float) -> float:
        return left if place == scenario.LONG_PEN and self.days_before <= from_day else 1.0

    def someone(self) -> str:
        """Who holds the pencil now: Mira more often than Tom."""
        first, second = scenario.PEOPLE
        return first if self.rng.random() < scenario.FIRST_OF_TWO else second

    def days_ago(self, days: float) -> date:
        """The day some whole days before this one."""
        return self.day - timedelta(days=int(days))
