"""A picture becomes a page: the same colours and the right way up by PDFium, the right size by pypdf and pdfminer.

The reference for colours is Pillow's own decoding of the same file; for CMYK, which PDFium shows by a formula of its
own, Pillow's ink values put into a PDF as plain samples and shown by PDFium too.
"""

from __future__ import annotations

import io
import re
import struct
import warnings
import zlib
from pathlib import Path

import numpy as np
import pikepdf
import pypdf
import pypdfium2
import pytest
import pyvips
from pdfminer.high_level import extract_pages
from pdfminer.layout import LTFigure, LTImage
from PIL import Image, ImageCms, ImageOps

from hotfolder.finding import Hold
from hotfolder.pdf.opening.from_picture import Opened, picture_to_pdf
from hotfolder.pdf.opening.jpeg import read_jpeg
from hotfolder.pdf.opening.jpeg_check import check_jpeg_data
from hotfolder.pdf.opening.kinds import picture_kind
from hotfolder.pdf.opening.picture_file import Limits
from hotfolder.pdf.opening.picture_placing import Fit, Wanted
from hotfolder.units import parse_size

CORPUS = Path(__file__).parents[2].parent / "shared" / "corpus" / "images"
BLOCK = 16  # pixels on a side of a patch; a whole number of JPEG units at any subsampling


def patches(channels: int, across: int = 4, down: int = 3) -> np.ndarray:
    """Flat patches, all different, none symmetric: (down * 16, across * 16, channels) of 8 bits."""
    generator = np.random.default_rng(5)
    small = generator.integers(0, 256, (down, across, channels), dtype=np.uint8)
    return small.repeat(BLOCK, 0).repeat(BLOCK, 1)


def pillow(channels: int) -> Image.Image:
    data = patches(channels)
    return Image.frombytes({1: "L", 3: "RGB", 4: "CMYK"}[channels], data.shape[1::-1], data.tobytes())


def saved(image: Image.Image, form: str, **options: object) -> bytes:
    stream = io.BytesIO()
    image.save(stream, form, **options)
    return stream.getvalue()


def opened(tmp_path: Path, data: bytes, **limits: object) -> tuple[Path, Opened]:
    """The picture on a page of its own shape, one point a pixel, no bleed."""
    source, target = tmp_path / "picture", tmp_path / "page.pdf"
    source.write_bytes(data)
    with Image.open(source) as image:
        turned = image.getexif().get(0x112, 1) >= 5
        width, height = image.size[::-1] if turned else image.size
    trim = parse_size(f"{width}x{height}pt")
    wanted = Wanted(trim, 0, 0)
    return target, picture_to_pdf(source, picture_kind(data), target, wanted, Limits(**limits))


def shown(pdf: Path | bytes) -> np.ndarray:
    with pypdfium2.PdfDocument(pdf) as document:
        picture = document[0].render(scale=1).to_pil().convert("RGB")
        return np.asarray(picture).astype(int)


