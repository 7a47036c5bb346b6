"""A plain run of a drawing followed at once becomes, byte for byte, what it becomes operator by operator.

More than the gate's examples: HOTFOLDER_EXAMPLES=20000 pytest tests/outside/test_plain_runs.py
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields, replace

import numpy as np
import pikepdf
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pikepdf import Dictionary, Object
from streams import Laid, examples, streams

from hotfolder.colour.condition import DEFAULT, SHIPPED
from hotfolder.pdf.mappings import ToCondition, ToScreen
from hotfolder.pdf.values.spaces import CMYK, RGB, Floats, Space
from hotfolder.pdf.walk.frame import Frame
from hotfolder.pdf.walk.many_colours import distinct
from hotfolder.pdf.walk.mapping import KEEP, Fate, Mapping, Plan
from hotfolder.pdf.walk.outcome import CannotConvert, WalkResult
from hotfolder.pdf.walk.plain_runs import COLOURS, PlainRun, plain_runs
from hotfolder.pdf.walk.resources import ResourceEdits
from hotfolder.pdf.walk.state import IDENTITY, Colour, State
from hotfolder.pdf.walk.strangers import strangers
from hotfolder.pdf.walk.walker import Walker

PRESS = SHIPPED[DEFAULT]


# Streams: mostly plain, with all that may make a run end

_PLAIN = [b"1 0 0 rg", b"0 .5 1.0 RG", b"0.25 g", b"1 G", b"0 0 0 1 k", b"0.1 0.2 0.3 0.4 K", b"0 g", b"0 0 0 rg", b"f",
          b"q", b"Q", b"q\n0 1 0 rg\nf\nQ", b"0 0 m 9 9 l S", b".5 0 0 .5 -1 +2 cm", b"[1 2] 0 d", b"[] 0 d",
          b"5 w", b"BT 1 0 Td ET", b"0.123456 0.5 00.75 rg", b"1 1 1 RG", b"0.000 1. .5 rg", b"2 0 0 rg"]  # fmt: skip
_ODD = [b"1 0 rg", b"0rg", b"rg", b"1 0 0rg", b"1 0 0 0 rg", b"-1 0 0 rg", b"1.2.3 0 0 rg", b"1e5 g", b". g", b"+ g",
        b"12345678901 g", b"0.1234567890123456 g", b"1 0 0 1 0 cm", b"1 0 0 1 0 --5 cm", b"1 0 0 1 9999999999 0 cm",
        b"[1 0 0 rg] 0 d", b"[1 2", b"]", b"[f", b"1 [0] 0 rg", b"[1 0 0] rg", b"d0", b"foo", b"f1", b"f1 9 w", b"1f", b"true g",
        b"BX bar EX", b"BX", b"(text) Tj", b"(", b"( 1 0 0 rg \\) ) Tj", b"<</A 1>>", b"/Over gs", b"/Half gs", b"/T/rg",
        b"/Cs cs 1 0 0 sc", b"/Cs CS", b"1 1 1 SC", b"% 1 0 0 rg\n", b"<00> Tj", b"}{", b"\x80", b"1 0 0 rg\x80",
        b"BI /W 1 /H 1 /BPC 8 /CS /G ID x EI", b"/Perceptual ri", b"null", b"**", b"1 2 f*", b"1 q", b"'", b"0 0 1 rg(",
        b"[f 1 0 0 rg] 0 d", b"/Area gs", b"/Lines gs", b"q /Perceptual ri", b"q /Area gs", b"12345678901 0 0 rg"
        ]  # fmt: skip


@st.composite
def plain_streams(draw: st.DrawFn) -> bytes:
    part = st.one_of(*[st.sampled_from(_PLAIN)] * 6, st.sampled_from(_ODD))
    space = st.sampled_from([b"\n", b"\n", b" ", b"\r\n", b"\t \0", b"\f", b""])
    return b"".join(a + b for a, b in draw(st.lists(st.tuples(part, space), max_size=60)))


# Both ways


class Stated(Mapping):
    """RGB is converted, and the intent that is stated shows in the result."""

    follows_intents = True
    converts_inks = True

    def plan(self, space: Space, pdf: pikepdf.Pdf) -> Plan:
        return Plan(Fate.CONVERT, remark="looked at") if space.n == 3 else replace(KEEP, remark="kept")

    def colours(self, space: Space, values: Floats, smooth: bool) -> Floats:
        return np.concatenate([values, np.full((len(values), 1), len(self.purpose.intent) / 40)], axis=1)


class Doubtful(Stated):
    """Gray can't be converted."""

    def plan(self, space: Space, pdf: pikepdf.Pdf) -> Plan:
        left = space.kind == "DeviceGray"
        return Plan(Fate.LEAVE, why="nobody knows this gray") if left else super().plan(space, pdf)


