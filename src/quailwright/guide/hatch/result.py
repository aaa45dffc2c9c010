"""The result of a hatch: fertility, hatch of set and of fertile, and where eggs were lost."""

from dataclasses import dataclass
from typing import Literal

from quailwright.guide.hatch.case import HatchCase
from quailwright.husbandry import facts
from quailwright.husbandry.proportion import Interval, between
from quailwright.language import say, say_many

STAGES = ("early", "middle", "late", "pipped", "contaminated")
"""Stages of loss of opened eggs that were not clear, as in `eggs_opened`."""

Whole = Literal["set", "fertile"]


@dataclass(frozen=True, slots=True)
class Fates:
    """What became of every egg set.

    Attributes:
        eggs: eggs set, or accounted for where the record has more.
        hatched: chicks.
        clear: without visible development, candled out or opened.
        stages: opened eggs by stage.
        dead: taken out as dead at candling and not opened: early or middle, nobody knows.
        unopened: neither hatched, taken out nor opened.
        candled: whether clear or dead eggs were taken out, so that those left were seen alive.
    """

    eggs: int
    hatched: int
    clear: int
    stages: dict[str, int]
    dead: int
    unopened: int
    candled: bool


@dataclass(frozen=True, slots=True)
class Loss:
    """Eggs lost at one stage: how many, and their share of eggs `set` or of `fertile` eggs."""

    eggs: int
    of: Whole
    share: Interval


@dataclass(frozen=True, slots=True)
class HatchResult:
    """How a hatch went. Shares with 95 % intervals, as wide as what was not looked at makes them.

    Attributes:
        closed: whether the hatch is over; else the figures are so far, and upper ends count every
            egg left as if it may hatch.
        eggs_set, hatched: counts.
        fertile: lowest and highest number of eggs that may have been fertile.
        fertility, hatch_of_set: of eggs set.
        hatch_of_fertile: None when no egg is taken for fertile.
        losses: by stage: `clear`, `dead_at_candling`, `early`, `middle`, `late`, `pipped`,
            `contaminated`, `unopened`; only those that could be seen.
        reckoned: which of the shares rest on eggs that nobody looked into.
        says: sentences on what the figures cannot tell.
    """

    closed: bool
    eggs_set: int
    hatched: int
    fertile: tuple[int, int]
    fertility: Interval
    hatch_of_set: Interval
    hatch_of_fertile: Interval | None
    losses: dict[str, Loss]
    reckoned: tuple[str, ...]
    says: tuple[str, ...]


def fates(case: HatchCase) -> Fates:
    """Counts every egg once: eggs taken out at candling and opened later are among the opened.

    Where more eggs were opened than were left, the surplus was opened out of those taken out:
    first the clear ones, as far as infertile and early ones were found, then the dead ones.
    """
    opened = {stage: case.opened.get(stage, 0) for stage in STAGES}
    infertile = case.opened.get("infertile", 0)
    left = max(0, case.eggs_set - case.hatched - case.clear - case.dead)
    twice = max(0, infertile + sum(opened.values()) - left)
    twice_clear = min(twice, case.clear, infertile + opened["early"])
    clear = case.clear - twice_clear + infertile
    dead = max(0, case.dead - (twice - twice_clear))
    known = case.hatched + clear + dead + sum(opened.values())
    return Fates(
        eggs=max(case.eggs_set, known),
        hatched=case.hatched,
        clear=clear,
        stages=opened,
        dead=dead,
        unopened=max(0, case.eggs_set - known),
        candled=case.clear + case.dead > 0,
    )


