"""Pictures are converted pixel by pixel: every coding, depth, Decode array and kind of mask, against LittleCMS."""

import base64
import io
import zlib

import numpy as np
import pikepdf
import pypdfium2
import pytest
from numpy.typing import NDArray
from pikepdf import Array, Dictionary, Name, Object, Stream
from PIL import Image, ImageCms

from hotfolder.colour.condition import SHIPPED
from hotfolder.colour.profile import SRGB
from hotfolder.pdf.mappings import ToCondition, ToScreen
from hotfolder.pdf.walk.outcome import WalkResult
from hotfolder.pdf.walk.walker import walk

CONDITION = SHIPPED["coated_europe"]
SIDE = 32
Pixels = NDArray[np.uint8]


def smooth(channels: int) -> Pixels:
    """Soft waves in every channel, as a photograph has them."""
    y, x = np.mgrid[0:SIDE, 0:SIDE] / SIDE
    waves = [np.sin(3 * x + i) * np.cos(2 * y + 0.7 * i) * 0.5 + 0.5 for i in range(channels)]
    return (np.stack(waves, axis=-1) * 255).astype(np.uint8)


def lcms(pixels: Pixels, profile: bytes = SRGB.data) -> Pixels:
    """The pixels through LittleCMS by way of Pillow, in 8 bits."""
    transform = ImageCms.buildTransform(
        ImageCms.ImageCmsProfile(io.BytesIO(profile)), ImageCms.ImageCmsProfile(str(CONDITION.profile)), "RGB", "CMYK",
        ImageCms.Intent.RELATIVE_COLORIMETRIC, ImageCms.Flags.BLACKPOINTCOMPENSATION,
    )  # fmt: skip
    return np.asarray(ImageCms.applyTransform(Image.fromarray(pixels), transform))


class Sheet:
    """A page with one picture on it."""

    def __init__(self) -> None:
        self.pdf = pikepdf.new()
        self.pdf.add_blank_page(page_size=(200, 200))
        self.page = self.pdf.pages[0].obj
        self.page.Resources = Dictionary(XObject=Dictionary(), ColorSpace=Dictionary())

    def picture(self, data: bytes, space: "str | Object", bits: int = 8, entries: str = "", side: int = SIDE) -> Stream:
        stream = Stream(self.pdf, data)
        facts = Object.parse(f"<< /Type /XObject /Subtype /Image {entries} >>".encode())
        for key in facts.keys():  # noqa: SIM118
            stream[key] = facts[key]
        stream.Width = stream.Height = side
        stream.BitsPerComponent = stream.get("/BitsPerComponent", bits)
        stream.ColorSpace = Object.parse(space.encode()) if isinstance(space, str) else space
        self.page.Resources.XObject.P = self.pdf.make_indirect(stream)
        return self.page.Resources.XObject.P

    def walk(self, content: str = "q 144 0 0 144 0 0 cm /P Do Q") -> WalkResult:
        self.page.Contents = self.pdf.make_stream(content.encode())
        return walk(self.pdf, ToCondition(CONDITION))

    @property
    def now(self) -> Stream:
        return self.page.Resources.XObject.P

    def samples(self) -> NDArray[np.integer]:
        """The converted samples as a reader sees them: TIFF predictor undone by qpdf, Decode applied."""
        picture = self.now
        n = {"/DeviceCMYK": 4, "/DeviceGray": 1}[str(picture.ColorSpace)]
        if picture.Filter == Name.DCTDecode:
            with Image.open(io.BytesIO(picture.read_raw_bytes())) as opened:
                pixels = np.asarray(opened)  # Pillow hands out what is stored under Adobe's marker upright
                assert opened.mode == {4: "CMYK", 1: "L"}[n]
                assert n == 1 or [int(v) for v in picture.Decode] == [1, 0] * 4
                return pixels.reshape(SIDE, SIDE, n)
        kind = np.uint8 if int(picture.BitsPerComponent) == 8 else np.dtype(">u2")
        return np.frombuffer(picture.read_bytes(), kind).reshape(int(picture.Height), int(picture.Width), n)


def icc(sheet: Sheet, data: bytes, n: int) -> Array:
    stream = Stream(sheet.pdf, data)
    stream.N = n
    return Array([Name.ICCBased, sheet.pdf.make_indirect(stream)])


def jpeg(pixels: Pixels, **options: object) -> bytes:
    out = io.BytesIO()
    mode = {1: "L", 3: "RGB", 4: "CMYK"}[pixels.shape[-1]]
    Image.fromarray(pixels if mode != "L" else pixels[:, :, 0], mode).save(
        out, "JPEG", quality=98, subsampling=0, **options
    )
    return out.getvalue()


