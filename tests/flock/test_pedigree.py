"""Who may descend from whom, by what the journal tells of pens, hatches and rings."""

from datetime import date, timedelta
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from tests.flock.journals import journals
from tests.makers import made, uid

from quailwright.flock.breeding import breeding_of
from quailwright.flock.fold import fold
from quailwright.flock.individuals import MOST_APART
from quailwright.flock.pedigree import Lines, chicks_inbred, lines_of, parentage_sure_from
from quailwright.flock.state import Flock
from quailwright.husbandry.inheritance.kinship import inbreeding, relationships
from quailwright.journal.entries import Entry


class Log:
    """A journal written line by line."""

    def __init__(self) -> None:
        self.entries: list[Entry] = []

    def __call__(self, kind: str, at: str, **fields: Any) -> "Log":
        self.entries.append(made(kind, at, id=uid(len(self.entries)), **fields))
        return self

    def hatch(self, name: str, group: str, laid: str, set_on: str, out: str, chicks: int) -> "Log":
        """Eggs of a group laid on one day, set, hatched, and its chicks in a group of that name."""
        self("eggs_set", set_on, hatch=name, group=group, eggs=chicks, place="box",
             laid_from=laid, laid_to=laid)  # fmt: skip
        self("chicks_hatched", out, hatch=name, chicks=chicks)
        return self("group", out, group=name, place=f"{name} brooder", hatch=name)

    @property
    def flock(self) -> Flock:
        return fold(self.entries)

    @property
    def lines(self) -> Lines:
        return lines_of(self.flock)


def pen(cocks: int, hens: int) -> Log:
    log = Log()("group", "2027-01-01", group="south", place="pen A", hens=hens, cocks=cocks)
    return log.hatch("may", "south", "2027-02-05", "2027-02-06", "2027-02-23", 20)


def of_group(lines: Lines, group: str, sex: str | None = None) -> list[int]:
    return [
        at
        for at, member in enumerate(lines.members)
        if member.group == group and (sex is None or member.sex == sex)
    ]


@settings(max_examples=60)
@given(journals(size=18))
def test_any_journal_gives_a_valid_pedigree_of_all_that_live(entries: list[Entry]) -> None:
    flock = fold(entries)
    lines = lines_of(flock)  # raises where a parent stands after its chick, or chances are none
    assert len(lines.members) == len(lines.pedigree)
    assert set(flock.birds) <= set(lines.places)
    names = [member.name for member in lines.members]
    assert len(set(names)) == len(names)
    for ring, at in lines.places.items():
        assert lines.members[at].name == ring
    for place in ("shed", "barn", "loft"):
        parentage_sure_from(flock, place)
    for group in flock.groups_alive():
        here = [m for m in lines.members if m.alive and m.group == group.name]
        ringed = sum(m.ringed for m in here)
        assert min(group.alive.total, MOST_APART) <= len(here) <= group.alive.total + ringed


@pytest.mark.parametrize(("cocks", "hens"), [(1, 4), (1, 10), (3, 12), (2, 2)])
def test_kinship_within_a_pens_hatch_by_hand(cocks: int, hens: int) -> None:
    """Two chicks share the cock with chance 1/m and the hen with 1/n, each worth 1/8 of kinship.

    Of a parent drawn twice, two draws of a gene are the same with chance a half; a chick has half
    of its genes from it. So kinship is (1/m + 1/n) / 8 (Falconer and Mackay 1996, Introduction to
    quantitative genetics, ch. 5: half sibs 1/8, full sibs 1/4; from memory).
    """
    lines = pen(cocks, hens).lines
    chicks = of_group(lines, "may")
    assert len(chicks) == 20
    kin = relationships(lines.pedigree)[np.ix_(chicks, chicks)] / 2
    apart = kin[~np.eye(len(chicks), dtype=bool)]
    assert apart == pytest.approx((1 / cocks + 1 / hens) / 8)
    assert inbreeding(lines.pedigree)[chicks] == pytest.approx(0)
    assert {lines.members[at].generation for at in chicks} == {1.0}
    assert {lines.members[at].hatched_on for at in chicks} == {date(2027, 2, 23)}


