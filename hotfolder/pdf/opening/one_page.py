"""Writes a PDF of a single page straight to a file, so that a large picture never has to be in memory as a whole."""

from __future__ import annotations

from collections.abc import Iterable
from typing import BinaryIO

HEADER = b"%PDF-1.6\n%\xe2\xe3\xcf\xd3\n"  # 1.6 for UserUnit; four high bytes, as ISO 32000-1 7.5.2 advises


class PdfFile:
    """Objects one after the other, then the cross-reference table. Numbers are given out in order by `reserve`."""

    def __init__(self, stream: BinaryIO) -> None:
        self._stream = stream
        self._at = 0
        self._places: list[int] = []  # of object 1, 2, ...
        self._write(HEADER)

    def reserve(self) -> int:
        """A number for an object that will be written later."""
        self._places.append(0)
        return len(self._places)

    def add(self, body: str, number: int | None = None) -> int:
        """Write an object."""
        number = self.reserve() if number is None else number
        self._begin(number)
        self._write(body.encode("ascii") + b"\nendobj\n")
        return number

    def add_stream(self, entries: str, parts: Iterable[bytes]) -> int:
        """Write a stream whose data comes in parts; its length follows in an object of its own."""
        number, length = self.reserve(), self.reserve()
        self._begin(number)
        self._write(f"<< {entries} /Length {length} 0 R >>\nstream\n".encode("ascii"))
        start = self._at
        for part in parts:
            self._write(part)
        size = self._at - start
        self._write(b"\nendstream\nendobj\n")
        self.add(str(size), length)
        return number

    def finish(self, root: int) -> None:
        """Write the cross-reference table (ISO 32000-1 7.5.4) and the trailer."""
        table = self._at
        entries = "".join(f"{place:010} 00000 n \n" for place in self._places)
        count = len(self._places) + 1
        self._write(f"xref\n0 {count}\n0000000000 65535 f \n{entries}".encode("ascii"))
        self._write(f"trailer\n<< /Size {count} /Root {root} 0 R >>\nstartxref\n{table}\n%%EOF\n".encode("ascii"))

    def _begin(self, number: int) -> None:
        self._places[number - 1] = self._at
        self._write(f"{number} 0 obj\n".encode("ascii"))

    def _write(self, data: bytes) -> None:
        self._stream.write(data)
        self._at += len(data)
