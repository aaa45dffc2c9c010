"""Languages: how numbers, dates and plurals are written, and that every text of a page is said.

What was not put through `say` is found with a language of the tests' own. It marks every text that
the catalogues know, so whatever stands unmarked on a page was never said, or is not gathered.
"""

import ast
import gettext
import re
import string
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping
from datetime import UTC, date, datetime
from functools import cache
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import parse_qsl, urljoin, urlsplit

import pytest
from babel import Locale
from babel.dates import format_date, format_time
from babel.messages.pofile import read_po
from babel.numbers import format_decimal
from fastapi import FastAPI
from jinja2 import Environment, nodes
from scripts.catalogue import KEYWORDS
from starlette.testclient import TestClient
from tests.languages import gathered_once
from tests.planning import rations
from tests.web.conftest import PHRASES, SMALL_FLOCK, token_of

from quailwright import language
from quailwright.exchange.demo_file import build_demo
from quailwright.exchange.household import Household
from quailwright.guide.cautions import all_cautions
from quailwright.guide.rules import printed_rules
from quailwright.husbandry import facts
from quailwright.husbandry.ingredients import ingredients
from quailwright.husbandry.plumage.table import loci
from quailwright.husbandry.requirements import BASE
from quailwright.journal.checks import field_notes
from quailwright.journal.entries import Entry, as_dict, kind_of
from quailwright.journal.store import open_store
from quailwright.language import (
    CATALOGUES,
    DOMAIN,
    ENGLISH,
    LANGUAGES,
    Spoken,
    best_of,
    dated,
    figure,
    later,
    later_many,
    mark,
    say,
    say_many,
    speaking,
    spoken,
)
from quailwright.web.app import create_app
from quailwright.web.home import Settings
from quailwright.web.view import LANGUAGE, say_html

NOW = datetime(2027, 5, 3, 7, 30, tzinfo=UTC)
SOURCES = CATALOGUES.parent
OTHERS = [tag for tag in LANGUAGES if tag != ENGLISH]


# How numbers, dates and plurals are written.


@pytest.mark.parametrize("tag", LANGUAGES)
@pytest.mark.parametrize("number", [0, 0.5, 37.7, -2.25, 999, 1234.5, 1234567.25])
def test_numbers_are_written_as_cldr_says(tag: str, number: float) -> None:
    # Reference: Unicode CLDR, as babel.numbers has it.
    with speaking(tag):
        assert figure(number, ",.2f") == format_decimal(number, "#,##0.00", locale=tag)
        assert say("{kg:,.1f} kg", kg=1234.5) == f"{format_decimal(1234.5, '#,##0.0', tag)} kg"


def test_what_is_no_number_keeps_its_points() -> None:
    with speaking("pt"):
        assert say("{day}, {clock}, {name}", day="2.5.2027", clock="7:30", name="A, B.") == (
            "2.5.2027, 7:30, A, B."
        )


def test_dates_in_words_are_written_as_cldr_says() -> None:
    # Reference: the pattern for MMMEd of the language pt in Unicode CLDR, "EEE, d 'de' MMM".
    day = date(2027, 5, 2)
    with speaking("pt"):
        told = dated(day, "Sun 2 May", "MMMEd")
        assert told == format_date(day, "EEE, d 'de' MMM", locale="pt")
        assert dated(NOW, "7:30", "Hm") == format_time(NOW.time(), "HH:mm", locale="pt")
    assert dated(day, "Sun 2 May", "MMMEd") == "Sun 2 May"


class _Forms(gettext.NullTranslations):
    """A catalogue that holds one text, with the plural rule of a committed one."""

    def __init__(self, tag: str) -> None:
        super().__init__()
        self.plural = gettext.translation(DOMAIN, CATALOGUES, languages=[tag]).plural  # type: ignore[attr-defined]

    def ngettext(self, msgid1: str, msgid2: str, n: int) -> str:
        return (msgid1, msgid2)[self.plural(n)]


@pytest.mark.parametrize("tag", OTHERS)
def test_plurals_are_chosen_as_cldr_says(tag: str) -> None:
    # Reference: Unicode CLDR, plural rules. Its "many" is for millions, which no flock counts.
    rule, catalogue = Locale.parse(tag).plural_form, _Forms(tag)
    with speaking(Spoken(tag, catalogue)):
        for number in (*range(200), 1000, 10_000):
            form = say_many("one", "other", number)
            assert form == rule(number), number


