"""Writes the device colours of a plain run anew, all in one step."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from hotfolder.pdf.values.spaces import Floats, Space
from hotfolder.pdf.walk.content import write_number_rows
from hotfolder.pdf.walk.plain_runs import COLOURS, Bytes, Places

if TYPE_CHECKING:
    from hotfolder.pdf.walk.walker import Walker

FILL, STROKE = COLOURS[b"g"], COLOURS[b"G"]  # the first of three actions each
COUNTS = {COLOURS[b"g"]: 1, COLOURS[b"rg"]: 3, COLOURS[b"k"]: 4}  # numbers of a colour, by the action of its fill
OPERATORS = {"DeviceGray": (b"g", b"G"), "DeviceRGB": (b"rg", b"RG"), "DeviceCMYK": (b"k", b"K")}


@dataclass(frozen=True, slots=True)
class ManyColours:
    """Device colours of one run that are to be converted. `spaces`: by action, of a fill."""

    starts: Places
    ends: Places
    actions: Bytes
    values: Floats
    spaces: dict[int, Space]
    intent: str


def rewritten(data: bytes, many: Sequence[ManyColours], walker: "Walker") -> list[tuple[int, int, bytes, int] | None]:
    """For each: from where to where it changes the data, the new bytes, and how many colours are written in them.

    CannotConvert if one can't be converted.
    """
    texts = [np.full(len(one.starts), None, object) for one in many]
    for intent in dict.fromkeys(one.intent for one in many):
        for fill in COUNTS:
            alike = [i for i, one in enumerate(many) if one.intent == intent and fill in one.spaces]
            _write(fill, [many[i] for i in alike], [texts[i] for i in alike], walker)
    return [_spliced(data, one, new) for one, new in zip(many, texts, strict=True)]


def _write(fill: int, many: list[ManyColours], texts: list[NDArray[np.object_]], walker: "Walker") -> None:
    chosen = [(one.actions == fill) | (one.actions == fill + STROKE - FILL) for one in many]
    if not any(flags.any() for flags in chosen):
        return
    space, count = many[0].spaces[fill], COUNTS[fill]
    values = np.concatenate([one.values[flags, :count] for one, flags in zip(many, chosen, strict=True)])
    strokes = np.concatenate([one.actions[flags] >= STROKE for one, flags in zip(many, chosen, strict=True)])
    rows, which = distinct(values)
    made = walker.convert_rows(space, values[rows], many[0].intent)
    sides = which * 2 + strokes
    used = np.bincount(sides) > 0
    pairs, place = np.flatnonzero(used), (np.cumsum(used) - 1)[sides]
    target = walker.mapping.target.kind
    new = write_number_rows(made[pairs // 2], [OPERATORS[target][stroke] for stroke in (pairs % 2).tolist()])
    if (written := _as_written(space, values[rows], target)) is not None:
        new[(written == made).all(axis=1)[pairs // 2]] = None  # it was written like that all along
    at = 0
    for flags, text in zip(chosen, texts, strict=True):
        text[flags] = new[place[at : at + flags.sum()]]
        at += int(flags.sum())


def _as_written(space: Space, values: Floats, target: str) -> Floats | None:
    """What device colours are in the target space without any conversion (10.3.3), None for others."""
    if space.kind == target:
        return values
    if space.kind == "DeviceGray" and target == "DeviceCMYK":
        return np.concatenate([np.zeros((len(values), 3)), 1 - values], axis=1)
    return None


def distinct(values: Floats) -> tuple[Places, Places]:
    """The places of rows that differ from each other, and for each row which of them it is."""
    which, most = np.zeros(len(values), np.intp), 1
    for column in values.T:
        numbers, place = np.unique(column, return_inverse=True)
        if most * len(numbers) > 2**62:  # numbered anew, so that the numbers never run over
            rows, which = np.unique(which, return_inverse=True)
            most = len(rows)
        which, most = which * len(numbers) + place, most * len(numbers)
    _, first, which = np.unique(which, return_index=True, return_inverse=True)
    return first, which


def _spliced(data: bytes, many: ManyColours, texts: NDArray[np.object_]) -> tuple[int, int, bytes, int] | None:
    changed = np.flatnonzero([text is not None for text in texts.tolist()])
    if not len(changed):
        return None
    starts, ends = many.starts[changed].tolist(), many.ends[changed].tolist()
    parts = [b""] * (2 * len(changed) - 1)
    parts[::2] = texts[changed].tolist()
    parts[1::2] = [data[a:b] for a, b in zip(ends, starts[1:], strict=False)]
    return starts[0], ends[-1], b"".join(parts), len(changed)
