"""Makes a single picture in a PDF smaller that has more pixels than can be seen at its size, and keeps all else of it."""

from __future__ import annotations

import zlib
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pikepdf
import pyvips
from numpy.typing import NDArray
from pikepdf import Array, Dictionary, Name, Object, Stream

from hotfolder.pdf.objects import entry, identity, whole
from hotfolder.pdf.pictures.facts import FAX, LOSSY, Facts, read_facts, undress
from hotfolder.pdf.pictures.feeding import strips
from hotfolder.pdf.pictures.jpx import read_jpx_facts
from hotfolder.pdf.pictures.reading import load
from hotfolder.pdf.pictures.resizing import LEAST_SIDE, WORTH_IT, may_shrink, resized, resized_mask
from hotfolder.pdf.pictures.writing import write_jpeg, write_lossless
from hotfolder.pdf.values.spaces import DEVICE, GRAY, Space, SpaceReader
from hotfolder.pdf.walk.pictures import picture_space

WORTH_WRITING = 0.95  # of the former bytes; what isn't at least so much smaller stays as it came
_STAND_INS = {1: "DeviceGray", 3: "DeviceRGB", 4: "DeviceCMYK"}  # for spaces of as many channels, while writing
_MOST_GRAYS = 0.2  # of line art that was averaged; more is a screened picture, which would lose its tones
_STALE = ("/DecodeParms", "/Decode", "/Alternates", "/OPI")


@dataclass(frozen=True)
class Wanted:
    """How fine pictures may be (pixels per inch where they are placed largest), and how they are packed."""

    ppi: float
    line_art_ppi: float
    quality: int
    lossless_as_jpeg: bool = False
    times: float = (
        WORTH_IT  # as fine as that from which on a picture is made coarser; each time costs a little sharpness
    )

    @property
    def least(self) -> float:
        """The lowest resolution from which anything may have to be done."""
        return min(self.ppi, self.line_art_ppi) * self.times


@dataclass(frozen=True)
class Reduced:
    """Pixels and bytes of a picture before and after, those of its mask included."""

    pixels: tuple[tuple[int, int], tuple[int, int]]
    size: tuple[int, int]


def reduce_picture(pdf: pikepdf.Pdf, picture: Stream, ppi: float, wanted: Wanted) -> Reduced | None:
    """Makes the picture, in place, as coarse as wanted; its colour space, masks and all else that is said of it stay.

    None, and everything as it was, where it is not fine enough for that, would not become smaller in bytes, or is
    of a kind that can't be averaged: pictures with a colour table, with a mask by colour or shape, with edges mixed with a
    background colour or opacity in their own data, of one bit in a fax coding or
    with screened tones, or with data that can't be read.
    """
    try:
        space = None if entry(picture, "/ImageMask") is True else picture_space(picture, None, SpaceReader())
        facts = read_facts(picture, space)
        if round(ppi) < wanted.times * (wanted.line_art_ppi if facts.bits == 1 else wanted.ppi):
            return None
        if facts.bits == 1:
            return _reduce_line_art(picture, space, facts, ppi / wanted.line_art_ppi)
        if space is None or not _may_be_averaged(picture, space) or not may_shrink(facts, ppi / wanted.ppi):
            return None
        return _reduce(pdf, picture, space, facts, ppi / wanted.ppi, wanted)
    except (ValueError, pyvips.Error, pikepdf.PdfError):
        return None  # the steps that must read it tell of it


def _may_be_averaged(picture: Stream, space: Space) -> bool:
    mixed = entry(picture, "/Mask") is not None or entry(entry(picture, "/SMask"), "/Matte") is not None
    opaque = whole(entry(picture, "/SMaskInData"), 0) == 0
    told = entry(picture, "/ColorSpace") is not None  # else JPEG 2000 data says it, and goes
    return told and space.kind != "Indexed" and space.n in _STAND_INS and not mixed and opaque


