"""A strategy for journals, plausible and not, over a few names and days.

Some journals are a sound beginning with anything after it, some are noise: counts that cannot be,
names that nobody has logged, entries taken back, corrections of corrections.
"""

from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

from hypothesis import strategies as st
from tests.makers import made, uid

from quailwright.journal.entries import Entry

FIRST = date(2027, 3, 26)  # two days before the clocks change in Lisbon
DAYS = [FIRST + timedelta(days=n) for n in range(8)]
GROUPS = ["layers", "youngsters", "cocks"]
HATCHES = ["march", "april"]
PLACES = ["shed", "barn", "loft"]
SOURCES = ["creek", "hill"]
RINGS = ["r1", "r2", "r3"]
ZONES = ["Europe/Lisbon", "Pacific/Auckland", "America/Los_Angeles"]

Draft = tuple[str, dict[str, Any]]

small = st.integers(0, 9)
some = st.integers(1, 9)
group = st.sampled_from(GROUPS)
hatch = st.sampled_from(HATCHES)
place = st.sampled_from(PLACES)
source = st.sampled_from(SOURCES)
ring = st.sampled_from(RINGS)
day = st.sampled_from(DAYS)
maybe_day = st.none() | day
hatching_day = st.sampled_from([DAYS[0], date(2027, 2, 1)])
force = st.sampled_from([False, False, False, True])


def _timed(on: date, hour: int, offset: str) -> str:
    return f"{on}T{hour:02d}:30{offset}"


moments = st.one_of(
    day.map(date.isoformat),
    st.builds(
        _timed, day, st.sampled_from([0, 1, 12, 23]), st.sampled_from(["Z", "+01:00", "-08:00"])
    ),
)


def _kind(kind: str, **fields: st.SearchStrategy[Any]) -> st.SearchStrategy[Draft]:
    given = st.fixed_dictionaries({"at": moments, "force": force, **fields})
    return given.map(lambda drawn: (kind, {k: v for k, v in drawn.items() if v is not None}))


_birds = st.fixed_dictionaries({"chicks": small, "hens": small, "cocks": small})


def _of_birds(kind: str, **fields: st.SearchStrategy[Any]) -> st.SearchStrategy[Draft]:
    """An entry that names at least one bird."""

    def merge(draft: Draft, birds: dict[str, int]) -> Draft:
        return draft[0], {**draft[1], **birds}

    return st.builds(merge, _kind(kind, **fields), _birds.filter(lambda b: any(b.values())))


box = st.sampled_from(["a", "b"])
order = st.sampled_from(["ann", "bo"])
last_held = st.none() | st.sampled_from(DAYS)

# Boxes and orders of eggs, and what holds eggs back.
EGGS_KEPT: list[st.SearchStrategy[Draft]] = [
    _kind("eggs_boxed", box=box, eggs=st.integers(1, 12), group=st.none() | group),
    _kind("eggs_out", use=st.sampled_from(["eaten", "sold", "given", "discarded"]),
          eggs=st.integers(1, 12), box=st.none() | box),
    _kind("eggs_out", use=st.sampled_from(["sold", "given"]), eggs=st.integers(1, 12),
          box=st.none() | box, order=st.none() | order),
    _kind("eggs_ordered", order=order, eggs=small, on=st.sampled_from(DAYS),
          to=st.just("Ann")),
    _kind("eggs_collected", group=group, eggs=st.integers(3, 12)),
    _kind("treated", group=group, product=st.sampled_from(["powder", "drops"]),
          eggs_withheld_until=st.none() | st.just(DAYS[-1]),
          meat_withheld_until=st.none() | st.just(DAYS[-1])),
    _kind("treated", group=group, product=st.just("powder"), at=st.just(str(FIRST)),
          eggs_withheld_until=last_held, meat_withheld_until=last_held),
    _kind("quarantine", place=place, until=st.just(DAYS[-1])),
    _kind("egg_rule", storage=st.just("cool"), keeps_days=st.sampled_from([1, 3, 21]),
          checked_on=st.just(FIRST), said_by=st.just("the office")),
]  # fmt: skip

