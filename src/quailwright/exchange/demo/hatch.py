"""One hatch of the demo: what becomes of its eggs, drawn from the published rates."""

from collections import Counter
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.random import Generator

from quailwright.exchange.demo import scenario
from quailwright.husbandry import facts
from quailwright.husbandry.incubation import HOURS_A_DAY

STAGES = ("infertile", "early", "middle", "late")


@dataclass(slots=True)
class Hatch:
    """A hatch: its eggs by what they will be found to be, and the hours at which chicks hatch."""

    name: str
    setting: scenario.Setting
    set_on: date
    place: str
    mean_egg_g: float
    loss_pct_per_day: float
    unhatched: Counter[str]
    chick_hours: list[float]
    hatched: int = 0
    housed: int = 0
    first_seen_h: float | None = None
    turned: bool = True
    closed: bool = False

    @property
    def posted(self) -> bool:
        """Whether its eggs came by post."""
        return self.setting.posted

    @property
    def eggs_in(self) -> int:
        """Eggs in the machine: not taken out and not hatched."""
        return self.unhatched.total() + len(self.chick_hours) - self.hatched

    @property
    def brood(self) -> str:
        """Name of the group that its chicks become."""
        return f"{self.name} chicks"


def start(name: str, setting: scenario.Setting, set_on: date, eggs: int, rng: Generator) -> Hatch:
    """A hatch of so many eggs, with the fate of each drawn."""
    fates = rng.multinomial(eggs, _chances(setting, rng))
    mean_h = facts.value("incubation.hatch_duration_h")
    spread_h = facts.value("incubation.hatch_duration_sd_h")
    earliest_h = facts.value("incubation.hatch_day_earliest") * HOURS_A_DAY
    hours = np.maximum(earliest_h, rng.normal(mean_h, spread_h, fates[-1]))
    lowest_pct = facts.value("incubation.weight_loss_low")
    highest_pct = facts.value("incubation.weight_loss_high")
    loss_pct = lowest_pct if setting.posted else rng.uniform(lowest_pct, highest_pct)
    lightest_g, heaviest_g = _range("laying.egg_mass_g")
    mean_g = rng.triangular(lightest_g, facts.value("laying.egg_mass_g"), heaviest_g)
    return Hatch(
        name=name,
        setting=setting,
        set_on=set_on,
        place=scenario.INCUBATOR,
        mean_egg_g=round(float(mean_g), 2),
        loss_pct_per_day=float(loss_pct) / facts.value("incubation.turning_stop_day"),
        unhatched=Counter(dict(zip(STAGES, map(int, fates), strict=False))),
        chick_hours=sorted(map(float, hours)),
    )


def _chances(setting: scenario.Setting, rng: Generator) -> list[float]:
    """Chance of each stage of loss, and last of a chick, for one egg set.

    The posted eggs are the bad hatch: the low end of what keepers logged. Of the others, as many
    hatch as keepers log of fresh eggs, and their fertility is what makes that of the hatch of
    fertile eggs half way between its usual and its best.
    """
    _, most_fertile = _range("incubation.fertility")
    if setting.posted:
        hatching, _ = _range("incubation.hatch_of_set_shipped")
        fertile = facts.value("incubation.fertility")
    else:
        hatching = rng.uniform(*_range("incubation.hatch_of_set_collected"))
        _, best = _range("incubation.hatch_of_fertile")
        of_fertile = (facts.value("incubation.hatch_of_fertile") + best) / 2
        fertile = min(most_fertile, hatching / of_fertile)
    dying = fertile - hatching
    dead = [dying * facts.value(f"incubation.death_share_{stage}") for stage in STAGES[1:]]
    return [1.0 - fertile, *dead, hatching]


def _range(key: str) -> tuple[float, float]:
    """Lowest and highest of the default row of a figure that has both."""
    row = facts.figure(key)
    if row.low is None or row.high is None:
        raise facts.UnknownFigure(f"'{key}' has no range: {row.cite()}")
    return row.low, row.high


def candle(hatch: Hatch, day: int, rng: Generator) -> tuple[int, int]:
    """Takes out what the keepers see on this day: clear eggs, and eggs with a dead embryo."""
    sees = scenario.CANDLING_SEES
    clear = int(rng.binomial(hatch.unhatched["infertile"], sees))
    early_until = facts.value("incubation.death_early_until_d")
    middle_until = facts.value("incubation.death_middle_until_d")
    early = int(rng.binomial(hatch.unhatched["early"], sees * min(1.0, day / early_until)))
    middle_by_now = max(0.0, (day - early_until) / (middle_until - early_until))
    middle = int(rng.binomial(hatch.unhatched["middle"], sees * middle_by_now))
    hatch.unhatched -= Counter(infertile=clear, early=early, middle=middle)
    return clear, early + middle


def opened(hatch: Hatch, rng: Generator) -> dict[str, int]:
    """What the eggs that are left hold: some of the late ones pipped, one posted egg gone bad."""
    found = {stage: hatch.unhatched[stage] for stage in STAGES}
    found["pipped"] = int(rng.integers(0, found["late"] + 1))
    found["late"] -= found["pipped"]
    if hatch.posted and found["early"]:
        found["early"] -= 1
        found["contaminated"] = 1
    return {stage: eggs for stage, eggs in found.items() if eggs}
