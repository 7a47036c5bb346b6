"""Converts a picture in a PDF to other colours, pixel by pixel, once, in the coding it came in."""

import math
from typing import TYPE_CHECKING

import numpy as np
import pyvips
from pikepdf import Array, Object, Stream

from hotfolder.pdf.objects import entry, identity, names, numbers, stream_bytes, whole
from hotfolder.pdf.pictures.facts import FAX, LOSSY, Facts, read_facts, undress
from hotfolder.pdf.pictures.feeding import DAMAGED, SMALL
from hotfolder.pdf.pictures.jpx import jpx_space, read_jpx_facts
from hotfolder.pdf.pictures.masking import key_stencil, unmixed, without_matte
from hotfolder.pdf.pictures.reading import load
from hotfolder.pdf.pictures.resizing import may_shrink, resized, resized_mask
from hotfolder.pdf.pictures.writing import write_jpeg, write_lossless
from hotfolder.pdf.values.spaces import GRAY, Space, SpaceReader, device_name, indexed_object
from hotfolder.pdf.walk.mapping import Fate, Plan
from hotfolder.pdf.walk.outcome import CannotConvert
from hotfolder.pdf.walk.state import Matrix

if TYPE_CHECKING:
    from hotfolder.pdf.walk.walker import Walker

# What no longer holds for the converted picture: its coding, its meaning, and other versions of it.
_RENEWED = frozenset({
    "/Length", "/Filter", "/DecodeParms", "/ColorSpace", "/BitsPerComponent", "/Decode", "/Mask", "/Width", "/Height",
    "/Alternates", "/OPI", "/SMaskInData",
})  # fmt: skip
_AT_ONCE = 2**25  # bytes of samples
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
        return jpx_space(undress(picture))
    raise ValueError("it has no colour space")


def convert_picture(walker: "Walker", picture: Stream, space: Space, plan: Plan, ctm: Matrix) -> Object:
    """The picture in new colours. CannotConvert, or ValueError, with the reason where it must stay as it is.

    Masks and soft masks are kept; a mask by colour becomes a stencil. JPEG is decoded and encoded once, at 4:4:4;
    everything else stays without loss. With up to 256 different samples only the palette changes, not the data.
    """
    facts = read_facts(picture, space)
    matte = entry(entry(picture, "/SMask"), "/Matte")
    if matte is not None and space.kind == "Indexed":
        raise CannotConvert("it has a colour table and is mixed with a background colour")
    if plan.fate is Fate.SWAP:
        new = walker.rewritten(picture, None, frozenset({"/ColorSpace", "/Alternates", "/OPI"}))
        new.ColorSpace = plan.swap
        return walker.pdf.make_indirect(new)
    finer = _finer(walker, picture, facts)
    table_will_do = space.n == 1 and facts.bits <= 8 and facts.coding not in LOSSY and matte is None
    if table_will_do and (finer == 1 or space.kind == "Indexed"):
        return _recoloured(walker, picture, space, facts)
    if finer == 1 and matte is None and (made := _at_once(walker, picture, space, facts)) is not None:
        return made
    held = facts.width * facts.height * space.n * facts.bits // 8 <= SMALL
    for careful in (False, True):
        # Readers of PDF forgive more than those of PNG, which a large picture is first read as: where that fails, its
        # data is looked through, and then read, as the former do.
        try:
            return _repainted(walker, picture, space, facts, ctm, finer, careful)
        except (CannotConvert, pyvips.Error) as fault:
            if careful or held or facts.coding in LOSSY:
                raise CannotConvert(DAMAGED if isinstance(fault, pyvips.Error) else str(fault)) from fault
    raise AssertionError("never reached")


def _at_once(walker: "Walker", picture: Stream, space: Space, facts: Facts) -> Object | None:
    """A small picture of plain samples, without the machinery that large ones need; None where that won't do."""
    size = facts.width * facts.height * space.n
    odd = facts.bits != 8 or facts.decode is not None or isinstance(entry(picture, "/Mask"), Array)
    if walker.mapping.lasting or odd or size > _AT_ONCE or facts.coding in (*LOSSY, *FAX):
        return None
    found = np.frombuffer(stream_bytes(picture), np.uint8)
    converted = walker.mapping.samples(found[:size].reshape(-1, space.n), space) if len(found) >= size else None
    if converted is None:
        return None
    new = walker.rewritten(picture, converted[0].tobytes(), _RECOLOURED)
    new.ColorSpace = device_name(converted[1])
    return walker.pdf.make_indirect(new)