def test_inbreeding_of_a_closed_pen_by_gene_dropping() -> None:
    """Two generations of one pen, against genes dropped through pedigrees drawn by chance."""
    log = pen(2, 5)
    log("birds_sexed", "2027-04-01", group="may", hens=5, cocks=2)
    log("birds_moved", "2027-04-02", group="may", place="pen B", to_group="west", hens=5, cocks=2)
    log.hatch("june", "west", "2027-06-01", "2027-06-02", "2027-06-19", 6)
    lines = log.lines
    expected = inbreeding(lines.pedigree)[of_group(lines, "june")]
    rng = np.random.default_rng(1)
    draws = 200_000
    genes = np.arange(14).reshape(7, 2)  # two cocks, then five hens

    def chick(cock: Any, hen: Any) -> Any:
        """A gene of each of the parents, (2, draws)."""
        side = rng.integers(0, 2, (2, draws))
        return np.stack([cock[side[0], np.arange(draws)], hen[side[1], np.arange(draws)]])

    def drawn(first: int, number: int) -> Any:
        return genes[rng.integers(first, first + number, draws)].T

    young = [chick(drawn(0, 2), drawn(2, 5)) for _ in range(2)]  # any cock and any hen of west
    grandchick = chick(*young)
    share = float((grandchick[0] == grandchick[1]).mean())
    assert expected == pytest.approx(share, abs=4 * (share / draws) ** 0.5)


def test_textbook_pedigrees_through_the_journal() -> None:
    """Full sibs' chicks 0.25, half sibs' 0.125, and of a half-sib line 0.21875 (KVL, section 4.5:
    3:1,0 4:1,0 5:3,2 6:3,4 7:5,6)."""
    log = Log()
    for bird, sex, sire, dam in (
        ("1", "cock", None, None), ("2", "hen", "1", None), ("3", "cock", "1", None),
        ("4", "hen", "1", None), ("5", "cock", "3", "2"), ("6", "hen", "3", "4"),
        ("7", "hen", "5", "6"), ("m", "hen", None, None), ("b", "cock", "1", "m"),
        ("s", "hen", "1", "m"), ("f", "hen", "b", "s"),
    ):  # fmt: skip
        parents = {k: v for k, v in (("sire", sire), ("dam", dam)) if v}
        log("bird", "2027-01-01", bird=bird, sex=sex, **parents)
    lines = log.lines
    found = inbreeding(lines.pedigree)
    by_ring = {ring: found[at] for ring, at in lines.places.items()}
    assert by_ring["7"] == pytest.approx(7 / 32)
    assert by_ring["5"] == by_ring["6"] == pytest.approx(1 / 8)
    assert by_ring["f"] == pytest.approx(1 / 4)


def test_a_pairing_tells_the_fathers_and_a_ringed_bird_its_mother() -> None:
    log = Log()("group", "2027-01-01", group="south", place="pen A", hens=3, cocks=2)
    for ring, sex in (("Rex", "cock"), ("Max", "cock"), ("Ada", "hen"), ("Bea", "hen")):
        log("bird", "2027-01-01", bird=ring, sex=sex, group="south")
    log("pairing", "2027-01-02", pen="pen A", cocks=["Rex"], hens=["Ada", "Bea"])
    log.hatch("may", "south", "2027-02-05", "2027-02-06", "2027-02-23", 4)
    log("bird", "2027-03-01", bird="Kim", sex="hen", hatch="may", dam="Ada")
    lines = log.lines
    kim = lines.places["Kim"]
    assert lines.pedigree.fathers[kim] == {lines.places["Rex"]: 1.0}
    assert lines.pedigree.mothers[kim] == {lines.places["Ada"]: 1.0}
    chick = of_group(lines, "may")[-1]
    mothers = {lines.members[at].name: c for at, c in lines.pedigree.mothers[chick].items()}
    # The third hen has no ring: no pairing can name her, and she lives and lays there too.
    assert mothers == pytest.approx({"Ada": 1 / 3, "Bea": 1 / 3, "south, hen 1": 1 / 3})


