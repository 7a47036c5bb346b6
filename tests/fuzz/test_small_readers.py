"""The small readers of customers' bytes, some of them in the daemon itself: an answer or a sentence, never a fault.

The same examples at each run; as many others as HOTFOLDER_EXAMPLES asks for by hand.
"""

from __future__ import annotations

import os
import random
import string
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from mutate import mutated
from seeds import ours

from hotfolder.colour.condition import PROFILES
from hotfolder.colour.profile import read_profile
from hotfolder.daemon.completeness import _directories as directories
from hotfolder.daemon.completeness import looks_whole
from hotfolder.finding import Hold
from hotfolder.loading import load_plugins
from hotfolder.names import fill, read_folders, readings, safe_stem
from hotfolder.ticketing import collect, read_ticket_file

FILES = ours()
HOOKS = load_plugins().manager


def examples(count: int) -> Any:
    asked = os.environ.get("HOTFOLDER_EXAMPLES")
    return settings(
        max_examples=int(asked) if asked else count,
        derandomize=not asked,
        deadline=None,
        database=None,
        suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
    )


chance = st.integers(0, 2**32).map(random.Random)
some_file = st.sampled_from(sorted(FILES))


@examples(400)
@given(r=chance, name=some_file, other=some_file)
def test_whether_a_file_is_whole_is_always_answered(tmp_path: Path, r: random.Random, name: str, other: str) -> None:
    """In the daemon's own thread."""
    path = tmp_path / "file"
    path.write_bytes(mutated(r, FILES[name], FILES[other]))
    assert looks_whole(path) in (True, False)


HEADS = [
    b"%PDF-1.7\n",
    b"\xff\xd8\xff\xe0",
    b"\x89PNG\r\n\x1a\n",
    b"II*\0",
    b"MM\0*",
    b"II+\0\x08\0\0\0",
    b"MM\0+\0\x08\0\0",
]
BIG = st.sampled_from([0, 1, 8, 16, 2**31, 2**32 - 1, 2**63 - 1, 2**63, 2**64 - 1])


@examples(300)
@given(
    head=st.sampled_from(HEADS),
    rest=st.lists(st.one_of(st.binary(max_size=40), BIG.map(lambda n: n.to_bytes(8, "little"))), max_size=12),
)
def test_nor_do_made_up_heads_stop_it(tmp_path: Path, head: bytes, rest: list[bytes]) -> None:
    path = tmp_path / "file"
    path.write_bytes(head + b"".join(rest))
    assert looks_whole(path) in (True, False)


def test_directories_that_overlap_have_an_end(tmp_path: Path) -> None:
    """A thousand directories of 65,535 entries each in a megabyte, each pointing at the next."""
    data = bytearray(b"II*\0\x08\0\0\0" + bytes(1 << 20))
    for number in range(1000):
        at = 8 + 4 * number
        data[at : at + 2] = b"\xff\xff"
        end = at + 2 + 12 * 65_535
        data[end : end + 4] = (at + 4).to_bytes(4, "little")
    path = tmp_path / "file"
    path.write_bytes(data)
    with path.open("rb") as stream:
        assert len(list(directories(stream, len(data)))) < 5
    assert looks_whole(path) in (True, False)


TICKET = 'trim = "24x36in"\nbleed = "3mm"\npages = 1\ndue = 2026-12-04\ninks = ["Gold"]\nclient = "Café Sol"\n'
JSON = '{"trim": "24x36in", "pages": 1, "inks": ["Gold"], "copies": 3, "due": "2026-12-04"}'


@examples(300)
@given(
    r=chance, kind=st.sampled_from([".ticket.toml", ".ticket.json"]), free=st.one_of(st.none(), st.text(max_size=80))
)
def test_a_ticket_is_read_or_held(tmp_path: Path, r: random.Random, kind: str, free: str | None) -> None:
    good = (TICKET if kind.endswith("toml") else JSON).encode()
    data = mutated(r, good, good) if free is None else free.encode("utf-8", "surrogatepass")
    path = tmp_path / f"a{kind}"
    path.write_bytes(data)
    words = ""
    try:
        values = read_ticket_file(path, HOOKS)
    except Hold as hold:
        words, values = hold.finding.message, {}
    assert words or "__lines__" not in values


@pytest.mark.parametrize(
    "text",
    ["[" * 16_000, "a = " + "[" * 15_000, "a." * 8_000 + "b = 1", "pages = " + "9" * 16_000, "[a]\n" * 4_000,
     "a = {" + "b = {" * 3_000, "due = 9999-99-99", "copies = 1e999", "pages = 0x" + "f" * 16_000, "a" * 60_000],
    ids=lambda text: text[:8],
)  # fmt: skip
def test_a_ticket_that_is_nested_or_huge(tmp_path: Path, text: str) -> None:
    for kind in (".ticket.toml", ".ticket.json"):
        path = tmp_path / f"a{kind}"
        path.write_text(text)
        with pytest.raises(Hold):
            read_ticket_file(path, HOOKS)


NAME = st.text(st.one_of(st.sampled_from(string.ascii_letters + "___--  .x24in{}/\\"), st.characters()), max_size=120)
PATTERN = st.lists(st.sampled_from(["{client}", "{title}", "{trim}", "{copies}x", "{due}", "{pages}p"]), min_size=1, max_size=6, unique=True).map("_".join)  # fmt: skip


@examples(300)
@given(pattern=PATTERN, name=NAME, folder=NAME)
def test_a_name_says_something_or_nothing(pattern: str, name: str, folder: str) -> None:
    for values in readings(pattern, name):
        for value in values.values():
            assert value in name
    read_folders(pattern, folder)
    collected = collect(
        route="r", table={}, subfolders=pattern, subfolder=folder, file_names=(pattern,), name=name, ticket_files=(),
        overrides={}, hooks=None,
    )  # fmt: skip
    assert all(finding.message for finding in collected.findings)


@pytest.mark.parametrize("pattern", ["{client}_{title}_{trim}_{due}_{copies}x", "{a}_{b}_{c}_{d}_{e}_{f}_{g}_{h}!"])
def test_a_name_of_separators_has_an_end(pattern: str) -> None:
    assert not list(readings(pattern, "_" * 250))
    assert not list(readings(pattern, "a_" * 125))
    assert len(list(readings(pattern, "a_" * 120 + "x!x"))) <= 500


@examples(300)
@given(name=NAME, title=NAME)
def test_a_name_for_a_result_stays_in_its_folder(name: str, title: str) -> None:
    for stem in (safe_stem(name), safe_stem(fill("{title}_{client}", {"title": title, "client": name}))):
        assert stem
        assert not set(stem) & set('/\\:*?"<>|\0')
        assert stem not in {".", ".."}
        assert not stem.startswith("../")
        assert len(os.fsencode(stem)) <= 255


@examples(250)
@given(r=chance, name=st.sampled_from(sorted(path.name for path in PROFILES.glob("*.icc"))))
def test_a_profile_is_read_or_refused(r: random.Random, name: str) -> None:
    data = (PROFILES / name).read_bytes()
    head = bytearray(mutated(r, data[:2000], data[2000:9000]))
    words = ""
    try:
        read_profile(bytes(head) + data[len(head) :])
    except ValueError as error:
        words = str(error) or "nothing"
    assert words != "nothing"
