"""Writes converted pictures into a PDF while they are decoded: memory holds a few rows, and the packed result."""

import pikepdf
import pyvips
from pikepdf import Array, Dictionary, Name, Stream

from hotfolder.pdf.pictures.feeding import DAMAGED
from hotfolder.pdf.pictures.kept import read_ahead
from hotfolder.pdf.pictures.spooled import Spooled
from hotfolder.pdf.values.spaces import Space, device_name
from hotfolder.pdf.walk.outcome import CannotConvert

# With differences to the left neighbour. On photographs level 3 packs as level 6 does, in two thirds of its time, and
# on drawings within a few hundredths (measured).
_LEVEL = 3
_MOST_RAW = 64 * 2**20  # bytes of a working copy's picture beyond which packing is cheaper than memory
# How libvips must call the bands to write them as they are: PNG has no inks, but four channels.
_MEANING = {1: ("b-w", "grey16"), 3: ("srgb", "rgb16"), 4: ("srgb", "rgb16")}


def write_jpeg(pdf: pikepdf.Pdf, image: pyvips.Image, space: Space, quality: int) -> Stream:
    """A DCT picture without chroma subsampling, encoded while it is decoded."""
    try:
        meaning = {1: "b-w", 3: "srgb", 4: "cmyk"}[space.n]
        data = image.copy(interpretation=meaning).jpegsave_buffer(Q=quality, subsample_mode="off", keep="none")
    except pyvips.Error as fault:
        raise CannotConvert("its JPEG data is damaged") from fault
    read_ahead(data, image.width, image.height)
    stream = _picture(Stream(pdf, data), image, space)
    stream.Filter = Name.DCTDecode
    if space.n == 4:
        # libvips writes inks upside down under Adobe's marker, as most readers of JPEG expect them.
        stream.Decode = Array([1, 0] * 4)
    return stream


def write_lossless(pdf: pikepdf.Pdf, image: pyvips.Image, space: Space, lasting: bool = True) -> Stream:
    """A deflated picture with PNG's predictors, of 8 or 16 bits; one that is not `lasting` is stored as it is."""
    deep = image.format == "ushort"
    if not lasting and image.width * image.height * space.n * (1 + deep) <= _MOST_RAW:
        return _write_raw(pdf, image, space)
    packed = _PackedRows()
    target = pyvips.TargetCustom()
    target.on_write(packed.write)
    try:
        image.copy(interpretation=_MEANING[space.n][deep]).pngsave_target(
            target, compression=_LEVEL if lasting else 1, filter="sub", keep="none"
        )
    except pyvips.Error as fault:
        packed.data.close()
        raise CannotConvert(DAMAGED) from fault
    stream = _picture(packed.data.stream(pdf), image, space)
    stream.Filter = Name.FlateDecode
    stream.DecodeParms = Dictionary(
        Predictor=15, Colors=space.n, BitsPerComponent=16 if deep else 8, Columns=image.width
    )
    return stream


def _write_raw(pdf: pikepdf.Pdf, image: pyvips.Image, space: Space) -> Stream:
    try:
        ordered = image.byteswap() if image.format == "ushort" else image
        return _picture(Stream(pdf, bytes(ordered.write_to_memory())), image, space)
    except pyvips.Error as fault:
        raise CannotConvert(DAMAGED) from fault


class _PackedRows:
    """Takes a PNG as it is written and keeps its rows alone: the data of a PDF's Flate stream (ISO 15948 10.1)."""

    def __init__(self) -> None:
        self.data = Spooled()
        self._waiting = bytearray()
        self._at = 8  # behind the signature

    def write(self, part: bytes) -> int:
        self._waiting += part
        while len(self._waiting) >= self._at + 12:
            size = int.from_bytes(self._waiting[self._at : self._at + 4], "big")
            if len(self._waiting) < self._at + 12 + size:
                break
            if self._waiting[self._at + 4 : self._at + 8] == b"IDAT":
                self.data.write(self._waiting[self._at + 8 : self._at + 8 + size])
            del self._waiting[: self._at + 12 + size]
            self._at = 0
        return len(part)


def _picture(stream: Stream, image: pyvips.Image, space: Space) -> Stream:
    stream.Type, stream.Subtype = Name.XObject, Name.Image
    stream.Width, stream.Height = image.width, image.height
    stream.BitsPerComponent = 16 if image.format == "ushort" else 8
    stream.ColorSpace = device_name(space)
    return stream