def test_hens_paired_into_another_pen_lay_for_their_group_still() -> None:
    """Pairings move no bird: eggs of the group are of both pens, each hen with her own cock."""
    log = Log()("group", "2027-01-01", group="south", place="pen A", hens=4, cocks=2)
    for ring, sex in (("Rex", "cock"), ("Max", "cock"), ("Ada", "hen"), ("Bea", "hen"),
                      ("Cleo", "hen"), ("Dora", "hen")):  # fmt: skip
        log("bird", "2027-01-01", bird=ring, sex=sex, group="south")
    log("pairing", "2027-01-05", pen="pen A", cocks=["Rex"], hens=["Ada", "Bea"])
    log("pairing", "2027-01-05", pen="pen B", cocks=["Max"], hens=["Cleo", "Dora"])
    log.hatch("may", "south", "2027-03-01", "2027-03-02", "2027-03-19", 8)
    log("bird", "2027-03-20", bird="Kim", sex="hen", hatch="may", group="may", dam="Cleo")
    lines = log.lines
    names = [member.name for member in lines.members]
    chick = of_group(lines, "may")[0]
    pairs = {
        (names[cock], names[hen])
        for mates in lines.pedigree.mates[chick]
        for cock in mates.fathers
        for hen in mates.mothers
    }
    assert pairs == {("Rex", "Ada"), ("Rex", "Bea"), ("Max", "Cleo"), ("Max", "Dora")}
    kim = lines.places["Kim"]
    assert lines.pedigree.fathers[kim] == {lines.places["Max"]: pytest.approx(1.0)}
    # Where another group lives in that pen, the eggs are that group's.
    log("group", "2027-04-01", group="north", place="pen B", hens=1, cocks=0)
    log.hatch("june", "south", "2027-05-01", "2027-05-02", "2027-05-19", 4)
    log.hatch("june2", "north", "2027-05-01", "2027-05-02", "2027-05-19", 4)
    lines = log.lines
    names = [member.name for member in lines.members]
    south, north = (
        {names[at] for at in lines.pedigree.mothers[of_group(lines, name)[0]]}
        for name in ("june", "june2")
    )
    assert (south, north) == ({"Ada", "Bea"}, {"Cleo", "Dora", "north, hen 1"})


def test_eggs_laid_soon_after_the_cock_changed_may_be_of_both() -> None:
    """Fertile for 3.75 to 9.18 days after he left (Reddish, Kirby and Anthony 1996)."""
    log = Log()("group", "2027-01-01", group="south", place="pen A", hens=4, cocks=1)
    log("group", "2027-01-01", group="spare", place="pen Z", cocks=1)
    log("birds_moved", "2027-03-01", group="south", place="pen Y", to_group="old", cocks=1)
    log("birds_moved", "2027-03-01", group="spare", place="pen A", to_group="south", cocks=1)
    later = {}
    for day in (2, 6, 20):
        name = f"h{day}"
        log.hatch(name, "south", f"2027-03-{day:02d}", "2027-03-25", "2027-04-10", 2)
        lines = log.lines
        chances = lines.pedigree.fathers[of_group(lines, name)[0]]
        later[day] = {lines.members[at].group: chance for at, chance in chances.items()}
    assert later[20] == {"south": 1.0}
    assert 0.4 < later[2]["old"] < 0.5
    assert 0.2 < later[6]["old"] < later[2]["old"]
    assert parentage_sure_from(log.flock, "pen A") == date(2027, 3, 15)
    assert parentage_sure_from(log.flock, "pen Y") is None


def test_hens_bring_stored_sperm_into_a_new_pen() -> None:
    log = Log()("group", "2027-01-01", group="big", place="pen A", hens=4, cocks=2)
    log("birds_moved", "2027-03-01", group="big", place="pen B", to_group="b", hens=2, cocks=1)
    log.hatch("soon", "b", "2027-03-03", "2027-03-04", "2027-03-21", 2)
    lines = log.lines
    fathers = lines.pedigree.fathers[of_group(lines, "soon")[0]]
    assert {lines.members[at].group for at in fathers} == {"big", "b"}
    assert parentage_sure_from(log.flock, "pen B") == date(2027, 3, 15)


def test_a_hatch_of_several_groups_and_a_source_by_share_of_eggs() -> None:
    log = Log()("group", "2027-01-01", group="south", place="pen A", hens=2, cocks=1)
    log("group", "2027-01-01", group="north", place="pen B", hens=2, cocks=1)
    for group, eggs in (("south", 10), ("north", 5)):
        log("eggs_set", "2027-02-06", hatch="may", group=group, eggs=eggs, place="box")
    log("eggs_set", "2027-02-06", hatch="may", source="creek", eggs=5, place="box")
    log("chicks_hatched", "2027-02-23", hatch="may", chicks=3)
    log("group", "2027-02-23", group="chicks", place="brooder", hatch="may")
    lines = log.lines
    chances = lines.pedigree.fathers[of_group(lines, "chicks")[0]]
    assert {lines.members[at].group: c for at, c in chances.items()} == {
        "south": pytest.approx(0.5), "north": pytest.approx(0.25),
    }  # fmt: skip


