"""Collects what must be written anew in one content stream; its colours are converted together, at the end."""

from typing import TYPE_CHECKING, NamedTuple

from hotfolder.pdf.values.spaces import Space
from hotfolder.pdf.walk.content import splice, write_name, write_numbers
from hotfolder.pdf.walk.many_colours import OPERATORS, ManyColours, rewritten
from hotfolder.pdf.walk.outcome import CannotConvert

if TYPE_CHECKING:
    from hotfolder.pdf.walk.walker import Walker


class Converted(NamedTuple):
    """A colour to be written in the mapping's target space: as an operator of its own, or for an uncoloured pattern."""

    space: Space
    values: tuple[float, ...]
    stroke: bool
    pattern: str = ""
    intent: str = ""  # as the file states it, where the mapping follows it


class Changes:
    """Changes to one stream's bytes, in order of place."""

    def __init__(self, data: bytes) -> None:
        self.data = data
        self._changes: list[tuple[int, int, bytes | Converted | ManyColours]] = []

    def add(self, start: int, end: int, new: bytes | Converted) -> None:
        """Puts `new` in place of the bytes from start to end (both the same: puts it in between)."""
        self._changes.append((start, end, new))

    def add_many(self, colours: ManyColours) -> None:
        """Puts new colours in place of those of a plain run; at least one."""
        self._changes.append((int(colours.starts[0]), int(colours.ends[-1]), colours))

    def __len__(self) -> int:
        return len(self._changes)

    @property
    def end(self) -> int:
        """Where the last change ends."""
        return self._changes[-1][1] if self._changes else 0

    def take_back(self) -> int:
        """Forgets the last change; where it began."""
        return self._changes.pop()[0]

    def written(self, walker: "Walker") -> bytes | None:
        """The new bytes; None where nothing changes, or where a colour can't be converted (which is then told)."""
        if not self._changes:
            return None
        colours = dict.fromkeys(new for _, _, new in self._changes if isinstance(new, Converted))
        try:
            found = walker.convert((new.space, new.values, new.intent) for new in colours)
            many = [new for _, _, new in self._changes if isinstance(new, ManyColours)]
            runs = iter(rewritten(self.data, many, walker))
        except CannotConvert as fault:
            walker.leave("colours", str(fault))
            return None
        target, ready = walker.mapping.target.kind, dict[Converted, bytes | None]()
        for new in colours:
            values = found[new.space.key, new.values, new.intent]
            same = not new.pattern and values == _as_written(new, target)
            ready[new] = None if same else _operator(new, values, OPERATORS[target])
        edits, count = list[tuple[int, int, bytes]](), 0
        for start, end, change in self._changes:
            if isinstance(change, ManyColours):
                if (run := next(runs)) is not None:
                    edits.append(run[:3])
                    count += run[3]
                continue
            text = ready[change] if isinstance(change, Converted) else change
            if text is not None:  # else it was written like that all along
                count += isinstance(change, Converted)
                # What is put between two operators must not run into either.
                edits.append((start, end, b"\n" + text + b"\n" if start == end else text))
        if not edits:
            return None
        walker.result.changed["colours"] += count
        walker.result.changed["streams"] += 1
        return splice(self.data, edits)


def _as_written(new: Converted, target: str) -> tuple[float, ...] | None:
    """What a device colour is in the target space without any conversion (10.3.3), None for others."""
    if new.space.kind == target:
        return new.values
    if new.space.kind == "DeviceGray" and target == "DeviceCMYK":
        return (0.0, 0.0, 0.0, 1 - new.values[0])
    return None


def _operator(new: Converted, values: tuple[float, ...], letters: tuple[bytes, bytes]) -> bytes:
    if new.pattern:
        return write_numbers(values) + b" " + write_name(new.pattern) + (b" SCN" if new.stroke else b" scn")
    return write_numbers(values) + b" " + letters[new.stroke]
