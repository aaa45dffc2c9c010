"""Every hazard has its caution at each of its steps, and no text doses, kills or diagnoses."""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.languages import gathered_once
from tests.makers import made

from quailwright.flock.fold import fold
from quailwright.guide.cautions import DECIDES, all_cautions, cautions_for, deciding_contacts
from quailwright.guide.child import CHILDS_KINDS
from quailwright.guide.rules import printed_rules
from quailwright.journal.entries import KINDS

HAZARDOUS_KINDS = {
    "place", "eggs_candled", "eggs_opened", "chicks_hatched", "group", "birds_died",
    "birds_processed", "birds_out", "bird_left", "cull_planned", "eggs_out", "eggs_boxed",
    "eggs_ordered", "egg_rule", "temperature_seen", "treated", "quarantine", "outage",
}  # fmt: skip
"""Kinds of entry at which people or birds can come to harm, or eggs to somebody who may not."""
HAZARDOUS_RULES = {
    "ready_machine_planned", "let_go", "ready_machine", "ready_brooder", "open_eggs",
    "clean_machine", "top_up_water", "move_chicks", "brooder_check", "brooder_feed_water",
    "heat_step", "brooder_bedding", "move_out", "surplus_cocks", "light_up", "timer_check",
    "timer_after_outage", "layer_feed",
    "look_count", "collect_eggs", "trays", "mesh_check", "wash",
}  # fmt: skip
STEPS = [(each, step) for each in all_cautions() for step in each.steps]
TEMPLATES = Path(__file__).parents[2] / "src" / "quailwright" / "web" / "templates"


def test_each_caution_is_whole() -> None:
    names = [each.caution for each in all_cautions()]
    assert len(names) == len(set(names))
    for each in all_cautions():
        assert each.decides, f"{each.caution}: nobody decides"
        assert set(each.decides) <= set(DECIDES)
        assert each.source or each.certainty == "common practice, no source", each.caution
        for text in (each.text, *each.further.values()):
            assert len(text) <= 300, f"{each.caution}: a caution is one or two lines"
        assert len(set(each.steps)) == len(each.steps)


@pytest.mark.parametrize("kind", sorted(HAZARDOUS_KINDS))
def test_hazardous_kinds_have_a_caution(kind: str) -> None:
    assert cautions_for(f"kind:{kind}")


def test_the_list_of_hazardous_kinds_is_whole() -> None:
    named = {step.removeprefix("kind:") for _, step in STEPS if step.startswith("kind:")}
    assert named == HAZARDOUS_KINDS
    assert named <= set(KINDS)


@pytest.mark.parametrize("rule", sorted(HAZARDOUS_RULES))
def test_hazardous_rules_have_a_caution(rule: str) -> None:
    assert printed_rules()[rule].caution


def test_every_rule_that_the_table_names_says_a_caution() -> None:
    for each, step in STEPS:
        kind, _, rule = step.partition(":")
        if kind == "rule":
            assert printed_rules()[rule].caution, f"{rule} does not say {each.caution}"


def test_a_rule_that_says_what_the_table_has_for_it_has_one_hazard() -> None:
    """It says only one text; with several hazards it needs words of its own."""
    texts = {each.text: each.caution for each in all_cautions()}
    for name, rule in printed_rules().items():
        if rule.caution in texts:
            named = [each.caution for each in cautions_for(f"rule:{name}")]
            assert named == [texts[rule.caution]]


def test_rules_with_a_caution_stand_in_the_table_or_have_words_of_their_own() -> None:
    in_table = {step.removeprefix("rule:") for _, step in STEPS if step.startswith("rule:")}
    own = {name for name, rule in printed_rules().items() if rule.caution} - in_table
    # Of birds, not of people: cold, and feed that is not for their age.
    assert own == {"move_out", "layer_feed"}


def test_children_read_of_no_killing() -> None:
    for kind in CHILDS_KINDS:
        assert not any(each.caution == "slaughter" for each in cautions_for(f"kind:{kind}"))
    for each in all_cautions():
        if each.for_children:
            assert not re.search(r"\bkill|slaughter|die\b", each.text.replace("most die", ""))
    assert all(each.for_children for each in cautions_for("page:/paper/away", child=True))
    assert cautions_for("kind:birds_processed", child=True) == ()


