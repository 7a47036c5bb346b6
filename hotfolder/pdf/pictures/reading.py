"""Reads the pixels of a picture in a PDF, whatever its coding, bit depth or Decode array (ISO 32000-1 8.9.5)."""

import pikepdf
import pyvips
from pikepdf import Stream

from hotfolder.pdf.pictures.facts import Facts, jpeg_bytes, undress
from hotfolder.pdf.pictures.jpx import read_jpx
from hotfolder.pdf.pictures.kept import LARGE, kept_small, shrunk_jpeg
from hotfolder.pdf.pictures.plain import read_plain
from hotfolder.pdf.values.spaces import Space
from hotfolder.pdf.walk.outcome import CannotConvert


def load(
    picture: Stream, space: Space, facts: Facts, *, shrink: int = 1, whole_range: bool = True, careful: bool = False
) -> pyvips.Image:
    """The picture with space.n bands of 8 or 16 bits (less than 8 are scaled up), to be read once from top to bottom.

    With `whole_range`, 0 and the largest sample mean the least and largest value of each number of the space, its
    Decode array being applied; without, samples are as stored. `shrink` (1, 2, 4, 8) is applied by decoders at once,
    else by averaging, never to places in a table. A JPEG 2000 picture may have one band more: its opacity.
    CannotConvert where the data is damaged, cut short, or of another number of channels; damage of large data may show
    only on reading, as pyvips.Error, unless `careful`.
    """
    if shrink > 1 and facts.coding not in ("DCTDecode", "JPXDecode") and space.kind != "Indexed":
        return _small(picture, space, facts, shrink, whole_range)
    if facts.coding == "DCTDecode":
        image = _jpeg(picture, shrink)
        if not (_fits(image.width, facts.width, shrink) and _fits(image.height, facts.height, shrink)):
            raise CannotConvert("its data is of another size than its entries say, which programs draw differently")
    elif facts.coding == "JPXDecode":
        image = read_jpx(undress(picture), space, shrink if space.kind != "Indexed" else 1)
    else:
        image = read_plain(picture, space, facts, careful)
    if image.bands != space.n and (facts.coding != "JPXDecode" or image.bands != space.n + 1):
        raise CannotConvert(f"its data has {image.bands} channels, its colour space {space.n}")
    if whole_range and facts.decode is not None:
        image = _decoded(image, space, facts)
    return image


def _small(picture: Stream, space: Space, facts: Facts, shrink: int, whole_range: bool) -> pyvips.Image:
    def make() -> pyvips.Image:
        image = load(picture, space, facts, whole_range=whole_range)
        return image.shrink(min(shrink, image.width), min(shrink, image.height)).cast(image.format)

    if facts.width * facts.height < LARGE:
        return make()
    try:
        described = (facts, space.n, space.kind, shrink, whole_range, repr(picture.get("/DecodeParms")))
        return kept_small(bytes(picture.get_raw_stream_buffer()), described, make)
    except pyvips.Error as fault:
        load(picture, space, facts, careful=True)  # tells what it is
        raise CannotConvert("its data is damaged") from fault


def _jpeg(picture: Stream, shrink: int) -> pyvips.Image:
    try:
        data = jpeg_bytes(picture)
        if shrink > 1 and len(data) > LARGE:
            image = shrunk_jpeg(data, shrink)
        else:
            image = pyvips.Image.jpegload_buffer(data, shrink=shrink, access="sequential", fail_on="error")
    except (pyvips.Error, pikepdf.PdfError) as fault:
        raise CannotConvert("its JPEG data is damaged") from fault
    if image.bands == 4:
        # libvips takes the inks of every CMYK JPEG as inverted and turns them; a PDF's samples are as stored (7.4.8).
        return image.invert().copy(interpretation="multiband")
    return image


def _fits(came: int, wanted: int, shrink: int) -> bool:
    """Whether a side has as many pixels as it should; a decoder that shrinks may round either way."""
    return abs(came * shrink - wanted) < shrink


def _decoded(image: pyvips.Image, space: Space, facts: Facts) -> pyvips.Image:
    assert facts.decode is not None
    most = 255 if image.format == "uchar" else 65535
    scale, offset = [], []
    for (low, high), (least, largest) in zip(facts.decode, space.ranges(facts.bits), strict=True):
        width = (largest - least) or 1.0
        scale.append((high - low) / width)
        offset.append((low - least) / width * most)
    if space.kind == "Indexed":
        scale = [(facts.decode[0][1] - facts.decode[0][0]) / (2**facts.bits - 1)]
        offset = [facts.decode[0][0]]
    return image.linear(scale, offset).rint().cast(image.format)
