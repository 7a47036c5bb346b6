"""Names: orders read out of them, results named by them, and none that hurts a disk."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hotfolder.names import (
    LONGEST_STEM,
    MOST_READINGS,
    fill,
    parts,
    printable,
    read_folders,
    read_name,
    readings,
    safe_stem,
)

READ = [
    (
        "{client}_{title}_{trim}",
        "quaymarket_jazznight_24x36in",
        {"client": "quaymarket", "title": "jazznight", "trim": "24x36in"},
    ),
    ("{client}_{title}_{trim}", "a_b_c_d", {"client": "a", "title": "b", "trim": "c_d"}),
    ("{client}_{title}_{trim}", "jazznight", None),
    ("{client}_{title}_{trim}", "__", None),
    ("{title} ({copies})", "Jazz (3)", {"title": "Jazz", "copies": "3"}),
    ("{title}.{trim}", "a+b.A1", {"title": "a+b", "trim": "A1"}),
    ("{title}", "line\nbreak", {"title": "line\nbreak"}),
]


@pytest.mark.parametrize(("pattern", "name", "values"), READ)
def test_read_name(pattern: str, name: str, values: dict[str, str] | None) -> None:
    assert read_name(pattern, name) == values


def test_a_title_may_hold_the_separator() -> None:
    every = list(readings("{title}_{trim}", "jazz_night_final_A2"))
    assert every == [
        {"title": "jazz", "trim": "night_final_A2"},
        {"title": "jazz_night", "trim": "final_A2"},
        {"title": "jazz_night_final", "trim": "A2"},
    ]


def test_a_name_of_separators_alone_comes_to_an_end() -> None:
    assert len(list(readings("{client}_{title}_{trim}_{copies}", "_" * 250))) <= MOST_READINGS
    assert list(readings("{client}_{title}_{copies}.{trim}", "_" * 250)) == []


def test_folders_are_read_level_by_level() -> None:
    assert read_folders("{client}/{trim}", "quaymarket/A2/more") == {"client": "quaymarket", "trim": "A2"}
    assert read_folders("{client}/{trim}", "quaymarket") == {"client": "quaymarket"}


@pytest.mark.parametrize("pattern", ["{client", "client}", "{a}{", "}{"])
def test_a_lone_brace_is_named(pattern: str) -> None:
    with pytest.raises(ValueError, match="brace that is not closed"):
        parts(pattern)


def test_an_empty_part_takes_its_separator_away() -> None:
    fields = {"client": "", "title": "jazz", "trim": ""}
    assert fill("{client}_{title}_{trim}", fields) == "jazz"
    assert fill("{title} - {trim}", fields) == "jazz"


SAFE = [
    ("jazz night", "jazz night"),
    ("CON", "CON-file"),
    ("lpt1.final", "lpt1.final-file"),
    ("-rf", "rf"),
    ("a/b\\c:d*e", "a-b-c-d-e"),
    ("line\nbreak", "line-break"),
    ("trailing. ", "trailing"),
    ("poster\u202efdp.exe", "poster-fdp.exe"),
    ("...", "poster"),
    ("", "poster"),
    ("🎷" * 100, "🎷" * (LONGEST_STEM // 4)),
    ("caf\udce9", "caf?".replace("?", "-")),
]


@pytest.mark.parametrize(("text", "stem"), SAFE)
def test_safe_stem(text: str, stem: str) -> None:
    assert safe_stem(text) == stem


@given(st.text())
def test_a_safe_stem_is_safe(text: str) -> None:
    stem = safe_stem(text)
    assert stem
    assert len(stem.encode()) <= LONGEST_STEM + len("-file")
    assert not set(stem) & set('<>:"/\\|?*\0\n\r')
    assert stem[0] not in " -." or stem == "poster"
    assert stem[-1] not in " ."


def test_printable_shows_what_is_no_text() -> None:
    assert printable("a\nb\x1b[31m\udcff 🎷\ud83d") == "a\\nb\\x1b[31m\\xff 🎷\\ud83d"
