"""Which feeds run out before more can come, by the outlook."""

from datetime import date, datetime, timedelta

from quailwright.flock.state import Flock
from quailwright.guide.notices.care import told
from quailwright.guide.notices.rules import Rule
from quailwright.guide.notices.state import Wrong
from quailwright.journal.store import Store


def short_of_feed(store: Store, flock: Flock, rule: Rule, on: date, now: datetime) -> list[Wrong]:
    """Feeds that, ordered today, come too late one time in ten or more.

    A feed whose use nobody tells has no such day, and is left to the round.
    """
    from quailwright.exchange.outlook_page import as_things_are
    from quailwright.outlook.feed_ahead import EARLY, feed_ahead

    _, outlook = as_things_are(store, flock, now)
    ahead = feed_ahead(outlook, flock)
    found = []
    for feed in ahead.feeds:
        day = ahead.day(feed.runs_out, EARLY)
        delivery = rule.wait if feed.delivery_d is None else feed.delivery_d
        if feed.silent_since is not None or day is None or feed.kg <= 0:
            continue
        if day <= on + timedelta(days=delivery):
            known = told(feed=feed.feed, where=feed.feed, day=day.isoformat())
            found.append(Wrong("feed", feed.feed, rule.urgent, now, known))
    return found
