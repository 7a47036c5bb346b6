"""Transparency of pictures survives their conversion: keys, stencils, soft masks, mixed backgrounds, JPEG 2000's own."""

import io
import zlib

import numpy as np
import pytest
from pikepdf import Array, Dictionary, Name, Object, Stream
from PIL import Image
from sheets import CODERS, CONDITION, Pixels, Sheet, inked, jpeg, lcms, pack, samples, smooth

from hotfolder.pdf.looking.finer import finer_pictures
from hotfolder.pdf.mappings import ToCondition, ToScreen

LAB = "[/Lab << /WhitePoint [.9642 1 .8249] /Range [-128 127 -128 127] >>]"
LARGE = 1200  # pixels along a side from which a picture is read row by row


def hidden(mask: Stream) -> np.ndarray:
    width, height = int(mask.Width), int(mask.Height)
    rows = np.frombuffer(mask.read_bytes(), np.uint8).reshape(height, -1)
    return np.unpackbits(rows, axis=1)[:, :width].astype(bool)


# Colour keys


@pytest.mark.parametrize("side", [30, LARGE])
@pytest.mark.parametrize("bits", [2, 8, 16])
def test_a_key_hides_the_same_pixels(bits: int, side: int) -> None:
    few = min(bits, 8)
    steps = np.tile(smooth(3, 30), (side // 30, side // 30, 1)) >> (8 - few)
    high = {2: 1, 8: 120, 16: 120 * 257}[bits]
    wanted = (steps <= (high // 257 if bits == 16 else high)).all(axis=2)
    assert 0 < wanted.mean() < 1
    sheet = Sheet()
    key = f"/Filter /FlateDecode /Mask [0 {high} 0 {high} 0 {high}]"
    sheet.put(sheet.image(zlib.compress(pack(steps, bits)), "/DeviceRGB", side, side, bits, key))
    assert sheet.walk().leftovers == []
    assert (hidden(sheet.now.Mask) == wanted).all()
    assert sheet.now.Mask.ImageMask is True


def test_a_key_over_a_table_stays_a_key() -> None:
    sheet = Sheet()
    data = (np.arange(1024) % 4).astype(np.uint8).tobytes()
    space = "[/Indexed /DeviceRGB 3 <FF000000FF000000FFFFFF00>]"
    sheet.put(sheet.image(data, space, 32, 32, 8, "/Mask [1 2]"))
    sheet.walk()
    assert [int(v) for v in sheet.now.Mask] == [1, 2]
    assert sheet.now.read_bytes() == data
    seen = sheet.drawn()[60:380, 10:280]
    assert (seen == 255).all(axis=2).mean() > 0.4  # half of the pixels are hidden, on white


# Masks of their own


@pytest.mark.parametrize("size", [16, 32, 100])
def test_soft_masks_stay(size: int) -> None:
    sheet, pixels, soft = Sheet(), smooth(3), smooth(1, size)
    picture = sheet.put(sheet.image(pixels.tobytes(), "/DeviceRGB", 32, 32, 8))
    picture.SMask = sheet.image(soft.tobytes(), "/DeviceGray", size, size, 8)
    place = picture.SMask.objgen
    sheet.walk()
    assert sheet.now.SMask.objgen == place
    assert abs(sheet.drawn() - inked(lcms(pixels), soft).drawn()).max() <= 2


def test_stencil_masks_stay() -> None:
    sheet = Sheet()
    picture = sheet.put(sheet.image(smooth(3).tobytes(), "/DeviceRGB", 32, 32, 8))
    picture.Mask = sheet.stream(bytes([0xF0] * 128), "/Type /XObject /Subtype /Image /ImageMask true")
    picture.Mask.Width = picture.Mask.Height = 32
    place = picture.Mask.objgen
    sheet.walk()
    assert sheet.now.Mask.objgen == place


@pytest.mark.parametrize("coding", ["none", "deflated", "PNG up", "TIFF", "JPEG"])
@pytest.mark.parametrize("side", [30, LARGE])
def test_a_mixed_background_is_taken_out(coding: str, side: int) -> None:
    """11.6.5.3: what was c' = m + a (c - m) becomes c; then it needs no Matte, whose colour could not be converted."""
    pure = np.tile(smooth(3, 30), (side // 30, side // 30, 1)).astype(float)
    soft = np.tile(np.clip(smooth(1, 30), 100, 255), (side // 30, side // 30, 1))
    ground = np.array([51, 102, 0])
    mixed = np.round(ground + soft / 255 * (pure - ground)).astype(np.uint8)
    sheet = Sheet()
    if coding == "JPEG":
        data, entries = jpeg(mixed), "/Filter /DCTDecode"
    elif coding == "PNG up":  # each row against the one above, as the filter says
        rows = mixed.reshape(side, -1)
        data = zlib.compress(
            np.concatenate(
                [np.full((side, 1), 2, np.uint8), np.diff(rows, axis=0, prepend=0).astype(np.uint8)], axis=1
            ).tobytes()
        )
        entries = f"/Filter /FlateDecode /DecodeParms << /Predictor 12 /Colors 3 /Columns {side} >>"
    else:
        data, entries = CODERS[coding](mixed.tobytes(), side * 3, 3, 8, side)
    picture = sheet.put(sheet.image(data, "/DeviceRGB", side, side, 8, entries))
    picture.SMask = sheet.image(zlib.compress(soft.tobytes()), "/DeviceGray", side, side, 8, "/Filter /FlateDecode")
    picture.SMask.Matte = Array([0.2, 0.4, 0])
    assert sheet.walk().leftovers == []
    assert "/Matte" not in sheet.now.SMask
    assert sheet.now.SMask.read_bytes() == soft.tobytes()
    # Rounding of the mixed samples is made up to 255 / 100 times larger.
    limit = 12 if coding == "JPEG" else 3
    assert abs(sheet.drawn() - inked(lcms(pure.astype(np.uint8)), soft).drawn()).mean() <= limit


def test_a_mask_with_a_background_of_another_size_is_told() -> None:
    sheet = Sheet()
    picture = sheet.put(sheet.image(smooth(3).tobytes(), "/DeviceRGB", 32, 32, 8))
    picture.SMask = sheet.image(smooth(1, 16).tobytes(), "/DeviceGray", 16, 16, 8, "/Matte [0 0 0]")
    (left,) = sheet.walk().leftovers
    assert left.why == "it is mixed with a background colour by a mask of another size"
    assert sheet.now.objgen == picture.objgen


def test_a_table_with_a_background_is_told() -> None:
    sheet = Sheet()
    space = "[/Indexed /DeviceRGB 1 <FF000000FF00>]"
    picture = sheet.put(sheet.image(bytes(1024), space, 32, 32, 8))
    picture.SMask = sheet.image(smooth(1).tobytes(), "/DeviceGray", 32, 32, 8, "/Matte [0]")
    (left,) = sheet.walk().leftovers
    assert "colour table" in left.why


# JPEG 2000


def jpx(pixels: Pixels, **options: object) -> bytes:
    out = io.BytesIO()
    n = pixels.shape[2]
    mode = {1: "L", 2: "LA", 3: "RGB", 4: "RGBA"}[n]
    Image.frombytes(mode, pixels.shape[1::-1], pixels.tobytes()).save(out, "JPEG2000", irreversible=False, **options)
    return out.getvalue()


def with_jpx(data: bytes, space: "str | Object | None", entries: str = "") -> Sheet:
    sheet = Sheet()
    picture = sheet.put(sheet.image(data, space or "/DeviceRGB", 32, 32, 8, f"/Filter /JPXDecode {entries}"))
    if space is None:
        del picture.ColorSpace
    del picture.BitsPerComponent
    return sheet


@pytest.mark.parametrize("space", ["/DeviceRGB", LAB, None])
@pytest.mark.parametrize("no_jp2", [False, True])
def test_jpeg_2000_without_loss_stays_so(space: "str | None", no_jp2: bool) -> None:
    pixels = smooth(3)
    sheet = with_jpx(jpx(pixels, no_jp2=no_jp2), space)
    assert sheet.walk().leftovers == []
    assert sheet.now.Filter == Name.FlateDecode
    wanted = lcms(pixels, mode="LAB", exact=True) if space == LAB else lcms(pixels)
    assert abs(samples(sheet.now).astype(int) - wanted).max() <= (2 if space == LAB else 1)


def test_jpeg_2000_with_loss_becomes_jpeg() -> None:
    out = io.BytesIO()
    Image.fromarray(smooth(3, 64)).save(out, "JPEG2000", irreversible=True, quality_mode="dB", quality_layers=[60])
    sheet = with_jpx(out.getvalue(), "/DeviceRGB")
    sheet.walk()
    assert sheet.now.Filter == Name.DCTDecode
    assert abs(sheet.drawn() - inked(lcms(smooth(3, 64))).drawn()).mean() <= 3


@pytest.mark.parametrize("used", [0, 1, 2])
def test_jpeg_2000_with_opacity_of_its_own(used: int) -> None:
    """Table 89, SMaskInData: passed over, used, or used and mixed with black beforehand."""
    pure, soft = smooth(3), np.clip(smooth(1), 90, 255)
    stored = np.round(pure * (soft / 255)).astype(np.uint8) if used == 2 else pure
    sheet = with_jpx(jpx(np.concatenate([stored, soft], axis=2)), "/DeviceRGB", f"/SMaskInData {used}")
    assert sheet.walk().leftovers == []
    assert "/SMaskInData" not in sheet.now
    if used:
        assert (samples(sheet.now.SMask) == soft).all()
    else:
        assert "/SMask" not in sheet.now
    wanted = inked(lcms(pure), soft if used else None)
    assert abs(sheet.drawn() - wanted.drawn()).mean() <= 1


def test_jpeg_2000_that_should_hold_opacity_and_does_not_is_told() -> None:
    sheet = with_jpx(jpx(smooth(3)), "/DeviceRGB", "/SMaskInData 1")
    (left,) = sheet.walk().leftovers
    assert "should hold its transparency" in left.why


def test_jpeg_2000_with_a_table_in_the_pdf_keeps_its_data() -> None:
    places = (np.arange(1024) % 3).astype(np.uint8).reshape(32, 32, 1)
    data = jpx(places)
    sheet = with_jpx(data, "[/Indexed /DeviceRGB 2 <FF000000FF000000FF>]")
    sheet.walk()
    assert sheet.now.read_raw_bytes() == data
    made = np.frombuffer(bytes(sheet.now.ColorSpace[3]), np.uint8).reshape(-1, 4)
    table = np.array([[[255, 0, 0], [0, 255, 0], [0, 0, 255]]], np.uint8)
    assert abs(made.astype(int) - lcms(table, exact=True)[0]).max() <= 1


def test_jpeg_2000_with_a_table_in_its_data() -> None:
    """ISO 15444-1 I.5.3.4: places in a table of colours, which stands in a box before the data."""
    places = (np.arange(1024) % 3).astype(np.uint8).reshape(32, 32, 1)
    table = np.array([[250, 10, 10], [10, 250, 10], [10, 10, 250]], np.uint8)
    data = jpx(places)
    palette = b"\0\3\3\7\7\7" + table.tobytes()
    boxes = (len(palette) + 8).to_bytes(4, "big") + b"pclr" + palette
    boxes += (20).to_bytes(4, "big") + b"cmap" + b"".join(bytes([0, 0, 1, i]) for i in range(3))
    at = data.find(b"jp2h") - 4
    size = int.from_bytes(data[at : at + 4], "big")
    colour = data.find(b"colr")
    data = data[: colour + 7] + (16).to_bytes(4, "big") + data[colour + 11 :]
    data = data[:at] + (size + len(boxes)).to_bytes(4, "big") + data[at + 4 : at + size] + boxes + data[at + size :]
    sheet = with_jpx(data, None)
    assert sheet.walk().leftovers == []
    wanted = lcms(table[places[:, :, 0]])
    assert abs(samples(sheet.now).astype(int) - wanted).max() <= 1


def test_sixteen_bit_gray_of_jpeg_2000_stays_sixteen() -> None:
    out = io.BytesIO()
    deep = (smooth(1)[:, :, 0].astype(np.uint16)) * 257
    Image.fromarray(deep).save(out, "JPEG2000", irreversible=False)
    sheet = with_jpx(out.getvalue(), "[/CalGray << /WhitePoint [.9505 1 1.089] /Gamma 2.2 >>]")
    result = sheet.walk()
    assert (result.leftovers, result.remarks) == ([], [])
    assert int(sheet.now.BitsPerComponent) == 16


# Smaller


def fine_sheet(sizes: list[float], entries: str = "", bits: int = 8) -> tuple[Sheet, Stream]:
    """A picture of 600 by 600 pixels placed as squares of these sides, in points."""
    sheet = Sheet()
    data = pack(smooth(3, 600) >> (8 - bits), bits)
    picture = sheet.put(
        sheet.image(zlib.compress(data), "/DeviceRGB", 600, 600, bits, f"/Filter /FlateDecode {entries}")
    )
    places = "".join(f"q {side} 0 0 {side} 0 0 cm /P Do Q " for side in sizes)
    sheet.page.Contents = sheet.pdf.make_stream(places.encode())
    return sheet, picture


def shrunk(sheet: Sheet, ppi: float) -> tuple[int, int]:
    mapping = ToCondition(CONDITION)
    mapping.finer = finer_pictures(sheet.pdf, ppi)
    assert sheet.walk(mapping).leftovers == []
    return int(sheet.now.Width), int(sheet.now.Height)


@pytest.mark.parametrize(
    ("sizes", "ppi", "side"),
    [
        ([72], 200, 200),
        ([72], 173.4, 174),  # any ratio, rounded so that it is no coarser than wanted
        ([36, 144], 150, 300),  # its largest placement counts
        ([144, 36], 150, 300),
        ([72], 600, 600),
        ([72], 580, 600),  # hardly finer than wanted: left alone
        ([72], 1200, 600),
    ],
)
def test_pictures_become_as_fine_as_wanted_and_never_coarser(sizes: list[float], ppi: float, side: int) -> None:
    sheet, _ = fine_sheet(sizes)
    assert shrunk(sheet, ppi) == (side, side)


def test_a_smaller_picture_looks_the_same() -> None:
    sheet, _ = fine_sheet([144])
    assert shrunk(sheet, 100) == (200, 200)
    assert abs(sheet.drawn(1) - inked(lcms(smooth(3, 600))).drawn(1)).max() <= 4


def test_its_soft_mask_becomes_smaller_alike() -> None:
    sheet, picture = fine_sheet([72])
    picture.SMask = sheet.image(
        zlib.compress(smooth(1, 1200).tobytes()), "/DeviceGray", 1200, 1200, 8, "/Filter /FlateDecode"
    )
    assert shrunk(sheet, 150) == (150, 150)
    assert (int(sheet.now.SMask.Width), int(sheet.now.SMask.Height)) == (150, 150)
    assert abs(samples(sheet.now.SMask)[::10, ::10].astype(int) - smooth(1, 1200)[4::80, 4::80]).max() <= 3


def test_what_must_not_become_smaller() -> None:
    for entries, bits in (("", 1), ("/Mask [0 9 0 9 0 9]", 8)):
        sheet, _ = fine_sheet([72], entries, bits)
        assert shrunk(sheet, 100) == (600, 600)
    sheet, _ = fine_sheet([72])
    inks = sheet.put(sheet.image(smooth(4, 600).tobytes(), "/DeviceCMYK", 600, 600, 8))
    assert shrunk(sheet, 100) == (600, 600)
    assert sheet.now.objgen == inks.objgen


@pytest.mark.parametrize("coding", ["none", "deflated", "JPEG"])
def test_renderings_take_pictures_small(coding: str) -> None:
    """A picture looked at twice is decoded once: the second time must look like the first."""
    pixels = np.tile(smooth(3, 100), (16, 16, 1))
    seen = []
    for _ in range(2):
        sheet = Sheet()
        data, entries = {
            "none": (pixels.tobytes(), ""),
            "deflated": (zlib.compress(pixels.tobytes()), "/Filter /FlateDecode"),
            "JPEG": (jpeg(pixels), "/Filter /DCTDecode"),
        }[coding]
        sheet.put(sheet.image(data, "/DeviceRGB", 1600, 1600, 8, entries))
        sheet.walk(ToScreen(CONDITION, ppi=100))
        assert (int(sheet.now.Width), int(sheet.now.Height)) == (200, 200)
        seen.append(sheet.drawn())
    assert (seen[0] == seen[1]).all()


def test_dictionary_entries_that_mean_something_stay() -> None:
    sheet = Sheet()
    entries = "/Interpolate true /Intent /Perceptual /Alternates [] /OPI << >>"
    picture = sheet.put(sheet.image(smooth(3).tobytes(), "/DeviceRGB", 32, 32, 8, entries))
    picture.OC = sheet.pdf.make_indirect(Dictionary(Type=Name.OCG, Name="layer"))
    sheet.walk()
    assert sheet.now.Interpolate is True
    assert sheet.now.Intent == Name.Perceptual
    assert sheet.now.OC.objgen == picture.OC.objgen
    assert "/Alternates" not in sheet.now
    assert "/OPI" not in sheet.now