def test_eggs_of_two_pens_in_one_hatch_are_each_of_its_own_pen() -> None:
    """Rex over his daughters, and strangers in pen B: half of the chicks are inbred by a quarter,
    the others not; nobody is of a cock of one pen and a hen of the other."""
    log = Log()("group", "2027-01-01", group="a", place="pen A", hens=3, cocks=1)
    log("group", "2027-01-01", group="b", place="pen B", hens=3, cocks=1)
    log("bird", "2027-01-01", bird="Rex", sex="cock", group="a")
    for n in range(3):
        log("bird", "2027-01-01", bird=f"Ada{n}", sex="hen", sire="Rex", dam=f"Bea{n}", group="a")
    for group in "ab":
        log("eggs_set", "2027-02-06", hatch="may", group=group, eggs=10, place="box",
            laid_from="2027-02-05", laid_to="2027-02-05")  # fmt: skip
    log("chicks_hatched", "2027-02-23", hatch="may", chicks=20)
    log("group", "2027-02-23", group="may", place="brooder", hatch="may")
    lines = log.lines
    found = inbreeding(lines.pedigree)
    assert found[of_group(lines, "may")] == pytest.approx(0.25 / 2)
    log("bird", "2027-02-24", bird="Kim", sex="hen", sire="Rex", hatch="may", group="may")
    lines = log.lines
    kim = lines.places["Kim"]
    mothers = {lines.members[at].name for at in lines.pedigree.mothers[kim]}
    assert mothers == {"Ada0", "Ada1", "Ada2"}
    assert inbreeding(lines.pedigree)[kim] == pytest.approx(0.25)


def test_what_the_record_does_not_tell_is_said_once() -> None:
    log = Log()("group", "2027-01-01", group="south", place="pen A", hens=3, source="creek")
    log("group", "2027-01-01", group="north", place="pen B", hens=2, cocks=1)
    log("bird", "2027-01-02", bird="Kim", sex="hen", sire="Rex")
    log("bird", "2027-01-02", bird="Lo", sex="hen", sire="Rex")
    lines = log.lines
    assert lines.members[of_group(lines, "south")[0]].source == "creek"
    said = " ".join(lines.problems)
    assert said.count("no bird Rex is logged") == 1
    assert "The parents of 3 birds are not known" in said
    assert "3 birds come from creek" in said
    kin = relationships(lines.pedigree)
    assert kin[lines.places["Kim"], lines.places["Lo"]] == pytest.approx(0.25)


def test_a_group_of_a_hundred_thousand_is_told_apart_only_so_far() -> None:
    log = Log()("group", "2027-01-01", group="barn", place="barn", hens=100_000, cocks=20_000)
    log("birds_moved", "2027-01-09", group="barn", place="pen", to_group="few", hens=5, cocks=1)
    log("birds_died", "2027-01-10", group="barn", hens=99_900)
    lines = log.lines
    assert len(of_group(lines, "barn", "hen")) == len(of_group(lines, "barn", "cock")) == MOST_APART
    assert (len(of_group(lines, "few", "hen")), len(of_group(lines, "few", "cock"))) == (5, 1)
    assert any("stand for all of them" in problem for problem in lines.problems)


def test_old_and_new_birds_leave_a_group_alike() -> None:
    """Ten times one of two cocks leaves and a new one comes: no cock may stay for good."""
    log = Log()("group", "2027-01-01", group="south", place="pen A", hens=4, cocks=2)
    for month in range(2, 12):
        log("birds_processed", f"2027-{month:02d}-01", group="south", cocks=1)
        log("group", f"2027-{month:02d}-02", group="south", place="pen A", cocks=1,
            source=f"farm {month}")  # fmt: skip
    lines = log.lines
    cocks = [lines.members[at] for at in of_group(lines, "south", "cock")]
    assert len(cocks) == 2
    assert all(cock.source is not None for cock in cocks)


def test_a_ring_without_a_group_may_count_twice_and_is_said() -> None:
    log = Log()("bird", "2027-01-01", bird="Ada", sex="hen")
    assert not any("without a group" in said for said in log.lines.problems)
    log("group", "2027-01-02", group="south", place="pen A", hens=3, cocks=1)
    assert any(
        "1 ringed bird is logged without a group: Ada" in said for said in log.lines.problems
    )
    log("bird", "2027-01-03", bird="Ada", sex="hen", group="south")
    lines = log.lines
    assert len(of_group(lines, "south")) == 4
    assert not any("without a group" in said for said in lines.problems)


