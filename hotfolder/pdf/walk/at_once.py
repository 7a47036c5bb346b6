"""Follows a plain run of a drawing as a whole: all its colours are noted in one step, and the state it ends in."""

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from hotfolder.pdf.values.spaces import Space
from hotfolder.pdf.walk.content import Operation
from hotfolder.pdf.walk.many_colours import COUNTS, FILL, STROKE, ManyColours
from hotfolder.pdf.walk.mapping import Fate
from hotfolder.pdf.walk.plain_runs import COLOURS, MOVE, RESTORE, SAVE, Bytes, PlainRun
from hotfolder.pdf.walk.state import MOST_SAVED, Colour

if TYPE_CHECKING:
    from hotfolder.pdf.walk.frame import Frame

_OPERATORS = {action: operator for operator, action in COLOURS.items()}


def follow(frame: "Frame", run: PlainRun) -> bool:
    """Does what the run's operators do, one after the other, would; False, and nothing, where only they can."""
    depth = np.cumsum((run.actions == SAVE).astype(int) - (run.actions == RESTORE))
    below = -int(depth.min(initial=0))
    if below > len(frame.saved) or len(frame.saved) + depth.max(initial=0) > MOST_SAVED:
        return False
    states = [frame.state, *(state for state, _ in frame.saved[len(frame.saved) - below :])]
    if any(s.overprint_fill or s.overprint_stroke or s.uncoloured or s.intent != states[0].intent for s in states):
        return False
    spaces = _spaces(frame, run.actions)
    if spaces is None:
        return False
    wanted = [fill for fill in spaces if frame.device_space(_OPERATORS[fill])[1].fate is Fate.CONVERT]
    chosen = np.isin(run.actions, [*wanted, *(fill + STROKE - FILL for fill in wanted)])
    if chosen.any():
        frame.changes.add_many(
            ManyColours(
                run.starts[chosen], run.ends[chosen], run.actions[chosen], run.values[chosen], spaces, states[0].intent
            )
        )
    _end_state(frame, run, depth, below, spaces)
    return True


def _spaces(frame: "Frame", actions: Bytes) -> dict[int, Space] | None:
    """The spaces of the run's colours, asked for in the order in which they come; None where one is to be told of."""
    spaces = dict[int, Space]()
    found, first = np.unique(actions, return_index=True)
    for action in found[np.argsort(first)].tolist():
        if action >= FILL:
            fill = action - (STROKE - FILL) * (action >= STROKE)
            space, plan = frame.device_space(_OPERATORS[fill])
            if plan.fate is Fate.LEAVE or space.n != COUNTS[fill]:
                return None
            spaces[fill] = space
    return spaces


def _end_state(frame: "Frame", run: PlainRun, depth: NDArray[np.int_], below: int, spaces: dict[int, Space]) -> None:
    """Only what no later Q undoes is carried out, and of colours only the last before each q that stays open."""
    for _ in range(below):
        frame.restore()
    lowest = np.minimum.accumulate(depth[::-1])[::-1] if len(depth) else depth
    lasting = np.flatnonzero((lowest == depth) & (run.actions != RESTORE))
    actions = run.actions[lasting]
    level = np.cumsum(actions == SAVE)
    kept = [lasting[(actions == SAVE) | (actions == MOVE)]]
    for first in (FILL, STROKE):
        side = (actions >= first) & (actions < first + 3)
        last = np.append(np.diff(level[side]) > 0, True)[: side.sum()]
        kept.append(lasting[side][last])
    for at in np.sort(np.concatenate(kept)).tolist():
        action = int(run.actions[at])
        if action == SAVE:
            frame.save()
        elif action == MOVE:
            operands = frame.data[run.starts[at] : run.ends[at] - 2].replace(b"\0", b" ").split()
            frame.concatenate(Operation(b"cm", operands, int(run.starts[at]), int(run.ends[at])))
        else:
            stroke = action >= STROKE
            space = spaces[action - (STROKE - FILL) * stroke]
            frame.own_colour(stroke, Colour(space, tuple(run.values[at, : space.n].tolist())))