def test_a_number_of_things_is_shown_and_chooses_the_form() -> None:
    assert say_many("{n} egg of {whose}", "{n} eggs of {whose}", 1, whose="A") == "1 egg of A"
    assert say_many("{n} egg of {whose}", "{n} eggs of {whose}", 2, whose="A") == "2 eggs of A"
    assert say_many("{n:.1f} kilogram", "{n:.1f} kilograms", 1.5) == "1.5 kilograms"


class _Dictionary(gettext.NullTranslations):
    """A catalogue from a mapping."""

    def __init__(self, words: Mapping[str, str]) -> None:
        super().__init__()
        self._words = words

    def gettext(self, message: str) -> str:
        return self._words.get(message, message)

    def ngettext(self, msgid1: str, msgid2: str, n: int) -> str:
        return self._words.get(msgid1 if n == 1 else msgid2, msgid1 if n == 1 else msgid2)


TURNED = Spoken(
    "pt",
    _Dictionary({
        "{eggs} eggs of {whose}": "{whose}: {eggs} ovos", "hens": "fêmeas", "{n} egg": "{n} ovo",
        "{n} eggs": "{n} ovos", 'by <b class="x">{name}</b>': 'de <b class="x">{name}</b>',
    }),
    decimal=",",
    thousands=".",
)  # fmt: skip


def test_parts_may_change_places_and_stay_as_they_are() -> None:
    with speaking(TURNED):
        assert say("{eggs} eggs of {whose}", eggs=2.5, whose="A {b}") == "A {b}: 2,5 ovos"
        assert say("long {hens}") == "long {hens}"  # a keeper's own words
        assert say("") == ""


def test_what_is_kept_is_english_and_is_said_in_the_readers_language() -> None:
    kept = later("{eggs} eggs of {whose}", eggs=2, whose=later("hens"))
    several = later_many("{n} egg", "{n} eggs", 3)
    assert (kept, several) == ("2 eggs of hens", "3 eggs")
    with speaking(TURNED):
        assert (say(kept), say(several), say(mark("hens"))) == (
            "fêmeas: 2 ovos",
            "3 ovos",
            "fêmeas",
        )
        assert str(kept) == "2 eggs of hens"
    assert say(kept) == "2 eggs of hens"


def test_what_is_put_into_markup_is_escaped_in_every_language() -> None:
    for said, told in ((ENGLISH, "by"), (TURNED, "de")):
        with speaking(said):
            assert say_html('by <b class="x">{name}</b>', name='<i>"') == (
                f'{told} <b class="x">&lt;i&gt;&#34;</b>'
            )
            assert str(say_html("{share:.1f} of <b>{all}</b>", share=0.5, all=2)) == (
                f"{figure(0.5)} of <b>2</b>"
            )


@pytest.mark.parametrize(
    ("wanted", "best"),
    [
        (["pt-BR", "en"], "pt"), (["pt_BR.UTF-8"], "pt"), (["", "de", "pt"], "pt"),
        (["de", "en-GB", "pt"], "en"), (["*"], "en"), ([], "en"), (["PT"], "pt"),
    ],
)  # fmt: skip
def test_the_first_language_that_is_known_is_taken(wanted: list[str], best: str) -> None:
    assert best_of(wanted) == best


def test_the_language_before_comes_back_and_an_unknown_one_is_refused() -> None:
    with speaking("pt"):
        with pytest.raises(KeyError), speaking("xx"):
            pass
        assert spoken() == "pt"
    assert spoken() == ENGLISH


# What stands in the sources.


