"""What the care and the hatches have to say comes out in the language of whoever reads it.

The other language is invented here, for a few sentences: what is held is which texts pass through
the catalogue, that their parts are filled in, and that nothing said gets into what is kept. Its
decimal comma and its way with dates are those of Unicode CLDR for Portuguese.
"""

import re
from collections import Counter
from collections.abc import Mapping
from dataclasses import fields
from datetime import date, datetime, timedelta

import msgspec
import pytest
from tests.guide.hatch.test_report import air, report, setting, weighed
from tests.guide.hatch.test_report import home as hatch_home
from tests.guide.rounds import adults, asked, day, home, round_on, tasks_of
from tests.languages import invented
from tests.makers import made

from quailwright.flock.fold import fold
from quailwright.flock.state import Birds
from quailwright.guide import told, wording
from quailwright.guide.child import ALWAYS, childs_round
from quailwright.guide.hatch import words
from quailwright.guide.hatch.causes import table
from quailwright.guide.round import todays_round
from quailwright.guide.rules import Rule, printed_rules
from quailwright.guide.signs import signs
from quailwright.husbandry import facts
from quailwright.journal.entries import KINDS, Entry
from quailwright.language import LANGUAGES, Said, Spoken, say, speaking


def _in(texts: Mapping[str, str]) -> Spoken:
    return invented(texts, "pt")


# Figures.


@pytest.mark.parametrize(
    ("english", "other", "said"),
    [
        ("kept at 12 to 16.5 °C", "guardado de 12 a 16,5 °C", "guardado de 53,6 a 61,7 °F"),
        ("37, 38 and 39 °C", "37, 38 e 39 °C", "98,6, 100,4 e 102,2 °F"),
        ("below 0 °C or -1.5 °C", "abaixo de 0 °C ou -1,5 °C", "abaixo de 32 °F ou 29,3 °F"),
    ],
)
def test_degrees_in_a_text_of_another_language_become_fahrenheit(
    english: str, other: str, said: str
) -> None:
    """Degrees Fahrenheit by their definition, 9 / 5 of a degree Celsius and 32 more."""
    with speaking(_in({english: other, "to, and, or": "a, e, ou"})):
        assert wording.temperatures_in(say(english), "us") == said
        assert wording.temperatures_in(say(english), "metric") == other


def test_figures_and_days_are_written_as_the_language_does() -> None:
    with speaking(_in({"{low} to {high}": "{low} a {high}", "{day} {year}": "{day} de {year}"})):
        assert wording.temperature(37.5, "metric") == "37,5 °C"
        assert wording.temperature(37.0, "us") == "98,6 °F"
        assert wording.heats(29.4, 35.0, "metric") == "29,4 a 35 °C"
        assert wording.money(-18.5, "EUR") == "-18,50 EUR"
        assert wording.area(0.1, "metric") == "0,10 m²"
        assert wording.weekday(date(2027, 5, 2)) == "dom., 2 de mai."
        assert wording.full_day(date(2027, 5, 2)) == "dom., 2 de maio de 2027"
        assert wording.when(date(2028, 1, 1), day(0)) == "sáb., 1 de jan. de 2028"


# Rules of care.


def test_a_rule_is_said_in_the_other_language_with_its_figures() -> None:
    clean = printed_rules()["ready_machine"]
    other = "A {c:incubation.temperature} ande a máquina vazia, {n:incubation.rest_h} h; {x}."
    with speaking(_in({clean.task: other})):
        filled = wording.fill(clean.task, "metric", {})
    rest = f"{facts.value('incubation.rest_h'):g}"
    assert filled == f"A 37,5 °C ande a máquina vazia, {rest} h; {{x}}."
    assert wording.fill(clean.task, "metric", {}).startswith("Clean the incubator")


