"""What an account lacks: what nobody told, and which entry would tell it."""

from collections import defaultdict
from collections.abc import Sequence
from datetime import date
from typing import TYPE_CHECKING

from quailwright.accounts.feed import is_reckoned
from quailwright.flock.remark import Remark
from quailwright.flock.state import Change, Flock
from quailwright.husbandry import facts
from quailwright.husbandry.age import DAYS_A_WEEK
from quailwright.language import say, say_many

if TYPE_CHECKING:
    from quailwright.accounts.account import Account


def untold(found: "Account") -> list[Remark]:
    """What nobody told of the days of an account."""
    return [
        *_of_feed(found),
        *_of_minutes(found),
        *_of_birds(found),
        *_of_sales(found),
    ]


def unpaid_eggs(flock: Flock, first: date, last: date) -> int:
    """Eggs sold in the days from `first` to `last` of which nobody told what they brought."""
    return sum(
        one.eggs
        for one in flock.eggs_gone
        if one.use == "sold" and not one.income_told and first <= one.day <= last
    )


def _of_sales(found: "Account") -> list[Remark]:
    eggs = unpaid_eggs(found.record.flock, found.first, found.last)
    if not eggs or ("eggs sold" in found.income and eggs == found.gone["sold"]):
        return []
    return [
        Remark(
            say_many(
                "What {n} egg sold brought is not told: it is left out of what a dozen brought.",
                "What {n} eggs sold brought is not told: they are left out of what a dozen "
                "brought.",
                eggs,
            ),
            say("If they were paid for, correct that eggs_out with income=..."),
        )
    ]


def _of_feed(found: "Account") -> list[Remark]:
    said: list[Remark] = []
    flock, first, last = found.record.flock, found.first, found.last
    own = [one for one in found.used if first <= one.day <= last]
    unpriced: dict[str, float] = defaultdict(float)
    for one in own:
        unpriced[one.feed] += one.unpriced_kg
    for feed, kg in unpriced.items():
        if kg > 0.005:
            said.append(
                Remark(
                    say(
                        "{kg:.1f} kg of {feed} have no price, and cost nothing here.",
                        kg=kg,
                        feed=feed,
                    ),
                    say('Tell it: quailwright log feed feed="{feed}" price_per_kg=...', feed=feed),
                    "feed",
                    {"feed": feed},
                )
            )
    unbought = sum(one.unbought_kg for one in own)
    if unbought > 0.5:
        said.append(
            Remark(
                say(
                    "{kg:.1f} kg more feed was given than was bought by the record: they have the "
                    "price of the latest bag.",
                    kg=unbought,
                ),
                say("Log feed_bought for what is missing."),
                "feed_bought",
            )
        )
    birds = sum(month.bird_days for month in found.months)
    if birds and not own:
        said.append(
            Remark(
                say("No feed is on the record for these days, so feed costs nothing here."),
                say("Log each bag: quailwright log feed_bought feed=... kg=... cost=..."),
                "feed_bought",
            )
        )
    empty = [
        f"{m.month[0]}-{m.month[1]:02d}" for m in found.months if m.bird_days and not m.feed_kg
    ]
    if own and empty:
        said.append(
            Remark(
                say(
                    "In {months} no feed is on the record, so it costs nothing there: a dozen "
                    "of those days cost more than stands here.",
                    months=", ".join(empty),
                ),
                say("Log each bag: quailwright log feed_bought feed=... kg=... cost=..."),
                "feed_bought",
            )
        )
    said += [
        Remark(
            say(
                "How much of {feed} is used is only reckoned from what birds of that age eat, "
                "until a second bag, feed_given or feed_counted tells.",
                feed=stock.name,
            ),
            "",
            "feed_counted",
            {"feed": stock.name},
        )
        for stock in flock.feeds.values()
        if is_reckoned(flock, stock) and any(one.feed == stock.name for one in own)
    ]
    if birds and own:
        said += _of_little_feed(found, sum(one.kg for one in own))
    return said


_FAR_LESS, _FAR_MORE = 0.6, 1.6