def middles(pixels: np.ndarray) -> np.ndarray:
    return pixels[BLOCK // 2 :: BLOCK, BLOCK // 2 :: BLOCK]


def inks_shown(inks: np.ndarray) -> np.ndarray:
    """How PDFium shows plain samples of ink, 255 being all of it."""
    pdf = pikepdf.new()
    height, width = inks.shape[:2]
    page = pdf.add_blank_page(page_size=(width, height))
    picture = pikepdf.Stream(pdf, inks.tobytes(), Width=width, Height=height, BitsPerComponent=8)
    picture.Type, picture.Subtype = pikepdf.Name.XObject, pikepdf.Name.Image
    picture.ColorSpace = pikepdf.Name.DeviceCMYK
    page.obj.Resources = pikepdf.Dictionary(XObject=pikepdf.Dictionary(P=picture))
    page.obj.Contents = pikepdf.Stream(pdf, f"{width} 0 0 {height} 0 0 cm /P Do".encode())
    stream = io.BytesIO()
    pdf.save(stream)
    return shown(stream.getvalue())


def without(data: bytes, marker: int) -> bytes:
    """A JPEG without its segments of one kind."""
    at = data.index(bytes((0xFF, marker)))
    return data[:at] + data[at + 2 + int.from_bytes(data[at + 2 : at + 4], "big") :]


def deep_patches(channels: int) -> np.ndarray:
    """Sixteen bits of which the lower eight say something of their own."""
    data = patches(channels).astype(np.uint16)
    return np.where(data > 9, data * 257 - 100, data * 257)


def vips(channels: int, deep: bool = False) -> pyvips.Image:
    image = pyvips.Image.new_from_array(deep_patches(channels) if deep else patches(channels))
    names = {1: ("b-w", "grey16"), 2: ("b-w", "grey16"), 3: ("srgb", "rgb16"), 4: ("cmyk", "cmyk")}
    return image.copy(interpretation=names[channels][deep])


PALETTE = pillow(3).quantize(12)
ONE_BIT = Image.fromarray(
    np.random.default_rng(2).integers(0, 2, (3, 5), np.uint8).repeat(16, 0).repeat(16, 1) * 255
).convert("1")
GRAY_RGB = {
    "jpeg": saved(pillow(3), "JPEG", quality=95),
    "jpeg 4:4:4": saved(pillow(3), "JPEG", quality=95, subsampling=0),
    "jpeg progressive": saved(pillow(3), "JPEG", quality=95, progressive=True),
    "jpeg gray": saved(pillow(1), "JPEG", quality=95),
    "jpeg with restarts": vips(3).jpegsave_buffer(Q=95, restart_interval=2),
    "jpeg stored as RGB": saved(pillow(3), "JPEG", quality=95, keep_rgb=True),
    "jpeg stored as RGB, by its letters": without(saved(pillow(3), "JPEG", quality=95, keep_rgb=True), 0xEE),
    "jpeg with more behind it": saved(pillow(3), "JPEG", quality=95) + b"\xff\xd8 a second picture",
    "png": saved(pillow(3), "PNG"),
    "png gray": saved(pillow(1), "PNG"),
    "png palette": saved(PALETTE, "PNG"),
    "png palette 4 bit": saved(PALETTE, "PNG", bits=4),
    "png 1 bit": saved(ONE_BIT, "PNG"),
    "png interlaced": vips(3).pngsave_buffer(interlace=True),
    "png 16 bit": vips(3, deep=True).pngsave_buffer(bitdepth=16),
    "tiff": saved(pillow(3), "TIFF"),
    "tiff lzw": saved(pillow(3), "TIFF", compression="tiff_lzw"),
    "tiff deflate": saved(pillow(3), "TIFF", compression="tiff_adobe_deflate"),
    "tiff packbits": saved(pillow(3), "TIFF", compression="packbits"),
    "tiff jpeg": saved(pillow(3), "TIFF", compression="jpeg", quality=95),
    "tiff gray": saved(pillow(1), "TIFF"),
    "tiff palette": saved(PALETTE, "TIFF"),
    "tiff 1 bit": saved(ONE_BIT, "TIFF"),
    "tiff 1 bit ccitt": saved(ONE_BIT, "TIFF", compression="group4"),
    "tiff tiled": vips(3).tiffsave_buffer(tile=True, tile_width=16, tile_height=16, compression="lzw"),
    "tiff big": vips(3).tiffsave_buffer(bigtiff=True),
    "tiff white is zero": vips(1).tiffsave_buffer(miniswhite=True),
    "tiff 16 bit": vips(3, deep=True).tiffsave_buffer(compression="deflate", predictor="horizontal"),
    "tiff 16 bit gray": vips(1, deep=True).tiffsave_buffer(),
}


def expected(data: bytes) -> np.ndarray:
    """Pillow's decoding in 8-bit RGB."""
    with Image.open(io.BytesIO(data)) as image:
        if image.mode == "I;16":
            return np.asarray(image).astype(int)[:, :, None].repeat(3, 2) // 256
        return np.asarray(ImageOps.exif_transpose(image).convert("RGB")).astype(int)


@pytest.mark.parametrize("name", GRAY_RGB)
def test_colours_are_those_of_the_file(name: str, tmp_path: Path) -> None:
    pdf, _ = opened(tmp_path, GRAY_RGB[name])
    found, wanted = middles(shown(pdf)), middles(expected(GRAY_RGB[name]))
    assert found.shape == wanted.shape
    assert np.abs(found - wanted).max() <= 2


@pytest.mark.parametrize("name", ["png 16 bit", "tiff 16 bit", "tiff 16 bit gray"])
def test_sixteen_bits_stay_sixteen(name: str, tmp_path: Path) -> None:
    """Every stored number by qpdf against what was put in."""
    pdf, _ = opened(tmp_path, GRAY_RGB[name])
    channels = 1 if "gray" in name else 3
    data = deep_patches(channels)
    with pikepdf.open(pdf) as found:
        picture = found.pages[0].Resources.XObject.Picture
        assert picture.BitsPerComponent == 16
        stored = np.frombuffer(picture.read_bytes(), ">u2").reshape(data.shape)
    assert (stored == data).all()


def test_one_bit_stays_one_bit(tmp_path: Path) -> None:
    pdf, _ = opened(tmp_path, GRAY_RGB["tiff 1 bit ccitt"])
    with pikepdf.open(pdf) as found:
        assert found.pages[0].Resources.XObject.Picture.BitsPerComponent == 1


@pytest.mark.parametrize("name", ["jpeg", "jpeg progressive", "jpeg gray", "jpeg stored as RGB"])
def test_a_jpeg_goes_in_unchanged(name: str, tmp_path: Path) -> None:
    pdf, _ = opened(tmp_path, GRAY_RGB[name])
    with pikepdf.open(pdf) as found:
        assert found.pages[0].Resources.XObject.Picture.read_raw_bytes() == GRAY_RGB[name]


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("form", ["JPEG", "TIFF", "PNG"])
def test_all_eight_orientations(form: str, orientation: int, tmp_path: Path) -> None:
    exif = Image.Exif()
    exif[0x112] = orientation
    options = {"quality": 95} if form == "JPEG" else {}
    data = saved(pillow(3), form, exif=exif, **options)
    pdf, result = opened(tmp_path, data)
    with Image.open(io.BytesIO(data)) as image:
        wanted = np.asarray(ImageOps.exif_transpose(image).convert("RGB")).astype(int)
    assert result.picture.orientation == orientation
    assert np.abs(middles(shown(pdf)) - middles(wanted)).max() <= 2


CMYK_JPEG = saved(pillow(4), "JPEG", quality=98, subsampling=0)
CMYK = {
    "jpeg with Adobe's marker": CMYK_JPEG,
    "jpeg without a marker, read inverted": without(CMYK_JPEG, 0xEE),
    "tiff": saved(pillow(4), "TIFF"),
    "tiff lzw": saved(pillow(4), "TIFF", compression="tiff_lzw"),
    "tiff by libvips, tiled": vips(4).tiffsave_buffer(tile=True, tile_width=16, tile_height=16),
}


@pytest.mark.parametrize("name", CMYK)
def test_inks_are_those_of_the_file(name: str, tmp_path: Path) -> None:
    pdf, result = opened(tmp_path, CMYK[name], unmarked_cmyk="inverted")
    with Image.open(io.BytesIO(CMYK[name])) as image:
        wanted = inks_shown(np.asarray(image))
    assert result.channels == 4
    assert np.abs(middles(shown(pdf)) - middles(wanted)).max() <= 2
    assert np.abs(middles(wanted) - middles(inks_shown(255 - patches(4)))).max() > 100  # a negative would be seen


def ycck() -> bytes:
    """A JPEG in YCCK with Adobe's transform 2: cyan, magenta, yellow as if red, green, blue (from memory: T.872)."""
    red, green, blue, black = np.moveaxis(patches(4).astype(float), 2, 0)
    luma = 0.299 * red + 0.587 * green + 0.114 * blue
    stored = [luma, 128 + 0.564 * (blue - luma), 128 + 0.713 * (red - luma), 255 - black]
    # Pillow turns what it is given upside down on writing.
    image = Image.merge("CMYK", [Image.fromarray(np.uint8(255 - np.clip(part.round(), 0, 255))) for part in stored])
    data = saved(image, "JPEG", quality=98, subsampling=0)
    at = data.index(b"Adobe\0")
    return data[: at + 11] + b"\x02" + data[at + 12 :]


def test_ycck_as_pillow_reads_it(tmp_path: Path) -> None:
    data = ycck()
    pdf, _ = opened(tmp_path, data)
    with Image.open(io.BytesIO(data)) as image:
        assert np.abs(np.asarray(image).astype(int) - patches(4)).max() <= 6
        wanted = inks_shown(np.asarray(image))
    assert np.abs(middles(shown(pdf)) - middles(wanted)).max() <= 3


def test_a_cmyk_jpeg_without_a_marker_is_held_unless_told(tmp_path: Path) -> None:
    with pytest.raises(Hold) as held:
        opened(tmp_path, without(CMYK_JPEG, 0xEE))
    assert held.value.finding.code == "ink_sense_unknown"
    pdf, _ = opened(tmp_path, without(CMYK_JPEG, 0xEE), unmarked_cmyk="plain")
    assert np.abs(middles(shown(pdf)) - middles(inks_shown(255 - patches(4)))).max() <= 3


def test_sixteen_bit_inks(tmp_path: Path) -> None:
    data = vips(4, deep=True).tiffsave_buffer(compression="lzw")
    pdf, _ = opened_plain(tmp_path, data)
    with pikepdf.open(pdf) as found:
        picture = found.pages[0].Resources.XObject.Picture
        stored = np.frombuffer(picture.read_bytes(), ">u2").reshape(patches(4).shape)
    assert (stored == deep_patches(4)).all()


def opened_plain(tmp_path: Path, data: bytes, trim: str = "64x48pt") -> tuple[Path, Opened]:
    """As `opened`, for files that Pillow can't read."""
    source, target = tmp_path / "picture", tmp_path / "page.pdf"
    source.write_bytes(data)
    return target, picture_to_pdf(source, picture_kind(data), target, Wanted(parse_size(trim), 0, 0), Limits())


SEE_THROUGH = {
    "png": saved(Image.frombytes("RGBA", (64, 48), patches(4).tobytes()), "PNG"),
    "png gray": saved(Image.frombytes("LA", (64, 48), patches(2).tobytes()), "PNG"),
    "png palette": saved(PALETTE, "PNG", transparency=bytes(range(0, 240, 20))),
    "tiff": saved(Image.frombytes("RGBA", (64, 48), patches(4).tobytes()), "TIFF"),
}


@pytest.mark.parametrize("name", SEE_THROUGH)
def test_see_through_parts_lie_on_white(name: str, tmp_path: Path) -> None:
    """Against Pillow's own compositing over white."""
    data = SEE_THROUGH[name]
    pdf, result = opened(tmp_path, data)
    with Image.open(io.BytesIO(data)) as image:
        layers = image.convert("RGBA")
    wanted = Image.alpha_composite(Image.new("RGBA", layers.size, "white"), layers).convert("RGB")
    assert np.abs(middles(shown(pdf)) - middles(np.asarray(wanted).astype(int))).max() <= 2
    assert [remark.code for remark in result.remarks][-1] == "laid_on_white"


def test_premultiplied_alpha(tmp_path: Path) -> None:
    """TIFF 6.0 section 18: associated alpha; half of red is stored as 128, and shows as light red."""
    flat = np.zeros((48, 64, 4), np.uint8)
    flat[:] = (128, 0, 0, 128)
    data = bytearray(saved(Image.frombytes("RGBA", (64, 48), flat.tobytes()), "TIFF"))
    at = data.index(struct.pack("<HHI", 338, 3, 1)) + 8
    data[at : at + 2] = b"\x01\x00"
    pdf, _ = opened_plain(tmp_path, bytes(data))
    assert np.abs(shown(pdf) - (255, 127, 127)).max() <= 1


def test_a_full_alpha_channel_says_nothing(tmp_path: Path) -> None:
    pixels = patches(4)
    pixels[:, :, 3] = 255
    data = saved(Image.frombytes("RGBA", (64, 48), pixels.tobytes()), "PNG")
    pdf, result = opened(tmp_path, data)
    assert [remark.code for remark in result.remarks] == ["no_profile"]
    assert np.abs(middles(shown(pdf)) - middles(pixels[:, :, :3].astype(int))).max() <= 1


# ---- profiles and gamma

SRGB = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
LAB = ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB")).tobytes()


@pytest.mark.parametrize("form", ["JPEG", "TIFF", "PNG"])
def test_an_embedded_profile_travels_with_the_picture(form: str, tmp_path: Path) -> None:
    pdf, result = opened(tmp_path, saved(pillow(3), form, icc_profile=SRGB))
    with pikepdf.open(pdf) as found:
        kind, profile = found.pages[0].Resources.XObject.Picture.ColorSpace
        assert (kind, profile.N, profile.read_bytes()) == ("/ICCBased", 3, SRGB)
    assert result.remarks == []


def cmyk_profile() -> bytes:
    return (Path(__file__).parents[2] / "hotfolder/data/profiles/fogra39l_coated_300.icc").read_bytes()


PROFILES = {
    "none": (3, None, "/DeviceRGB", ["no_profile"]),
    "none, gray": (1, None, "/DeviceGray", []),
    "none, inks": (4, None, "/DeviceCMYK", []),
    "damaged": (3, SRGB[:200], "/DeviceRGB", ["profile_unusable"]),
    "no profile at all": (3, b"hello", "/DeviceRGB", ["profile_unusable"]),
    "of RGB for gray": (1, SRGB, "/DeviceGray", ["profile_unusable"]),
    "of Lab for RGB": (3, LAB, "/DeviceRGB", ["profile_unusable"]),
    "of inks": (4, cmyk_profile(), "/DeviceCMYK", ["cmyk_profile_ignored"]),
    "of RGB for inks": (4, SRGB, "/DeviceCMYK", ["cmyk_profile_ignored"]),
}


@pytest.mark.parametrize("form", ["JPEG", "TIFF"])
@pytest.mark.parametrize("name", PROFILES)
def test_profiles(name: str, form: str, tmp_path: Path) -> None:
    channels, profile, space, codes = PROFILES[name]
    options = {} if profile is None else {"icc_profile": profile}
    pdf, result = opened(tmp_path, saved(pillow(channels), form, **options))
    with pikepdf.open(pdf) as found:
        assert found.pages[0].Resources.XObject.Picture.ColorSpace == space
    assert [remark.code for remark in result.remarks] == codes


def test_exif_may_say_srgb(tmp_path: Path) -> None:
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0xA001] = 1
    _, result = opened(tmp_path, saved(pillow(3), "JPEG", exif=exif))
    assert result.remarks == []


