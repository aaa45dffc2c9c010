"""What scripts read: one JSON document a command, with the keys of docs/contract.md."""

from datetime import date, datetime
from typing import Any

import pytest
from tests.cli.conftest import Quail
from tests.makers import uid

from quailwright.guide.rules import printed_rules

ON = ("--on", "2027-05-06")
TASK = {
    "task": str, "rule": str, "why": str, "minutes": (int, float), "due": str, "overdue_days": int,
    "caution": str, "place": str, "subject": str, "count": str, "times_left": int, "once": bool,
    "apart": bool, "certainty": str, "figures": list, "printed": str, "tick": dict,
}  # fmt: skip


def fits(value: dict[str, Any], shape: dict[str, Any]) -> None:
    """The keys of the shape, all of them and no others, each of its type."""
    assert set(value) == set(shape)
    for key, wanted in shape.items():
        assert isinstance(value[key], wanted), (key, value[key])


def test_today(kept: Quail) -> None:
    answer = kept("today", *ON, "--json")
    assert (answer.code, answer.err) == (0, "")
    fits(
        answer.json,
        {"on": str, "minutes": (int, float), "minutes_apart": (int, float), "places": list,
         "signs": list, "withheld": list, "missed": list, "coming": list},
    )  # fmt: skip
    assert answer.json["on"] == "2027-05-06"
    assert [place["place"] for place in answer.json["places"]][:2] == ["incubator", "pen"]
    for place in answer.json["places"]:
        fits(place, {"place": str, "tasks": list})
        for task in place["tasks"]:
            fits(task, TASK)
            assert task["place"] == place["place"]
            assert "kind" in task["tick"]
    for task in answer.json["coming"]:
        fits(task, TASK)
        moment = datetime.fromisoformat(task["due"])
        assert moment.tzinfo is not None or "T" not in task["due"]
    for held in answer.json["withheld"]:
        fits(held, {"what": str, "of": str, "until": str, "because": str})
    assert [(held["what"], held["until"]) for held in answer.json["withheld"]] == [
        ("eggs", "2027-05-09"), ("meat", "2027-05-09"), ("birds", "2027-05-31"),
    ]  # fmt: skip


def test_today_signs_and_missed(kept: Quail) -> None:
    kept("log", "birds_counted", "group=hens", "hens=9", "at=2027-05-05")
    answer = kept("today", "--on", "2027-05-14", "--json").json
    assert answer["signs"]
    for sign in answer["signs"]:
        fits(
            sign,
            {"sign": str, "where": str, "since": str, "evidence": str, "check": str, "then": list,
             "shared": list, "unshared": list, "ring": str},
        )  # fmt: skip
        assert all(isinstance(text, str) for key in ("then", "shared") for text in sign[key])
        date.fromisoformat(sign["since"])
    assert answer["missed"]
    for missed in answer["missed"]:
        fits(
            missed,
            {"rule": str, "task": str, "place": str, "subject": str, "was_due": str,
             "instead": str},
        )  # fmt: skip


def test_flock(kept: Quail) -> None:
    answer = kept("flock", *ON, "--json")
    assert (answer.code, answer.err) == (0, "")
    stands = answer.json
    fits(
        stands,
        {"on": str, "holding": str, "totals": dict, "places": list, "eggs": dict, "lots": list,
         "hatching_eggs": list, "feeds": list, "money": dict, "differences": list,
         "kept_contradictions": int, "entries": int, "plan": type(None), "planned_sets": list,
         "planned_culls": list},
    )  # fmt: skip
    assert stands["totals"] == {"chicks": 0, "hens": 10, "cocks": 2, "birds": 12}
    assert stands["eggs"] == {"on_hand": 8, "withheld": 0, "free": 8}
    assert stands["money"] == {"feed": -18}
    assert [place["place"] for place in stands["places"]] == ["incubator", "pen"]
    for place in stands["places"]:
        assert set(place) == {
            "place", "role", "birds", "floor_m2", "floor_m2_per_bird", "eggs", "capacity_eggs",
            "quarantined_until", "closed", "groups", "hatches",
        }  # fmt: skip
    incubator, pen = stands["places"]
    assert (incubator["eggs"], incubator["capacity_eggs"]) == (24, 60)
    assert pen["quarantined_until"] == "2027-05-31"
    [group] = pen["groups"]
    assert set(group) == {
        "group", "chicks", "hens", "cocks", "birds", "age_days", "oldest_age_days",
        "hens_per_cock", "hatches", "ledger",
    }  # fmt: skip
    ledger = group["ledger"]
    came = sum(ledger.get(key, 0) for key in ("in", "moved_in", "found"))
    gone = ("died", "processed", "sold", "given", "lost", "moved_out")
    assert came == group["birds"] + sum(ledger.get(key, 0) for key in gone)
    [lot] = stands["lots"]
    assert lot == {
        "laid": "2027-05-02", "group": "hens", "eggs": 8, "age_days": 4, "withheld_until": None,
        "withheld": False,
    }  # fmt: skip
    [feed] = stands["feeds"]
    assert set(feed) == {"feed", "stage", "kg", "unbought_kg"}


