"""A page with one picture on it, in any coding, and what LittleCMS makes of the same samples."""

import base64
import io
import zlib
from collections.abc import Callable

import numpy as np
import pikepdf
import pypdfium2
from numpy.typing import NDArray
from pikepdf import Array, Dictionary, Name, Object, Stream
from PIL import Image, ImageCms

from hotfolder.colour.condition import SHIPPED
from hotfolder.colour.profile import SRGB
from hotfolder.pdf.mappings import ToCondition
from hotfolder.pdf.walk.mapping import Mapping
from hotfolder.pdf.walk.outcome import WalkResult
from hotfolder.pdf.walk.walker import walk

CONDITION = SHIPPED["coated_europe"]
Pixels = NDArray[np.uint8]
PLACED = b"q 144 0 0 144 0 0 cm /P Do Q"


class Sheet:
    """A page of 200 by 200 points whose picture P covers 144 by 144."""

    def __init__(self) -> None:
        self.pdf = pikepdf.new()
        self.pdf.add_blank_page(page_size=(200, 200))
        self.page = self.pdf.pages[0].obj
        self.page.Resources = Dictionary(XObject=Dictionary(), ColorSpace=Dictionary())
        self.page.Contents = self.pdf.make_stream(PLACED)

    def stream(self, data: bytes, entries: str = "") -> Stream:
        made = self.pdf.make_indirect(Stream(self.pdf, data))
        for key, value in Object.parse(f"<< {entries} >>".encode()).items():
            made[key] = value
        return made

    def image(
        self, data: bytes, space: "str | Object", width: int, height: int, bits: int, entries: str = ""
    ) -> Stream:
        made = self.stream(data, f"/Type /XObject /Subtype /Image {entries}")
        made.Width, made.Height = width, height
        made.BitsPerComponent = bits
        made.ColorSpace = Object.parse(space.encode()) if isinstance(space, str) else space
        return made

    def put(self, picture: Stream) -> Stream:
        self.page.Resources.XObject.P = picture
        return picture

    def icc(self, data: bytes, n: int) -> Array:
        return Array([Name.ICCBased, self.stream(data, f"/N {n}")])

    def walk(self, mapping: Mapping | None = None) -> WalkResult:
        return walk(self.pdf, mapping or ToCondition(CONDITION))

    @property
    def now(self) -> Stream:
        return self.page.Resources.XObject.P

    def drawn(self, scale: float = 2) -> NDArray[np.int16]:
        """The sheet as PDFium shows it."""
        saved = io.BytesIO()
        self.pdf.save(saved)
        page = pypdfium2.PdfDocument(saved.getvalue())[0]
        return page.render(scale=scale, rev_byteorder=True).to_numpy()[:, :, :3].astype(np.int16)


def inked(pixels: Pixels, soft_mask: Pixels | None = None) -> Sheet:
    """A sheet whose picture is these inks, stored without any coding: what a converted one must look like."""
    sheet = Sheet()
    kind = {1: "/DeviceGray", 4: "/DeviceCMYK"}[pixels.shape[2]]
    sheet.put(sheet.image(pixels.tobytes(), kind, pixels.shape[1], pixels.shape[0], 8))
    if soft_mask is not None:
        sheet.now.SMask = sheet.image(soft_mask.tobytes(), "/DeviceGray", soft_mask.shape[1], soft_mask.shape[0], 8)
    return sheet


def samples(picture: Stream) -> NDArray[np.integer]:
    """A lossless picture's samples as qpdf unpacks them."""
    n = {"/DeviceCMYK": 4, "/DeviceGray": 1, "/DeviceRGB": 3}[str(picture.ColorSpace)]
    kind = np.uint8 if int(picture.BitsPerComponent) == 8 else np.dtype(">u2")
    return np.frombuffer(picture.read_bytes(), kind).reshape(int(picture.Height), int(picture.Width), n)


def smooth(channels: int, side: int = 32) -> Pixels:
    """Soft waves in every channel, as a photograph has them."""
    y, x = np.mgrid[0:side, 0:side] / side
    waves = [np.sin(3 * x + i) * np.cos(2 * y + 0.7 * i) * 0.5 + 0.5 for i in range(channels)]
    return (np.stack(waves, axis=-1) * 255).astype(np.uint8)


def lcms(pixels: Pixels, profile: bytes = SRGB.data, mode: str = "RGB", exact: bool = False) -> Pixels:
    """The pixels through LittleCMS by way of Pillow, in 8 bits; with `exact`, without the shortcuts it takes by itself."""
    source = ImageCms.createProfile("LAB") if mode == "LAB" else io.BytesIO(profile)
    transform = ImageCms.buildTransform(
        ImageCms.ImageCmsProfile(source), ImageCms.ImageCmsProfile(str(CONDITION.profile)), mode, "CMYK",
        ImageCms.Intent.RELATIVE_COLORIMETRIC,
        ImageCms.Flags.BLACKPOINTCOMPENSATION | (ImageCms.Flags.NOOPTIMIZE if exact else 0),
    )  # fmt: skip
    if mode == "LAB":
        pixels = pixels ^ np.array([0, 128, 128], np.uint8)  # Pillow's own way to store a and b
    plain = Image.frombytes(mode, (pixels.shape[1], pixels.shape[0]), pixels.tobytes())
    return np.asarray(ImageCms.applyTransform(plain, transform))


