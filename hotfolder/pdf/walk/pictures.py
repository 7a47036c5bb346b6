"""Converts a picture in a PDF to other colours, pixel by pixel, once, in the coding it came in."""

import hashlib
import math
import zlib
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

import numpy as np
import pikepdf
import pyvips
from numpy.typing import NDArray
from pikepdf import Array, Dictionary, Name, Object, Stream

from hotfolder.pdf.objects import entry, names, numbers
from hotfolder.pdf.values.spaces import BY_CHANNELS, GRAY, RGB, Floats, Space, SpaceReader, device_name, indexed_object
from hotfolder.pdf.walk.mapping import Fate, Plan
from hotfolder.pdf.walk.outcome import CannotConvert
from hotfolder.pdf.walk.samples import LOSSY, Facts, load, outside_key, read_ahead, read_facts, undress, without_matte
from hotfolder.pdf.walk.state import Matrix

if TYPE_CHECKING:
    from hotfolder.pdf.walk.walker import Walker

STRIP = 256  # rows converted and packed at a time
DEFLATE = 4  # level: on photographs a third of the time of level 6 for an eighth more bytes (measured)
# What no longer holds for the converted picture: its coding, its meaning, and other versions of it.
_RENEWED = frozenset({
    "/Length", "/Filter", "/DecodeParms", "/ColorSpace", "/BitsPerComponent", "/Decode", "/Mask", "/Width", "/Height",
    "/Alternates", "/OPI", "/SMaskInData",
})  # fmt: skip
_RECOLOURED = frozenset({"/Length", "/ColorSpace", "/Decode", "/Alternates", "/OPI"})


def picture_space(picture: Object, resources: object, spaces: SpaceReader) -> Space:
    """A picture's colour space; a JPEG 2000 picture may leave it to its data (8.9.5.1). ValueError if unknown."""
    found = entry(picture, "/ColorSpace")
    if found is not None:
        space = spaces.read(found, resources)
        if space.kind == "Pattern":
            raise ValueError("a pattern is no colour space for a picture")
        return space
    if names(entry(picture, "/Filter"))[-1:] == ["JPXDecode"] and isinstance(picture, Stream):
        return _jpx_space(undress(picture))
    raise ValueError("it has no colour space")


def _jpx_space(data: bytes) -> Space:
    """The colours a JPEG 2000 file declares (ISO 15444-1 I.5.3.3): its colr box, else its number of components."""
    size = data.find(b"\xff\x51")  # SIZ; Csiz stands 36 bytes behind its length field
    channels = int.from_bytes(data[size + 38 : size + 40], "big") if size >= 0 else 0
    box = data.find(b"colr")
    method = data[box + 4 : box + 5]
    listed = int.from_bytes(data[box + 7 : box + 11], "big") if box >= 0 and method == b"\x01" else 0
    space = {16: RGB, 17: GRAY, 12: BY_CHANNELS[4]}.get(listed)
    if method == b"\x02" and channels in BY_CHANNELS:  # an ICC profile of its own
        profile = data[box + 7 : box - 4 + int.from_bytes(data[box - 4 : box], "big")]
        key = ("ICCBased", channels, hashlib.sha256(profile).digest(), ())
        return Space("ICCBased", channels, key, base=BY_CHANNELS[channels], profile=profile)
    if space is None and box >= 0:
        raise ValueError("its JPEG 2000 data declares its colours in a way that isn't handled")
    if space is None:
        space = BY_CHANNELS.get(channels)
    if space is None or space.n != channels:
        raise ValueError("its JPEG 2000 data has an unusual number of channels")
    return space


def convert_picture(walker: "Walker", picture: Stream, space: Space, plan: Plan, ctm: Matrix) -> Object:
    """The picture in new colours. CannotConvert, or ValueError, with the reason where it must stay as it is.

    Masks and soft masks are kept; a mask by colour becomes a stencil. JPEG is decoded and encoded once, at 4:4:4;
    everything else stays without loss. With up to 256 different samples only the palette changes, not the data.
    """
    facts = read_facts(picture, space)
    if plan.fate is Fate.SWAP:
        new = walker.rewritten(picture, None, frozenset({"/ColorSpace", "/Alternates", "/OPI"}))
        new.ColorSpace = plan.swap
        return walker.pdf.make_indirect(new)
    soft_mask = entry(picture, "/SMask")
    matte = entry(soft_mask, "/Matte")
    if space.n == 1 and facts.bits <= 8 and facts.coding not in LOSSY and matte is None:
        return _recoloured(walker, picture, space, facts)
    shrink = _shrink(walker.mapping.picture_ppi, facts, ctm) if matte is None else 1
    image = load(picture, space, facts, shrink=shrink)
    if isinstance(soft_mask, Stream) and matte is not None:
        image = without_matte(image, space, soft_mask, numbers(matte, space.n))
    image, target = walker.mapping.picture(image, space)
    if facts.coding in LOSSY and image.format == "uchar" and not _reversible(picture, facts):
        new = write_jpeg(walker.pdf, image, target, walker.mapping.picture_quality)
    else:
        new = write_lossless(walker.pdf, image, target)
    for key in picture.keys():  # noqa: SIM118
        if key not in _RENEWED:
            new[key] = picture[key]
    if isinstance(soft_mask, Stream) and matte is not None:
        new.SMask = walker.pdf.make_indirect(walker.rewritten(soft_mask, None, frozenset({"/Matte"})))
    hidden = outside_key(picture, space, facts)
    if hidden is not None:
        new.Mask = write_stencil(walker.pdf, hidden)
    elif "/Mask" in picture:
        new.Mask = picture.Mask
    return walker.pdf.make_indirect(new)


