"""The catalogues: every text that is said, gathered from the sources, and its translations.

A catalogue is a `.po` file, which translators write, and a `.mo` file, which the program reads.
Both are committed, so that nothing needs compiling before the pages start; a test holds them to
what the sources say.
"""

import csv
import io
import sys
import tomllib
from collections.abc import Callable, Collection, Iterator, Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import IO, Any

from babel.messages.catalog import Catalog
from babel.messages.extract import extract
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po, write_po

from quailwright.language import CATALOGUES, DOMAIN, ENGLISH, LANGUAGES

SOURCES = CATALOGUES.parent
KEYWORDS: Mapping[str, tuple[int, ...] | None] = {
    "mark": None,
    "say": None,
    "say_html": None,
    "later": None,
    "say_many": (1, 2),
    "later_many": (1, 2),
}
"""The functions that say, and which of their arguments are texts."""

Found = tuple[int, str, str | tuple[str, ...], list[str]]

_SAID_IN_TOML: Mapping[str, frozenset[str]] = {
    "guide/care.toml": frozenset({"task", "why", "caution"}),
    "guide/hatch/causes.toml": frozenset(),
}
"""The keys of each file whose texts are shown."""

_SAID_IN_CSV: Mapping[str, frozenset[str]] = {
    "husbandry/facts": frozenset(),
    "husbandry/facts/feed": frozenset({"name", "caution"}),
}
"""The columns of each folder's tables whose texts are shown."""


def _of_toml(keys: Collection[str]) -> Callable[..., Iterator[Found]]:
    """An extractor of the texts that stand under these keys, wherever in the file."""

    def texts(value: object, key: str) -> Iterator[str]:
        if isinstance(value, Mapping):
            for name, inner in value.items():
                yield from texts(inner, name)
        elif isinstance(value, list):
            for inner in value:
                yield from texts(inner, key)
        elif isinstance(value, str) and key in keys:
            yield value

    def extracted(file: IO[bytes], *_: object, **__: object) -> Iterator[Found]:
        for text in texts(tomllib.load(file), ""):
            yield 0, "mark", text, []

    return extracted


def _of_csv(columns: Collection[str]) -> Callable[..., Iterator[Found]]:
    """An extractor of the texts in these columns."""

    def extracted(file: IO[bytes], *_: object, **__: object) -> Iterator[Found]:
        for row in csv.DictReader(io.TextIOWrapper(file, "utf-8", newline="")):
            for column in columns:
                if row.get(column):
                    yield 0, "mark", row[column], []

    return extracted


def _method(name: str) -> Any:
    """How the texts of a file of the package are found; None where it holds none."""
    path = Path(name)
    if path.suffix == ".py":
        return "python"
    if path.suffix == ".html":
        return "jinja2.ext:babel_extract"
    if path.suffix == ".js" and "vendored" not in path.parts:
        return "javascript"
    if name in _SAID_IN_TOML:
        return _of_toml(_SAID_IN_TOML[name])
    if path.suffix == ".csv" and path.parent.as_posix() in _SAID_IN_CSV:
        return _of_csv(_SAID_IN_CSV[path.parent.as_posix()])
    return None


def gathered() -> Catalog:
    """Every text that the package says, with the files that say it."""
    catalogue = Catalog(project=DOMAIN, version="", charset="utf-8", fuzzy=False)
    for path in sorted(SOURCES.rglob("*")):
        name = path.relative_to(SOURCES).as_posix()
        if not path.is_file() or (method := _method(name)) is None:
            continue
        with path.open("rb") as file:
            for line, texts, comments, _ in extract(method, file, KEYWORDS, ("Say:",)):
                catalogue.add(texts, locations=[(name, line)], auto_comments=comments)
    return catalogue


def brought_up_to_date(tag: str, sources: Catalog) -> Catalog:
    """The language's catalogue with the texts of the sources; what stood there stays."""
    path = CATALOGUES / tag / "LC_MESSAGES" / f"{DOMAIN}.po"
    catalogue = Catalog(locale=tag, project=DOMAIN, version="", charset="utf-8", fuzzy=False)
    if path.exists():
        with path.open("rb") as file:
            catalogue = read_po(file, locale=tag)
    catalogue.update(sources, no_fuzzy_matching=True)
    catalogue.obsolete.clear()
    catalogue.header_comment = f"# quailwright in {LANGUAGES[tag]}. docs/translation.md"
    return catalogue


def wanting(catalogue: Catalog) -> list[str]:
    """The texts that have no translation yet; of one with a plural, its singular."""
    lacking = []
    for message in catalogue:
        singular = message.id if isinstance(message.id, str) else message.id[0]
        told = [message.string] if isinstance(message.string, str) else message.string or [""]
        if singular and not all(told):
            lacking.append(singular)
    return lacking


def written(catalogue: Catalog) -> tuple[bytes, bytes]:
    """The catalogue as its `.po` and `.mo`; the same whenever its texts are the same."""
    po, mo = io.BytesIO(), io.BytesIO()
    # The day of making would tell files apart that say the same; the format asks for one.
    catalogue.creation_date = catalogue.revision_date = datetime(2026, 1, 1, tzinfo=UTC)
    # Lines move with every change of the sources; files tell where enough.
    write_po(po, catalogue, width=99, sort_output=True, include_lineno=False)
    write_mo(mo, catalogue)
    return po.getvalue(), mo.getvalue()


def main() -> int:
    """Bring every catalogue up to date; 1 where a text has no translation."""
    sources = gathered()
    lacking = 0
    for tag in LANGUAGES:
        if tag == ENGLISH:
            continue
        catalogue = brought_up_to_date(tag, sources)
        folder = CATALOGUES / tag / "LC_MESSAGES"
        folder.mkdir(parents=True, exist_ok=True)
        po, mo = written(catalogue)
        (folder / f"{DOMAIN}.po").write_bytes(po)
        (folder / f"{DOMAIN}.mo").write_bytes(mo)
        wants = wanting(catalogue)
        lacking += len(wants)
        print(f"{tag}: {len(sources)} texts, {len(wants)} without a translation")
    return 1 if lacking else 0


if __name__ == "__main__":
    sys.exit(main())