def _calls(tree: ast.AST) -> Iterator[tuple[int, str, list[ast.expr]]]:
    """Every call that says something: its line, its name, its texts."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            places = KEYWORDS.get(node.func.id, ())
            if node.func.id in KEYWORDS:
                yield node.lineno, node.func.id, node.args[: len(places) if places else 1]


def _whole(text: ast.expr) -> bool:
    """Whether gettext finds the text, here or where it was marked.

    A formatted one is another text each time. Of two texts one may be chosen where both are marked
    elsewhere: written out side by side, they are found as one.
    """
    if isinstance(text, ast.IfExp):
        either = (text.body, text.orelse)
        return all(_whole(each) and not isinstance(each, ast.Constant) for each in either)
    if isinstance(text, ast.Call):
        return not (isinstance(text.func, ast.Attribute) and text.func.attr == "format")
    return isinstance(text, ast.Constant | ast.Name | ast.Attribute | ast.Subscript)


def test_texts_in_the_sources_are_whole() -> None:
    wrong, seen = [], 0
    for path in sorted(SOURCES.rglob("*.py")):
        for line, name, texts in _calls(ast.parse(path.read_text(encoding="utf-8"))):
            seen += 1
            if not all(map(_whole, texts)):
                wrong.append(f"{path.relative_to(SOURCES)}:{line}: {name}")
    assert wrong == []
    assert seen > 100


def test_texts_in_the_templates_are_whole() -> None:
    pieced = (nodes.BinExpr, nodes.Concat, nodes.CondExpr, nodes.Filter, nodes.TemplateData)
    wrong, seen = [], 0
    for path in sorted((SOURCES / "web" / "templates").glob("*.html")):
        for call in Environment().parse(path.read_text(encoding="utf-8")).find_all(nodes.Call):
            if isinstance(call.node, nodes.Name) and call.node.name in KEYWORDS:
                seen += 1
                texts = call.args[: len(KEYWORDS[call.node.name] or (1,))]
                if any(isinstance(text, pieced) for text in texts):
                    wrong.append(f"{path.name}:{call.lineno}: {call.node.name}")
    assert wrong == []
    assert seen > 100


def _parts(text: str, besides: str | None = None) -> Counter[str]:
    """The {parts} of a text, each with its conversion and its specification, but for one name."""
    parsed = string.Formatter().parse(text)
    return Counter(
        f"{name}!{turned or ''}:{spec or ''}"
        for _, name, spec, turned in parsed
        if name not in (None, besides)
    )


@cache
def _known() -> dict[str, str]:
    """Every text that the sources say, with its plural or ""."""
    found = {}
    for message in gathered_once():
        if isinstance(message.id, str):
            found[message.id] = ""
        else:
            found[message.id[0]] = message.id[1]
            found.setdefault(message.id[1], "")
    found.pop("", None)
    return found


@pytest.mark.parametrize("tag", OTHERS)
def test_every_text_has_a_translation_with_the_same_parts(tag: str) -> None:
    with (CATALOGUES / tag / "LC_MESSAGES" / f"{DOMAIN}.po").open("rb") as file:
        catalogue = read_po(file, locale=tag)
    wrong = []
    for message in gathered_once():
        if not message.id:
            continue
        one, *more = (message.id,) if isinstance(message.id, str) else message.id
        there = catalogue.get(one)
        string_or_forms = None if there is None else there.string
        told = (string_or_forms,) if isinstance(string_or_forms, str) else string_or_forms or ()
        # Of a number of things, one form may do without the number: "one egg".
        left_out = "n" if more else None
        wanted = [_parts(form, left_out) for form in (one, *more)]
        if not told or not all(told):
            wrong.append(f"no translation: {one}")
        wrong += [f"other parts: {t}" for t in told if t and _parts(t, left_out) not in wanted]
    assert wrong == [], "\n".join(wrong)


@pytest.mark.parametrize("tag", OTHERS)
def test_the_catalogue_that_is_read_is_the_one_that_is_written(tag: str) -> None:
    folder = CATALOGUES / tag / "LC_MESSAGES"
    with (folder / f"{DOMAIN}.po").open("rb") as file:
        written = read_po(file, locale=tag)
    with (folder / f"{DOMAIN}.mo").open("rb") as file:
        read = gettext.GNUTranslations(file)
    for message in written:
        if not message.id or not message.string:
            continue
        if isinstance(message.id, str):
            assert read.gettext(message.id) == message.string
        elif all(message.string):
            forms = {read.ngettext(message.id[0], message.id[1], n) for n in (1, 2)}
            assert forms == set(message.string)


# A language that marks what is said, to find what is not.

MARKED = "zxx"
"""The tag for no linguistic content (ISO 639-2)."""
_OUTSIDE = re.compile(r"(<[^>]*>|\{[^{}]*\})")
_WORD = re.compile(r"[^\W\d_²³]{2,}")
_MARKS = re.compile(r"⟦[^⟦⟧]*⟧")
_OF_NO_LANGUAGE = {"quailwright", "kg", "cm", "mm", "kWh", "kcal", "mg", "IU", "toml"}
"""The program's own name, and signs of units that are the same everywhere."""
_SHOWN_ATTRIBUTES = ("aria-label", "title", "placeholder", "alt")
_VOID = {
    "area",
    "base",
    "br",
    "col",
    "embed",
    "hr",
    "img",
    "input",
    "link",
    "meta",
    "source",
    "wbr",
}


