"""`breeding inbreeding`, `kinship`, `lines`, `family`: what a keeper sees, and scripts read."""

import json
from pathlib import Path

import pytest
from tests.cli.conftest import Quail
from tests.cli.test_json import fits
from tests.makers import made, uid

from quailwright.journal.entries import as_dict

ON = ("--on", "2026-06-01")


def log(quail: Quail, *told: tuple[str, str, str]) -> None:
    """Logs ringed birds, each by its ring, sex, and parents as typed."""
    for bird, sex, parents in told:
        answer = quail("log", "bird", f"bird={bird}", f"sex={sex}", *parents.split(),
                       "at=2026-05-01")  # fmt: skip
        assert answer.code == 0, answer.err


@pytest.fixture
def pen(quail: Quail) -> Quail:
    """Three cocks with twelve hens."""
    answer = quail("log", "group", "group=layers", "place=pen A", "hens=12", "cocks=3",
                   "at=2026-05-01")  # fmt: skip
    assert answer.code == 0, answer.err
    return quail


def test_three_cocks_and_twelve_hens(pen: Quail) -> None:
    """4 x 3 x 12 / 15 = 9.6, and 1 / (2 x 9.6) = 5.2 % (Wright 1931)."""
    told = pen("breeding", "lines", *ON)
    assert "3 cocks and 12 hens breed now: an effective size of 9.6, about 5.2% more" in told.out
    assert "Part them into pens of one cock each" in " ".join(told.out.split())
    document = pen("breeding", "lines", *ON, "--json").json
    assert document["effective_size"] == pytest.approx(9.6)
    assert document["rise_per_generation"] == pytest.approx(1 / 19.2, abs=1e-6)
    assert [place["place"] for place in document["pens"]] == ["pen A"]


def test_full_and_half_sibs_chicks(pen: Quail) -> None:
    log(
        pen, ("Rex", "cock", ""), ("Ada", "hen", ""), ("Bea", "hen", ""),
        ("Kim", "hen", "sire=Rex dam=Ada"), ("Bo", "cock", "sire=Rex dam=Bea"),
        ("Max", "cock", "sire=Rex dam=Ada"), ("half", "hen", "sire=Bo dam=Kim"),
        ("full", "hen", "sire=Max dam=Kim"),
    )  # fmt: skip
    document = pen("breeding", "inbreeding", *ON, "--json").json
    for one in document:
        fits(one, {"bird": str, "inbreeding": (int, float)})
    found = {one["bird"]: one["inbreeding"] for one in document}
    assert found == {
        "Rex": 0, "Ada": 0, "Bea": 0, "Kim": 0, "Bo": 0, "Max": 0, "half": 0.125, "full": 0.25,
    }  # fmt: skip
    lines = pen("breeding", "inbreeding", *ON).out.splitlines()
    assert "full" in lines[1]
    assert "25.0%" in lines[1]
    assert "12.5%" in lines[2]
    assert "as of half sibs' chicks" in lines[2]
    rows = pen("breeding", "kinship", *ON, "--json").json
    kin = {row["bird"]: row["kinship"] for row in rows}
    assert set(kin["Rex"]) == set(found) - {"Rex"}
    assert kin["Kim"]["Max"] == kin["Max"]["Kim"] == 0.25
    assert kin["Kim"]["Bo"] == 0.125
    assert pen("breeding", "kinship", "Kim", "Bo", *ON, "--json").json == [
        {"bird": "Kim", "kinship": {"Bo": 0.125}}, {"bird": "Bo", "kinship": {"Kim": 0.125}},
    ]  # fmt: skip
    nearest = pen("breeding", "kinship", "Kim", *ON).out
    assert "full brother" in nearest
    assert "half brother" in nearest
    family = pen("breeding", "family", "full", *ON)
    assert "Inbreeding 25.0%: as of full sibs' chicks" in family.out
    assert "Kim is to Max: full sister." in family.out
    assert family.out.count("father: Rex") == 2
    assert "Did you mean 'Kim'?" in pen("breeding", "family", "kim", *ON).err


def test_parents_not_known_or_not_logged_are_said_with_the_list(pen: Quail) -> None:
    log(pen, ("Ada", "hen", ""), ("Kim", "hen", "sire=Rex dam=Ada"))
    said = " ".join(pen("breeding", "inbreeding", *ON).out.split())
    assert "no bird Rex is logged: it is taken as unrelated to all others" in said
    assert "are not known: they are taken as unrelated" in said
    assert all(set(row) == {"bird", "inbreeding"}
               for row in pen("breeding", "inbreeding", *ON, "--json").json)  # fmt: skip


def test_nothing_logged_teaches(quail: Quail) -> None:
    quail("log", "holding", "name=home")
    assert "sire=Rex dam=Ada" in quail("breeding", "inbreeding").out
    assert quail("breeding", "inbreeding", "--json").json == []
    assert quail("breeding", "kinship", "--json").json == []
    assert "Log your groups" in quail("breeding", "lines").out


@pytest.mark.parametrize("words", [("family", "Rax"), ("kinship", "Rax"), ("kinship", "Rex", "x")])
def test_a_ring_that_nobody_knows(pen: Quail, words: tuple[str, ...]) -> None:
    log(pen, ("Rex", "cock", ""))
    answer = pen("breeding", *words)
    assert answer.code == 2
    assert f"There is no bird '{words[-1]}'." in answer.err


def test_an_import_with_a_circle_names_the_line_and_writes_nothing(
    quail: Quail, tmp_path: Path
) -> None:
    told = [
        {"bird": "A", "sex": "cock", "sire": "C"},
        {"bird": "B", "sex": "hen"},
        {"bird": "C", "sex": "cock", "sire": "A", "dam": "B"},
    ]
    file = tmp_path / "birds.jsonl"
    file.write_text(
        "".join(
            json.dumps(as_dict(made("bird", f"2026-05-0{n + 1}", id=uid(n), **one))) + "\n"
            for n, one in enumerate(told)
        )
    )
    answer = quail("journal", "import", str(file))
    assert answer.code == 2
    assert "ine 3, sire: C would be its own ancestor: A, named as its parent" in answer.err
    assert quail("breeding", "inbreeding", "--json").json == []


def test_a_caution_of_a_cross_is_folded_as_other_text(pen: Quail) -> None:
    told = pen("breeding", "cross", "silver", "silver", *ON).out
    assert "Care for the birds" in told
    assert "Caution: silver white" in told
    assert max(map(len, told.splitlines())) <= 100