class Helpless(Stated):
    def colours(self, space: Space, values: Floats, smooth: bool) -> Floats:
        raise CannotConvert("it is beyond us")


class Same(Mapping):
    """Everything comes out as it went in, as RGB; numbers beyond 1 too."""

    target = RGB

    def plan(self, space: Space, pdf: pikepdf.Pdf) -> Plan:
        return Plan(Fate.CONVERT)

    def colours(self, space: Space, values: Floats, smooth: bool) -> Floats:
        return np.repeat(values, 3, axis=1)[:, :3] if space.n != 3 else values


class Inks(Mapping):
    """Black alone comes out as it went in."""

    target = CMYK
    converts_inks = True
    states_black = True

    def plan(self, space: Space, pdf: pikepdf.Pdf) -> Plan:
        return Plan(Fate.CONVERT)

    def colours(self, space: Space, values: Floats, smooth: bool) -> Floats:
        return np.concatenate([np.zeros((len(values), 3)), 1 - values[:, :1]], axis=1)


MAPPINGS: dict[str, Callable[[], Mapping]] = {
    "none": Mapping,
    "stated": Stated,
    "doubtful": Doubtful,
    "helpless": Helpless,
    "same": Same,
    "inks": Inks,
    "press": lambda: ToCondition(PRESS),
    "press, all inks": lambda: ToCondition(replace(PRESS, over_limit="separate", black_alone="nothing")),
    "screen": lambda: ToScreen(PRESS),
}


def resources(pdf: pikepdf.Pdf, default: bool) -> Dictionary:
    spaces = Dictionary(Cs=Object.parse(b"[/CalRGB << /WhitePoint [.9505 1 1.089] >>]"))
    if default:
        spaces.DefaultRGB = Object.parse(b"[/CalRGB << /WhitePoint [.9505 1 1.089] /Gamma [2 2 2] >>]")
        spaces.DefaultCMYK = Object.parse(b"[/CalRGB << /WhitePoint [.9505 1 1.089] >>]")  # of too few numbers
    graphics = Dictionary(
        Over=Dictionary(OP=True, op=True, OPM=1),
        Area=Dictionary(OP=False, op=True, OPM=1),
        Lines=Dictionary(OP=True, op=False, OPM=1),
        Half=Dictionary(ca=0.5),
    )
    return pdf.make_indirect(Dictionary(ColorSpace=spaces, ExtGState=graphics))


def followed(
    data: bytes, mapping: Mapping, runs: list[PlainRun], default: bool
) -> tuple[bytes | None, object, WalkResult]:
    """The stream's new bytes, the state in which it ends, and what is told of it."""
    pdf = pikepdf.new()
    result = WalkResult()
    walker = Walker(pdf, mapping, result)
    edits = ResourceEdits(resources(pdf, default))
    frame = Frame(walker, data, edits, State(), IDENTITY, owned=False, depth=0, runs=runs)
    new = frame.run(mapping.states_black)
    owned = frame.owns(False), frame.owns(True), frame.borrowed
    return new, ([shown(state) for state in [frame.state, *(s for s, _ in frame.saved)]], owned), result