def _of_little_feed(found: "Account", kg: float) -> list[Remark]:
    """Feed that is far from what so many birds eat: the record has gaps."""
    heads = found.record.heads(found.first, found.last)
    grams = sum(sum(one.grams.values()) for month in heads.values() for one in month.values())
    expected = grams / 1000.0 / (1.0 - facts.value("feeding.wastage"))
    if expected <= 0 or _FAR_LESS <= kg / expected <= _FAR_MORE:
        return []
    if kg < expected:
        return [
            Remark(
                say(
                    "The record has {kg:.0f} kg of feed used; so many birds use about "
                    "{expected:.0f} kg. If some was not logged, all costs are higher than they "
                    "stand here: weigh what is left.",
                    kg=kg,
                    expected=expected,
                ),
                say("Tell it: quailwright log feed_counted feed=... kg=..."),
                "feed_counted",
            )
        ]
    return [
        Remark(
            say(
                "The record has {kg:.0f} kg of feed used; so many birds use about "
                "{expected:.0f} kg. Look for spill, and for birds that are not on the record.",
                kg=kg,
                expected=expected,
            )
        )
    ]


def _of_minutes(found: "Account") -> list[Remark]:
    minutes = found.minutes
    if not minutes.total:
        return [
            Remark(
                say("No minutes are noted, so what an hour earns is not known."),
                say("Note them with a tick: quailwright log care task=feed_water minutes=10"),
                "care",
                {"task": "feed_water"},
            )
        ]
    said: list[Remark] = []
    if minutes.reckoned:
        said.append(
            Remark(
                say(
                    "Of {hours:.0f} hours {noted:.0f} were noted; the others are reckoned by the "
                    "mean of the same task, or at least as published.",
                    hours=minutes.hours,
                    noted=minutes.noted / 60.0,
                )
            )
        )
    if minutes.unknown_ticks:
        said.append(
            Remark(
                say_many(
                    "{n} tick tells no minutes and is of a task of which none are known: it is "
                    "left out.",
                    "{n} ticks tell no minutes and are of tasks of which none are known: they are "
                    "left out.",
                    minutes.unknown_ticks,
                )
            )
        )
    return said


def _of_birds(found: "Account") -> list[Remark]:
    said: list[Remark] = []
    flock, first, last = found.record.flock, found.first, found.last
    for batch in found.batches:
        grown = batch.grown_on is not None and first <= batch.grown_on <= last
        if batch.eggs_unpriced and grown:
            said.append(
                Remark(
                    say_many(
                        "What {n} egg of {hatch} cost is not told.",
                        "What {n} eggs of {hatch} cost is not told.",
                        batch.eggs_unpriced,
                        hatch=batch.hatch,
                    ),
                    say("Tell it: quailwright log source source=... route=... price_per_egg=..."),
                    "source",
                    _source_of(found, batch.hatch),
                )
            )
    said += [
        Remark(
            say(
                "What the eggs that came from {source} on {day} cost is not told: they cost "
                "nothing here.",
                source=receipt.source,
                day=receipt.at.date(),
            ),
            say("If they were paid for, correct that eggs_received with cost=..."),
        )
        for receipt in flock.receipts
        if receipt.cost is None and first <= receipt.at.date() <= last
    ]
    bought = {payment.group for payment in flock.payments if payment.entry == "group"}
    for group in flock.groups.values():
        came = [c for c in group.changes if c.why == "in" and first <= c.day <= last]
        if came and not group.hatches and group.name not in bought and not _of_a_hatch(found, came):
            said.append(
                Remark(
                    say(
                        "What the birds of {group} cost is not told: they cost nothing here.",
                        group=group.name,
                    ),
                    say("If they were paid for, correct their group entry with cost=..."),
                )
            )
    if not found.eggs and found.hen_days:
        none = say("No eggs are on the record for these days.")
        said.append(Remark(none, say("Log eggs_collected."), "eggs_collected"))
    return said


def _source_of(found: "Account", hatch: str) -> dict[str, str]:
    """The source of a hatch's eggs that has no price yet, as an entry names it."""
    flock = found.record.flock
    for clutch in flock.hatches[hatch].clutches:
        source = flock.sources.get(clutch.source or "")
        if clutch.source and (source is None or source.price_per_egg is None):
            route = {} if source is None else {"route": source.route}
            return {"source": clutch.source, **route}
    return {}


def _of_a_hatch(found: "Account", came: Sequence[Change]) -> bool:
    days = [one.hatched_on for one in found.batches if one.hatch and one.hatched_on is not None]
    born = [one.youngest for one in came if one.youngest is not None]
    return any(abs((day - own).days) <= DAYS_A_WEEK for day in days for own in born)