def _recoloured(walker: "Walker", picture: Stream, space: Space, facts: Facts) -> Object:
    """One sample a pixel: its data stays, each of its values gets a new colour in a table."""
    count = 2**facts.bits
    (low, high) = facts.decode[0] if facts.decode is not None else space.ranges(facts.bits)[0]
    values = low + np.arange(count)[:, None] / (count - 1) * (high - low)
    table = walker.mapping.colours(space, values, True)
    new = walker.rewritten(picture, None, _RECOLOURED)
    new.ColorSpace = indexed_object(walker.mapping.target, table)
    if "/BitsPerComponent" not in new:
        new.BitsPerComponent = facts.bits
    return walker.pdf.make_indirect(new)


def _shrink(ppi: float | None, facts: Facts, ctm: Matrix) -> int:
    """The power of two by which a picture may be made smaller and still have the wanted resolution."""
    if ppi is None:
        return 1
    a, b, c, d, _, _ = ctm
    wide, high = math.hypot(a, b) / 72 * ppi, math.hypot(c, d) / 72 * ppi
    room = min(facts.width / max(wide, 1), facts.height / max(high, 1))
    return 2 ** min(3, max(0, int(math.log2(room)))) if room >= 1 else 1


def _reversible(picture: Stream, facts: Facts) -> bool:
    """Whether a JPEG 2000 picture is coded without loss: the transformation in its COD marker (ISO 15444-1 A.6.1)."""
    if facts.coding != "JPXDecode":
        return False
    data = undress(picture)
    at = data.find(b"\xff\x52")
    return at >= 0 and data[at + 13 : at + 14] == b"\x01"


def write_jpeg(pdf: pikepdf.Pdf, image: pyvips.Image, space: Space, quality: int) -> Stream:
    """A DCT picture without chroma subsampling, encoded while it is decoded: memory holds a few rows only."""
    try:
        data = image.jpegsave_buffer(Q=quality, subsample_mode="off", keep="none")
    except pyvips.Error as fault:
        raise CannotConvert("its JPEG data is damaged") from fault
    read_ahead(data, image.width, image.height)
    stream = _picture(pdf, data, image, space, 8)
    stream.Filter = Name.DCTDecode
    if space.n == 4:
        # libvips writes inks upside down under Adobe's marker, as most readers of JPEG expect them.
        stream.Decode = Array([1, 0] * 4)
    return stream


def write_lossless(pdf: pikepdf.Pdf, image: pyvips.Image, space: Space) -> Stream:
    """A deflated picture, strip by strip; 8-bit rows as differences to the left neighbour (TIFF predictor, 7.4.4.4)."""
    deep, packer, parts = image.format == "ushort", zlib.compressobj(DEFLATE, zlib.DEFLATED, zlib.MAX_WBITS, 9), []
    for pixels in strips(image):
        if deep:
            rows = pixels.astype(">u2")
        else:
            rows = pixels.copy()
            rows[:, 1:] -= pixels[:, :-1]
        parts.append(packer.compress(rows.tobytes()))
    stream = _picture(pdf, b"".join([*parts, packer.flush()]), image, space, 16 if deep else 8)
    stream.Filter = Name.FlateDecode
    if not deep:
        stream.DecodeParms = Dictionary(Predictor=2, Colors=space.n, BitsPerComponent=8, Columns=image.width)
    return stream


def strips(image: pyvips.Image) -> Iterator[NDArray[np.integer]]:
    """The picture's rows from top to bottom as arrays (rows, width, bands), a few at a time, in one pass."""
    region = pyvips.Region.new(image)
    kind: type[np.integer] = np.uint8 if image.format == "uchar" else np.uint16
    try:
        for top in range(0, image.height, STRIP):
            rows = min(STRIP, image.height - top)
            raw = region.fetch(0, top, image.width, rows)
            yield np.frombuffer(raw, kind).reshape(rows, image.width, image.bands)
    except pyvips.Error as fault:
        raise CannotConvert("its data is damaged") from fault


def write_stencil(pdf: pikepdf.Pdf, hidden: NDArray[np.bool_]) -> Object:
    """An explicit mask (8.9.6.3): a set bit hides the pixel below it."""
    stream = Stream(pdf, zlib.compress(np.packbits(hidden, axis=1).tobytes()))
    stream.Type, stream.Subtype, stream.Filter = Name.XObject, Name.Image, Name.FlateDecode
    stream.Height, stream.Width = hidden.shape
    stream.ImageMask, stream.BitsPerComponent = True, 1
    return pdf.make_indirect(stream)


def _picture(pdf: pikepdf.Pdf, data: bytes, image: pyvips.Image, space: Space, bits: int) -> Stream:
    stream = Stream(pdf, data)
    stream.Type, stream.Subtype = Name.XObject, Name.Image
    stream.Width, stream.Height, stream.BitsPerComponent = image.width, image.height, bits
    stream.ColorSpace = device_name(space)
    return stream


def map_rows(image: pyvips.Image, space: Space, target: Space, colours: Callable[[Floats], Floats]) -> pyvips.Image:
    """Any picture through any conversion, strip by strip: slow, for inks and spaces no profile describes."""
    most = 255.0 if image.format == "uchar" else 65535.0
    low, high = np.array(space.ranges(8 if most == 255 else 16)).T
    made = []
    for pixels in strips(image):
        flat, back = np.unique(pixels.reshape(-1, image.bands), axis=0, return_inverse=True)
        values = flat.astype(np.float64) if space.kind == "Indexed" else low + flat / most * (high - low)
        found = np.round(np.clip(colours(values), 0, 1) * most).astype(pixels.dtype)
        made.append(found[back.ravel()].reshape(*pixels.shape[:2], target.n))
    whole = np.concatenate(made)
    return pyvips.Image.new_from_memory(whole.tobytes(), image.width, image.height, target.n, image.format)
