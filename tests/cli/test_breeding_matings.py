"""`breeding matings` and `breeding rotation`: must-show cases, and a sentence for bad input."""

import json
from pathlib import Path
from typing import Any

import pytest
from tests.cli.conftest import Quail

ON = ("--on", "2027-05-02")
HENS = ("Ada", "Bea", "Cleo", "Dot", "Eve", "Fay", "Gia", "Ida")
COCKS, OF = ("Rex", "Max", "Sam"), (1, 2, 2)


def journal(quail: Quail, entries: list[dict[str, Any]]) -> None:
    """Entries of one day into the journal."""
    lines = [
        json.dumps({"id": f"00000000-0000-4000-8000-{n:012d}", "at": "2027-04-01", **entry})
        for n, entry in enumerate(entries)
    ]
    Path("j.jsonl").write_text("\n".join(lines), encoding="utf-8")
    answer = quail("journal", "import", "j.jsonl")
    assert answer.code == 0, answer.err


def flock(quail: Quail, cocks: int, hens: int, hatched: str, pens: int = 1) -> None:
    """So many unrelated ringed birds, all in pen 1."""
    birds = [(f"C{n}", "cock") for n in range(1, cocks + 1)]
    birds += [(f"H{n}", "hen") for n in range(1, hens + 1)]
    journal(
        quail,
        [
            {"kind": "holding", "timezone": "UTC"},
            *({"kind": "place", "place": f"pen {n + 1}", "role": "pen"} for n in range(pens)),
            {"kind": "group", "group": "all", "place": "pen 1", "hens": hens, "cocks": cocks,
             "hatched_on": hatched},
            *({"kind": "bird", "bird": name, "sex": sex, "group": "all", "hatched_on": hatched}
              for name, sex in birds),
        ],
    )  # fmt: skip


def families(quail: Quail, pens: int = 3) -> None:
    """Two families: Rex with Ada to Dot are full sibs, so are Max, Sam and Eve to Ida."""

    def bird(name: str, sex: str, sire: str, dam: str) -> dict[str, Any]:
        return {"kind": "bird", "bird": name, "sex": sex, "group": "all", "sire": sire, "dam": dam,
                "hatched_on": "2027-01-10"}  # fmt: skip

    journal(
        quail,
        [
            {"kind": "holding", "timezone": "UTC"},
            *({"kind": "place", "place": f"pen {n + 1}", "role": "pen"} for n in range(pens)),
            {"kind": "group", "group": "all", "place": "pen 1", "hens": 8, "cocks": 3,
             "hatched_on": "2027-01-10"},
            *({"kind": "bird", "bird": name, "sex": sex, "hatched_on": "2026-06-01"}
              for name, sex in (("S1", "cock"), ("S2", "cock"), ("D1", "hen"), ("D2", "hen"))),
            *(bird(name, "cock", f"S{n}", f"D{n}") for name, n in zip(COCKS, OF, strict=True)),
            *(bird(name, "hen", f"S{1 + n // 4}", f"D{1 + n // 4}") for n, name in enumerate(HENS)),
            *({"kind": "bird_left", "bird": name, "use": "died", "at": "2027-04-02"}
              for name in ("S1", "S2", "D1", "D2")),
        ],
    )  # fmt: skip


def test_three_cocks_and_twelve_hens(quail: Quail) -> None:
    # Wright 1931: 4 x 3 x 12 / 15 = 9.6, and 1 / (2 x 9.6) = 5.2 % a generation.
    flock(quail, 3, 12, "2027-01-10")
    told = quail("breeding", "matings", *ON, "--json").json
    assert len(told["pens"]) == 3
    assert [len(pen["hens"]) for pen in told["pens"]] == [4, 4, 4]
    assert told["planned"]["effective_size"] == pytest.approx(9.6)
    assert told["planned"]["rise"] == pytest.approx(0.0521, abs=5e-5)
    text = quail("breeding", "matings", *ON).out
    assert "5.2% of inbreeding a generation, as 9.6 birds" in " ".join(text.split())


