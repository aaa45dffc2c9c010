"""The journal as a file: JSON Lines as they come from phones, editors and failing copies."""

import codecs
import io
from pathlib import Path

import pytest
from tests.makers import made

from quailwright.journal.entries import encode
from quailwright.journal.findings import BadInput
from quailwright.journal.jsonl import (
    LARGEST_FILE_BYTES,
    parse_lines,
    read_file,
    read_stream,
    write_lines,
)

ENTRIES = [
    made("group", "2027-05-01", group="Küken", place="shed", hens=20, note="zwei\nZeilen"),
    made("eggs_collected", "2027-05-02T08:00+01:00", group="Küken", eggs=17),
    made("care", task="water"),
]
LINES = b"".join(write_lines(ENTRIES))


def sentences(data: bytes) -> list[str]:
    """What the keeper reads of a file."""
    return [finding.sentence for finding in parse_lines(data)[1]]


def test_what_is_written_is_read_again() -> None:
    assert LINES.count(b"\n") == len(ENTRIES)
    assert parse_lines(LINES) == (list(enumerate(ENTRIES, start=1)), [])


@pytest.mark.parametrize(
    "data",
    [
        codecs.BOM_UTF8 + LINES,
        LINES.replace(b"\n", b"\r\n"),
        LINES.rstrip(b"\n"),
        LINES + b"\n \t\r\n\n",
        LINES.replace(b'{"kind', b'  {"kind').replace(b"}\n", b"} \n"),
    ],
    ids=["byte order mark", "CRLF", "no last line end", "blank lines at the end", "spaces"],
)
def test_what_editors_do_to_a_file_is_harmless(data: bytes) -> None:
    assert parse_lines(data) == (list(enumerate(ENTRIES, start=1)), [])


@pytest.mark.parametrize("data", [b"", b"\n\n", codecs.BOM_UTF8])
def test_an_empty_file_holds_nothing(data: bytes) -> None:
    assert parse_lines(data) == ([], [])


def test_blank_lines_count_so_that_line_numbers_are_those_of_the_editor() -> None:
    first, second, third = LINES.splitlines(keepends=True)
    entries, findings = parse_lines(
        b"\n" + first + b"\r\n\n" + b"eggs\n" + second + b"{}\n" + third
    )
    assert [number for number, _ in entries] == [2, 6, 8]
    assert [finding.line for finding in findings] == [5, 7]
    assert findings[0].sentence.startswith("Line 5: this is not JSON (at column 1).")
    assert findings[1].sentence.startswith("Line 7, kind: nothing says what kind of entry")


def test_a_field_is_named_with_its_line() -> None:
    assert sentences(LINES.replace(b'"eggs":17', b'"eggs":-17')) == [
        "Line 2, eggs: -17 will not do. Give a whole number, 0 to 1000000."
    ]


def test_a_truncated_last_line_is_said_to_be_cut_off() -> None:
    # Wherever the copy stopped within the last line, past its first byte.
    last = LINES.rindex(b"\n", 0, -1) + 1
    for cut in range(last + 1, len(LINES) - 2):
        entries, findings = parse_lines(LINES[:cut])
        assert [number for number, _ in entries] == [1, 2]
        assert [finding.sentence for finding in findings] == [
            "Line 3: the entry stops in the middle, as if the file had been cut off. "
            "Copy the whole file again, or delete this line."
        ]


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-le", "utf-16-be", "utf-32"])
def test_a_file_in_utf_16_is_a_sentence(encoding: str) -> None:
    (sentence,) = sentences(LINES.decode().encode(encoding))
    assert "UTF-16" in sentence or "zero byte" in sentence
    assert sentence.startswith("Line 1: The file is ")


def test_a_file_in_latin_1_is_a_sentence_for_each_line_it_spoils() -> None:
    # latin-1 writes "ü" as the one byte 0xfc, which no UTF-8 text holds (ISO 8859-1, RFC 3629).
    assert sentences(LINES.decode().encode("latin-1")) == [
        f"Line {line}: byte 0xfc at column {column} is not UTF-8 text. "
        "Save the file as UTF-8 and import it again."
        for line, column in (
            (number, encode(entry).index("ü".encode()) + 1)
            for number, entry in enumerate(ENTRIES[:2], start=1)
        )
    ]


def test_a_binary_file_is_one_sentence() -> None:
    image = b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR" + bytes(range(256)) * 40
    assert sentences(image) == [
        "Line 3: The file is not text: it holds a zero byte. "
        "A journal is JSON Lines: one entry as a JSON object on each line."
    ]


def test_a_zero_byte_far_down_is_named_with_its_line() -> None:
    (sentence,) = sentences(LINES + b'{"kind":"care\x00"}\n')
    assert sentence.startswith("Line 4: The file is not text: it holds a zero byte.")


# Files.


def test_a_file_is_read_whole(tmp_path: Path) -> None:
    path = tmp_path / "journal.jsonl"
    path.write_bytes(LINES)
    assert read_file(path) == LINES


def test_a_file_that_is_too_large_is_a_sentence(tmp_path: Path) -> None:
    path = tmp_path / "journal.jsonl"
    with path.open("wb") as stream:
        stream.truncate(200_000_000)  # sparse: it takes no room
    with pytest.raises(BadInput, match=r"is too large: an import takes at most 67 MB .* Split it"):
        read_file(path)


def test_the_largest_file_is_still_read() -> None:
    assert len(read_stream(io.BytesIO(bytes(LARGEST_FILE_BYTES)), "stdin")) == LARGEST_FILE_BYTES
    with pytest.raises(BadInput, match="stdin is too large"):
        read_stream(io.BytesIO(bytes(LARGEST_FILE_BYTES + 1)), "stdin")


@pytest.mark.parametrize(
    ("name", "sentence"),
    [
        ("none.jsonl", r"There is no file .*none\.jsonl\. Check the name\."),
        (".", r" is a folder\. Name the file in it\."),
        ("file/below", r" cannot be read: Not a directory\."),
        ("x" * 300, r" cannot be read: File name too long\."),
    ],
)
def test_what_cannot_be_read_is_a_sentence(tmp_path: Path, name: str, sentence: str) -> None:
    (tmp_path / "file").touch()
    with pytest.raises(BadInput, match=sentence) as raised:
        read_file(tmp_path / name)
    assert raised.value.exit_code == 2
