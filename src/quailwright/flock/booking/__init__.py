"""How each kind of entry changes what stands: one function a kind, of the same name.

A booking first checks, then changes: when it refuses, nothing has changed. `forced` (the entry
insists, or the fold has found no order in which it fits) books the contradiction and says so.
"""

from collections.abc import Callable
from datetime import date
from typing import Any

from quailwright.flock.booking import birds, eggs, feed, hatching, holding, plans, rings
from quailwright.flock.booking.known import Refused
from quailwright.flock.state import Flock
from quailwright.journal import entries as kinds
from quailwright.journal.entries import Entry

__all__ = ["BOOKINGS", "Refused"]

Booking = Callable[[Flock, Any, date, bool], None]


def _retract(flock: Flock, entry: kinds.Retract, day: date, forced: bool) -> None:
    """The fold has left out what this takes back; nothing more to book."""


BOOKINGS: dict[type[Entry], Booking] = {
    kinds.Holding: holding.holding,
    kinds.Place: holding.place,
    kinds.Instrument: holding.instrument,
    kinds.Source: holding.source,
    kinds.Feed: holding.feed,
    kinds.Goal: holding.goal,
    kinds.CareRule: holding.care_rule,
    kinds.PlanAccepted: plans.plan_accepted,
    kinds.SetPlanned: plans.set_planned,
    kinds.CullPlanned: plans.cull_planned,
    kinds.EggsReceived: hatching.eggs_received,
    kinds.EggsSet: hatching.eggs_set,
    kinds.EggsWeighed: hatching.eggs_weighed,
    kinds.EggsCandled: hatching.eggs_candled,
    kinds.TurningStopped: hatching.turning_stopped,
    kinds.ChicksHatched: hatching.chicks_hatched,
    kinds.EggsOpened: hatching.eggs_opened,
    kinds.HatchClosed: hatching.hatch_closed,
    kinds.Group: birds.group,
    kinds.BirdsMoved: birds.birds_moved,
    kinds.BirdsSexed: birds.birds_sexed,
    kinds.BirdsDied: birds.birds_died,
    kinds.BirdsProcessed: birds.birds_processed,
    kinds.BirdsOut: birds.birds_out,
    kinds.BirdsCounted: birds.birds_counted,
    kinds.BirdsWeighed: birds.birds_weighed,
    kinds.EggsCollected: eggs.eggs_collected,
    kinds.EggsOut: eggs.eggs_out,
    kinds.EggsBoxed: eggs.eggs_boxed,
    kinds.EggsOrdered: eggs.eggs_ordered,
    kinds.EggRule: holding.egg_rule,
    kinds.FeedBought: feed.feed_bought,
    kinds.FeedGiven: feed.feed_given,
    kinds.FeedCounted: feed.feed_counted,
    kinds.WaterGiven: holding.water_given,
    kinds.TemperatureSeen: holding.temperature_seen,
    kinds.Care: holding.care,
    kinds.Treated: birds.treated,
    kinds.Quarantine: holding.quarantine,
    kinds.Outage: holding.outage,
    kinds.Contact: holding.contact,
    kinds.Money: holding.money,
    kinds.Bird: rings.bird,
    kinds.BirdWeighed: rings.bird_weighed,
    kinds.HenLaid: rings.hen_laid,
    kinds.BirdLeft: rings.bird_left,
    kinds.Pairing: rings.pairing,
    kinds.Retract: _retract,
}
