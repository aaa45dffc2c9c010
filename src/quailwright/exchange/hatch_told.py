"""One hatch as both faces ask for it: its report from the record and the readings."""

from datetime import date, datetime

from quailwright.exchange.hatch_air import hatch_airs
from quailwright.flock.state import Flock
from quailwright.guide.hatch.report import HatchReport, hatch_report
from quailwright.journal.findings import BadInput
from quailwright.journal.moments import until
from quailwright.journal.store import Store


def hatch_told(store: Store, flock: Flock, name: str, asked: date | datetime) -> HatchReport:
    """The report of a hatch as of `asked`; `flock` is folded up to then. Raises BadInput."""
    if name not in flock.hatches:
        raise BadInput(f"There is no hatch {name!r}. `quailwright hatch` lists them.")
    hatch, moment = flock.hatches[name], until(asked, flock.zone).moment(flock.zone)
    return hatch_report(flock, hatch, hatch_airs(store, flock, hatch, moment), moment)