def png_with(*chunks: tuple[bytes, bytes]) -> bytes:
    data = saved(pillow(3), "PNG")
    more = b"".join(
        struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body)) for name, body in chunks
    )
    return data[:33] + more + data[33:]


def test_a_png_in_srgb_says_so(tmp_path: Path) -> None:
    _, result = opened(tmp_path, png_with((b"sRGB", b"\0"), (b"gAMA", struct.pack(">I", 45455))))
    assert result.remarks == []


def test_a_png_with_a_gamma_of_its_own(tmp_path: Path) -> None:
    """ISO/IEC 15948 12.2: light is the sample to the power of 1/gamma; sRGB's primaries give sRGB's matrix.

    The numbers of the matrix: IEC 61966-2-1, to four places.
    """
    primaries = struct.pack(">8I", 31270, 32900, 64000, 33000, 30000, 60000, 15000, 6000)
    pdf, _ = opened(tmp_path, png_with((b"gAMA", struct.pack(">I", 100_000)), (b"cHRM", primaries)))
    with pikepdf.open(pdf) as found:
        kind, values = found.pages[0].Resources.XObject.Picture.ColorSpace
        assert kind == "/CalRGB"
        assert [float(value) for value in values.Gamma] == [1, 1, 1]
        wanted = (0.4124, 0.2126, 0.0193, 0.3576, 0.7152, 0.1192, 0.1805, 0.0722, 0.9505)
        assert np.allclose([float(value) for value in values.Matrix], wanted, atol=2e-4)