# What changes counts, and what is only told.
COUNTED: list[st.SearchStrategy[Draft]] = [
    _of_birds("group", group=group, place=place, hatched_on=st.none() | hatching_day),
    _of_birds("group", group=group, place=place, hatch=st.none() | hatch, cost=st.none() | some),
    _kind("group", group=group, place=place, hatch=hatch),
    _kind("birds_moved", group=group, place=place, to_group=st.none() | group),
    _of_birds("birds_moved", group=group, place=place, to_group=st.none() | group),
    _kind("birds_sexed", group=group, hens=some, cocks=small),
    _of_birds("birds_died", group=group, found=st.sampled_from([None, "chilled", "predator"])),
    _of_birds("birds_processed", group=group),
    _of_birds("birds_out", group=group, use=st.sampled_from(["sold", "given", "lost"])),
    _kind("birds_counted", group=group, chicks=small, hens=st.none() | small, cocks=small),
    _kind("eggs_collected", group=group, eggs=st.integers(3, 12), cracked=st.integers(0, 3)),
    _kind(
        "eggs_out",
        use=st.sampled_from(["eaten", "sold", "given", "discarded"]),
        eggs=st.integers(1, 15),
        group=st.none() | group,
        laid_from=st.none() | st.sampled_from(DAYS[:4]),
        laid_to=st.none() | st.sampled_from(DAYS[4:]),
        income=st.none() | some,
    ),
    _kind("eggs_received", source=source, eggs=st.integers(5, 20), broken=st.integers(0, 5),
          lot=st.sampled_from(["", "a"])),
    _kind("eggs_set", hatch=hatch, place=place, eggs=st.integers(1, 20), source=source,
          lot=st.sampled_from(["", "a"])),
    _kind("eggs_set", hatch=hatch, place=place, eggs=st.integers(1, 12), group=group,
          laid_to=maybe_day),
    _kind("eggs_weighed", hatch=hatch, eggs=some, total_g=st.integers(1, 200)),
    _kind("eggs_candled", hatch=hatch, clear=small, dead=small),
    _kind("turning_stopped", hatch=hatch, place=st.none() | place),
    _kind("chicks_hatched", hatch=hatch, chicks=st.integers(0, 15)),
    _kind("eggs_opened", hatch=hatch, infertile=small, early=small, late=small),
    _kind("hatch_closed", hatch=hatch),
    _kind("bird_left", bird=ring,
          use=st.sampled_from(["died", "processed", "sold", "given", "lost"])),
]  # fmt: skip

TOLD: list[st.SearchStrategy[Draft]] = [
    _kind("treated", group=group, product=st.just("powder"), eggs_withheld_until=st.none()
          | st.just(DAYS[-1]), meat_withheld_until=st.none() | st.just(DAYS[-1])),
    _kind("quarantine", place=place, until=st.just(DAYS[-1])),
    _kind("place", place=place, role=st.sampled_from(["pen", "brooder", "incubator"]),
          floor_m2=st.none() | some, capacity_eggs=st.none() | some),
    _kind("feed_bought", feed=st.just("starter"), kg=some, cost=st.none() | some),
    _kind("feed_given", feed=st.just("starter"), kg=some, place=st.none() | place),
    _kind("feed_counted", feed=st.just("starter"), kg=some),
    _kind("care", task=st.just("water"), place=st.none() | place),
    _kind("money", amount=st.integers(-9, 9), category=st.just("bedding")),
    _kind("outage", place=place, minutes=some),
    _kind("goal", eggs_per_week=some),
    _kind("source", source=source, route=st.sampled_from(["own", "shipped"])),
    _kind("instrument", instrument=st.just("dial"), place=place, temperature_offset_c=small),
    _kind("care_rule", rule=st.just("water"), silenced=st.booleans()),
    _kind("bird", bird=ring, sex=st.sampled_from(["hen", "cock", "unknown"]),
          group=st.none() | group, sire=st.none() | ring, dam=st.none() | ring),
    _kind("bird_weighed", bird=ring, mass_g=some),
    _kind("hen_laid", bird=ring, eggs=small, days=some),
    _kind("pairing", pen=place, cocks=st.just(["r1"]), hens=st.just(["r2", "r3"])),
]  # fmt: skip