def _marked(text: str) -> str:
    """The words of a text between marks; its parts and its markup stay outside."""
    pieces = _OUTSIDE.split(text)
    return "".join(
        f"⟦{piece}⟧" if number % 2 == 0 and _WORD.search(piece) else piece
        for number, piece in enumerate(pieces)
    )


class _Marking(gettext.NullTranslations):
    """A catalogue of every text that the sources say."""

    def gettext(self, message: str) -> str:
        return _marked(message) if message in _known() else message

    def ngettext(self, msgid1: str, msgid2: str, n: int) -> str:
        return self.gettext(msgid1 if n == 1 else msgid2)


@pytest.fixture
def marking(monkeypatch: pytest.MonkeyPatch) -> None:
    """The pages speak the language of marks to who wants it."""
    spoken_as: Callable[[str], Spoken] = language._spoken_as
    marks = Spoken(MARKED, _Marking())
    monkeypatch.setattr(language, "LANGUAGES", {**LANGUAGES, MARKED: "marks"})
    monkeypatch.setattr(
        language, "_spoken_as", lambda tag: marks if tag == MARKED else spoken_as(tag)
    )
    monkeypatch.setattr("babel.dates.format_skeleton", lambda _, day, **__: f"⟦{day}⟧")


class _Texts(HTMLParser):
    """What a person reads on a page, or hears; nothing that translators are to leave alone."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.texts: list[str] = []
        self.links: list[str] = []
        self._open: list[tuple[str, bool]] = []
        self.feed(page)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        names = {name: value or "" for name, value in attrs}
        left_alone = names.get("translate") == "no" or tag in ("script", "style")
        left_alone = left_alone or (bool(self._open) and self._open[-1][1])
        if not left_alone:
            self.texts += [names[name] for name in _SHOWN_ATTRIBUTES if name in names]
            if tag == "input" and names.get("type") in ("submit", "button", "reset"):
                self.texts.append(names.get("value", ""))
        if tag == "a" and "href" in names:
            self.links.append(names["href"])
        if tag not in _VOID:
            self._open.append((tag, left_alone))

    def handle_endtag(self, tag: str) -> None:
        # Some tags may be left open: what is closed is the last of that name.
        names = [name for name, _ in self._open]
        if tag in names:
            del self._open[len(names) - 1 - names[::-1].index(tag) :]

    def handle_data(self, data: str) -> None:
        if not self._open or not self._open[-1][1]:
            self.texts.append(data)


def _unsaid(text: str, own: "re.Pattern[str]") -> bool:
    """Whether words stand in a text outside marks that are not a keeper's own."""
    before = None
    while before != text:
        before, text = text, _MARKS.sub(" ", text)
    text = re.sub(r"⟦[^⟦⟧]*\Z", " ", text)  # cut short, as a first sentence is
    text = own.sub(" ", text)
    return any(word not in _OF_NO_LANGUAGE for word in _WORD.findall(text))


REFUSED: Mapping[str, Mapping[str, str]] = {
    "/log/eggs_collected": {"group": "nobody", "eggs": "many"},
    "/log/birds_died": {"group": "hens", "hens": "1000"},
    "/log/holding": {"timezone": "Nowhere"},
    "/log/nothing": {"note": "nothing"},
    "/first/pen": {"floor": "two by two", "place": "pen"},
    "/first/birds": {"weeks": "old"},
    "/settings/holding/change": {},
    "/settings/nothing/change": {},
    "/settings/care/rule": {"rule": "wash"},
    "/settings/places": {"place": "pen"},
    "/people": {"name": "Mira", "passphrase": "short", "role": "helper", "do": "add"},
    "/journal/nothing/retract": {},
    "/language": {"language": "xx"},
}
"""What is typed wrong, to see how it is refused."""
TYPED_WRONG = ("nobody", "many", "Nowhere", "nothing", "two by two", "old")


