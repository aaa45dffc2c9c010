"""The record that a keeper makes of a simulated flock: habits, gaps and slips, and the entries."""

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
from numpy.random import Generator
from studies.simulated_nature import Bools, Ints
from studies.simulated_story import Batch, Hatching, Story

from quailwright.journal import entries as kinds
from quailwright.journal.entries import Entry


@dataclass(frozen=True)
class Keeper:
    """Habits of record keeping. Shares and chances are between 0 and 1."""

    days_missed: float
    gap_days: float
    catches_up: bool
    weekly: bool
    two_count: bool
    counted_twice: float
    zeros_told: bool
    cracked_told: bool
    clock: bool
    mistakes: float
    deaths_told: float
    head_count_every: int | None
    feed: str
    feed_noise: float
    candles: int
    opens: float
    closes: float
    sexes_by_count: bool
    ages_told: float
    routes_told: bool
    sexing_day: int

    @property
    def eggs_told(self) -> str:
        """How eggs are logged, for the breakdown of scores."""
        if self.weekly:
            return "a week at once"
        if self.counted_twice:
            return "some counted twice"
        if self.days_missed <= 0.05:
            return "daily, hardly a gap"
        return "gaps, logged later" if self.catches_up else "gaps, lost"


PERFECT = Keeper(
    days_missed=0.0,
    gap_days=1.0,
    catches_up=False,
    weekly=False,
    two_count=False,
    counted_twice=0.0,
    zeros_told=True,
    cracked_told=True,
    clock=False,
    mistakes=0.0,
    deaths_told=1.0,
    head_count_every=None,
    feed="daily",
    feed_noise=0.0,
    candles=2,
    opens=1.0,
    closes=1.0,
    sexes_by_count=False,
    ages_told=1.0,
    routes_told=True,
    sexing_day=28,
)


def draw_keeper(rng: Generator) -> Keeper:
    """The habits of one keeper."""
    two = bool(rng.random() < 0.15)
    counts = rng.random() < 0.6
    return Keeper(
        days_missed=0.0 if rng.random() < 0.3 else float(rng.uniform(0.02, 0.5)),
        gap_days=float(rng.uniform(1.0, 4.0)),
        catches_up=bool(rng.random() < 0.5),
        weekly=bool(rng.random() < 0.12),
        two_count=two,
        counted_twice=float(rng.uniform(0.02, 0.3)) if two and rng.random() < 0.5 else 0.0,
        zeros_told=bool(rng.random() < 0.5),
        cracked_told=bool(rng.random() < 0.5),
        clock=bool(rng.random() < 0.3),
        mistakes=0.01 if rng.random() < 0.15 else 0.0,
        deaths_told=float(rng.uniform(0.95, 1.0) if rng.random() < 0.6 else rng.uniform(0.3, 0.95)),
        head_count_every=int(rng.choice((30, 60, 90, 180))) if counts else None,
        feed=str(rng.choice(("daily", "bag", "none"), p=(0.35, 0.35, 0.3))),
        feed_noise=0.08,
        candles=int(rng.choice(3, p=(0.3, 0.35, 0.35))),
        opens=float(rng.choice((0.0, 0.5, 1.0))),
        closes=float(rng.choice((0.6, 0.9, 1.0))),
        sexes_by_count=bool(rng.random() < 0.1),
        ages_told=float(rng.choice((0.0, 0.5, 1.0), p=(0.1, 0.3, 0.6))),
        routes_told=bool(rng.random() < 0.8),
        sexing_day=int(rng.integers(24, 43)),
    )


def keep_record(rng: Generator, today: date, story: Story, keeper: Keeper) -> list[Entry]:
    """The journal up to today, in a shuffled order of arrival. Closes hatches in `story`."""
    diary = _Diary(rng, today, story, keeper)
    diary.holding()
    diary.hatches()
    diary.birds()
    diary.head_counts()
    diary.eggs()
    diary.feed()
    entries = diary.entries
    return [entries[number] for number in rng.permutation(len(entries))]


_IDS_AT_ONCE = 512
BAGS_KG = (10.0, 15.0, 20.0, 25.0)