def _repainted(
    walker: "Walker", picture: Stream, space: Space, facts: Facts, ctm: Matrix, finer: float, careful: bool
) -> Object:
    """Every pixel in new colours."""
    mapping, pdf, soft_mask = walker.mapping, walker.pdf, entry(picture, "/SMask")
    matte = entry(soft_mask, "/Matte")
    shrink = _shrink(mapping.picture_ppi, facts, ctm) if matte is None else 1
    image = load(picture, space, facts, shrink=shrink, careful=careful)
    image, opacity = _own_opacity(picture, image, space)
    _tell_depth(walker, picture, image, facts)
    if opacity is None and isinstance(soft_mask, Stream) and matte is not None:
        image = without_matte(image, space, soft_mask, numbers(matte, space.n), careful)
    if finer > 1:
        image = resized(image, finer)
    image, target = mapping.picture(image, space)
    lossy = mapping.lasting and facts.coding in LOSSY and image.format == "uchar" and not _reversible(picture, facts)
    if lossy:
        new = write_jpeg(pdf, image, target, mapping.picture_quality)
    else:
        new = write_lossless(pdf, image, target, mapping.lasting)
    for key in picture.keys():  # noqa: SIM118
        if key not in _RENEWED:
            new[key] = picture[key]
    if opacity is not None:
        opacity = resized(opacity, finer) if finer > 1 else opacity
        new.SMask = pdf.make_indirect(write_lossless(pdf, opacity, GRAY, mapping.lasting))
    elif isinstance(soft_mask, Stream) and matte is not None:
        new.SMask = pdf.make_indirect(walker.rewritten(soft_mask, None, frozenset({"/Matte"})))
    elif isinstance(soft_mask, Stream) and finer > 1:
        new.SMask = resized_mask(pdf, soft_mask, facts, finer, mapping.picture_quality, mapping.lasting)
    hidden = key_stencil(pdf, picture, space, facts, careful)
    if hidden is not None:
        new.Mask = hidden
    elif "/Mask" in picture:
        new.Mask = picture.Mask
    return pdf.make_indirect(new)


def _own_opacity(picture: Stream, image: pyvips.Image, space: Space) -> tuple[pyvips.Image, pyvips.Image | None]:
    """A JPEG 2000 picture's colours, and the opacity in its data if SMaskInData says that it counts (11.6.5.3)."""
    used = whole(entry(picture, "/SMaskInData"), 0)
    if image.bands == space.n:
        if used in (1, 2):
            raise CannotConvert("its JPEG 2000 data should hold its transparency, and doesn't")
        return image, None
    colours, opacity = image.extract_band(0, n=space.n), image.extract_band(space.n)
    if used == 2:  # mixed with black beforehand
        colours = unmixed(colours, opacity, [0.0] * space.n)
    return colours, opacity if used in (1, 2) else None


def _tell_depth(walker: "Walker", picture: Stream, image: pyvips.Image, facts: Facts) -> None:
    if facts.coding == "JPXDecode" and image.format == "uchar" and max(read_jpx_facts(undress(picture)).bits) > 8:
        walker.result.remark(
            walker.page_number, "a JPEG 2000 picture", "its colours of more than 8 bits were rounded to 8"
        )


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


def _finer(walker: "Walker", picture: Stream, facts: Facts) -> float:
    """How many times smaller a picture becomes. Not one with colour keys or mixed edges, which would mix anew."""
    finer = (walker.mapping.finer or {}).get(identity(picture) or (0, 0), 1.0)
    mixed = entry(picture, "/Mask") is not None or entry(entry(picture, "/SMask"), "/Matte") is not None
    return finer if not mixed and may_shrink(facts, finer) else 1.0


def _shrink(ppi: float | None, facts: Facts, ctm: Matrix) -> int:
    """The power of two by which a picture may be made smaller and still have the wanted resolution."""
    if ppi is None:
        return 1
    a, b, c, d, _, _ = ctm
    wide, high = math.hypot(a, b) / 72 * ppi, math.hypot(c, d) / 72 * ppi
    room = min(facts.width / max(wide, 1), facts.height / max(high, 1))
    return 2 ** min(3, max(0, int(math.log2(room)))) if room >= 1 else 1


def _reversible(picture: Stream, facts: Facts) -> bool:
    """Whether a JPEG 2000 picture is coded without loss."""
    return facts.coding == "JPXDecode" and read_jpx_facts(undress(picture)).reversible