def _own_words(entries: Iterable[Entry], typed: Iterable[str] = ()) -> "re.Pattern[str]":
    """What was typed, a journal's words, cited sources, names of rules; the longest first."""
    keys = facts.keys()
    found = {row.source for key in keys for row in facts.rows(key) if row.source}
    found |= {each.source for each in all_cautions() if each.source}
    found |= {locus.source for locus in loci().values() if locus.source}
    found |= {*printed_rules(), *typed}
    for entry in entries:
        chosen = {note.name for note in field_notes(kind_of(entry)) if note.choices}
        for name, value in as_dict(entry).items():
            if name not in {"kind", "task", "rule", *chosen}:
                values = value if isinstance(value, list) else [value]
                found |= {text for text in values if isinstance(text, str) and _WORD.search(text)}
            if name == "timezone":
                found.add(value.rpartition("/")[2].replace("_", " "))  # its town
    longest_first = sorted((re.escape(text) for text in found), key=len, reverse=True)
    return re.compile(rf"(?<!\w)(?:{'|'.join(longest_first)})(?!\w)", re.IGNORECASE)


MOST_ALIKE = {"journal": 6, "places": 6, "hatches": 4, "log": 80}
"""How many pages of one kind are looked at; 200 of any other."""


def walked(client: TestClient, starts: Iterable[str]) -> Iterator[tuple[str, str]]:
    """Each page to be had from these by links, with its text; a few of those that are alike."""
    ahead, seen, alike = list(starts), set(), Counter[tuple[str, ...]]()
    while ahead:
        address = ahead.pop(0)
        parts = urlsplit(address)
        first, _, rest = parts.path.strip("/").partition("/")
        kind = (first, str(rest.count("/")), *sorted(name for name, _ in parse_qsl(parts.query)))
        if address in seen or alike[kind] >= MOST_ALIKE.get(first, 200):
            continue
        seen.add(address)
        alike[kind] += 1
        answer = client.get(address, follow_redirects=True)
        assert answer.status_code < 500, address
        if not answer.headers["content-type"].startswith("text/html"):
            continue
        yield address, answer.text
        links = (urljoin(address, link).partition("#")[0] for link in _Texts(answer.text).links)
        ahead += [link for link in links if link.startswith("/") and link not in seen]


def unsaid_on(
    pages: Iterable[tuple[str, str]], entries: Iterable[Entry], typed: Iterable[str] = ()
) -> dict[str, list[str]]:
    """Texts with words outside marks, each with the pages that it stands on."""
    own = _own_words(entries, typed)
    found: dict[str, list[str]] = defaultdict(list)
    for address, page in pages:
        for text in _Texts(page).texts:
            shown = " ".join(text.split())
            if _unsaid(shown, own) and address not in found[shown]:
                found[shown].append(address)
    return {text: addresses for text, addresses in found.items() if addresses}


def told_by_page(found: Mapping[str, list[str]]) -> str:
    """What was found, by the first page that it stands on."""
    by_page: dict[str, list[str]] = defaultdict(list)
    for text, addresses in found.items():
        more = f"   (and on {len(addresses) - 1} more)" if len(addresses) > 1 else ""
        by_page[addresses[0]].append(f"    {text[:200]}{more}")
    lines = [f"{address}\n" + "\n".join(texts) for address, texts in sorted(by_page.items())]
    return f"{len(found)} texts are not said:\n" + "\n".join(lines)


def _hold(client: TestClient, starts: Iterable[str], entries: Iterable[Entry]) -> None:
    pages = list(walked(client, starts))
    assert all("⟦" in text for _, text in pages)
    found = unsaid_on(pages, entries)
    if found:
        pytest.fail(told_by_page(found), pytrace=False)


