"""Reads the pixels of a picture in a PDF, whatever its coding, bit depth or Decode array (ISO 32000-1 8.9.5)."""

import hashlib
import io
from collections import OrderedDict
from concurrent.futures import Future
from dataclasses import dataclass
from threading import Lock, Thread

import numpy as np
import pikepdf
import pyvips
from numpy.typing import NDArray
from pikepdf import Array, Dictionary, Object, Stream
from PIL import Image

from hotfolder.pdf.objects import entry, names, numbers, stream_bytes, whole
from hotfolder.pdf.render import SHEET_SIDE
from hotfolder.pdf.values.spaces import GRAY, Space
from hotfolder.pdf.walk.outcome import CannotConvert

MOST_PIXELS = 1_000_000_000
MOST_DECODED = 3 * 2**30  # bytes of a picture that must be held whole (not JPEG)
LOSSY = ("DCTDecode", "JPXDecode")
_LARGE = 2**21  # bytes of JPEG data from which decoding takes longer than telling data apart
_MOST_KEPT = 4
_kept: OrderedDict[tuple[bytes, int], Future[pyvips.Image]] = OrderedDict()
_keeping = Lock()


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
    width, height = whole(entry(picture, "/Width")), whole(entry(picture, "/Height"))
    if width < 1 or height < 1 or width * height > MOST_PIXELS:
        raise CannotConvert(f"it claims to be {width} by {height} pixels")
    one_bit = entry(picture, "/ImageMask") is True or bool(filters and filters[-1] in ("CCITTFaxDecode", "JBIG2Decode"))
    bits = 1 if one_bit else whole(entry(picture, "/BitsPerComponent"), 8)
    if filters and filters[-1] == "DCTDecode":
        bits = 8
    if bits not in (1, 2, 4, 8, 16):
        raise CannotConvert(f"it has {bits} bits for each colour, which no picture has")
    found, decode = entry(picture, "/Decode"), None
    if found is not None and space is not None:
        flat = numbers(found)
        if len(flat) >= 2 * space.n:
            pairs = tuple(zip(flat[::2], flat[1::2], strict=False))[: space.n]
            decode = None if pairs == tuple(space.ranges(bits)) else pairs
    return Facts(width, height, bits, filters, decode)


def jpeg_bytes(picture: Stream) -> bytes:
    """The JPEG file inside a DCT picture, freed of other filters around it."""
    raw = undress(picture)
    # ColorTransform 0 (7.4.8) says the three colours are RGB as they are; a JPEG reader only knows from Adobe's marker.
    parameters = entry(picture, "/DecodeParms")
    last = parameters[-1] if isinstance(parameters, Array) and len(parameters) else parameters
    if isinstance(last, Dictionary) and whole(last.get("/ColorTransform"), 1) == 0 and b"Adobe\0" not in raw[:4096]:
        raw = raw[:2] + b"\xff\xee\x00\x0eAdobe\x00\x64\x00\x00\x00\x00\x00" + raw[2:]
    return raw


def undress(picture: Stream) -> bytes:
    """A picture's data with all filters but its last taken off; CannotConvert where they are damaged."""
    kinds = names(entry(picture, "/Filter"))
    if len(kinds) <= 1:
        return bytes(picture.get_raw_stream_buffer())
    parameters = entry(picture, "/DecodeParms")
    with pikepdf.new() as workbench:
        outer = Stream(workbench, picture.read_raw_bytes())
        outer.Filter = Array([pikepdf.Name("/" + kind) for kind in kinds[:-1]])
        if isinstance(parameters, Array):
            plain = [dict(p.items()) if isinstance(p, Dictionary) else None for p in list(parameters)[: len(kinds) - 1]]
            outer.DecodeParms = Array(plain)
        try:
            return stream_bytes(outer)
        except ValueError as fault:
            raise CannotConvert(str(fault)) from fault