def shown(state: State) -> dict[str, object]:
    values = {field.name: getattr(state, field.name) for field in fields(state)}
    return {key: of(value) if isinstance(value, Colour) else value for key, value in values.items()}


def of(colour: Colour) -> object:
    return colour.space.key, colour.values, colour.pattern


def both_ways(data: bytes, kind: str, default: bool, piece: int) -> None:
    runs = plain_runs(data, 1, piece)
    slow, slow_state, slow_told = followed(data, MAPPINGS[kind](), [], default)
    quick, quick_state, quick_told = followed(data, MAPPINGS[kind](), runs, default)
    assert quick == slow
    assert quick_state == slow_state
    assert quick_told == slow_told
    assert strangers(data, runs) == strangers(data)


PIECES = st.sampled_from([8, 20, 50, 200, 10_000])


@examples(400)
@given(plain_streams(), st.sampled_from([key for key in MAPPINGS if key != "screen"]), st.booleans(), PIECES)
def test_a_plain_run_becomes_what_its_operators_become(data: bytes, kind: str, default: bool, piece: int) -> None:
    both_ways(data, kind, default, piece)


@pytest.mark.parametrize("odd", _ODD)
def test_what_is_odd_ends_a_run(odd: bytes) -> None:
    plain = b"0 0 0 1 k 0 0 0 1 K S 0 0 1 rg 0 1 0 RG f 0 0 9 9 re S Q 1 0 0 rg q .5 g f "
    for kind in ("stated", "doubtful", "same", "inks", "press"):
        both_ways(plain + odd + b" " + plain * 2, kind, False, 10_000)
    for piece in range(20, 40):
        data = plain + odd + b" " + plain
        assert strangers(data, plain_runs(data, 1, piece)) == strangers(data)


@examples(150)
@given(streams(), st.sampled_from(["same", "inks", "press"]), PIECES)
def test_so_do_streams_of_every_kind(stream: Laid, kind: str, piece: int) -> None:
    both_ways(stream.data, kind, False, piece)


@pytest.mark.parametrize("kind", ["press", "press, all inks", "screen", "inks"])
def test_thousands_of_different_colours(kind: str) -> None:
    places = np.random.default_rng(1).integers(0, 1001, (40_000, 4)) / 1000
    lines = [
        "{} {}".format(" ".join(f"{part:g}" for part in row[: len_of(word)]), word)
        for row, word in zip(places.tolist(), ["rg", "RG", "k", "g", "K", "G", "rg", "rg"] * 5000, strict=True)
    ]
    data = "\n".join(lines).encode()
    slow, slow_state, _ = followed(data, MAPPINGS[kind](), [], False)
    quick, quick_state, _ = followed(data, MAPPINGS[kind](), plain_runs(data), False)
    assert slow == quick != data
    assert slow_state == quick_state


def test_colours_are_told_apart_however_many_numbers_they_have() -> None:
    values = np.random.default_rng(1).random((60_000, 4))  # 60,000 numbers in each of four columns: more than 2^63
    values[30_000:] = values[:30_000][::-1]
    first, which = distinct(values)
    assert np.array_equal(values[first][which], values)
    assert len(first) == 30_000


def len_of(word: str) -> int:
    return {"g": 1, "rg": 3, "k": 4}[word.lower()]


def test_a_run_is_found_where_there_is_one() -> None:
    line = b"0.5 0.25 1 rg 10 10 20 20 re f\n"
    data = b"/P1 gs " + line * 1000 + b"(text) Tj\n" + line * 10 + b"foo\n" + line * 1000
    runs = plain_runs(data)
    # What stands before the first operator behind anything strange may belong to that.
    assert [(run.start, run.end) for run in runs] == [
        (data.index(b"rg") + 2, data.index(b"f\n(") + 1),
        (data.index(b"rg", data.index(b"foo")) + 2, len(data) - 1),
    ]
    assert [len(run.actions) for run in runs] == [999, 999]
    assert {int(action) for run in runs for action in run.actions} == {COLOURS[b"rg"]}