def pack(values: Pixels, bits: int) -> bytes:
    """Rows of samples (rows, columns, channels) of few bits, each row padded to whole bytes (ISO 32000-1 8.9.3)."""
    if bits == 16:
        return (values.astype(">u2") * 257).tobytes()
    wide = np.unpackbits(values.reshape(len(values), -1, 1), axis=2)[:, :, 8 - bits :].reshape(len(values), -1)
    return np.packbits(wide, axis=1).tobytes()


# Codings without loss: rows to (data, dictionary entries)


def lzw(data: bytes) -> bytes:
    """LZW of 9-bit codes alone (7.4.4.2): the table is cleared before longer ones are due."""
    codes = [256]
    for at in range(0, len(data), 200):
        codes += [*data[at : at + 200], 256]
    bits = "".join(f"{code:09b}" for code in [*codes, 257])
    return int(bits.ljust(-(-len(bits) // 8) * 8, "0"), 2).to_bytes(-(-len(bits) // 8), "big")


def run_length(data: bytes) -> bytes:
    return b"".join(bytes([len(data[i : i + 128]) - 1]) + data[i : i + 128] for i in range(0, len(data), 128)) + b"\x80"


def png_rows(data: bytes, row: int, step: int, kind: int | None) -> bytes:
    """Rows with one of PNG's filters (ISO 15948 9.2), or each with another, written out plainly."""
    out = bytearray()
    above = bytes(row)
    for number, at in enumerate(range(0, len(data), row)):
        here, chosen = data[at : at + row], number % 5 if kind is None else kind
        out.append(chosen)
        for i in range(row):
            a, b = here[i - step] if i >= step else 0, above[i]
            c = above[i - step] if i >= step else 0
            near = min((abs(b - c), 0, a), (abs(a - c), 1, b), (abs(a + b - 2 * c), 2, c))[2]
            out.append((here[i] - (0, a, b, (a + b) // 2, near)[chosen]) & 255)
        above = here
    return bytes(out)


def tiff_rows(data: bytes, row: int, n: int, bits: int) -> bytes:
    """Rows as differences from the sample to the left (TIFF 6.0 section 14)."""
    kind = np.dtype(">u2") if bits == 16 else np.dtype(np.uint8)
    rows = np.frombuffer(data, kind).reshape(-1, row // kind.itemsize // n, n)
    out = rows.copy()
    out[:, 1:] -= rows[:, :-1]
    return out.tobytes()


Coder = Callable[[bytes, int, int, int, int], tuple[bytes, str]]  # data, bytes in a row, n, bits, columns


def _predicted(number: int, n: int, bits: int, columns: int) -> str:
    return f"/Predictor {number} /Colors {n} /BitsPerComponent {bits} /Columns {columns}"


def png(kind: int | None, filter_name: str = "FlateDecode") -> Coder:
    def code(data: bytes, row: int, n: int, bits: int, columns: int) -> tuple[bytes, str]:
        rows = png_rows(data, row, max(1, n * bits // 8), kind)
        packed = zlib.compress(rows) if filter_name == "FlateDecode" else lzw(rows)
        said = _predicted(15 if kind is None else 10 + kind, n, bits, columns)
        return packed, f"/Filter /{filter_name} /DecodeParms << {said} >>"

    return code


def tiff(data: bytes, row: int, n: int, bits: int, columns: int) -> tuple[bytes, str]:
    said = _predicted(2, n, bits, columns)
    return zlib.compress(tiff_rows(data, row, n, bits)), f"/Filter /FlateDecode /DecodeParms << {said} >>"


CODERS: dict[str, Coder] = {
    "none": lambda data, *_: (data, ""),
    "hex": lambda data, *_: (data.hex().encode() + b">", "/Filter /ASCIIHexDecode"),
    "85": lambda data, *_: (base64.a85encode(data) + b"~>", "/Filter /ASCII85Decode"),
    "run length": lambda data, *_: (run_length(data), "/Filter /RunLengthDecode"),
    "LZW": lambda data, *_: (lzw(data), "/Filter /LZWDecode"),
    "LZW, PNG": png(None, "LZWDecode"),
    "deflated": lambda data, *_: (zlib.compress(data), "/Filter /FlateDecode"),
    "85 of deflated": lambda data, *_: (
        base64.a85encode(zlib.compress(data)) + b"~>",
        "/Filter [/ASCII85Decode /FlateDecode]",
    ),
    "without check sum": lambda data, *_: (zlib.compress(data)[:-4], "/Filter /FlateDecode"),
    "PNG none": png(0),
    "PNG sub": png(1),
    "PNG up": png(2),
    "PNG average": png(3),
    "PNG Paeth": png(4),
    "PNG each": png(None),
    "TIFF": tiff,
}


def jpeg(pixels: Pixels, **options: object) -> bytes:
    out = io.BytesIO()
    mode = {1: "L", 3: "RGB", 4: "CMYK"}[pixels.shape[-1]]
    Image.frombytes(mode, pixels.shape[1::-1], pixels.tobytes()).save(
        out, "JPEG", quality=98, **{"subsampling": 0, **options}
    )
    return out.getvalue()