def result(case: HatchCase) -> HatchResult | None:
    """The result of a hatch, or None until a chick is out, an egg is opened or the hatch closed.

    Clear eggs count as not fertile (an embryo that died in the first day or two looks clear too).
    Eggs neither opened nor candled out, and rotten ones, may have been fertile or not: fertility
    and hatch of fertile lie between the two, and the intervals reach over both. For the value,
    eggs left after clear or dead ones were candled out are taken for fertile; where nothing was
    taken out, as many of them as the published fertility and hatch of fertile make likely. Dead
    stages are shares of fertile eggs.

    Source: classes as in Brazilian Journal of Poultry Science 2017, 19(3):527, dead as share of
    fertile eggs; intervals as `proportion.interval`.
    """
    fate = fates(case)
    known = fate.hatched + sum(fate.stages.values()) + case.opened.get("infertile", 0)
    if fate.eggs == 0 or not (case.closed or known):
        return None
    unsure = fate.unopened + fate.stages["contaminated"]
    highest = fate.eggs - fate.clear
    lowest = highest - unsure
    likely = highest - unsure * (1 - _fertile_share_of_unsure(fate))
    may_hatch = fate.unopened if _may_hatch(case) else 0
    return HatchResult(
        closed=case.closed,
        eggs_set=fate.eggs,
        hatched=fate.hatched,
        fertile=(lowest, highest),
        fertility=between(lowest, highest, fate.eggs, likely / fate.eggs),
        hatch_of_set=between(
            fate.hatched, fate.hatched + may_hatch, fate.eggs, fate.hatched / fate.eggs
        ),
        hatch_of_fertile=_of_fertile(
            fate.hatched, fate.hatched + may_hatch, lowest + may_hatch, highest, likely
        ),
        reckoned=("fertility", "hatch_of_fertile") if unsure else (),
        losses=_losses(fate, lowest, highest, likely),
        says=tuple(_says(case, fate)),
    )


def _may_hatch(case: HatchCase) -> bool:
    return case.awaited and not case.closed


def _fertile_share_of_unsure(fate: Fates) -> float:
    if fate.candled:
        return 1.0
    fertility = facts.value("incubation.fertility")
    hatch_of_fertile = facts.value("incubation.hatch_of_fertile")
    return fertility * (1 - hatch_of_fertile) / (1 - fertility * hatch_of_fertile)


def _of_fertile(
    low_count: int, high_count: int, lowest: int, highest: int, likely: float
) -> Interval | None:
    """A share of fertile eggs when neither the count nor the number fertile is sure."""
    if likely <= 0:
        return None
    most = max(1, lowest, high_count)
    low = between(low_count, low_count, max(1, highest), 0.0)
    high = between(high_count, high_count, most, 0.0)
    return Interval(min(1.0, low_count / likely), low.low95, high.high95, round(likely))


def _losses(fate: Fates, lowest: int, highest: int, likely: float) -> dict[str, Loss]:
    losses = {}
    opened = sum(fate.stages.values()) > 0
    if fate.clear or fate.candled or opened:
        share = between(fate.clear, fate.clear + fate.unopened, fate.eggs, fate.clear / fate.eggs)
        losses["clear"] = Loss(fate.clear, "set", share)
    counts = {"dead_at_candling": fate.dead} if fate.dead else {}
    if opened:
        counts |= fate.stages
    for stage, eggs in counts.items():
        hidden = fate.unopened + (fate.dead if stage in ("early", "middle") else 0)
        of_fertile = _of_fertile(eggs, eggs + hidden, lowest, highest, likely)
        if of_fertile is not None:
            losses[stage] = Loss(eggs, "fertile", of_fertile)
    if fate.unopened:
        share = between(fate.unopened, fate.unopened, fate.eggs, fate.unopened / fate.eggs)
        losses["unopened"] = Loss(fate.unopened, "set", share)
    return losses


def _says(case: HatchCase, fate: Fates) -> list[str]:
    says = []
    if _may_hatch(case) and fate.unopened:
        says.append(say("So far: eggs may still hatch, and upper ends count them all."))
    if not _may_hatch(case) and fate.unopened:
        if fate.candled:
            says.append(
                say_many(
                    "{n} egg did not hatch and were not opened. They are taken for fertile, as the "
                    "others were candled out; the ends of the intervals reach from none of them to "
                    "all.",
                    "{n} eggs did not hatch and were not opened. They are taken for fertile, as "
                    "the others were candled out; the ends of the intervals reach from none of "
                    "them to all.",
                    fate.unopened,
                )
            )
        else:
            says.append(
                say_many(
                    "{n} egg did not hatch, nothing was candled out, and they were not opened: "
                    "nobody knows whether they were fertile; the ends of the intervals reach from "
                    "none of them to all.",
                    "{n} eggs did not hatch, nothing was candled out, and they were not opened: "
                    "nobody knows whether they were fertile; the ends of the intervals reach from "
                    "none of them to all.",
                    fate.unopened,
                )
            )
    if fate.dead:
        says.append(
            say_many(
                "{n} egg came out dead at candling, not opened: early or middle, the record does "
                "not say.",
                "{n} eggs came out dead at candling, not opened: early or middle, the record does "
                "not say.",
                fate.dead,
            )
        )
    if fate.clear and not case.opened.get("infertile", 0):
        says.append(
            say(
                "Clear at candling can also be an embryo that died in the first day or two; "
                "opening the egg tells."
            )
        )
    return says