# ---- size and place, read back by other libraries


def jpeg_of(width: int, height: int, ppi: int | None = 100, **options: object) -> bytes:
    dpi = {} if ppi is None else {"dpi": (ppi, ppi)}
    return saved(Image.new("RGB", (width, height), (90, 120, 30)), "JPEG", **dpi, **options)


PLACES = {
    # pixels, ppi, trim, bleed pt, fit -> media, trim and picture boxes in points, ppi
    "cover, a little too narrow": (
        (2425, 3700), 72, "24x36in", 9, Fit.COVER, (0, 0, 1746, 2610), (9, 9, 1737, 2601), (0, -27, 1746, 2637), 100
    ),
    "cover, lying": (
        (3625, 2425), 72, "24x36in", 9, Fit.COVER, (0, 0, 2610, 1746), (9, 9, 2601, 1737), (0, 0, 2610, 1746), 100
    ),
    "contain, of the sheet's shape": (
        (2425, 3625), 72, "24x36in", 9, Fit.CONTAIN, (0, 0, 1746, 2610), (9, 9, 1737, 2601), (0, 0, 1746, 2610), 100
    ),
    "contain, square: inside the safe margin of 36 pt": (
        (1000, 1000), 72, "10x20in", 9, Fit.CONTAIN, (0, 0, 738, 1458), (9, 9, 729, 1449), (45, 405, 693, 1053), 1000 / 9
    ),
    "true size": (
        (2425, 3625), 100, "24x36in", 9, Fit.TRUE_SIZE, (0, 0, 1746, 2610), (9, 9, 1737, 2601), (0, 0, 1746, 2610), 100
    ),
    "true size, no bleed in it": (
        (2400, 3600), 100, "24x36in", 9, Fit.TRUE_SIZE, (0, 0, 1728, 2592), (0, 0, 1728, 2592), (0, 0, 1728, 2592), 100
    ),
    "true size, a little larger than ordered": (
        (2450, 3650), 100, "24x36in", 9, Fit.TRUE_SIZE, (0, 0, 1746, 2610), (9, 9, 1737, 2601), (-9, -9, 1755, 2619), 100
    ),
    "nothing ordered": (
        (1000, 2000), 100, None, 9, Fit.COVER, (0, 0, 720, 1440), (9, 9, 711, 1431), (0, 0, 720, 1440), 100
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", PLACES)
def test_places(name: str, tmp_path: Path) -> None:
    pixels, ppi, trim, bleed, fit, media, cut, where, resolution = PLACES[name]
    source, target = tmp_path / "a.jpg", tmp_path / "a.pdf"
    source.write_bytes(jpeg_of(*pixels, ppi))
    wanted = Wanted(parse_size(trim) if trim else None, bleed, 36, fit)
    result = picture_to_pdf(source, "jpeg", target, wanted, Limits())
    page = pypdf.PdfReader(target).pages[0]
    assert [float(value) for value in page.mediabox] == pytest.approx(media, abs=0.01)
    assert [float(value) for value in page.bleedbox] == pytest.approx(media, abs=0.01)
    assert [float(value) for value in page.trimbox] == pytest.approx(cut, abs=0.01)
    image = placed_by_pdfminer(target)
    assert image.bbox == pytest.approx(where, abs=0.01)
    assert image.srcsize[0] * 72 / image.width == pytest.approx(resolution, rel=1e-4)
    assert result.placing.ppi == pytest.approx((resolution, resolution), rel=1e-4)


def placed_by_pdfminer(pdf: Path) -> LTImage:
    for layout in extract_pages(pdf):
        for item in layout:
            for inner in item if isinstance(item, LTFigure) else [item]:
                if isinstance(inner, LTImage):
                    return inner
    raise AssertionError("pdfminer sees no picture")


def test_a_banner_longer_than_a_page_may_be(tmp_path: Path) -> None:
    """ISO 32000-1 annex C.2: 14 400 units at most; beyond it the unit grows."""
    source, target = tmp_path / "a.jpg", tmp_path / "a.pdf"
    source.write_bytes(jpeg_of(100, 600))
    picture_to_pdf(source, "jpeg", target, Wanted(parse_size("1000x6000mm"), 0, 0), Limits())
    page = pypdf.PdfReader(target).pages[0]
    assert page["/UserUnit"] == 2
    assert float(page.mediabox.height) * 2 == pytest.approx(6000 / 25.4 * 72, abs=0.01)


def test_unequal_pixels_keep_their_shape(tmp_path: Path) -> None:
    """A fax of 204 by 98 pixels per inch: 1728 by 1078 pixels are 8.47 by 11 inches."""
    source, target = tmp_path / "a.tif", tmp_path / "a.pdf"
    source.write_bytes(saved(Image.new("1", (1728, 1078)), "TIFF", compression="group4", dpi=(204, 98)))
    picture_to_pdf(source, "tiff", target, Wanted(None, 0, 0), Limits())
    box = pypdf.PdfReader(target).pages[0].mediabox
    assert (float(box.width), float(box.height)) == pytest.approx((1728 / 204 * 72, 1078 / 98 * 72), abs=0.01)


# ---- files that are no good


def tiff_of(**changes: int) -> bytes:
    """A TIFF whose directory entries are changed: tag -> value."""
    data = bytearray(saved(pillow(3), "TIFF"))
    for tag, value in changes.items():
        at = re.search(re.escape(struct.pack("<H", int(tag[1:]))) + rb"[\x03\x04]\x00", data)
        assert at
        kind = data[at.start() + 2]
        data[at.start() + 8 : at.start() + 12] = struct.pack(
            "<I" if kind == 4 else "<HH", *([value] if kind == 4 else [value, 0])
        )
    return bytes(data)


def png_of(width: int, height: int, bits: int = 8, colour: int = 2) -> bytes:
    """A PNG with that header and a few bytes of pixels."""
    body = struct.pack(">IIBBBBB", width, height, bits, colour, 0, 0, 0)
    parts = ((b"IHDR", body), (b"IDAT", zlib.compress(b"\0" * 100)), (b"IEND", b""))
    chunks = [struct.pack(">I", len(b)) + n + b + struct.pack(">I", zlib.crc32(n + b)) for n, b in parts]
    return b"\x89PNG\r\n\x1a\n" + b"".join(chunks)


def broken(data: bytes, at: float, count: int = 300) -> bytes:
    """Bytes taken out of the middle."""
    place = int(len(data) * at)
    return data[:place] + data[place + count :]


def sof(data: bytes, offset: int, value: bytes) -> bytes:
    """A JPEG with something changed in its frame header."""
    at = data.index(b"\xff\xc0") + offset
    return data[:at] + value + data[at + len(value) :]


NOISE = Image.frombytes("RGB", (400, 300), np.random.default_rng(1).integers(0, 256, 360_000, np.uint8).tobytes())
NOISY, NOISY_PNG = saved(NOISE, "JPEG", quality=90), saved(NOISE, "PNG")
NOISY_TIFF = saved(NOISE, "TIFF", compression="tiff_lzw")
PAGES = io.BytesIO()
pillow(3).save(PAGES, "TIFF", save_all=True, append_images=[pillow(3), pillow(1)])
SPOT = bytearray(vips(4).bandjoin(vips(1)).tiffsave_buffer())
SPOT[SPOT.index(struct.pack("<HHI", 338, 3, 1)) + 8] = 0  # TIFF 6.0 section 18: unspecified
BAD = {
    "jpeg, only its beginning": (NOISY[:20], "damaged_picture", "breaks off"),
    "jpeg cut short": (NOISY[: len(NOISY) // 2], "damaged_picture", "breaks off"),
    "jpeg cut short and closed": (NOISY[: len(NOISY) // 2] + b"\xff\xd9", "damaged_picture", "is damaged"),
    "jpeg, middle missing": (broken(NOISY, 0.5), "damaged_picture", "is damaged"),
    "jpeg, last bytes missing": (broken(NOISY, 0.98), "damaged_picture", "is damaged"),
    "jpeg, something put in": (NOISY[:9000] + b"\x00" * 300 + NOISY[9000:], "damaged_picture", "more of it"),
    "jpeg progressive, middle missing": (
        broken(saved(NOISE, "JPEG", quality=90, progressive=True), 0.3), "damaged_picture", "is damaged"
    ),
    "jpeg with restarts, middle missing": (
        broken(pyvips.Image.new_from_buffer(NOISY, "").jpegsave_buffer(restart_interval=8), 0.5),
        "damaged_picture", "is damaged",
    ),
    "jpeg without height": (sof(NOISY, 5, b"\0\0"), "damaged_picture", "400 × 0 pixels"),
    "jpeg of 12 bits": (sof(NOISY, 4, b"\x0c"), "unusual_picture", "12 bits"),
    "jpeg, arithmetic": (sof(NOISY, 1, b"\xc9"), "unusual_picture", "way of packing"),
    "jpeg of a gigapixel": (sof(NOISY, 5, b"\x7f\xff\x7f\xff"), "too_many_pixels", "1074 megapixels"),
    "png of a gigapixel": (png_of(32_000, 32_000), "too_many_pixels", "1024 megapixels"),
    "png a kilometre long": (png_of(1, 2**31 - 1), "too_many_pixels", ""),
    "png without size": (png_of(0, 5), "damaged_picture", "0 × 5 pixels"),
    "png of odd bits": (png_of(10, 10, bits=3), "damaged_picture", "kind of colour"),
    "png with too few pixels": (png_of(64, 48), "damaged_picture", "breaks off"),
    "png with too many pixels": (png_of(4, 3), "damaged_picture", "more of it"),
    "png cut short": (NOISY_PNG[: len(NOISY_PNG) // 2], "damaged_picture", "breaks off"),
    "png, middle missing": (broken(NOISY_PNG, 0.5), "damaged_picture", ""),
    "png, a byte changed": (
        NOISY_PNG[:9000] + bytes((NOISY_PNG[9000] ^ 1,)) + NOISY_PNG[9001:], "damaged_picture", "is damaged"
    ),
    "tiff cut short": (NOISY_TIFF[: len(NOISY_TIFF) // 2], "damaged_picture", ""),
    "tiff, only its beginning": (NOISY_TIFF[:8], "damaged_picture", ""),
    "tiff, noise in the middle": (
        NOISY_TIFF[:20_000] + b"\xff" * 4000 + NOISY_TIFF[24_000:], "damaged_picture", "is damaged"
    ),
    "tiff of a gigapixel": (tiff_of(t256=32_000, t257=32_000), "too_many_pixels", "1024 megapixels"),
    "tiff without size": (tiff_of(t256=0), "damaged_picture", "0 × 48 pixels"),
    "tiff with its strip elsewhere": (tiff_of(t273=10**9), "damaged_picture", "breaks off"),
    "tiff in Lab": (tiff_of(t262=8), "unusual_picture", "Lab"),
    "tiff of three pages": (PAGES.getvalue(), "several_pages", "3 pages"),
    "tiff with a spot channel": (bytes(SPOT), "extra_channels", "5 channels; 4 make its colours"),
    "tiff of floating numbers": (vips(1).cast("float").tiffsave_buffer(), "unusual_picture", ""),
    "tiff, directories in a circle": (
        b"II*\0\x08\0\0\0\x01\0" + struct.pack("<HHII", 256, 3, 1, 5) + b"\x08\0\0\0", "damaged_picture", "circle"
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", BAD)
def test_bad_files_are_held_in_words(name: str, tmp_path: Path) -> None:
    data, code, words = BAD[name]
    with pytest.raises(Hold) as held:
        opened_plain(tmp_path, data)
    assert held.value.finding.code == code
    assert words in held.value.finding.message
    assert held.value.finding.mend
    assert str(tmp_path) not in held.value.finding.message


def test_a_gray_corner_is_no_damage(tmp_path: Path) -> None:
    """Middle gray is also what a decoder fills in where data has ended."""
    for size in ((400, 400), (50, 1000), (1000, 50), (17, 17), (8, 8)):
        opened_plain(tmp_path, saved(Image.new("RGB", size, (128, 128, 128)), "JPEG"), f"{size[0]}x{size[1]}pt")


@pytest.mark.parametrize("size", [(1, 1), (1, 40), (7, 9), (40, 1)])
@pytest.mark.parametrize("form", ["JPEG", "PNG", "TIFF"])
def test_tiny_pictures_open(form: str, size: tuple[int, int], tmp_path: Path) -> None:
    data = saved(Image.new("RGB", size, (200, 30, 30)), form)
    pdf, _ = opened(tmp_path, data) if min(size) >= 3 else opened_plain(tmp_path, data, f"{size[0]}x{size[1]}in")
    assert np.abs(shown(pdf)[0, 0] - (200, 30, 30)).max() <= 3


@pytest.mark.skipif(not CORPUS.is_dir(), reason="the corpus of odd CMYK pictures is not beside this checkout")
def test_odd_cmyk_pictures_open_or_are_held(tmp_path: Path) -> None:
    """Every file of the corpus; those that open have the inks that Pillow reads, where Pillow can read them."""
    outcomes: dict[str, int] = {}
    for path in sorted(CORPUS.iterdir()):
        data = path.read_bytes()
        reference = path.with_name(path.name.replace("planar-16", "contig-16"))  # Pillow mixes up 16-bit planes
        try:
            with warnings.catch_warnings(action="ignore"), Image.open(reference) as image:  # damaged EXIF
                image.load()
                inks = image.copy() if image.mode == "CMYK" else None
        except (OSError, SyntaxError, ValueError):
            inks = None
        size = inks.size if inks else (100, 100)
        try:
            pdf, _ = opened_plain(tmp_path, data, f"{size[0]}x{size[1]}pt")
        except Hold as held:
            outcomes[held.finding.code] = outcomes.get(held.finding.code, 0) + 1
            continue
        outcomes["opened"] = outcomes.get("opened", 0) + 1
        if inks:
            off = np.abs(shown(pdf) - inks_shown(np.asarray(inks)))
            assert off.mean() < 1.5, path.name
    assert set(outcomes) <= {"opened", "extra_channels", "crop_too_much", "damaged_picture", "unusual_picture"}
    assert outcomes["opened"] >= 20


@pytest.mark.parametrize("options", [{"subsampling": 0}, {"subsampling": 2}, {"subsampling": 1}])
@pytest.mark.parametrize("size", [(640, 480), (641, 475), (1203, 799)])
def test_the_coarse_picture_of_the_damage_check_is_what_a_decoder_makes_small(
    size: tuple[int, int], options: dict[str, int]
) -> None:
    """libjpeg, through libvips, decoding the same JPEG to an eighth, where the check had no units left over."""
    noise = np.random.default_rng(7).integers(0, 255, (size[1] // 16 + 1, size[0] // 16 + 1, 3), dtype=np.uint8)
    picture = Image.fromarray(noise).resize(size)
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=90, **options)
    coarse = check_jpeg_data(read_jpeg(out.getvalue()))
    if coarse is None:
        return
    small = pyvips.Image.jpegload_buffer(out.getvalue(), shrink=8).numpy()
    assert coarse.shape == small.shape
    assert np.abs(coarse.astype(int) - small).max() <= 1


@pytest.mark.parametrize(
    ("size", "subsampling"), [((640, 640), 2), ((800, 480), 2), ((264, 136), 2), ((1000, 1000), 2)]
)
def test_a_picture_that_happens_to_end_in_middle_gray_is_whole(size: tuple[int, int], subsampling: int) -> None:
    random = np.random.default_rng(1)
    pixels = random.integers(0, 256, (size[1], size[0], 3), dtype=np.uint8)
    pixels[-16:, -16:] = random.integers(122, 135, (16, 16, 3))
    data = io.BytesIO()
    Image.fromarray(pixels).save(data, "JPEG", quality=90, subsampling=subsampling)
    whole = data.getvalue()
    check_jpeg_data(read_jpeg(whole))
    with pytest.raises(ValueError, match="damaged"):  # and without its last 60 bytes it isn't
        check_jpeg_data(read_jpeg(whole[:-62] + whole[-2:]))
