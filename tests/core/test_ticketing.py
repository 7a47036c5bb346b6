"""Where a ticket's lines come from, which wins, and what is said about one that can't be read."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from hotfolder.finding import Hold
from hotfolder.loading import load_plugins
from hotfolder.ticketing import Collected, check_values, collect
from hotfolder.units import INCH


def gather(**changes: Any) -> Collected:
    given: dict[str, Any] = {
        "route": "posters",
        "table": {"trim": "18x24in", "client": "house"},
        "subfolders": "{client}",
        "subfolder": "",
        "file_names": ["{client}_{title}_{trim}"],
        "name": "poster.pdf",
        "ticket_files": (),
        "overrides": {},
        "hooks": load_plugins().manager,
    }
    return collect(**(given | changes))


def test_the_stronger_source_wins(tmp_path: Path) -> None:
    path = tmp_path / "quay_jazz_A2.ticket.toml"
    path.write_text('title = "Jazz Night"\ncopies = 40\n')
    found = gather(subfolder="folder client", name="quay_jazz_A2.pdf", ticket_files=[path], overrides={"copies": "3"})
    assert (found.ticket.client, found.ticket.title, str(found.ticket.trim)) == ("quay", "Jazz Night", "A2")
    assert found.ticket.copies == 3
    assert found.ticket.bleed == INCH / 8
    assert found.origins == {
        "trim": "the file's name",
        "client": "the file's name",
        "title": "quay_jazz_A2.ticket.toml",
        "copies": "the command line",
    }


SIZES: list[tuple[Any, list[str] | str]] = [
    ("A2", ["A2"]),
    ("18x24in and 24x36in and A2", ["18x24in", "24x36in", "A2"]),
    ("18x24in,A2", ["18x24in", "A2"]),
    ("A3+A2 & A1; A0", ["A3", "A2", "A1", "A0"]),
    ("A3_and_A2", ["A3", "A2"]),
    (["18x24in", "A2"], ["18x24in", "A2"]),
    ("A2 and 594x420mm", "the size 594x420mm is named twice; how many to print belongs in `copies`"),
    (["A2", 3], "3 is not a sheet size"),
    ("A2 and a bit more", "'a bit more' is not a sheet size"),
    ([f"{width}x9in" for width in range(1, 22)], "21 sizes are named; one order may name up to 20"),
    ([], "[] is not a sheet size"),
    ("sand", "'sand' is not a sheet size"),
]


@pytest.mark.parametrize(("said", "expected"), SIZES)
def test_an_order_may_name_several_sizes(said: Any, expected: list[str] | str) -> None:
    problems = check_values({"trim": said})
    if isinstance(expected, str):
        assert expected in problems[0]
        return
    assert problems == []
    for part, size in enumerate(expected, 1):
        found = gather(table={"trim": said}, part=part)
        assert (str(found.ticket.trim), [str(each) for each in found.sizes]) == (size, expected)


def test_sizes_in_a_file_name() -> None:
    found = gather(name="quay_jazz_18x24in and A2.pdf", part=2)
    assert (found.ticket.title, str(found.ticket.trim), len(found.sizes)) == ("jazz", "A2", 2)


def test_a_name_is_weak_evidence() -> None:
    found = gather(name="quay_jazz_final.pdf")
    assert str(found.ticket.trim) == "18x24in"
    assert (found.ticket.client, found.ticket.title) == ("quay", "jazz")
    assert [finding.code for finding in found.findings] == ["name_unread"]
    assert "seems to say trim 'final'" in found.findings[0].message


def test_a_title_with_underscores_does_not_hide_the_size() -> None:
    found = gather(name="quay_jazz_night_final_A2.pdf")
    assert (found.ticket.title, str(found.ticket.trim), found.findings) == ("jazz_night_final", "A2", [])


def test_a_size_that_nobody_can_read_holds_where_nothing_else_orders_one() -> None:
    found = gather(name="quay_jazz_final.pdf", table={})
    assert [(finding.level, finding.code) for finding in found.findings] == [
        ("note", "name_unread"),
        ("hold", "size_unclear"),
    ]


def test_a_name_outside_the_pattern_is_noted() -> None:
    found = gather(name="poster.pdf")
    assert [(finding.code, finding.required) for finding in found.findings] == [
        ("name_unread", "{client}_{title}_{trim}")
    ]


def test_bytes_that_are_no_text_are_shown_as_such() -> None:
    found = gather(name="quay_jazz\udcff\n_A2.pdf")
    assert (found.ticket.title, str(found.ticket.trim)) == ("jazz\\xff\\n", "A2")


WRONG = [
    ("t.ticket.toml", b"trim = ", "ticket_unreadable", "line 1"),
    (
        "t.ticket.toml",
        b'\n\ntrimm = "A1"',
        "ticket_wrong",
        "line 3, there is no ticket key 'trimm'; did you mean 'trim'? Allowed are trim, bleed,",
    ),
    (
        "t.ticket.toml",
        b'trim = "24x36"',
        "ticket_wrong",
        "line 1, trim: '24x36' is not a sheet size; write width x height and the unit",
    ),
    (
        "t.ticket.toml",
        b"pages = 0",
        "ticket_wrong",
        "line 1, pages: must be a whole number, at least 1, not 0.",
    ),
    ("t.ticket.toml", b"bleed = 3", "ticket_wrong", "3 is not a length; write it as text with its unit"),
    ("t.ticket.json", b'{"trim": "A1",}', "ticket_unreadable", "at line 1, column"),
    ("t.ticket.json", b"[1]", "ticket_unreadable", "one list of keys and values"),
    ("t.ticket.json", b'{"least_ppi": NaN}', "ticket_unreadable", "NaN"),
    ("t.ticket.json", b"[" * 15_000, "ticket_unreadable", "nested too deeply"),
    ("t.ticket.toml", b"\xff\xfe", "ticket_unreadable", "UTF-8"),
    ("t.ticket.toml", b"#" * 70_000, "ticket_unreadable", "larger than 16 KB"),
    ("t.ticket.yaml", b"trim: A1", "ticket_unreadable", "No plugin can read"),
]


@pytest.mark.parametrize(("name", "content", "code", "words"), WRONG)
def test_a_ticket_that_cannot_be_followed_holds(
    tmp_path: Path, name: str, content: bytes, code: str, words: str
) -> None:
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(Hold) as held:
        gather(ticket_files=[path])
    assert held.value.finding.code == code
    assert words in held.value.finding.message
    assert held.value.finding.mend


@pytest.mark.parametrize(
    ("key", "value", "sentence"),
    [
        ("due", "next friday", "due: must be a date such as 2026-11-25, not 'next friday'."),
        ("copies", "40 pieces", "copies: must be a whole number, at least 1, not '40 pieces'."),
        ("pages", 0, "pages: must be a whole number, at least 1, not 0."),
        ("least_ppi", "high", "least_ppi: must be a number above 0, not 'high'."),
        ("client", 5, "client: must be text in quotes, not 5."),
    ],
)
def test_a_wrong_value_is_told_in_our_words(key: str, value: object, sentence: str) -> None:
    assert check_values({key: value}) == [sentence]


@pytest.mark.parametrize(
    ("value", "inks"),
    [
        (["Gold", "Varnish"], ("Gold", "Varnish")),
        ([], ()),
        ("Gold, Varnish", ("Gold", "Varnish")),
        ("", ()),
        (None, None),
    ],
)
def test_spot_inks_are_a_list_or_text_with_commas(value: Any, inks: tuple[str, ...] | None) -> None:
    assert check_values({"inks": value}) == []
    assert gather(overrides={"inks": value}).ticket.inks == inks


@pytest.mark.parametrize("value", [5, [""], [1], {"Gold": 1}, ["x" * 300], ["Gold"] * 40])
def test_what_is_no_list_of_inks(value: Any) -> None:
    (problem, *_) = check_values({"inks": value})
    assert problem.startswith('inks: must be a list of names, such as ["Gold"], not ')
