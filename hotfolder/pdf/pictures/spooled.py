"""Collects a stream's data while it is made, on disk where it is large, and brings it into a PDF."""

import tempfile

import pikepdf
from pikepdf import AccessMode, Stream

_IN_MEMORY = 16 * 2**20
_BEFORE = b"%PDF-1.7\n1 0 obj\n<< /Length 2 0 R >>\nstream\n"
_FIRST = 9  # where the first object begins


class Spooled:
    """Bytes on their way into a new stream.

    pikepdf takes a stream's data as a whole and needs room for it three times over. What it copies from another file
    it needs room for twice; so large data is made a PDF of its own first.
    """

    def __init__(self) -> None:
        self._file = tempfile.SpooledTemporaryFile(max_size=_IN_MEMORY)  # noqa: SIM115 -- closed when taken
        self._file.write(_BEFORE)

    def write(self, data: bytes | bytearray) -> None:
        self._file.write(data)

    def close(self) -> None:
        """Throws away what was written."""
        self._file.close()

    def stream(self, pdf: pikepdf.Pdf) -> Stream:
        """A new stream of the PDF with all that was written, without a filter. To be called once."""
        with self._file as file:
            size = file.tell() - len(_BEFORE)
            if file.tell() <= _IN_MEMORY:
                file.seek(len(_BEFORE))
                return Stream(pdf, file.read())
            file.write(_ending(size))
            file.seek(0)
            with pikepdf.open(file, access_mode=AccessMode.stream) as held:  # type: ignore[arg-type]
                copied = pdf.copy_foreign(held.Root.Data)
                assert isinstance(copied, Stream)
                return copied


def _ending(size: int) -> bytes:
    """What makes a whole PDF of a first object whose data has this size."""
    at, offsets, text = len(_BEFORE) + size, [_FIRST], b"\nendstream\nendobj\n"
    bodies = (
        b"%d" % size,
        b"<< /Type /Catalog /Pages 4 0 R /Data 1 0 R >>",
        b"<< /Type /Pages /Kids [] /Count 0 >>",
    )
    for number, body in enumerate(bodies, 2):
        offsets.append(at + len(text))
        text += b"%d 0 obj\n%b\nendobj\n" % (number, body)
    table = b"".join(b"%010d 00000 n \n" % offset for offset in offsets)
    start = at + len(text)
    return text + b"xref\n0 5\n0000000000 65535 f \n%btrailer\n<< /Size 5 /Root 3 0 R >>\nstartxref\n%d\n%%%%EOF\n" % (
        table, start,
    )  # fmt: skip
