"""Reads what a picture in a PDF says of itself, and takes its data out of the filters around it (ISO 32000-1 8.9.5)."""

from dataclasses import dataclass

import pikepdf
from pikepdf import Array, Dictionary, Object, Stream

from hotfolder.pdf.objects import entry, names, numbers, stream_bytes, whole
from hotfolder.pdf.values.spaces import Space
from hotfolder.pdf.walk.outcome import CannotConvert

MOST_PIXELS = 1_000_000_000
MOST_DECODED = 3 * 2**30  # bytes of a picture that must be held whole
LOSSY = ("DCTDecode", "JPXDecode")
FAX = ("CCITTFaxDecode", "JBIG2Decode")
_ADOBE = b"\xff\xee\x00\x0eAdobe\x00\x64\x00\x00\x00\x00"


@dataclass(frozen=True, slots=True)
class Facts:
    """What a picture's dictionary says. `bits` is 1 to 16; `decode` is None where it is the space's default."""

    width: int
    height: int
    bits: int
    filters: tuple[str, ...]
    decode: tuple[tuple[float, float], ...] | None

    @property
    def coding(self) -> str:
        return self.filters[-1] if self.filters else ""


def read_facts(picture: Object, space: Space | None) -> Facts:
    """ValueError where the dictionary is nonsense."""
    filters = tuple(names(entry(picture, "/Filter")))
    coding = filters[-1] if filters else ""
    width, height = whole(entry(picture, "/Width")), whole(entry(picture, "/Height"))
    if width < 1 or height < 1 or width * height > MOST_PIXELS:
        raise CannotConvert(f"it claims to be {width} by {height} pixels")
    one_bit = entry(picture, "/ImageMask") is True or coding in FAX
    bits = 1 if one_bit else whole(entry(picture, "/BitsPerComponent"), 8)
    if coding in LOSSY:  # the data itself says
        bits = 8
    if bits not in (1, 2, 4, 8, 16):
        raise CannotConvert(f"it has {bits} bits for each colour, which no picture has")
    # JPEG 2000 data is used as it is (table 89).
    decode = None if space is None or coding == "JPXDecode" else _decode(entry(picture, "/Decode"), space, bits)
    return Facts(width, height, bits, filters, decode)


def _decode(found: object, space: Space, bits: int) -> tuple[tuple[float, float], ...] | None:
    flat = [] if found is None else numbers(found)
    if len(flat) < 2 * space.n:
        return None
    pairs = tuple(zip(flat[::2], flat[1::2], strict=False))[: space.n]
    return None if pairs == tuple(space.ranges(bits)) else pairs


def last_parameters(picture: Object) -> object:
    """The parameters of the filter that is undone last, the picture's own coding."""
    found = entry(picture, "/DecodeParms")
    if not isinstance(found, Array):
        return found
    kinds = names(entry(picture, "/Filter"))
    return found[len(kinds) - 1] if 0 < len(kinds) <= len(found) else None


def undress(picture: Stream) -> bytes:
    """A picture's data with all filters but its last taken off; CannotConvert where they are damaged."""
    return bytes(undressed(picture))


def undressed(picture: Stream) -> memoryview:
    """The same without a copy, which of a large picture is worth avoiding."""
    kinds = names(entry(picture, "/Filter"))
    if len(kinds) <= 1:
        return memoryview(picture.get_raw_stream_buffer())
    parameters = entry(picture, "/DecodeParms")
    with pikepdf.new() as workbench:
        outer = Stream(workbench, picture.read_raw_bytes())
        outer.Filter = Array([pikepdf.Name("/" + kind) for kind in kinds[:-1]])
        if isinstance(parameters, Array):
            plain = [dict(p.items()) if isinstance(p, Dictionary) else None for p in list(parameters)[: len(kinds) - 1]]
            outer.DecodeParms = Array(plain)
        try:
            return memoryview(stream_bytes(outer))
        except ValueError as fault:
            raise CannotConvert(str(fault)) from fault


def jpeg_bytes(picture: Stream) -> bytes:
    """The JPEG file inside a DCT picture, freed of other filters around it, saying itself what ColorTransform says.

    A JPEG reader knows only from Adobe's marker whether three or four colours are as they are (7.4.8, table 13); where
    that marker is there it counts for more than ColorTransform.
    """
    raw = undress(picture)
    wanted = entry(last_parameters(picture), "/ColorTransform")
    if wanted is None or b"Adobe\0" in raw[:4096]:
        return raw
    if whole(wanted, 1) == 0:
        return raw[:2] + _ADOBE + b"\0" + _without_jfif(raw)
    # 1 is the default for three colours, and what readers take anyway; four are inks unless it says so.
    return raw[:2] + _ADOBE + b"\2" + _without_jfif(raw) if _components(raw) == 4 else raw


def _without_jfif(raw: bytes) -> bytes:
    """What follows a JPEG's first marker, less JFIF's, which would say again that the colours are transformed."""
    if raw[2:4] == b"\xff\xe0" and raw[6:10] == b"JFIF":
        return raw[4 + int.from_bytes(raw[4:6], "big") :]
    return raw[2:]


def _components(raw: bytes) -> int:
    """How many components a JPEG's frame header names (ISO/IEC 10918-1 B.2.2); 0 where it isn't found."""
    at = 2
    while 0 <= at < len(raw) - 9 and raw[at] == 0xFF:
        kind = raw[at + 1]
        if 0xC0 <= kind <= 0xCF and kind not in (0xC4, 0xC8, 0xCC):
            return raw[at + 9]
        at += 2 + int.from_bytes(raw[at + 2 : at + 4], "big")
    return 0