def test_six_old_cocks_in_one_pen_are_split_and_sons_rotate(quail: Quail) -> None:
    flock(quail, 6, 18, "2026-07-01")
    told = quail("breeding", "rotation", *ON, "--json").json
    assert told["crowds"] == [{"place": "pen 1", "cocks": 6, "hens": 18, "old_cocks": 6}]
    assert len(told["old_cocks"]) == 6
    assert [len(pen["hens"]) for pen in told["pens"]] == [3] * 6
    assert len({pen["cock"] for pen in told["pens"]}) == 6
    assert told["census_size_now"] == pytest.approx(18)
    assert told["effective_size"] > 1.5 * told["effective_size_one_pen"]
    assert [turn["sons_move_pens"] for turn in told["turns"]] == [1, 1, 1]
    text = " ".join(quail("breeding", "rotation", *ON).out.split())
    assert "6 cocks live together in pen 1" in text
    assert "6 cocks are old: C1, C2, C3, C4, C5 and C6" in text
    assert "let sons replace them" in text
    assert "Split them into single-cock pens: each cock gets 3 hens." in text
    assert "Each son moves one pen right" in text


def test_cocks_kept_apart_from_hens_are_no_crowd(quail: Quail) -> None:
    flock(quail, 2, 6, "2027-01-10")
    quail("log", "group", "group=bachelors", "place=shed", "cocks=4", "hatched_on=2027-01-10",
          "at=2027-03-01")  # fmt: skip
    told = quail("breeding", "rotation", *ON, "--json").json
    assert [crowd["place"] for crowd in told["crowds"]] == ["pen 1"]


def test_kin_are_kept_apart_and_it_says_what_that_saves(quail: Quail) -> None:
    families(quail)
    told = quail("breeding", "matings", *ON, "--json").json
    assert {hen["inbreeding"] for pen in told["pens"] for hen in pen["hens"]} == {0.0}
    ones = {pen["cock"]: {hen["bird"] for hen in pen["hens"]} for pen in told["pens"]}
    assert ones["Rex"] <= set(HENS[4:])
    assert {bird["bird"] for bird in told["birds"]} <= {*COCKS, *HENS}
    # Each hen has a full brother in one of the pens: 1 of 3 cocks for half, 2 of 3 for the others.
    assert told["now"]["inbreeding"] == pytest.approx(0.25 * (1 / 3 + 2 / 3) / 2)
    text = " ".join(quail("breeding", "matings", *ON).out.split())
    assert "no inbreeding known of" in text
    assert "As they live now, chicks would be 12.5% inbred." in text
    assert "Eggs count as his from" in text


def test_pairs_wanted_and_unwanted(quail: Quail) -> None:
    families(quail)
    told = quail(
        "breeding", "matings", *ON, "--json", "--with", "Ada=Max", "--not", "Sam=Bea",
        "--leave-out", "Ida", "--pens", "3",
    ).json  # fmt: skip
    ones = {pen["cock"]: {hen["bird"] for hen in pen["hens"]} for pen in told["pens"]}
    assert "Ada" in ones["Max"]
    assert "Bea" not in ones.get("Sam", set())
    assert {"bird": "Ida", "sex": "hen", "why": "told", "until": None} in told["left_out"]


def test_gain_is_set_against_kinship(quail: Quail) -> None:
    flock(quail, 5, 10, "2027-01-10", pens=3)
    values = "bird,value\n" + "\n".join(f"H{n},{n}" for n in range(1, 11))
    Path("values.csv").write_text(values, encoding="utf-8")
    ask = ("breeding", "matings", *ON, "--pens", "2", "--keep-hens", "4", "--values", "values.csv")
    told = quail(*ask, "--json").json
    gains = [choice["gain"] for choice in told["choices"]]
    assert gains == sorted(gains)
    # The four best hens of ten: their mean 8.5 over 5.5, half of which the chicks have.
    assert gains[-1] == pytest.approx(1.5)
    far = quail(*ask, "--gain", "99", "--json").json
    assert far["gain_short"] == pytest.approx(97.5)
    assert "The gain asked for is not reached" in " ".join(far["said"])


def test_gain_by_the_record_takes_the_heavier_birds(quail: Quail) -> None:
    flock(quail, 2, 8, "2027-01-10", pens=2)
    for n in range(1, 9):
        grams = str(260 + 5 * n)
        quail("log", "bird_weighed", f"bird=H{n}", f"mass_g={grams}", "at=2027-04-02")
    ask = ("breeding", "matings", *ON, "--pens", "2", "--keep-hens", "4", "--by", "weight")
    told = quail(*ask, "--json").json
    gains = [choice["gain"] for choice in told["choices"]]
    assert gains[-1] > 0
    best = quail(*ask, "--gain", f"{gains[-1]:.6f}", "--json").json
    hens = {bird["bird"] for bird in best["birds"] if bird["sex"] == "hen"}
    assert hens == {"H5", "H6", "H7", "H8"}