def test_a_keepers_own_rule_stays_as_they_wrote_it() -> None:
    oil = made("care_rule", day(0), rule="oil", stage="pen", task="Oil {it}", every_days=1)
    with speaking(_in({"Feed and fresh water": "Ração e água"})):
        tasks = [task.task for task in tasks_of(round_on([home(), *adults(), oil], day(3)))]
    assert "Oil {it}" in tasks
    assert "Ração e água" in tasks


def test_words_of_the_state_come_in_the_readers_language() -> None:
    planned = made(
        "cull_planned", day(0), on=str(day(1)), group="pen birds", keep_hens=1, keep_cocks=0
    )
    texts = {
        "Keep {stay} of {whose}; let {others} go ({there} now)": "De {whose} fica(m) {stay}; "
        "{others} saem ({there} agora)",
        "{n} hen": "{n} fêmea",
        "{n} hens": "{n} fêmeas",
        "{n} cocks": "{n} machos",
        "no cocks": "nenhum macho",
        "{hens} and {cocks}": "{hens} e {cocks}",
        "the others": "as outras",
    }
    with speaking(_in(texts)):
        (task,) = asked(round_on([home(), *adults(), planned], day(1)), "let_go")
    assert task.task == (
        "De pen birds fica(m) 1 fêmea e nenhum macho; as outras saem (32 fêmeas, 8 machos agora)"
    )


def test_a_task_ticked_by_its_text_is_done_whatever_language_it_is_read_in() -> None:
    planned = [
        made("source", day(0), source="post", route="shipped"),
        *(
            made("set_planned", day(0), hatch=name, on=str(day(5)), eggs=12, place="box",
                 source="post")
            for name in ("june", "july")
        ),
    ]  # fmt: skip
    order = printed_rules()["order_eggs"].task
    other = _in({order: "Encomende {eggs} ovos de {whose} para {day} ({hatch})"})

    def ordered(*more: Entry) -> list[str]:
        the_round = round_on([home(), *planned, *more], day(1))
        return [str(task.tick["task"]) for task in asked(the_round, "order_eggs")]

    with speaking(other):
        ticks = ordered()
    assert ticks == ordered(), "what a tick writes down hangs on no language"
    done = made("care", day(1), task=ticks[0])
    assert ordered(done) == ticks[1:]
    with speaking(other):
        assert ordered(done) == ticks[1:]


def test_a_child_is_told_in_the_other_language() -> None:
    flock = fold([home(), *adults(), made("quarantine", day(0), place="pen", until=str(day(9)))])
    with speaking(_in({"ask a grown-up": "pergunte a um adulto", ALWAYS[0]: "Lave as mãos."})):
        (held,) = childs_round(todays_round(flock, day(1)), flock).withheld
        assert (held.what, held.because) == ("birds", "pergunte a um adulto")
        assert say(ALWAYS[0]) == "Lave as mãos."


# Findings and signs.


def test_a_kept_finding_is_english_and_is_said_with_comma_and_plural() -> None:
    entries = [
        made("group", day(0), group="hens", place="pen", hens=3),
        made("birds_moved", day(1), group="hens", place="barn", to_group="two", hens=5, cocks=1,
             force=True),
    ]  # fmt: skip
    (finding,) = fold(entries).findings
    assert finding.what == "5 hens, 1 cock moved, but hens has 3 hens."
    texts = {
        "{birds} {done}, but {group} has {alive}.": "{group} tem {alive}, não {birds} ({done}).",
        "{first}, {rest}": "{first} + {rest}",
        "{n} hens": "{n} fêmeas",
        "{n} cock": "{n} macho",
        "moved": "mudança",
    }
    with speaking(_in(texts)):
        assert say(finding.what) == "hens tem 3 fêmeas, não 5 fêmeas + 1 macho (mudança)."
        assert finding.what == "5 hens, 1 cock moved, but hens has 3 hens."


