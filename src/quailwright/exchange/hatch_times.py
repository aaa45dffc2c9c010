"""When hatches under way will hatch, from readings and habits, for the outlook."""

from datetime import datetime

from quailwright.exchange.hatch_air import hatch_airs
from quailwright.flock.state import Flock
from quailwright.guide.hatch import records
from quailwright.guide.hatch.window import window
from quailwright.journal.store import Store
from quailwright.outlook.hatching import HatchTime


def hatch_times(store: Store, flock: Flock, now: datetime) -> dict[str, HatchTime]:
    """The mean time of every hatch under way, by its name. `flock` is folded up to `now`."""
    found = {}
    for hatch in flock.hatches_open():
        airs = hatch_airs(store, flock, hatch, now)
        earlier = [
            records.time_record(flock, other, records.air_of(airs, other))
            for other in records.telling_hatches(flock, hatch)
        ]
        own = records.time_record(flock, hatch, records.air_of(airs, hatch))
        day = max(0.0, records.days_from_setting(hatch, now))
        expected = window(own, earlier, day)
        found[hatch.name] = HatchTime(expected.mean_at, expected.mean_sd_h)
    return found