@pytest.mark.parametrize(
    ("argv", "sentence"),
    [
        (("matings", "--pens", "4"), "too few for 4 pens of one each"),
        (("matings", "--pens", "two"), "The number of pens is a whole number, not 'two'."),
        (("matings", "--pens", "0"), "The number of pens is 1 to"),
        (("matings", "--with", "Rex=Nobody"), "No bird has the ring 'Nobody'"),
        (("matings", "--with", "Rex"), "Write a pair as in Rex=Ada"),
        (("matings", "--with", "Rex=Max"), "are no cock and hen"),
        (("matings", "--with", "Rex=Ada"), "too near kin"),
        (("matings", "--with", "Max=Ada", "--not", "Max=Ada"), "and to be kept apart"),
        (("matings", "--with", "Max=Ada", "--with", "Sam=Ada"), "cannot go with two cocks"),
        (("matings", "--leave-out", "Zoe"), "No bird has the ring 'Zoe'"),
        (("matings", "--most", "0.0625", "--values", "Ada=good"), "Write a breeding value as in"),
        (("matings", "--values", "none.csv"), "none.csv"),
        (("matings", "--gain", "3"), "A gain needs breeding values"),
        (("matings", "--by", "colour"), "A trait is weight, eggs or egg_weight"),
        (("matings", "--by", "weight"), "is recorded yet: there is no gain to aim at"),
        (("matings", "--most", "7"), "a share above 0 and up to 1"),
        (("matings", "--keep-cocks", "1", "--pens", "2"), "need as many cocks"),
        (("rotation", "--pens", "1"), "A rotation goes over 2 to 30 pens, not 1."),
        (("rotation", "--pens", "9"), "too few for 9 pens"),
        (("rotation", "--generations", "99"), "The generations ahead are 1 to 40"),
        (("rotation", "--generation-weeks", "2"), "From one generation to the next take"),
        (("rotation", "--cock-price", "-1"), "A price is 0 or more"),
        (("rotation", "--every", "0"), "New cocks come every"),
    ],
)
def test_bad_input_gets_a_sentence(quail: Quail, argv: tuple[str, ...], sentence: str) -> None:
    families(quail)
    answer = quail("breeding", *argv, *ON)
    assert answer.code == 2
    assert sentence in " ".join(answer.err.split())


@pytest.mark.parametrize(
    ("cocks", "hens", "sentence"),
    [(0, 3, "No cock here may breed yet."), (2, 0, "No hen here may breed yet.")],
)
def test_without_cocks_or_hens_there_is_a_sentence(
    quail: Quail, cocks: int, hens: int, sentence: str
) -> None:
    flock(quail, cocks, hens, "2027-01-10")
    for what in ("matings", "rotation"):
        answer = quail("breeding", what, *ON)
        assert answer.code == 2
        assert sentence in answer.err


def test_one_cock_makes_no_rotation(quail: Quail) -> None:
    flock(quail, 1, 4, "2027-01-10")
    answer = quail("breeding", "rotation", *ON)
    assert answer.code == 2
    assert (
        "needs two cocks and two hens at least, and here may breed 1 cock and 4 hens" in answer.err
    )


def test_young_birds_wait(quail: Quail) -> None:
    flock(quail, 2, 4, "2027-03-20")
    answer = quail("breeding", "matings", *ON)
    assert answer.code == 2
    assert "the first is old enough on" in answer.err


def test_eggs_count_at_once_where_the_cock_ran_alone_with_these_hens(quail: Quail) -> None:
    flock(quail, 1, 4, "2027-01-10")
    pen = quail("breeding", "matings", *ON, "--json").json["pens"][0]
    assert pen["sure_from"] == "2027-05-02"
    assert pen["moved"] == []
    assert "Eggs laid from today on are his." in quail("breeding", "matings", *ON).out


def test_eggs_of_a_new_cock_wait_for_two_weeks(quail: Quail) -> None:
    # Stored sperm: common practice among breeders, two weeks; Reddish et al. 1996: half is gone
    # after 9.18 days at the longest.
    families(quail)
    told = quail("breeding", "matings", *ON, "--json").json
    assert {pen["sure_from"] for pen in told["pens"]} == {"2027-05-16"}


def test_one_cock_for_forty_hens(quail: Quail) -> None:
    flock(quail, 1, 40, "2027-01-10", pens=3)
    told = quail("breeding", "matings", *ON, "--json").json
    assert [len(pen["hens"]) for pen in told["pens"]] == [8]
    assert {left["why"] for left in told["left_out"]} == {"no cock"}
    text = " ".join(quail("breeding", "matings", *ON).out.split())
    assert "no cock is left for them" in text
