"""Line numbers: told against a hand-counted file, and against Python's own TOML reader for generated ones."""

from __future__ import annotations

import json
import tomllib
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hotfolder.config.lines import Lines, Place, places

#: Every layout TOML 1.0 has for keys, each thing's line written beside it.
LAYOUTS = '''\
spool = "x"  # 1
a.b."c d".e = [1, 2,  # 2
  # ] not the end
  "x]", [ 3,  # 4
    4 ],  # 5
  { q = 1, w.e = """a
b""" },
]
m = \'\'\'
[x]
k = 1\'\'\'
[routes.posters.ticket]  # 12, before its parent
trim = 'a'  # 13
day = 1979-05-27 07:32:00
"\\u00e9" = true  # 15

[routes.posters]  # 17
chain = [  # 18
  "open_pdf",  # 19
  { step = "check", tolerance = "1mm" },  # 20
]
[[x.y]]  # 22
a = 1
[[ x . y ]]  # 24
b = 2  # 25
[x.y.z]  # 26
c = """ends with quotes"""""
[[x.y.w]]
[[x.y.w]]  # 29
f = ""  # 30
'''
COUNTED: list[tuple[Place, int | None]] = [
    (("spool",), 1),
    (("a",), 2),
    (("a", "b", "c d", "e"), 2),
    (("a", "b", "c d", "e", 2), 4),
    (("a", "b", "c d", "e", 3, 1), 5),
    (("a", "b", "c d", "e", 4, "w", "e"), 6),
    (("routes", "posters", "ticket", "trim"), 13),
    (("routes", "posters", "ticket", "é"), 15),
    (("routes", "posters"), 17),
    (("routes", "posters", "missing"), 17),
    (("routes", "posters", "chain"), 18),
    (("routes", "posters", "chain", 0), 19),
    (("routes", "posters", "chain", 1, "tolerance"), 20),
    (("x", "y", 0), 22),
    (("x", "y", 1), 24),
    (("x", "y", 1, "b"), 25),
    (("x", "y", 1, "z"), 26),
    (("x", "y", 1, "w", 1), 29),
    (("x", "y", 1, "w", 1, "f"), 30),
    (("nothing",), None),
    ((), None),
]


@pytest.mark.parametrize("ending", ["\n", "\r\n"])
@pytest.mark.parametrize(("place", "line"), COUNTED)
def test_lines_counted_by_hand(place: Place, line: int | None, ending: str) -> None:
    text = LAYOUTS.replace("\n", ending)
    assert Lines(text, tomllib.loads(text)).of(*place) == line


def test_no_line_rather_than_a_wrong_one() -> None:
    assert Lines("a = 1\nb = 2\n", {"a": 1, "c": 2}).of("a") is None


KEYS = st.text(st.sampled_from('ab-_1"\\.# =[]é\n'), max_size=5)
VALUES = st.recursive(
    st.one_of(st.booleans(), st.integers(-9, 99), st.text(st.sampled_from("ab#[]{}=,'\"\\\n"), max_size=8)),
    lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(KEYS, inner, max_size=3)),
    max_leaves=8,
)


def quoted(text: str) -> str:
    return json.dumps(text)  # JSON's escapes are all TOML's as well


def written(value: Any, gap: str) -> str:
    """A value in TOML; lists get `gap` around their entries."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return quoted(value)
    if isinstance(value, list):
        return "[" + ",".join(f"{gap}{written(part, gap)}{gap}" for part in value) + "]"
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{quoted(key)} = {written(part, gap)}" for key, part in value.items()) + " }"
    return str(value)


@given(
    st.dictionaries(KEYS, st.dictionaries(KEYS, VALUES, max_size=4), max_size=4),
    st.sampled_from(["", " ", "\n", " # ] }\n\n  "]),
)
@settings(max_examples=80, deadline=None)
def test_generated_files(tables: dict[str, dict[str, Any]], gap: str) -> None:
    text, counted = "# top\n", {}
    for name, table in tables.items():
        counted[(name,)] = text.count("\n") + 1
        text += f"[{quoted(name)}]\n"
        for key, value in table.items():
            counted[(name, key)] = text.count("\n") + 1
            text += f"{quoted(key)} = {written(value, gap)}  # it\n"
    data = tomllib.loads(text)
    assert data == tables
    lines = Lines(text, data)
    assert {place: lines.of(*place) for place in counted} == counted
    assert all(lines.of(*place) is not None for place in places(data))
