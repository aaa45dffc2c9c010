"""What the journal tells that is worth a notice: steps not done, what is withheld no longer."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import date, datetime, timedelta

import msgspec

from quailwright.flock.state import Flock
from quailwright.guide.notices.rules import Rule
from quailwright.guide.notices.state import Wrong
from quailwright.guide.round import hatch_steps
from quailwright.guide.signs import Sign
from quailwright.journal.moments import instant

STEPS = ("stop_turning", "move_chicks")
"""Steps that harm eggs or chicks where they are left undone."""


def told(**known: object) -> str:
    """What a notice's sentences need, as it is kept."""
    return msgspec.json.encode(known).decode()


def steps_not_done(flock: Flock, rule: Rule, now: datetime, on: date) -> Iterator[Wrong]:
    """Steps of open hatches that fell due so long ago, are not done, and are not too late.

    `on` is the day of `now` at the holding.
    """
    grace = timedelta(hours=rule.wait)
    for hatch in flock.hatches_open():
        for step in hatch_steps(flock, hatch, on):
            too_late = step.too_late is not None and step.too_late < now
            if step.rule not in STEPS or step.done or too_late or step.at + grace > now:
                continue
            yield Wrong(
                "step", f"{hatch.name}\t{step.rule}\t{step.day:g}", rule.urgent, step.at,
                told(hatch=hatch.name, place=hatch.place, step=step.rule, named=step.named),
            )  # fmt: skip


def step_words(flock: Flock, on: date) -> Mapping[tuple[str, str], str]:
    """What each step of open hatches asks for, in the language spoken, by hatch and rule."""
    return {
        (hatch.name, step.rule): step.what
        for hatch in flock.hatches_open()
        for step in hatch_steps(flock, hatch, on)
    }


def holds_ended(flock: Flock, rule: Rule, on: date) -> Iterator[Wrong]:
    """What may be used or moved again from the day `on`: it happens once."""
    yesterday = on - timedelta(days=1)
    since = instant(on.isoformat(), flock.zone, 0)
    found: set[tuple[str, str]] = set()
    for held in flock.withholdings:
        group = flock.groups[held.group]
        if not group.alive.total:
            continue
        if held.eggs_until == yesterday and flock.withheld_on(held.group, on) is None:
            found.add(("eggs", held.group))
        if held.meat_until == yesterday and flock.meat_withheld_on(held.group, on) is None:
            found.add(("meat", held.group))
    for place in flock.places.values():
        if place.quarantined_until == yesterday:
            found.add(("birds", place.name))
    for what, of in sorted(found):
        about = f"{what}\t{of}\t{on.isoformat()}"
        yield Wrong("hold", about, rule.urgent, since, told(what=what, of=of), once=True)


def bad_signs(signs: Sequence[Sign], rule: Rule, zone_name: str) -> Iterator[Wrong]:
    """Signs of the first rank: those for which somebody may be to be rung."""
    for sign in signs:
        if sign.ring:
            yield Wrong(
                "sign", f"{sign.sign}\t{sign.where}", rule.urgent,
                instant(sign.since.isoformat(), zone_name, 0),
                told(sign=sign.sign, where=sign.where),
            )  # fmt: skip