def test_a_weight_that_cannot_be_is_told_with_a_decimal_comma() -> None:
    weights = [
        made("eggs_set", day(0), hatch="may", eggs=24, place="box", source="post"),
        made("eggs_weighed", day(1), hatch="may", eggs=2, total_g=97, force=True),
    ]
    (finding,) = fold(weights).findings
    possible = facts.figure("egg_water.egg_mass_possible")
    text = "{grams:.1f} g an egg cannot be: Coturnix eggs weigh {low:g} to {high:g} g."
    with speaking(_in({text: "{grams:.1f} g por ovo? São {low:g} a {high:g} g."})):
        said = say(finding.what)
    assert said == f"48,5 g por ovo? São {possible.low:g} a {possible.high:g} g."


def test_what_cannot_be_found_is_told_with_the_nearest_name() -> None:
    entries = [
        made("group", day(0), group="layers", place="pen", hens=3),
        made("eggs_collected", day(1), group="layer", eggs=2),
    ]
    (finding,) = fold(entries).findings
    texts = {
        "Did you mean {name!r}? {mend}": "Seria {name!r}? {mend}",
        "Log the group first.": "Registre o grupo antes.",
    }
    with speaking(_in(texts)):
        assert say(finding.mend) == "Seria 'layers'? Registre o grupo antes."
    assert finding.mend == "Did you mean 'layers'? Log the group first."


def test_no_kept_sentence_is_said_before_it_is_read() -> None:
    """A flock folded by a reader of one language is the same for one of another."""
    entries = [
        made("group", day(0), group="hens", place="pen", hens=3),
        made("birds_died", day(1), group="hens", hens=5, force=True),
    ]
    english = fold(entries)
    with speaking(_in({"{n} hens": "{n} fêmeas", "died": "morte"})):
        other = fold(entries)
    assert other == english
    assert isinstance(other.findings[0].what, Said)


def test_a_sign_is_named_in_english_and_tells_in_the_other_language() -> None:
    flock = fold([home(), *adults(hens=2, cocks=2)])
    text = "{cocks} cocks with {n} hens ({ratio:.1f} hens a cock; usual is {low:g} to {high:g})."
    other = "{cocks} machos com {n} fêmeas ({ratio:.1f} por macho; usual {low:g} a {high:g})."
    with speaking(_in({text: other})):
        (sign,) = (sign for sign in signs(flock, day(1)) if sign.sign == "many cocks")
    assert sign.evidence.startswith("2 machos com 2 fêmeas (1,0 por macho")


def test_birds_in_words_are_those_of_print() -> None:
    for birds in (Birds(), Birds(1), Birds(0, 2, 1), Birds(3, 1, 2)):
        assert str(birds) == birds.told()
    assert str(Birds(3, 1, 2)) == "3 chicks, 1 hen, 2 cocks"


# Hatches.


def test_a_hatch_report_is_said_with_a_decimal_comma() -> None:
    entries = [*hatch_home(), setting(), weighed(0, 264), weighed(5, 264 * 0.96)]
    texts = {
        "As it runs now, {loss:.1f} % by the stop of turning (likely {likely_low:.1f} to "
        "{likely_high:.1f}); aim for {low:g} to {high:g}. Chance to land: {chance:.0%}.":
            "{loss:.1f} % ({likely_low:.1f} a {likely_high:.1f}), meta {low:g} a {high:g}: "
            "{chance:.0%}",
    }  # fmt: skip
    english = words.landing(report(entries, 5.1, {"may": air()}).weight)
    with speaking(_in(texts)):
        other = words.landing(report(entries, 5.1, {"may": air()}).weight)
    numbers = re.findall(r"\d+\.\d", english)
    assert len(numbers) == 3
    assert [number.replace(".", ",") for number in numbers] == re.findall(r"\d+,\d", other)


