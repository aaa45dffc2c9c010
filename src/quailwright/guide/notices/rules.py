"""By which rules the household is told, and what a keeper may choose about each.

Limits and minutes start from `facts/notices.csv` and from the tables of the subject itself.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Literal

from quailwright.husbandry import facts
from quailwright.language import mark

Side = Literal["below", "above"]
Quantity = Literal["temperature", "humidity"]
Wait = Literal["min", "h", "d", ""]


@dataclass(frozen=True, slots=True)
class Printed:
    """A rule as it comes: its title and what it says, in English, and where its figures stand.

    Attributes:
        quantity, side: what is held against a limit; "" where nothing is.
        limit: gives the limit [°C or %]; None where it goes by the birds' age, or there is none.
        wait: gives for how long it must be so, in `wait_unit`.
        urgent: whether it passes hours of quiet.
    """

    code: str
    title: str
    says: str
    urgent: bool
    quantity: Quantity | Literal[""] = ""
    side: Side | Literal[""] = ""
    limit: Callable[[], float] | None = None
    wait: Callable[[], float] | None = None
    wait_unit: Wait = ""


def _value(key: str) -> Callable[[], float]:
    return lambda: facts.value(key)


PRINTED: Mapping[str, Printed] = {
    one.code: one
    for one in (
        Printed(
            "machine_cold", mark("Incubator too cold"),
            mark("An incubator or hatcher with eggs in it is below this for so long."), True,
            "temperature", "below", lambda: facts.spread("sensors.machine_far")[0],
            _value("notices.machine_cold_min"), "min",
        ),
        Printed(
            "machine_hot", mark("Incubator too hot"),
            mark("An incubator or hatcher with eggs in it is above this for so long."), True,
            "temperature", "above", lambda: facts.spread("sensors.machine_far")[1],
            _value("notices.machine_hot_min"), "min",
        ),
        Printed(
            "machine_dry", mark("Too dry for the hatch"),
            mark("From the stop of turning on, the humidity is below this for so long."), False,
            "humidity", "below", _value("notices.dry_pct"), _value("notices.dry_min"), "min",
        ),
        Printed(
            "brooder_cold", mark("Brooder too cold"),
            mark("Colder than chicks of that age bear, for so long."), True,
            "temperature", "below", None, _value("notices.brooder_min"), "min",
        ),
        Printed(
            "brooder_hot", mark("Brooder too hot"),
            mark("Warmer than chicks of that age bear, for so long."), True,
            "temperature", "above", None, _value("notices.brooder_min"), "min",
        ),
        Printed(
            "silent", mark("A sensor is silent"),
            mark("An instrument that sends by itself has sent nothing for so long. Where eggs or "
                 "chicks depend on it, it is urgent."), True,
            wait=_value("notices.silent_min"), wait_unit="min",
        ),
        Printed(
            "step", mark("A step of a hatch is not done"),
            mark("Such as to stop turning or to move chicks: so long after it fell due."), False,
            wait=_value("notices.step_grace_h"), wait_unit="h",
        ),
        Printed(
            "hold", mark("Withheld or in quarantine no longer"),
            mark("On the first day on which eggs or meat may be used, or birds moved, again."),
            False,
        ),
        Printed(
            "feed", mark("Feed runs out before more can come"),
            mark("By the outlook, ordered today it comes too late. Where the feed's delivery days "
                 "are not told, so many are reckoned with."), False,
            wait=_value("notices.feed_days"), wait_unit="d",
        ),
        Printed(
            "sign", mark("Something looks badly wrong"),
            mark("A sign for which a vet or the animal-health line may be to be rung."), False,
        ),
        Printed(
            "backup", mark("A backup failed"),
            mark("The last backup could not be made, or was not equal when read back."), False,
        ),
    )
}  # fmt: skip
"""The rules that there are, by code, what harms most first."""

OWN = "own"
UNWATCHED = "unwatched"
CLOCK = "clock"
"""The codes of a keeper's own rule, of what is told of hours in which nobody watched, and of a
sensor that sends wrong times, which is told where a silent one is."""


@dataclass(frozen=True, slots=True)
class Rule:
    """A rule as it holds here.

    Attributes:
        code: one of `PRINTED`, or `own-1` and so on.
        place: of a rule of one's own.
        limit: [°C or %]; None where it goes by age, or there is none.
        wait: for how long, in `wait_unit`; 0 where there is nothing to wait for.
    """

    code: str
    on: bool
    urgent: bool
    quantity: Quantity | Literal[""] = ""
    side: Side | Literal[""] = ""
    limit: float | None = None
    wait: float = 0.0
    wait_unit: Wait = ""
    place: str = ""

    @property
    def is_own(self) -> bool:
        """Whether the keeper made it."""
        return self.code.startswith(OWN)


def printed_rules() -> Iterator[Rule]:
    """Every rule as it comes: all on."""
    for one in PRINTED.values():
        yield Rule(
            one.code, True, one.urgent, one.quantity, one.side,
            None if one.limit is None else one.limit(),
            0.0 if one.wait is None else one.wait(), one.wait_unit,
        )  # fmt: skip