def _reader(app: FastAPI) -> TestClient:
    wants = {"Accept-Language": f"{MARKED}, en;q=0.5"}
    return TestClient(app, base_url="http://localhost", headers=wants)


@pytest.mark.usefixtures("marking")
def test_everything_on_the_demos_pages_is_said(tmp_path: Path) -> None:
    flock = str(tmp_path / "demo.sqlite")
    entries = build_demo(flock, NOW.date(), 1, NOW)
    with _reader(create_app(Settings(flock, lambda: NOW, invented=True))) as client:
        _hold(client, ("/", "/more", "/log", "/settings", "/help", "/no-signal"), entries)


@pytest.mark.usefixtures("marking")
def test_everything_on_an_empty_flocks_pages_is_said(tmp_path: Path) -> None:
    flock = str(tmp_path / "new.sqlite")
    with _reader(create_app(Settings(flock, lambda: NOW, invented=True))) as client:
        _hold(client, ("/", "/more", "/first/where", "/first/done"), ())


@pytest.mark.usefixtures("marking")
def test_everything_on_a_households_pages_is_said(tmp_path: Path) -> None:
    flock = str(tmp_path / "flock.sqlite")
    app = create_app(Settings(flock, lambda: NOW))
    pages, refused = [("/begin", _reader(app).get("/begin").text)], []
    with open_store(flock) as store:
        with store.writing() as writer:
            writer.append(SMALL_FLOCK, NOW)
        household = Household(store)
        household.begin("Ann Other", PHRASES["keeper"], NOW)
        household.add("Ida Other", "child", PHRASES["helper"], NOW)
        household.add("Bo Other", "viewer", PHRASES["viewer"], NOW)
    for name, role in (("Ann", "keeper"), ("Ida", "helper"), ("Bo", "viewer")):
        client = _reader(app)
        form = {"token": token_of(client, "/sign-in"), "name": f"{name} Other"}
        pages.append(("/sign-in", client.get("/sign-in").text))
        wrong = client.post("/sign-in", data={**form, "passphrase": "x"})
        pages.append(("/sign-in (wrong)", wrong.text))
        client.post("/sign-in", data={**form, "passphrase": PHRASES[role]})
        paths = ("/", "/more", "/people", "/log", "/log/eggs_collected", "/nothing-here")
        pages += [(f"{path} ({name})", client.get(path).text) for path in paths]
        if name == "Ann":
            token = token_of(client)
            for path, typed in REFUSED.items():
                answer = client.post(path, data={"token": token, **typed})
                assert answer.status_code in (400, 404, 409, 422), path
                refused.append((f"{path} (refused)", answer.text))
            pages.append(("too old", client.post("/log/care", data={"token": "x"}).text))
    found = unsaid_on(pages, SMALL_FLOCK) | unsaid_on(refused, SMALL_FLOCK, TYPED_WRONG)
    if found:
        pytest.fail(told_by_page(found), pytrace=False)


MIXED = {
    "/feed/blend?birds=grower&feed+1,+feed=Mira&feed+1,+protein_pct=30&feed+2,+feed=maize": 200,
    "/feed/blend?birds=starter+layer&feed+1,+protein_pct=30&feed+2,+protein_pct=9"
    "&feed+3,+feed=oyster_shell&feed+3,+protein_pct=0&target.calcium_pct=3": 422,
    "/feed/blend?birds=layer&target.protein_pct=60&feed+1,+feed=maize&feed+2,+feed=peas": 200,
    "/feed/blend?feed+1,+protein_pct=100&feed+2,+price_per_kg=-1&birds=layer": 422,
    "/feed/blend?birds=layer&feed+1,+protein_pct=12": 422,
}
"""Blends that are asked for, and how they are answered."""