# Lossless


@pytest.mark.parametrize("coding", ["none", "deflated", "hex", "run length"])
def test_lossless_stays_lossless(coding: str) -> None:
    sheet = Sheet()
    raw = smooth(3).tobytes()
    data, name = {
        "none": (raw, ""),
        "deflated": (zlib.compress(raw), "/Filter /FlateDecode"),
        "hex": (raw.hex().encode() + b">", "/Filter /ASCIIHexDecode"),
        "run length": (
            b"".join(bytes([127]) + raw[i : i + 128] for i in range(0, len(raw), 128)) + b"\x80",
            "/Filter /RunLengthDecode",
        ),
    }[coding]
    sheet.picture(data, "/DeviceRGB", entries=name)
    result = sheet.walk()
    assert result.leftovers == []
    assert sheet.now.Filter == Name.FlateDecode
    assert abs(sheet.samples().astype(int) - lcms(smooth(3))).max() <= 2


def test_sixteen_bits_stay_sixteen() -> None:
    sheet = Sheet()
    deep = smooth(3).astype(">u2") * 257
    sheet.picture(deep.tobytes(), "/DeviceRGB", bits=16)
    sheet.walk()
    assert int(sheet.now.BitsPerComponent) == 16
    assert abs(sheet.samples() / 257 - lcms(smooth(3))).max() <= 2