class _Diary:
    """Writes entries. Whatever it writes is at or before the evening of today."""

    def __init__(self, rng: Generator, today: date, story: Story, keeper: Keeper) -> None:
        self.rng, self.today, self.story, self.keeper = rng, today, story, keeper
        self.entries: list[Entry] = []
        self._hex = ""
        self._zone = ZoneInfo(story.site.zone or "UTC")
        self._written = self._days_written()
        self._arrivals_told = {source.name: self._likely(0.6) for source in story.sources}
        self.first = -story.history_days

    def _id(self) -> str:
        if not self._hex:
            self._hex = self.rng.bytes(16 * _IDS_AT_ONCE).hex()
        h, self._hex = self._hex[:32], self._hex[32:]
        return f"{h[:8]}-{h[8:12]}-4{h[13:16]}-a{h[17:20]}-{h[20:]}"

    def _day(self, day: int) -> date:
        return self.today + timedelta(days=day)

    def _at(self, day: int, hour: float | None) -> str:
        on = self._day(day)
        if hour is None:
            return on.isoformat()
        minutes = round(60 * hour)
        local = datetime.combine(on, time(minutes // 60, minutes % 60), tzinfo=self._zone)
        return local.isoformat(timespec="minutes")

    def _write(
        self, kind: type[Entry], day: int, hour: float | None = None, /, **fields: Any
    ) -> None:
        if day <= 0:
            self.entries.append(kind(id=self._id(), at=self._at(day, hour), **fields))

    def _likely(self, chance: float) -> bool:
        return bool(self.rng.random() < chance)

    def _days_written(self) -> Bools:
        """The days, from the first to today, on which the keeper writes: gaps come in runs."""
        days = self.story.history_days + 1
        share = self.keeper.days_missed
        if not share:
            return np.ones(days, dtype=np.bool_)
        ends = 1.0 / self.keeper.gap_days
        begins = share * ends / (1.0 - share)
        missed = self._likely(share)
        drawn = self.rng.random(days)
        written = np.empty(days, dtype=np.bool_)
        for day in range(days):
            missed = drawn[day] > ends if missed else drawn[day] < begins
            written[day] = not missed
        return written

    def holding(self) -> None:
        site, day = self.story.site, self.first
        self._write(
            kinds.Holding,
            day,
            name="home",
            latitude=site.latitude if site.tells_latitude else None,
            timezone=site.zone,
            light_target_h=site.lamp_h if site.tells_lamp else None,
        )
        if self.keeper.routes_told:
            for source in self.story.sources:
                self._write(kinds.Source, day, source=source.name, route=source.route)
        self._write(kinds.Place, day, place="incubator", role="incubator", capacity_eggs=120)

    # --- hatches -------------------------------------------------------------------------------

    def hatches(self) -> None:
        for hatching in self.story.hatchings:
            self._hatch(hatching)

    def _hatch(self, hatching: Hatching) -> None:
        keeper, outcome, name = self.keeper, hatching.outcome, hatching.name
        day = hatching.set_on
        if self._arrivals_told.get(hatching.source or ""):
            self._write(
                kinds.EggsReceived,
                day - 1,
                source=hatching.source,
                eggs=outcome.eggs + 2,
                broken=int(self.rng.integers(0, 3)),
                lot=name,
                laid_from=self._day(day - 8) if self._likely(0.5) else None,
                laid_to=self._day(day - 3) if self._likely(0.5) else None,
            )
        self._write(
            kinds.EggsSet,
            day,
            float(hatching.set_hour) if self._likely(0.7) else None,
            hatch=name,
            eggs=outcome.eggs,
            place=hatching.place,
            source=hatching.source,
            group=hatching.laid_by,
            mean_egg_g=round(self.rng.uniform(9.5, 12.5), 1) if self._likely(0.2) else None,
        )
        clear, early, middle = self._candled(hatching)
        if self._likely(0.7):
            self._write(kinds.TurningStopped, day + 14, 19.0, hatch=name)
        self._chicks(hatching)
        done = hatching.housed_on
        if self._likely(keeper.opens):
            pipped = int(self.rng.binomial(outcome.late, 0.2))
            self._write(
                kinds.EggsOpened,
                done,
                10.0,
                hatch=name,
                infertile=outcome.infertile - clear,
                early=outcome.early - early,
                middle=outcome.middle - middle,
                late=outcome.late - pipped,
                pipped=pipped,
            )
        if self._likely(keeper.closes):
            hatching.closed_on = done + int(self.rng.integers(0, 3))
            self._write(kinds.HatchClosed, hatching.closed_on, 11.0, hatch=name)

    def _candled(self, hatching: Hatching) -> tuple[int, int, int]:
        """Logs candlings; gives the infertile, early and middle dead eggs taken out."""
        outcome = hatching.outcome
        clear = early = middle = 0
        for day, sharp in ((7, 0.9), (14, 0.97))[: self.keeper.candles]:
            if hatching.set_on + day > 0:
                break
            now_clear = int(self.rng.binomial(outcome.infertile - clear, sharp))
            now_early = int(self.rng.binomial(outcome.early - early, sharp - 0.1))
            now_middle = int(self.rng.binomial(outcome.middle, 0.8)) if day == 14 else 0
            clear, early, middle = clear + now_clear, early + now_early, middle + now_middle
            self._write(
                kinds.EggsCandled,
                hatching.set_on + day,
                20.0,
                hatch=hatching.name,
                clear=now_clear,
                dead=now_early + now_middle,
            )
        return clear, early, middle

    def _chicks(self, hatching: Hatching) -> None:
        """Logs chicks each evening, or all together on the last."""
        batch = hatching.batch
        if batch is None:
            return
        seen, number = np.unique(batch.came, return_counts=True)
        if self.keeper.deaths_told < 0.95 and self._likely(0.5):
            seen, number = seen[-1:], np.array([number.sum()])
        for day, chicks in zip(seen.tolist(), number.tolist(), strict=True):
            self._write(kinds.ChicksHatched, day, 20.0, hatch=hatching.name, chicks=chicks)

    # --- birds ---------------------------------------------------------------------------------

    def birds(self) -> None:
        for batch in self.story.batches:
            self._arrival(batch)
            self._sexing(batch)
            if batch.penned_on <= 0 and batch.pen is not None and batch.here(batch.penned_on).any():
                self._write(kinds.BirdsMoved, batch.penned_on, group=batch.group, place=batch.pen)
            if batch.joins is not None:
                self._joining(batch)
            self._deaths(batch)
        for leaving in self.story.exits:
            self._exit(leaving.day, leaving.group, leaving.use)

    def _arrival(self, batch: Batch) -> None:
        if batch.hatch is not None:
            chicks = batch.hen.size if self._likely(0.7) else 0
            self._write(
                kinds.Group,
                batch.housed_on,
                9.0,
                group=batch.group,
                place=batch.place,
                hatch=batch.hatch,
                chicks=chicks,
            )
            return
        told = self._likely(self.keeper.ages_told) or batch.sexed_on > batch.housed_on
        sexed = batch.sexed_on <= batch.housed_on
        self._write(
            kinds.Group,
            batch.housed_on,
            group=batch.group,
            place=batch.place,
            hatched_on=self._day(batch.hatched) if told else None,
            source=batch.source,
            chicks=0 if sexed else batch.hen.size,
            hens=int(batch.hen.sum()) if sexed else 0,
            cocks=int((~batch.hen).sum()) if sexed else 0,
        )

    def _sexing(self, batch: Batch) -> None:
        day = batch.sexed_on
        if day <= batch.housed_on or day > 0:
            return
        here = batch.here(day)
        hens, cocks = int((here & batch.hen).sum()), int((here & ~batch.hen).sum())
        # Those that leave on the very day are sexed first.
        going = (batch.left == day) & (batch.died > day)
        hens += int((going & batch.hen).sum())
        cocks += int((going & ~batch.hen).sum())
        if not hens + cocks:
            return
        if self.keeper.sexes_by_count and not going.any() and batch.joins_on != day:
            self._write(
                kinds.BirdsCounted, day, group=batch.group, chicks=0, hens=hens, cocks=cocks
            )
            return
        self._write(kinds.BirdsSexed, day, group=batch.group, hens=hens, cocks=cocks)
        if self.keeper.deaths_told < 1.0 and self._likely(0.7):
            self._write(kinds.BirdsCounted, day, group=batch.group, chicks=0)

    def _joining(self, batch: Batch) -> None:
        hens = int((batch.here(batch.joins_on) & batch.hen).sum())
        if hens:
            self._write(
                kinds.BirdsMoved,
                batch.joins_on,
                group=batch.group,
                place=batch.pen,
                to_group=batch.joins,
                hens=hens,
            )

    def _deaths(self, batch: Batch) -> None:
        dead = (batch.died <= 0) & (batch.died <= batch.left)
        told = dead & (self.rng.random(dead.size) < self.keeper.deaths_told)
        for day in np.unique(batch.died[told]).tolist():
            today = told & (batch.died == day)
            hens, cocks = int((today & batch.hen).sum()), int((today & ~batch.hen).sum())
            group = batch.group_on(day)
            if day <= batch.sexed_on and batch.sexed_on > batch.housed_on:
                self._write(kinds.BirdsDied, day, group=group, chicks=hens + cocks)
            else:
                self._write(kinds.BirdsDied, day, group=group, hens=hens, cocks=cocks)

    def _exit(self, day: int, group: str, use: str) -> None:
        chicks = hens = cocks = 0
        for batch in self.story.batches:
            if batch.group_on(day) != group:
                continue
            going = (batch.left == day) & (batch.died > day)
            if day < batch.sexed_on:
                chicks += int(going.sum())
            else:
                hens += int((going & batch.hen).sum())
                cocks += int((going & ~batch.hen).sum())
        if not chicks + hens + cocks:
            return
        if use == "processed":
            self._write(
                kinds.BirdsProcessed, day, group=group, chicks=chicks, hens=hens, cocks=cocks
            )
        else:
            self._write(
                kinds.BirdsOut, day, group=group, use=use, chicks=chicks, hens=hens, cocks=cocks
            )
        counts = self.story.counts[group]
        place = self.story.place_of(day)
        left = counts.hens[place] + counts.cocks[place] + counts.chicks[place]
        if not left and self.keeper.deaths_told < 1.0 and self._likely(0.85):
            self._write(kinds.BirdsCounted, day, group=group, chicks=0, hens=0, cocks=0)

    def head_counts(self) -> None:
        every = self.keeper.head_count_every
        if every is None:
            return
        for group, counts in self.story.counts.items():
            birds = counts.hens + counts.cocks + counts.chicks
            came = self._first_recorded(group)
            for day in range(came + int(self.rng.integers(1, every + 1)), 1, every):
                on = day + int(self.rng.integers(0, 4))
                place = self.story.place_of(on)
                if on <= 0 and birds[place] and self._settled(group, on):
                    self._write(
                        kinds.BirdsCounted,
                        on,
                        group=group,
                        chicks=int(counts.chicks[place]),
                        hens=int(counts.hens[place]),
                        cocks=int(counts.cocks[place]),
                    )

    def _first_recorded(self, group: str) -> int:
        return min(b.housed_on for b in self.story.batches if b.group == group)

    def _settled(self, group: str, day: int) -> bool:
        """Whether no count that day could be of birds in the middle of a move."""
        return all(day not in (b.sexed_on, b.joins_on) for b in self.story.batches)

    # --- eggs ----------------------------------------------------------------------------------

    def eggs(self) -> None:
        today = self.story.today
        first = self.story.place_of(self.first)
        dates = [self._day(day).isoformat() for day in range(self.first, 1)]
        weekday = int(self.rng.integers(7))
        for group, laid in self.story.laid.items():
            eggs = laid[first : today + 1]
            begun = np.flatnonzero(eggs)
            if begun.size:
                hens = self.story.counts[group].hens[first : today + 1] > 0
                expected = hens & (np.arange(eggs.size) >= begun[0])
                self._eggs_of(group, eggs, expected, dates, weekday)

    def _eggs_of(
        self, group: str, eggs: Ints, expected: Bools, dates: list[str], weekday: int
    ) -> None:
        keeper = self.keeper
        cracked = self.rng.binomial(eggs, self.story.nature.cracked)
        carried = carried_cracked = 0
        for place in np.flatnonzero(expected | (eggs > 0)).tolist():
            number, bad = int(eggs[place]), int(cracked[place])
            if keeper.weekly and place % 7 != weekday:
                carried, carried_cracked = carried + number, carried_cracked + bad
                continue
            if not keeper.weekly and not self._written[place]:
                if keeper.catches_up:
                    carried, carried_cracked = carried + number, carried_cracked + bad
                continue
            number, bad = number + carried, bad + carried_cracked
            carried = carried_cracked = 0
            if number or keeper.zeros_told:
                self._eggs_entry(group, place, dates[place], number, bad)

    def _eggs_entry(self, group: str, place: int, on: str, eggs: int, cracked: int) -> None:
        keeper, rng = self.keeper, self.rng
        at = self._at(place + self.first, rng.uniform(17.0, 21.0)) if keeper.clock else on
        bad = cracked if keeper.cracked_told else 0
        if keeper.mistakes and rng.random() < keeper.mistakes and eggs:
            self._mistaken(group, at, on, eggs)
            return
        if not keeper.two_count or eggs < 2:
            self._collected(group, at, eggs, bad, "")
            return
        if keeper.counted_twice and rng.random() < keeper.counted_twice:
            self._collected(group, at, eggs, bad, "A")
            self._collected(group, at, eggs, bad, "B")
            return
        share = int(rng.binomial(eggs, 0.5))
        bad_share = min(share, bad)
        self._collected(group, at, share, bad_share, "A")
        self._collected(group, at, eggs - share, bad - bad_share, "B")

    def _collected(self, group: str, at: str, eggs: int, cracked: int, by: str) -> None:
        self.entries.append(
            kinds.EggsCollected(
                id=self._id(), at=at, group=group, eggs=eggs, cracked=cracked, by=by
            )
        )

    def _mistaken(self, group: str, at: str, on: str, eggs: int) -> None:
        """A slip of the pen, taken back the same day."""
        slip = kinds.EggsCollected(id=self._id(), at=at, group=group, eggs=10 * eggs)
        right = kinds.EggsCollected(id=self._id(), at=at, group=group, eggs=eggs)
        self.entries.append(slip)
        self.entries.append(
            kinds.Retract(id=self._id(), at=on, entry=slip.id, why="typed wrong", instead=right)
        )

    # --- feed ----------------------------------------------------------------------------------

    def feed(self) -> None:
        if self.keeper.feed == "none":
            return
        place, today = self.story.place_of(self.first), self.story.today
        total = self.story.feed_kg[place : today + 1]
        chicks = self.story.chick_feed_kg[place : today + 1]
        if self._likely(0.5):
            feeds = {"layer pellets": total - chicks, "chick crumbs": chicks}
        else:
            feeds = {"quail feed": total}
        for feed, used in feeds.items():
            if not used.sum() > 0.0:
                continue
            if self.keeper.feed == "daily":
                self._feed_by_day(feed, used)
            else:
                self._feed_by_bag(feed, used)

    def _feed_by_day(self, feed: str, used: np.typing.NDArray[np.float64]) -> None:
        carried = 0.0
        for place in np.flatnonzero(used > 0.0).tolist():
            if not self._written[place]:
                carried += used[place] if self.keeper.catches_up else 0.0
                continue
            kg = (used[place] + carried) * np.exp(self.rng.normal(0.0, self.keeper.feed_noise))
            carried = 0.0
            self._write(kinds.FeedGiven, place + self.first, feed=feed, kg=round(float(kg), 3))

    def _feed_by_bag(self, feed: str, used: np.typing.NDArray[np.float64]) -> None:
        """Buys a bag when two days' feed is left."""
        bag = float(self.rng.choice(BAGS_KG))
        weighs = self._likely(0.25)
        stock = 0.0
        for place, kg in enumerate(used.tolist()):
            if kg > 0.0 and stock < 2.0 * kg:
                bags = int(np.ceil((2.0 * kg - stock) / bag))
                stock += bags * bag
                self._write(kinds.FeedBought, place + self.first, feed=feed, kg=bags * bag)
            stock -= kg
            if weighs and place % 30 == 29:
                self._write(kinds.FeedCounted, place + self.first, feed=feed, kg=round(stock, 2))