def _reduce(
    pdf: pikepdf.Pdf, picture: Stream, space: Space, facts: Facts, finer: float, wanted: Wanted
) -> Reduced | None:
    image = load(picture, space, facts)
    if image.bands != space.n:
        return None
    small, stand_in = resized(image, finer), DEVICE[_STAND_INS[space.n]]
    if small.format == "uchar" and (wanted.lossless_as_jpeg or _came_lossy(picture, facts)):
        new = write_jpeg(pdf, small, stand_in, wanted.quality)
    else:
        new = write_lossless(pdf, small, stand_in)
    mask, new_mask = entry(picture, "/SMask"), None
    before, after = _weight(picture), _weight(new)
    if isinstance(mask, Stream):
        before += _weight(mask)
        new_mask = resized_mask(pdf, mask, facts, finer, wanted.quality, True)
        after += _weight(new_mask)
    if after > WORTH_WRITING * before:
        return None
    _put(picture, new)
    if new_mask is not None and identity(new_mask) != identity(mask):
        picture.SMask = new_mask
    return Reduced(((facts.width, facts.height), (small.width, small.height)), (before, after))


def _came_lossy(picture: Stream, facts: Facts) -> bool:
    """Whether its data was packed with loss; JPEG 2000 can be both."""
    return facts.coding in LOSSY and not (facts.coding == "JPXDecode" and read_jpx_facts(undress(picture)).reversible)


def _weight(stream: object) -> int:
    return len(stream.get_raw_stream_buffer()) if isinstance(stream, Stream) else 0


def _put(picture: Stream, new: Stream | Object) -> None:
    """The new data under the old object, wherever that is used."""
    parameters = entry(new, "/DecodeParms")
    for key in _STALE:
        if key in picture:
            del picture[key]
    held = parameters if isinstance(parameters, Dictionary) else None
    picture.write(new.read_raw_bytes(), filter=Name(str(new.Filter)), decode_parms=held)
    for key in ("/Width", "/Height", "/BitsPerComponent", "/Decode"):
        if key in new:
            picture[key] = new[key]


# Line art: one bit


def _reduce_line_art(picture: Stream, space: Space | None, facts: Facts, finer: float) -> Reduced | None:
    """Coarser, and still of one bit: a pixel is set where most of what it stands for was."""
    worth = finer >= WORTH_IT and min(facts.width, facts.height) / finer >= LEAST_SIDE
    if not worth or facts.coding in FAX or (space is not None and space.n != 1):
        return None
    if any(entry(picture, key) is not None for key in ("/Mask", "/SMask")):
        return None
    image = load(picture, GRAY, Facts(facts.width, facts.height, 1, facts.filters, None), whole_range=False)
    small = resized(image, finer).copy_memory()
    if _grays(small) > _MOST_GRAYS:
        return None
    packed = zlib.compress(b"".join(rows.tobytes() for rows in _bits(small)), 9)
    before = _weight(picture)
    if len(packed) > WORTH_WRITING * before:
        return None
    decode = entry(picture, "/Decode")  # samples are as they were stored, so what says how to take them holds
    for key in ("/DecodeParms", "/Alternates", "/OPI"):
        if key in picture:
            del picture[key]
    picture.write(packed, filter=Name.FlateDecode)
    picture.Width, picture.Height = small.width, small.height
    if isinstance(decode, Array):
        picture.Decode = decode
    return Reduced(((facts.width, facts.height), (small.width, small.height)), (before, len(packed)))


def _grays(image: pyvips.Image) -> float:
    """The share of pixels that are neither set nor clear by far: of screened tones nearly all are, of line art its edges."""
    found = [np.mean((rows > 48) & (rows < 208)) for rows in strips(image)]
    return float(np.mean(found)) if found else 1.0


def _bits(image: pyvips.Image) -> Iterator[NDArray[np.uint8]]:
    for rows in strips(image):
        yield np.packbits(rows[:, :, 0] >= 128, axis=1)
