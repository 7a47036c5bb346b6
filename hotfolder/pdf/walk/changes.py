"""Collects what must be written anew in one content stream; its colours are converted together, at the end."""

from typing import TYPE_CHECKING, NamedTuple

from hotfolder.pdf.values.spaces import Space
from hotfolder.pdf.walk.content import splice, write_name, write_numbers
from hotfolder.pdf.walk.outcome import CannotConvert

if TYPE_CHECKING:
    from hotfolder.pdf.walk.walker import Walker

_WRITTEN = {"DeviceGray": (b"g", b"G"), "DeviceRGB": (b"rg", b"RG"), "DeviceCMYK": (b"k", b"K")}


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
        self._changes: list[tuple[int, int, bytes | Converted]] = []

    def add(self, start: int, end: int, new: bytes | Converted) -> None:
        """Puts `new` in place of the bytes from start to end (both the same: puts it in between)."""
        self._changes.append((start, end, new))

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
        wanted = {
            (c.space.key, c.values, c.intent): (c.space, c.values, c.intent)
            for _, _, c in self._changes
            if isinstance(c, Converted)
        }
        try:
            found = walker.convert(wanted.values())
        except CannotConvert as fault:
            walker.leave("colours", str(fault))
            return None
        target = walker.mapping.target.kind
        letters, edits, count = _WRITTEN[target], [], 0
        ready: dict[Converted, bytes] = {}
        for start, end, new in self._changes:
            if isinstance(new, Converted):
                values = found[new.space.key, new.values, new.intent]
                if new.space.kind == target and values == new.values and not new.pattern:
                    continue  # it was written like that all along
                count += 1
                if new not in ready:
                    ready[new] = _operator(new, values, letters)
                new = ready[new]
            # What is put between two operators must not run into either.
            edits.append((start, end, b"\n" + new + b"\n" if start == end else new))
        if not edits:
            return None
        walker.result.changed["colours"] += count
        walker.result.changed["streams"] += 1
        return splice(self.data, edits)


def _operator(new: Converted, values: tuple[float, ...], letters: tuple[bytes, bytes]) -> bytes:
    if new.pattern:
        return write_numbers(values) + b" " + write_name(new.pattern) + (b" SCN" if new.stroke else b" scn")
    return write_numbers(values) + b" " + letters[new.stroke]