def test_many_parents_nobody_logged_are_counted() -> None:
    log = Log()
    for n in range(9):
        log("bird", "2027-01-01", bird=f"k{n}", sex="hen", sire=f"s{n}")
    said = log.lines.problems
    assert sum("is logged: it is taken as unrelated" in each for each in said) == 5
    assert any("4 more parents are named that nobody logged" in each for each in said)


def test_birds_grow_up_though_nothing_is_logged_meanwhile() -> None:
    log = Log()("group", "2027-01-01", group="south", place="pen A", hens=6, cocks=2,
                hatched_on="2026-12-15")  # fmt: skip
    flock = log.flock
    assert not breeding_of(flock, date(2027, 1, 1)).pens
    later = breeding_of(flock, date(2027, 6, 1))
    assert (later.cocks, later.hens) == (2, 6)


def test_more_rings_than_birds_of_a_group_are_said() -> None:
    log = Log()("group", "2027-01-01", group="south", place="pen A", hens=3, cocks=1)
    for ring in ("Ada", "Bea", "Cleo"):
        log("bird", "2027-01-01", bird=ring, sex="hen", group="south")
    assert not any("some may be gone" in said for said in log.lines.problems)
    log("birds_died", "2027-01-05", group="south", hens=1)
    assert any(
        "3 ringed hens are logged as living in south, but it counts 2: some may be gone" in said
        for said in log.lines.problems
    )


def test_a_pairing_that_cannot_be_is_said() -> None:
    log = Log()("group", "2027-01-01", group="south", place="pen A", hens=3, cocks=1)
    log("bird", "2027-01-01", bird="Ada", sex="hen", group="south")
    log("bird", "2027-01-01", bird="Kim", sex="hen", group="south", hatch="nowhere")
    log("pairing", "2027-01-02", pen="pen A", cocks=["Ada"], hens=["Rax"])
    said = " ".join(log.lines.problems)
    assert "Ada is named among the cocks of pen A, but is logged as a hen." in said
    assert "Rax is named in the pairing of pen A, but no bird Rax is logged." in said
    assert "Kim is logged as of hatch nowhere, but no hatch nowhere is" in said


def test_a_long_record_of_pens_rises_as_their_number_says() -> None:
    """20 generations of 3 cocks and 12 hens: F = 1 - (1 - 1 / (2 x 9.6))^t, about (Wright 1931).

    Parents are drawn blindly here as there; early generations of few birds differ, so the rise
    from generation to generation is compared once it is steady.
    """
    log = Log()("group", "2010-01-01", group="g0", place="pen", hens=12, cocks=3)
    day = date(2010, 2, 1)
    for n in range(20):
        name = f"g{n + 1}"
        log("eggs_set", str(day), hatch=name, group=f"g{n}", eggs=60, place="box",
            laid_from=str(day), laid_to=str(day))  # fmt: skip
        out = day + timedelta(days=17)
        log("chicks_hatched", str(out), hatch=name, chicks=15)
        log("group", str(out), group=name, place=f"{name} pen", hatch=name)
        log("birds_sexed", str(out + timedelta(days=30)), group=name, hens=12, cocks=3)
        day += timedelta(days=100)
    lines = log.lines
    found = inbreeding(lines.pedigree)
    means = [1 - found[of_group(lines, f"g{n}")].mean() for n in range(10, 21)]
    rises = [1 - after / before for before, after in pairwise(means)]
    assert rises == pytest.approx([1 / 19.2] * 10, rel=0.1)


def test_a_hatch_tells_how_near_kin_its_parents_were() -> None:
    log = Log()("group", "2027-01-01", group="south", place="pen A", hens=1, cocks=1)
    log.hatch("may", "south", "2027-02-05", "2027-02-06", "2027-02-23", 20)
    assert chicks_inbred(log.flock, "may") is None  # nothing is known of the first pair
    log("birds_sexed", "2027-04-10", group="may", hens=10, cocks=10)
    log.hatch("june", "may", "2027-06-05", "2027-06-06", "2027-06-23", 9)
    assert chicks_inbred(log.flock, "june") == pytest.approx(0.25)  # brothers with sisters
    log("birds_died", "2027-06-24", group="june", chicks=9)
    log("birds_died", "2027-06-25", group="may", hens=10, cocks=10)
    assert chicks_inbred(log.flock, "june") == pytest.approx(0.25)
    log("eggs_set", "2027-06-26", hatch="posted", source="a neighbour", eggs=9, place="box")
    assert chicks_inbred(log.flock, "posted") is None
