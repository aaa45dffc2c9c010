"""One hatch as both faces ask for it: its report from the record and the readings."""

from collections.abc import Mapping
from datetime import date, datetime
from typing import Final

from quailwright.exchange.hatch_air import hatch_airs
from quailwright.flock.state import Flock
from quailwright.guide.hatch.report import HatchReport, hatch_report
from quailwright.journal.findings import BadInput
from quailwright.journal.moments import until
from quailwright.journal.store import Store
from quailwright.language import say

STANDS_ON: Final[Mapping[str, tuple[str, ...]]] = {
    "chicks": (
        "incubation.hatch_duration_h",
        "incubation.rate_degree_hours",
        "incubation.rate_zero_c",
        "incubation.hatch_mean_sd_h",
        "incubation.hatch_delay_per_storage_day_h",
    ),
    "humidity": (
        "incubation.humidity_setter",
        "egg_water.conductance_scale",
        "egg_water.hygrometer_sd_pct",
        "egg_water.mended_sd_pct",
    ),
    "loss": (
        "incubation.weight_loss_low",
        "incubation.weight_loss_high",
        "incubation.turning_stop_day",
        "egg_water.shell_factor",
    ),
    "dates": (
        "incubation.turning_stop_day",
        "incubation.pip_before_hatch_h",
        "incubation.hatch_within_sd_h",
        "incubation.wait_after_last_h",
    ),
    "result": ("incubation.fertility", "incubation.hatch_of_set", "incubation.hatch_of_fertile"),
    "causes": (
        "incubation.death_share_early",
        "incubation.death_share_middle",
        "incubation.death_share_late",
        "incubation.hatch_duration_sd_h",
        "incubation.hatch_spread_h",
        "incubation.humidity_hatcher",
        "incubation.storage_best_days",
        "incubation.turns_per_day",
    ),
}
"""The published figures that each part of a hatch's report stands on, by their keys."""


def hatch_told(store: Store, flock: Flock, name: str, asked: date | datetime) -> HatchReport:
    """The report of a hatch as of `asked`; `flock` is folded up to then. Raises BadInput."""
    if name not in flock.hatches:
        raise BadInput(
            say("There is no hatch {name!r}. `quailwright hatch` lists them.", name=name)
        )
    hatch, moment = flock.hatches[name], until(asked, flock.zone).moment(flock.zone)
    return hatch_report(flock, hatch, hatch_airs(store, flock, hatch, moment), moment)