def _cull(draft: Draft) -> Draft:
    """Names a hatch or a group, and hens, cocks or both that stay."""
    kind, fields = draft
    fields = dict(fields)
    if "hatch" in fields:
        fields = {k: v for k, v in fields.items() if k not in ("group", "hatched_on")}
    if "keep_cocks" not in fields:
        fields.setdefault("keep_hens", 3)
    return kind, fields


planned_day = st.sampled_from([DAYS[-1] + timedelta(days=n) for n in (0, 1, 5, 60)])
PLANNED: list[st.SearchStrategy[Draft]] = [
    _kind("plan_accepted", brief=st.sampled_from(["", "[goal]\neggs_per_week = 40\n"]),
          certainty=st.sampled_from([0, 0.8, 1])),
    _kind("set_planned", hatch=st.sampled_from([*HATCHES, "may"]), on=planned_day, place=place,
          eggs=some, source=source),
    _kind("set_planned", hatch=st.sampled_from([*HATCHES, "may"]), on=planned_day, place=place,
          eggs=some, group=group),
    _kind("cull_planned", on=planned_day, hatch=st.none() | st.sampled_from([*HATCHES, "may"]),
          group=group, hatched_on=st.none() | hatching_day, keep_hens=st.none() | small,
          keep_cocks=st.none() | small).map(_cull),
    _kind("eggs_set", hatch=st.sampled_from(["may", "other"]), place=place, eggs=some,
          source=source),
]  # fmt: skip

facts = st.one_of(*COUNTED, *COUNTED, *TOLD, *EGGS_KEPT, *PLANNED)
holdings = _kind("holding", timezone=st.sampled_from(ZONES), name=st.just("home"))

# A sound beginning: every group lives and lays, every hatch is set, on the first of the days.
BEGINNING: list[Draft] = [
    *(("group", {"at": str(FIRST), "group": name, "place": where, "chicks": 8, "hens": 8,
                 "cocks": 8}) for name, where in zip(GROUPS, PLACES, strict=True)),
    *(("eggs_set", {"at": str(FIRST), "hatch": name, "place": "box", "eggs": 30,
                    "source": "friend"}) for name in HATCHES),
    *(("eggs_collected", {"at": str(FIRST), "group": name, "eggs": 20}) for name in GROUPS),
    *(("bird", {"at": str(FIRST), "bird": ring, "sex": "hen", "group": name})
      for ring, name in zip(RINGS, GROUPS, strict=True)),
]  # fmt: skip


def _retracts(of: int) -> st.SearchStrategy[Draft]:
    """Taking back any of the first `of` entries or of their corrections, or an unknown one."""
    instead_id = st.integers(0, of + 1).map(lambda n: uid(1000 + n))
    target = st.one_of(st.integers(0, of + 1).map(uid), instead_id)
    return _kind("retract", entry=target, why=st.just("wrong"), instead=st.none() | facts)


@st.composite
def journals(
    draw: Callable[[st.SearchStrategy[Any]], Any],
    size: int = 14,
    kinds: st.SearchStrategy[Draft] | None = None,
    retracts: bool = True,
    zones: bool = True,
) -> list[Entry]:
    """Entries in an order of arrival; the entry at place n has `uid(n)`, what stands in its stead
    `uid(1000 + n)`."""
    drafts = list(BEGINNING) if draw(st.sampled_from([True, True, True, False])) else []
    choices = [kinds or facts]
    if retracts:
        choices = [*choices, *choices, _retracts(len(drafts) + size)]
    if zones:
        choices = [*choices, *choices, holdings]
    fewest = draw(st.integers(0, size))
    drafts += draw(st.lists(st.one_of(*choices), min_size=fewest, max_size=size))
    return [numbered(draft, number) for number, draft in enumerate(drafts)]


def numbered(draft: Draft, number: int) -> Entry:
    """The entry of a draft, with the id of that number."""
    kind, fields = draft
    if isinstance(fields.get("instead"), tuple):
        inner_kind, inner = fields["instead"]
        instead = {"kind": inner_kind, "id": uid(1000 + number), **_plain(inner)}
        fields = {**fields, "instead": instead}
    if fields.get("entry") in (uid(number), uid(1000 + number)):
        fields = {**fields, "entry": uid(9999)}
    return made(kind, fields["at"], id=uid(number), **_plain({**fields, "at": None}))


def _plain(fields: dict[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in fields.items() if value is not None}