def load(picture: Stream, space: Space, facts: Facts, *, shrink: int = 1, whole_range: bool = True) -> pyvips.Image:
    """The picture with space.n bands of 8 or 16 bits (less than 8 are scaled up).

    With `whole_range`, 0 and the largest sample mean the least and largest value of each number of the space, its
    Decode array being applied; without, samples are as stored. `shrink` (1, 2, 4, 8) is applied by JPEG decoders
    at once, else by averaging. CannotConvert where the data is damaged, cut short, or of another number of channels.
    """
    if facts.coding == "DCTDecode":
        image = _jpeg(picture, space, shrink)
    elif facts.coding == "JPXDecode":
        image = _jpx(picture, space)
    else:
        image = _plain(picture, space, facts)
    if image.bands != space.n:
        raise CannotConvert(f"its data has {image.bands} channels, its colour space {space.n}")
    if whole_range and facts.decode is not None:
        image = _decoded(image, space, facts)
    if shrink > 1 and facts.coding != "DCTDecode" and space.kind != "Indexed":
        image = image.shrink(min(shrink, image.width), min(shrink, image.height)).cast(image.format)
    return image


def _jpeg(picture: Stream, space: Space, shrink: int) -> pyvips.Image:
    try:
        data = jpeg_bytes(picture)
        if shrink > 1 and len(data) > _LARGE:
            image = _shrunk(data, shrink)
        else:
            image = pyvips.Image.jpegload_buffer(data, shrink=shrink, access="sequential", fail_on="error")
    except (pyvips.Error, pikepdf.PdfError) as fault:
        raise CannotConvert("its JPEG data is damaged") from fault
    if image.bands == 4:
        # libvips takes the inks of every CMYK JPEG as inverted and turns them; a PDF's samples are as stored (7.4.8).
        image = image.invert()
    return image.copy(interpretation="multiband") if image.bands == 4 else image


def read_ahead(data: bytes, width: int, height: int) -> None:
    """Begin to decode a large JPEG small while its file is being finished: it will be looked at next."""
    room = max(width, height) // SHEET_SIDE
    if len(data) > _LARGE and room >= 2:
        _begin(data, 8 if room >= 8 else 4 if room >= 4 else 2)


def _shrunk(data: bytes, shrink: int) -> pyvips.Image:
    """A large JPEG decoded small. A poster is looked at several times (compared, shown, cut out), so it is kept."""
    small: pyvips.Image = _begin(data, shrink).result()
    return small


def keep_shrunk(data: bytes, coarse: NDArray[np.uint8]) -> None:
    """A large JPEG was decoded to an eighth of its size on another occasion: who looks at it next need not again."""
    if len(data) > _LARGE:
        rows, columns, bands = coarse.shape
        small: Future[pyvips.Image] = Future()
        small.set_result(pyvips.Image.new_from_memory(coarse.tobytes(), columns, rows, bands, "uchar"))
        _keep((hashlib.sha256(data).digest(), 8), small)


def _begin(data: bytes, shrink: int) -> Future[pyvips.Image]:
    key = (hashlib.sha256(data).digest(), shrink)
    known = _kept.get(key)
    if known is not None:
        return known
    # A thread of its own for each: two may be wanted side by side, and none outlives the job's process.
    future: Future[pyvips.Image] = Future()
    _keep(key, future)
    Thread(target=_decode, args=(data, shrink, future), daemon=True).start()
    return future


def _keep(key: tuple[bytes, int], small: Future[pyvips.Image]) -> None:
    with _keeping:
        while len(_kept) >= _MOST_KEPT:
            _kept.popitem(last=False)
        _kept[key] = small


def _decode(data: bytes, shrink: int, future: Future[pyvips.Image]) -> None:
    try:
        small = pyvips.Image.jpegload_buffer(data, shrink=shrink, access="sequential", fail_on="error").copy_memory()
    except pyvips.Error as fault:
        future.set_exception(fault)
    else:
        future.set_result(small)


def _jpx(picture: Stream, space: Space) -> pyvips.Image:
    """JPEG 2000, by Pillow: libvips is built without it."""
    if whole(entry(picture, "/SMaskInData"), 0):
        raise CannotConvert("its JPEG 2000 data holds its own transparency")
    try:
        with Image.open(io.BytesIO(undress(picture)), formats=["JPEG2000"]) as opened:
            if opened.width * opened.height * 4 > MOST_DECODED:
                raise CannotConvert("it is too large to be held in memory")
            pixels = np.asarray(opened)
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError) as fault:
        raise CannotConvert(f"its JPEG 2000 data can't be read ({fault})") from fault
    if pixels.dtype.kind not in "ui" or pixels.dtype.itemsize > 2:
        raise CannotConvert("its JPEG 2000 data has a bit depth that isn't handled")
    return _from_array(pixels if pixels.ndim == 3 else pixels[:, :, None])