def test_causes_are_told_in_the_other_language_and_named_in_english() -> None:
    out = datetime.fromisoformat("2027-05-20T10:00+01:00")
    entries = [
        *hatch_home(),
        setting(mean_egg_g=11.0, laid_from="2027-04-08", laid_to="2027-04-08", storage_c=20.0),
        made("chicks_hatched", out, hatch="may", chicks=3),
        made("eggs_opened", out + timedelta(days=1), hatch="may", infertile=5, early=14),
        made("hatch_closed", out + timedelta(days=2), hatch="may"),
    ]
    (storage,) = (cause for cause in table().suspects if "storage" in cause.cause)
    texts = {
        storage.check: "Anote a postura; {n:incubation.storage_best_days} dias.",
        "eggs were {storage_days:.0f} days old and kept at {storage_c}":
            "os ovos tinham {storage_days:.0f} dias a {storage_c}",
        "{what}; met {times} times as often with this fault as in a normal hatch.":
            "{what}: {times} vezes mais",
        "{n} early": "{n} no início",
    }  # fmt: skip
    with speaking(_in(texts)):
        told_of = report(entries, 22.0).post_mortem
    assert told_of is not None
    (cause,) = (one for one in told_of.causes if one.cause == storage.cause)
    assert cause.check == "Anote a postura; 7 dias."
    aged, tallied = (
        next(line for line in cause.because if word in line)
        for word in ("Os ovos tinham 24 dias a 20 °C", "14 no início")
    )
    assert re.search(r": \d+(,\d)? vezes mais$", aged)
    assert re.search(r": \d+(,\d)? vezes mais$", tallied)


# Entries in words.


def test_an_entry_is_told_in_the_other_language_and_names_stay() -> None:
    entry = made("feed_bought", day(0), feed="kg", kg=12.5, cost=20)
    texts = {"feed bought": "ração comprada", "kg": "quilos", "{field} {value}": "{field}: {value}",
             "cost": "custo"}  # fmt: skip
    with speaking(_in(texts)):
        assert told.in_a_line(entry) == "ração comprada: kg, 12,5 quilos, custo: 20"
    sold = made("birds_out", day(0), group="sold", use="sold", hens=2)
    with speaking(_in({"sold": "venda", "use": "destino", "hens": "fêmeas"})):
        assert told.in_a_line(sold) == "birds out: sold, destino venda, 2 fêmeas"


def test_every_kind_field_and_value_has_words() -> None:
    assert told.KIND_WORDS.keys() == KINDS.keys()
    for kind in KINDS:
        for field in msgspec.structs.fields(KINDS[kind]):
            base = told.field_words(field.encode_name).split(", ")[0]
            assert base in told.FIELD_WORDS, field.encode_name
            if field.encode_name in told._CHOSEN:
                assert set(_choices(field.type)) <= told.VALUE_WORDS, field.encode_name


def _choices(of: object) -> list[str]:
    """The words of every Literal in a type."""
    found = [one for one in getattr(of, "__args__", ()) if isinstance(one, str)]
    return found + [word for one in getattr(of, "__args__", ()) for word in _choices(one)]


# The catalogues that there are.


@pytest.mark.parametrize("tag", sorted(LANGUAGES))
def test_the_figures_of_care_survive_translation(tag: str) -> None:
    """A figure or a word of the state left out of a translated rule would be left out of care."""
    slots = re.compile(r"\{(?:[cdmnr]:)?[\w.]+\}")
    texts = [
        text
        for rule in printed_rules().values()
        for field in fields(Rule)
        if field.name not in ("rule", "stage")
        and isinstance(text := getattr(rule, field.name), str)
    ]
    texts += [suspect.check for suspect in table().suspects]
    with speaking(tag):
        for text in texts:
            assert Counter(slots.findall(say(text))) == Counter(slots.findall(text))


def test_tables_hold_english_whatever_is_spoken() -> None:
    with speaking(_in({"storage and age of the eggs": "armazenamento", "Collect": "Colete"})):
        printed_rules.cache_clear()
        table.cache_clear()
        assert printed_rules()["collect_eggs"].task == "Collect and count the eggs"
        assert table().suspects[0].cause == "storage and age of the eggs"