def test_who_decides_is_whom_the_keeper_told() -> None:
    flock = fold(
        [
            made("contact", contact="Dr. Moss", role="vet", phone="555 0100"),
            made("contact", contact="county line", role="animal_health", phone="555 0101"),
            made("contact", contact="neighbour", role="sitter", phone="555 0102"),
        ]
    )
    by_name = {each.caution: each for each in all_cautions()}

    def ring(name: str) -> list[str]:
        return [one.contact for one in deciding_contacts(by_name[name], flock)]

    assert ring("medicines") == ["Dr. Moss"]
    assert ring("avian_influenza") == ["Dr. Moss", "county line"]
    assert ring("selling") == []


# What no text may say.


def texts() -> Iterator[str]:
    """Every English text that the program says."""
    for message in gathered_once():
        if message.id:
            yield from [message.id] if isinstance(message.id, str) else message.id


FORBIDDEN = {
    "a dose": r"\bm[gl] ?(?:/|per|a|for each) ?(?:kg|kilogram|lit|bird|l\b)"
    r"|\bmg/kg\b|\bdoses? of \d|\bdrops per\b|\btablets?\b",
    "a way to kill": r"\bdislocat|\bdecapitat|\bbehead|\bbleed out|\bstun|\bthroat|\bwring"
    r"|\bscissors|\bcut the (?:neck|head)|\bslit|\beuthan|\bneck\b",
    "an illness": r"\bcoccidi|\bmarek|\bnewcastle|\bsalmonell|\bcampylobacter|\bulcerative"
    r"|\bbronchitis|\bcoryza|\bmycoplasm|\bblackhead|\bhistomon|\bpox\b|\bbotulis|\bpullorum"
    r"|\baspergill|\bcholera|\bpsittac|\binfluenza|\bmites?\b|\bworms\b|\bimpaction"
    r"|\begg[- ]bound|\bsick with|\bsuffers? from|\bdiagnos",
    "a medicine": r"\bantibiotic|\bamprol|\btetracycl|\bivermect|\bsulfa|\benrofl|\btylosin"
    r"|\bpenicill",
}
REVIEWED = {
    "Avian influenza and other diseases that must be reported":
        "the name of a hazard; says of no bird that it has it",
    "quailwright tells you no law, doses nothing, and diagnoses no sick bird or person. Your local "
    "code, a licensed vet and trained people decide.": "says that nothing is diagnosed",
    "1-40 d; 20 % CP, 2900 kcal; 120.5 mg/bird/d": "what a trial's birds ate of a nutrient",
    "Salmonella; forbidden or restricted in some countries: ask your authority. Its calcium and "
    "phosphorus fill up fast.": "of an ingredient of feed, and what it may carry",
    "A sign says where to look first. It is never a diagnosis: a vet sees the bird, the record "
    "does not.": "says that nothing is diagnosed",
    "Water filled in fell from {usual:.0f} to {now:.0f} ml a bird and day.":
        "plain water, as it was logged",
    "{millilitres:.0f} ml a bird and day": "plain water, as it was logged",
    "Sources disagree: keepers stop heat indoors at about three weeks, {first} (common practice, "
    "no source); a bulletin says three to four weeks; in winter keepers go on to six weeks, "
    "{last}. Look at feathers on back and neck, and at the dusk huddle.":
        "where to look for feathers before heat ends",
}  # fmt: skip
"""Texts that hold such a word and may, each with why."""


@pytest.mark.parametrize("what", FORBIDDEN)
def test_no_text_tells(what: str) -> None:
    pattern = re.compile(FORBIDDEN[what], re.IGNORECASE)
    found = [text for text in texts() if pattern.search(text) and text not in REVIEWED]
    assert found == []


def test_the_reviewed_texts_are_still_said() -> None:
    assert set(REVIEWED) <= set(texts())


@pytest.mark.parametrize(
    ("what", "text"),
    [
        ("a dose", "Give 10 mg/kg for five days"),
        ("a dose", "2 ml per litre of water"),
        ("a way to kill", "Dislocate the neck"),
        ("an illness", "This bird has coccidiosis"),
        ("a medicine", "an antibiotic helps"),
    ],
)
def test_the_scan_finds_what_it_is_for(what: str, text: str) -> None:
    assert re.search(FORBIDDEN[what], text, re.IGNORECASE)