@pytest.mark.usefixtures("marking")
def test_everything_in_the_answers_of_feed_mixed_at_home_is_said(tmp_path: Path) -> None:
    flock = str(tmp_path / "demo.sqlite")
    entries = build_demo(flock, NOW.date(), 1, NOW)
    basic = dict.fromkeys(rations.BASIC, "yes") | {
        f"{code}, price_per_kg": str(rations.PRICES[code]) for code in rations.PRICES
    }
    asked = {
        "met": (basic | {"premix, share_pct": "0.5", "scoop_kg": "0.5", "peas": "yes"}, 200),
        "none": ({**basic, "dcp": "", "premix": "", "maize, stock_kg": "1"}, 200),
        "wrong": ({**basic, "batch_kg": "0", "maize, price_per_kg": ""}, 422),
        "nothing": ({"stage": "layer"}, 422),
    }
    pages = []
    with _reader(create_app(Settings(flock, lambda: NOW, invented=True))) as client:
        for address, status in MIXED.items():
            answer = client.get(address)
            assert answer.status_code == status, address
            pages.append((address, answer.text))
        token = token_of(client)
        for name, (fields, status) in asked.items():
            answer = client.post("/feed/ration", data={**fields, "stage": "layer", "token": token})
            assert answer.status_code == status, name
            pages.append((f"a ration ({name})", answer.text))
    codes = (*ingredients(), *_KEYS_OF_BRIEFS, BASE)
    found = unsaid_on(pages, entries, codes)
    if found:
        pytest.fail(told_by_page(found), pytrace=False)


_KEYS_OF_BRIEFS = ("price_per_kg", "share_pct", "TOML")
"""Keys are the same in every language."""


# Which language a phone is answered in.


@pytest.fixture
def app(tmp_path: Path) -> FastAPI:
    """An empty flock."""
    return create_app(Settings(str(tmp_path / "new.sqlite"), lambda: NOW))


def _language_of(client: TestClient, path: str = "/begin") -> str:
    found = re.search(r'<html lang="([^"]+)"', client.get(path).text)
    assert found is not None
    return found[1]


def test_a_phone_is_answered_in_the_language_it_chose(app: FastAPI) -> None:
    client = TestClient(app, base_url="http://localhost", headers={"Accept-Language": "en"})
    page = client.get("/begin").text
    for tag, name in LANGUAGES.items():
        assert re.search(rf'<button name="language" value="{tag}" lang="{tag}"[^>]*>', page)
        assert f">{name}</button>" in page
    assert _language_of(client) == "en"
    form = {"token": token_of(client, "/begin"), "language": "pt", "back": "/begin"}
    answer = client.post("/language", data=form, follow_redirects=False)
    assert (answer.status_code, answer.headers["location"]) == (303, "/begin")
    assert _language_of(client) == "pt"
    assert re.search(r'value="pt" lang="pt" aria-current="true"', client.get("/begin").text)
    other = TestClient(app, base_url="http://localhost", headers={"Accept-Language": "en"})
    assert _language_of(other) == "en"


def test_an_unknown_language_and_a_foreign_form_choose_nothing(app: FastAPI) -> None:
    client = TestClient(app, base_url="http://localhost", headers={"Accept-Language": "pt-BR"})
    token = token_of(client, "/begin")
    assert client.post("/language", data={"language": "en", "token": "x"}).status_code == 403
    for tag in ("", "xx", "../../etc"):
        answer = client.post("/language", data={"language": tag, "token": token})
        assert answer.status_code == 422
        assert LANGUAGE not in client.cookies
    assert _language_of(client) == "pt"
    form = {"language": "en", "token": token, "back": "https://elsewhere.example/"}
    answer = client.post("/language", data=form, follow_redirects=False)
    assert answer.headers["location"] == "/"


def test_pages_that_the_browser_holds_are_let_go_with_their_language(app: FastAPI) -> None:
    client = TestClient(app, base_url="https://localhost")
    form = {"token": token_of(client, "/begin"), "language": "pt", "back": "/begin"}
    answer = client.post("/language", data=form, follow_redirects=False)
    assert answer.headers["clear-site-data"] == '"cache"'
    assert "Secure" in answer.headers["set-cookie"]


def test_a_shortened_month_at_the_end_has_one_full_stop() -> None:
    with speaking("pt"):
        day = dated(date(2027, 5, 26), "26 May", "MMMd")
        assert day.endswith(".")
        assert say("{day}.", day=day) == day
        assert say("{what}...", what="e") == "e..."


def test_a_keepers_own_two_points_stay() -> None:
    with speaking("pt"):
        assert say("{name}.", name="wait..") == "wait..."
        assert say("{name} and {other}", name="a.. b", other="c") == "a.. b and c"