def test_log(kept: Quail) -> None:
    answer = kept("log", "care", "task=wash", "place=pen", "at=2027-05-06", "--json")
    assert (answer.code, answer.err) == (0, "")
    [written] = answer.json["written"]
    assert set(answer.json) == {"written"}
    assert written == {
        "kind": "care", "id": written["id"], "at": "2027-05-06", "task": "wash", "place": "pen",
    }  # fmt: skip


def test_an_import_says_how_much_of_it_lies_ahead(kept: Quail, end_of_june: datetime) -> None:
    def lines(*days: str) -> bytes:
        return b"".join(
            b'{"kind":"care","id":"%s","at":"%s","task":"x"}\n'
            % (uid(9000 + number).encode(), day.encode())
            for number, day in enumerate(days)
        )

    now = kept("journal", "import", "-", stdin=lines("2027-06-30"))
    assert (now.out, now.err) == ("1 entry kept, 0 were in the journal already.\n", "")
    some = lines("2027-06-30", "2027-07-01", "2072-05-02T08:00Z", "2027-06-29")
    ahead = kept("journal", "import", "-", "--json", stdin=some)
    assert ahead.json == {"written": 3, "already": 1}
    assert ahead.err == (
        "Mind the dates: 2 entries lie ahead, up to 2072-05-02, and count only from then on.\n"
    )
    again = kept("journal", "import", "-", stdin=some)
    assert (again.out, again.err) == ("0 entries kept, 4 were in the journal already.\n", "")


@pytest.mark.parametrize("empty", [b"", b"\n\n"])
def test_an_import_of_nothing_says_so(kept: Quail, empty: bytes) -> None:
    answer = kept("journal", "import", "-", stdin=empty)
    assert (answer.code, answer.out) == (0, "")
    assert answer.err == "The file holds no entries: nothing was imported.\n"
    told = kept("journal", "import", "-", "--json", stdin=empty)
    assert told.json == {"written": 0, "already": 0}
    assert told.err == answer.err


def test_journal_import_export_and_check(kept: Quail) -> None:
    exported = kept("journal", "export", "out.jsonl", "--json")
    assert exported.json == {"exported": 9, "file": "out.jsonl"}
    assert kept("journal", "import", "out.jsonl", "--json").json == {"written": 0, "already": 9}
    there = kept("journal", "import", "out.jsonl", "--json", "--flock", "other.sqlite")
    assert there.json == {"written": 9, "already": 0}
    sound = kept("journal", "check", "--json")
    assert (sound.code, sound.json) == (0, {"ok": True, "findings": []})


def test_journal_check_with_something_insisted_on(kept: Quail) -> None:
    forced = ("chicks_hatched", "hatch=may", "chicks=30", "at=2027-05-19", "force=true")
    assert kept("log", *forced).code == 0
    answer = kept("journal", "check", "--json")
    assert answer.code == 0
    assert answer.json["ok"] is True
    [finding] = answer.json["findings"]
    assert {"kind", "what", "mend", "entry", "field", "forced", "at", "sentence"} <= set(finding)
    assert finding["forced"] is True
    assert "Kept because you insisted: chicks: 30 hatched" in kept("journal", "check").out


def test_rules(kept: Quail) -> None:
    answer = kept("rules", "--json")
    assert (answer.code, answer.err) == (0, "")
    assert [rule["rule"] for rule in answer.json] == list(printed_rules())
    [wash] = kept("rules", "wash", "--json").json
    assert {"rule", "stage", "task", "why", "every", "days", "basis", "original"} <= set(wash)
    assert (wash["place"], wash["silenced"]) == ("", False)
    assert any("common practice, no source" in cited for cited in wash["basis"])


def test_demo(quail: Quail) -> None:
    answer = quail("demo", "--no-serve", "--seed", "3", "--on", "2027-05-02", "--json")
    assert (answer.code, answer.err) == (0, "")
    assert answer.json["on"] == "2027-05-02"
    assert answer.json["places"]


@pytest.mark.parametrize("argv", [["today"], ["flock"], ["journal", "check"], ["rules"]])
def test_errors_go_to_standard_error_with_json_too(quail: Quail, argv: list[str]) -> None:
    answer = quail(*argv, "--json", "--flock", ".")
    assert (answer.code, answer.out) == (3, "")
    assert answer.err.startswith("quailwright: ")