def _plain(picture: Stream, space: Space, facts: Facts) -> pyvips.Image:
    """Uncompressed samples, after filters that qpdf undoes; rows are padded to whole bytes (8.9.3)."""
    if facts.coding in ("CCITTFaxDecode", "JBIG2Decode"):
        raise CannotConvert(f"its coding ({facts.coding}) can't be taken apart here")
    row = (facts.width * space.n * facts.bits + 7) // 8
    if row * facts.height > MOST_DECODED:
        raise CannotConvert("it is too large to be held in memory")
    raw = stream_bytes(picture)
    if len(raw) < row * facts.height:
        raise CannotConvert(f"its data is cut short ({len(raw)} bytes of {row * facts.height})")
    if facts.bits == 8:
        return pyvips.Image.new_from_memory(raw, facts.width, facts.height, space.n, "uchar")
    packed = np.frombuffer(raw, np.uint8, row * facts.height).reshape(facts.height, row)
    if facts.bits == 16:
        deep = packed.view(">u2")[:, : facts.width * space.n].astype(np.uint16)
        return _from_array(deep.reshape(facts.height, facts.width, space.n))
    samples = unpack_rows(packed, facts.bits, facts.width * space.n)
    if space.kind != "Indexed":
        samples *= 255 // (2**facts.bits - 1)
    return _from_array(samples.reshape(facts.height, facts.width, space.n))


def unpack_rows(packed: NDArray[np.uint8], bits: int, count: int) -> NDArray[np.uint8]:
    """Rows of packed samples of 1, 2 or 4 bits to one byte each, high bits first."""
    places = [(packed >> shift) & (2**bits - 1) for shift in range(8 - bits, -1, -bits)]
    return np.stack(places, axis=2).reshape(len(packed), -1)[:, :count].copy()


def _from_array(pixels: NDArray[np.generic]) -> pyvips.Image:
    height, width, bands = pixels.shape
    kind = "uchar" if pixels.dtype.itemsize == 1 else "ushort"
    return pyvips.Image.new_from_memory(np.ascontiguousarray(pixels).tobytes(), width, height, bands, kind)


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


def without_matte(image: pyvips.Image, space: Space, mask: Stream, matte: list[float]) -> pyvips.Image:
    """A picture whose edges were mixed with a background colour beforehand, as it was before (11.6.5.3): its mask then
    needs no Matte, whose colour could not be converted along. CannotConvert where picture and mask differ in size."""
    facts = read_facts(mask, GRAY)
    if (facts.width, facts.height) != (image.width, image.height):
        raise CannotConvert("it is mixed with a background colour by a mask of another size")
    alpha = load(mask, GRAY, facts)
    most = 255.0 if image.format == "uchar" else 65535.0
    alpha = alpha.linear(1 / (255.0 if alpha.format == "uchar" else 65535.0), 0)
    ground = [(m - low) / ((high - low) or 1) * most for m, (low, high) in zip(matte, space.ranges(8), strict=True)]
    pure = (image - ground) / (alpha == 0).ifthenelse(1.0, alpha) + ground
    return pure.rint().cast(image.format)


def outside_key(picture: Stream, space: Space, facts: Facts) -> NDArray[np.bool_] | None:
    """For a picture with a colour-key mask (8.9.6.4): True where a pixel is masked out. None without such a mask."""
    key = entry(picture, "/Mask")
    if not isinstance(key, Array):
        return None
    limits = np.array(numbers(key, 2 * space.n)).reshape(-1, 2)
    pixels = load(picture, space, facts, whole_range=False).numpy()
    pixels = pixels.reshape(facts.height, facts.width, space.n)
    if facts.bits < 8 and space.kind != "Indexed":
        pixels = pixels // (255 // (2**facts.bits - 1))
    return np.asarray(((pixels >= limits[:, 0]) & (pixels <= limits[:, 1])).all(axis=2))