@pytest.mark.parametrize("bits", [1, 2, 4])
def test_few_bits(bits: int) -> None:
    sheet = Sheet()
    steps = smooth(3) >> (8 - bits)
    wide = np.unpackbits(steps.reshape(SIDE, -1, 1), axis=2)[:, :, 8 - bits :].reshape(SIDE, -1)
    sheet.picture(np.packbits(wide, axis=1).tobytes(), "/DeviceRGB", bits=bits)
    sheet.walk()
    assert abs(sheet.samples().astype(int) - lcms(steps * (255 // (2**bits - 1)))).max() <= 2


def test_decode_array() -> None:
    sheet = Sheet()
    sheet.picture(smooth(3).tobytes(), "/DeviceRGB", entries="/Decode [1 0 0 1 0 0.5]")
    sheet.walk()
    meant = smooth(3).astype(float)
    meant[:, :, 0], meant[:, :, 2] = 255 - meant[:, :, 0], meant[:, :, 2] / 2
    assert "/Decode" not in sheet.now
    assert abs(sheet.samples().astype(int) - lcms(np.round(meant).astype(np.uint8))).max() <= 4


def test_own_profile_is_used() -> None:
    other = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB"))
    data = bytearray(other.tobytes())
    # Red and blue exchanged: a profile nobody could mistake for sRGB.
    red, blue = data.find(b"rXYZ"), data.find(b"bXYZ")
    data[red : red + 4], data[blue : blue + 4] = b"bXYZ", b"rXYZ"
    sheet = Sheet()
    sheet.picture(smooth(3).tobytes(), icc(sheet, bytes(data), 3))
    sheet.walk()
    assert abs(sheet.samples().astype(int) - lcms(smooth(3), bytes(data))).max() <= 2
    assert abs(sheet.samples().astype(int) - lcms(smooth(3))).max() > 50


def test_lab_picture() -> None:
    sheet = Sheet()
    pixels = np.full((SIDE, SIDE, 3), (255, 128, 128), np.uint8)
    sheet.picture(pixels.tobytes(), "[/Lab << /WhitePoint [.9642 1 .8249] /Range [-128 127 -128 127] >>]")
    sheet.walk()
    assert sheet.samples().max() <= 2  # L* 100: paper


def test_one_sample_a_pixel_changes_its_table_alone() -> None:
    sheet = Sheet()
    data = zlib.compress(bytes(SIDE * SIDE))
    sheet.picture(data, "[/Indexed /DeviceRGB 1 <FF0000FFFFFF>]", entries="/Filter /FlateDecode /Mask [1 1]")
    sheet.walk()
    space = sheet.now.ColorSpace
    assert sheet.now.read_raw_bytes() == data
    assert (space[0], space[1]) == (Name.Indexed, Name.DeviceCMYK)
    inks = np.frombuffer(bytes(space[3]), np.uint8).astype(int)
    assert abs(inks - lcms(np.array([[[255, 0, 0], [255, 255, 255]]], np.uint8)).ravel()).max() <= 2
    assert [int(v) for v in sheet.now.Mask] == [1, 1]


@pytest.mark.parametrize("space", ["icc", "cal"])
def test_calibrated_gray_is_black_ink_alone_and_keeps_its_data(space: str) -> None:
    sheet = Sheet()
    gray = "[/CalGray << /WhitePoint [.9642 1 .8249] /Gamma 2.2 >>]"
    found = gray if space == "cal" else icc(sheet, gray_profile(), 1)
    sheet.picture(smooth(1).tobytes(), found, entries="/Decode [1 0]")
    sheet.walk()
    assert sheet.now.read_bytes() == smooth(1).tobytes()
    table = np.frombuffer(bytes(sheet.now.ColorSpace[3]), np.uint8).reshape(256, 4)
    assert (table[:, :3] == 0).all()
    assert table[0, 3] == 0  # Decode [1 0]: sample 0 is white
    assert table[255, 3] == 255
    assert "/Decode" not in sheet.now


def gray_profile() -> bytes:
    from hotfolder.pdf.values.calibrated import calibrated_profile
    from hotfolder.pdf.values.spaces import SpaceReader

    space = SpaceReader().read(Object.parse(b"[/CalGray << /WhitePoint [.9642 1 .8249] /Gamma 1.8 >>]"), None)
    return calibrated_profile(space)


def test_gray_inks_and_spots_stay_as_they_are() -> None:
    spot = "[/Separation /Orange /DeviceCMYK << /FunctionType 2 /Domain [0 1] /C0 [0 0 0 0] /C1 [0 .6 1 0] /N 1 >>]"
    for n, space in ((1, "/DeviceGray"), (4, "/DeviceCMYK"), (1, spot)):
        sheet = Sheet()
        before = sheet.picture(smooth(n).tobytes(), space)
        result = sheet.walk()
        assert sheet.now.objgen == before.objgen
        assert result.changed["pictures"] == 0


# JPEG


def test_jpeg_is_encoded_once_as_inks() -> None:
    sheet = Sheet()
    data = jpeg(smooth(3))
    sheet.picture(data, "/DeviceRGB", entries="/Filter /DCTDecode")
    sheet.walk()
    assert sheet.now.Filter == Name.DCTDecode
    with Image.open(io.BytesIO(data)) as opened:
        meant = lcms(np.asarray(opened))
    assert abs(sheet.samples().astype(int) - meant).mean() < 1.5
    assert abs(sheet.samples().astype(int) - meant).max() < 14


def test_jpeg_inks_are_not_chroma_subsampled() -> None:
    sheet = Sheet()
    sheet.picture(jpeg(smooth(3)), "/DeviceRGB", entries="/Filter /DCTDecode")
    sheet.walk()
    with Image.open(io.BytesIO(sheet.now.read_raw_bytes())) as opened:
        assert {(h, v) for _, h, v, _ in opened.layer} == {(1, 1)}


def test_a_reader_sees_the_converted_jpeg_upright() -> None:
    """PDFium draws converted white as white, not as full ink: Decode fits Adobe's marker."""
    sheet = Sheet()
    sheet.picture(jpeg(np.full((SIDE, SIDE, 3), 255, np.uint8)), "/DeviceRGB", entries="/Filter /DCTDecode")
    sheet.walk()
    assert drawn(sheet.pdf)[100, 50].min() >= 250


def test_colour_transform_0_means_plain_rgb() -> None:
    """ISO 32000-1 table 13: no marker in the file, ColorTransform 0: the three colours are red, green, blue."""
    pixels = smooth(3)
    data = jpeg(pixels, keep_rgb=True)
    assert data[6:10] != b"JFIF"
    bare = strip_adobe(data)
    sheet = Sheet()
    sheet.picture(bare, "/DeviceRGB", entries="/Filter /DCTDecode /DecodeParms << /ColorTransform 0 >>")
    sheet.walk()
    assert abs(sheet.samples().astype(int) - lcms(pixels)).mean() < 3


def strip_adobe(data: bytes) -> bytes:
    """Without APP14, and with component names that no reader takes for R, G, B."""
    at = data.find(b"\xff\xee")
    data = data[:at] + data[at + 2 + int.from_bytes(data[at + 2 : at + 4], "big") :] if at > 0 else data
    return (
        data.replace(b"R\x11", b"\x01\x11")
        .replace(b"G\x11", b"\x02\x11")
        .replace(b"B\x11", b"\x03\x11")
        .replace(b"\x03R\x00G\x00B\x00", b"\x03\x01\x00\x02\x00\x03\x00")
    )


def test_jpeg_inside_another_filter() -> None:
    sheet = Sheet()
    data = zlib.compress(jpeg(smooth(3)))
    sheet.picture(data, "/DeviceRGB", entries="/Filter [/FlateDecode /DCTDecode]")
    result = sheet.walk()
    assert result.leftovers == []
    assert abs(sheet.samples().astype(int) - lcms(smooth(3))).mean() < 2


def test_ink_jpeg_to_screen_is_read_as_stored() -> None:
    """Adobe's inverted JPEG with the Decode array that rights it, and plain ones with and without his marker, look the same."""
    shown = []
    for inverted, marked in ((True, True), (False, True), (False, False)):
        sheet = Sheet()
        inks = smooth(4)
        data = jpeg(255 - inks if not inverted else inks)
        if not marked:
            at = data.find(b"\xff\xee")
            data = data[:at] + data[at + 2 + int.from_bytes(data[at + 2 : at + 4], "big") :]
        # Pillow writes CMYK inverted, with the marker; without Decode a PDF reader takes samples as stored.
        sheet.picture(
            data, "/DeviceCMYK", entries="/Filter /DCTDecode" + (" /Decode [1 0 1 0 1 0 1 0]" if inverted else "")
        )
        sheet.page.Contents = sheet.pdf.make_stream(b"q 144 0 0 144 0 0 cm /P Do Q")
        walk(sheet.pdf, ToScreen(CONDITION))
        shown.append(drawn(sheet.pdf)[60:195, 5:140].astype(int))
    assert abs(shown[0] - shown[1]).mean() < 3
    assert abs(shown[1] - shown[2]).mean() < 3


def test_jpeg_2000() -> None:
    sheet = Sheet()
    out = io.BytesIO()
    Image.fromarray(smooth(3)).save(out, "JPEG2000", irreversible=False)
    sheet.picture(out.getvalue(), "/DeviceRGB", entries="/Filter /JPXDecode")
    result = sheet.walk()
    assert result.leftovers == []
    assert sheet.now.Filter == Name.FlateDecode  # it was lossless
    assert abs(sheet.samples().astype(int) - lcms(smooth(3))).max() <= 2


# Masks


def test_mask_by_colour_becomes_a_stencil() -> None:
    sheet = Sheet()
    pixels = smooth(3)
    pixels[:8, :16] = (10, 20, 30)
    sheet.picture(pixels.tobytes(), "/DeviceRGB", entries="/Mask [10 10 20 20 30 30]")
    sheet.walk()
    mask = sheet.now.Mask
    hidden = np.unpackbits(np.frombuffer(mask.read_bytes(), np.uint8).reshape(SIDE, -1), axis=1).astype(bool)
    assert mask.ImageMask is True
    assert hidden[:8, :16].all()
    assert hidden.sum() == 8 * 16


def test_soft_mask_and_stencil_mask_are_kept() -> None:
    for key in ("SMask", "Mask"):
        sheet = Sheet()
        mask = sheet.pdf.make_indirect(Stream(sheet.pdf, smooth(1).tobytes()))
        mask.Type, mask.Subtype, mask.Width, mask.Height = Name.XObject, Name.Image, SIDE, SIDE
        picture = sheet.picture(smooth(3).tobytes(), "/DeviceRGB")
        picture[f"/{key}"] = mask
        sheet.walk()
        assert sheet.now[f"/{key}"].objgen == mask.objgen


def test_matte_is_undone() -> None:
    """A picture mixed with its background beforehand (11.6.5.3) comes out as the pure colours would."""
    pure, alpha = smooth(3).astype(float), np.clip(smooth(1).astype(float), 128, 255)
    ground = np.array([51, 102, 0])
    mixed = np.round(ground + alpha / 255 * (pure - ground)).astype(np.uint8)
    sheet = Sheet()
    mask = Stream(sheet.pdf, alpha.astype(np.uint8).tobytes())
    mask.Type, mask.Subtype, mask.Width, mask.Height = Name.XObject, Name.Image, SIDE, SIDE
    mask.ColorSpace, mask.BitsPerComponent, mask.Matte = Name.DeviceGray, 8, Array([0.2, 0.4, 0])
    sheet.picture(mixed.tobytes(), "/DeviceRGB").SMask = sheet.pdf.make_indirect(mask)
    sheet.walk()
    assert "/Matte" not in sheet.now.SMask
    assert abs(sheet.samples().astype(int) - lcms(pure.astype(np.uint8))).max() <= 6


def test_stencils_are_left_alone() -> None:
    sheet = Sheet()
    picture = sheet.picture(bytes(SIDE * SIDE // 8), "/DeviceRGB", entries="/ImageMask true")
    del picture.ColorSpace
    picture.BitsPerComponent = 1
    sheet.walk("0 0 0 rg q 9 0 0 9 0 0 cm /P Do Q")
    assert sheet.now.objgen == picture.objgen


# Inline


@pytest.mark.parametrize(
    ("entries", "data"),
    [
        ("/W 1 /H 2 /BPC 8 /CS /RGB", b"\xff\xff\xff\0\0\0"),
        ("/Width 1 /Height 2 /BitsPerComponent 8 /ColorSpace /DeviceRGB /F /AHx", b"FFFFFF000000>"),
        ("/W 1 /H 2 /BPC 8 /CS /Own /F [/A85]", base64.a85encode(b"\xff\xff\xff\0\0\0") + b"~>"),
        ("/W 1 /H 2 /BPC 8 /CS /RGB /F /Fl", zlib.compress(b"\xff\xff\xff\0\0\0")),
        ("/W 1 /H 2 /BPC 8 /CS [/I /RGB 1 <FFFFFF000000>]", b"\0\1"),
    ],
)
def test_inline_pictures(entries: str, data: bytes) -> None:
    sheet = Sheet()
    sheet.page.Resources.ColorSpace.Own = icc(sheet, SRGB.data, 3)
    sheet.page.Contents = sheet.pdf.make_stream(b"q BI " + entries.encode() + b" ID " + data + b" EI Q 0 0 0 rg f")
    result = walk(sheet.pdf, ToCondition(CONDITION))
    assert result.leftovers == []
    assert sheet.page.Contents.read_bytes() == b"q /Inline-1 Do Q 0 0 0 1 k f"
    picture = sheet.page.Resources.XObject["/Inline-1"]
    if isinstance(picture.ColorSpace, Array):
        assert bytes(picture.ColorSpace[3])[:4] == bytes(4)
    else:
        pixels = np.frombuffer(picture.read_bytes(), np.uint8).reshape(2, 4)
        assert pixels[0].max() <= 1
        assert abs(pixels[1].astype(int) - lcms(np.zeros((1, 1, 3), np.uint8))[0, 0]).max() <= 2


# What stays


LEFT = {
    "cut short": (b"\0" * 100, "/DeviceRGB", "", "cut short"),
    "no JPEG": (b"\xff\xd8 nothing", "/DeviceRGB", "/Filter /DCTDecode", "JPEG data is damaged"),
    "gray JPEG in an RGB space": (jpeg(smooth(1)), "/DeviceRGB", "/Filter /DCTDecode", "1 channels"),
    "JPEG of another size": (jpeg(smooth(3)[:16]), "/DeviceRGB", "/Filter /DCTDecode", "another size"),
    "no JPEG 2000": (b"nothing", "/DeviceRGB", "/Filter /JPXDecode", "JPEG 2000"),
    "impossible depth": (b"\0" * 9999, "/DeviceRGB", "/BitsPerComponent 7", "7 bits"),
    "unknown space": (b"\0" * 9999, "/Elsewhere", "", "missing"),
    "bad deflate": (b"zzzz", "/DeviceRGB", "/Filter /FlateDecode", "damaged"),
}


@pytest.mark.parametrize("case", LEFT)
def test_damaged_pictures_stay_and_are_told_with_their_place(case: str) -> None:
    data, space, entries, why = LEFT[case]
    sheet = Sheet()
    before = sheet.picture(data, space, entries=entries)
    result = sheet.walk()
    (left,) = result.leftovers
    assert (left.what, left.box) == ("a picture", (0, 0, 144, 144))
    assert why in left.why
    assert sheet.now.objgen == before.objgen


def test_soft_proof_shrinks_pictures_to_the_wanted_resolution() -> None:
    sheet = Sheet()
    large = np.asarray(Image.fromarray(smooth(3)).resize((1024, 1024)))
    sheet.picture(jpeg(large), "/DeviceRGB", entries="/Filter /DCTDecode", side=1024)
    sheet.page.Contents = sheet.pdf.make_stream(b"q 144 0 0 144 0 0 cm /P Do Q")
    walk(sheet.pdf, ToScreen(CONDITION, ppi=72))
    # 2 inches at 72 ppi are 144 pixels: the smallest power-of-two shrink that still has them is by 4 (256 pixels).
    assert (int(sheet.now.Width), int(sheet.now.Height)) == (256, 256)


def drawn(pdf: pikepdf.Pdf) -> NDArray[np.uint8]:
    saved = io.BytesIO()
    pdf.save(saved)
    return pypdfium2.PdfDocument(saved.getvalue())[0].render(scale=1, rev_byteorder=True).to_numpy()[:, :, :3]
