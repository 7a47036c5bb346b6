"""Every coding, depth and colour space of a picture comes out as LittleCMS has the same samples, and without loss."""

import hashlib
import zlib

import numpy as np
import pytest
from pikepdf import Array, Name, Object
from sheets import CODERS, CONDITION, Pixels, Sheet, inked, jpeg, lcms, pack, samples, smooth

from hotfolder.colour.profile import SRGB
from hotfolder.pdf.mappings import ToCondition, ToScreen
from hotfolder.pdf.values.spaces import CMYK

LAB = "[/Lab << /WhitePoint [.9642 1 .8249] /Range [-128 127 -128 127] >>]"
# sRGB's own primaries and a plain gamma, so that LittleCMS can be given the same colours.
CAL = "[/CalRGB << /WhitePoint [.9505 1 1.089] /Gamma [2.2 2.2 2.2] /Matrix [.4124 .2126 .0193 .3576 .7152 .1192 .1805 .0722 .9505] >>]"
LARGE = 1200  # pixels along a side: from 4 MB on a picture is read row by row


def rows_of(pixels: Pixels, coding: str, bits: int = 8) -> tuple[bytes, str]:
    n = pixels.shape[2]
    row = (pixels.shape[1] * n * bits + 7) // 8
    data = pixels.tobytes() if bits == 8 else pack(pixels, bits)
    return CODERS[coding](data, row, n, bits, pixels.shape[1])


@pytest.mark.parametrize("coding", CODERS)
def test_codings(coding: str) -> None:
    sheet, pixels = Sheet(), smooth(3)
    data, entries = rows_of(pixels, coding)
    sheet.put(sheet.image(data, "/DeviceRGB", 32, 32, 8, entries))
    assert sheet.walk().leftovers == []
    wanted = lcms(pixels)
    assert sheet.now.Filter == Name.FlateDecode
    assert abs(samples(sheet.now).astype(int) - wanted).max() <= 1
    assert abs(sheet.drawn() - inked(wanted).drawn()).max() <= 2


@pytest.mark.parametrize("coding", ["none", "LZW, PNG", "deflated", "without check sum", "PNG each", "TIFF"])
@pytest.mark.parametrize("bits", [8, 16])
def test_the_same_row_by_row(coding: str, bits: int) -> None:
    """Large pictures are never held whole: the same samples come out, and in 16 bits to the last of them."""
    if coding == "LZW, PNG" and bits == 16:
        pytest.skip("the test's own LZW is slow, and qpdf undoes it whatever the depth")
    tile = smooth(3, 100)
    pixels = np.tile(tile, (LARGE // 100, LARGE // 100, 1))
    if coding in ("LZW, PNG", "PNG each"):  # written out byte by byte, so one band of rows is enough, again and again
        pixels = np.tile(tile[:20], (60, 12, 1))
    sheet = Sheet()
    if "PNG" in coding:
        part, entries = CODERS["PNG each"](*_raw(pixels[:20], bits))
        # Each band starts with a row that looks at none above it.
        band = zlib.decompress(part)
        data = zlib.compress(band * 60)
    else:
        data, entries = CODERS[coding](*_raw(pixels, bits))
    sheet.put(sheet.image(data, "/DeviceRGB", LARGE, LARGE, bits, entries))
    assert sheet.walk().leftovers == []
    made = samples(sheet.now)
    assert made.shape == (LARGE, LARGE, 4)
    small = Sheet()
    small.put(small.image(*_plain(tile, bits)))
    small.walk()
    height = 20 if "PNG" in coding else 100
    expected = np.tile(samples(small.now)[:height], (LARGE // height, LARGE // 100, 1))
    assert (made == expected).all()


def _raw(pixels: Pixels, bits: int) -> tuple[bytes, int, int, int, int]:
    data = pixels.tobytes() if bits == 8 else pack(pixels, bits)
    return data, pixels.shape[1] * 3 * bits // 8, 3, bits, pixels.shape[1]


def _plain(pixels: Pixels, bits: int) -> tuple[bytes, str, int, int, int]:
    return _raw(pixels, bits)[0], "/DeviceRGB", pixels.shape[1], pixels.shape[0], bits


SPACES = {
    "DeviceRGB": lambda sheet: "/DeviceRGB",
    "ICCBased": lambda sheet: sheet.icc(SRGB.data, 3),
    "CalRGB": lambda sheet: CAL,
    "Lab": lambda sheet: LAB,
}


def wanted_inks(space: str, pixels: Pixels, exact: bool = False) -> Pixels:
    if space == "Lab":
        return lcms(pixels, mode="LAB", exact=True)
    if space == "CalRGB":  # the same curve as sRGB's would be, put in beforehand
        linear = (pixels / 255.0) ** 2.2
        encoded = np.where(linear <= 0.0031308, linear * 12.92, 1.055 * linear ** (1 / 2.4) - 0.055)
        return lcms(np.round(encoded * 255).astype(np.uint8), exact=exact)
    return lcms(pixels, exact=exact)


@pytest.mark.parametrize("bits", [1, 2, 4, 8, 16])
@pytest.mark.parametrize("space", SPACES)
def test_depths_and_spaces(space: str, bits: int) -> None:
    few = min(bits, 8)
    steps = smooth(3) >> (8 - few)
    pixels = steps * np.uint8(255 // (2**few - 1))
    sheet = Sheet()
    found = SPACES[space](sheet)
    sheet.put(sheet.image(pack(steps, bits), found, 32, 32, bits))
    assert sheet.walk().leftovers == []
    wanted = wanted_inks(space, pixels)
    made = samples(sheet.now)
    assert int(sheet.now.BitsPerComponent) == (16 if bits == 16 else 8)
    # Pillow hands LittleCMS 8 bits, in which the other curve of CalRGB is rounded once more.
    off = abs(made / (257 if bits == 16 else 1) - wanted)
    assert off.max() <= (4 if space == "CalRGB" else 1.6)
    assert abs(sheet.drawn() - inked(wanted).drawn()).mean() <= 1


@pytest.mark.parametrize("bits", [1, 2, 4, 8])
@pytest.mark.parametrize("space", SPACES)
def test_a_table_changes_and_its_places_stay(space: str, bits: int) -> None:
    count = 2**bits
    table = smooth(3, 16).reshape(-1, 3)[:count]
    places = (np.arange(32 * 32).reshape(32, 32, 1) % count).astype(np.uint8)
    sheet = Sheet()
    found = SPACES[space](sheet)
    base = Object.parse(found.encode()) if isinstance(found, str) else found
    data = pack(places, bits)
    indexed = Array([Name.Indexed, base, count - 1, table.tobytes()])
    sheet.put(sheet.image(zlib.compress(data), indexed, 32, 32, bits, "/Filter /FlateDecode"))
    assert sheet.walk().leftovers == []
    assert sheet.now.read_bytes() == data
    wanted = wanted_inks(space, table[None], exact=True)
    made = np.frombuffer(bytes(sheet.now.ColorSpace[3]), np.uint8).reshape(-1, 4)
    assert abs(made.astype(int) - wanted[0]).max() <= (4 if space == "CalRGB" else 1)
    assert abs(sheet.drawn() - inked(wanted[0][places[:, :, 0]]).drawn()).max() <= (8 if space == "CalRGB" else 2)


@pytest.mark.parametrize("bits", [4, 8, 16])
def test_decode_arrays(bits: int) -> None:
    """Red upside down, green in half its range, blue as it is (8.9.5.2)."""
    few = min(bits, 8)
    steps = smooth(3) >> (8 - few)
    values = steps / (2**few - 1)
    pixels = np.round(np.stack([1 - values[:, :, 0], values[:, :, 1] / 2, values[:, :, 2]], axis=2) * 255)
    sheet = Sheet()
    sheet.put(sheet.image(pack(steps, bits), "/DeviceRGB", 32, 32, bits, "/Decode [1 0 0 .5 0 1]"))
    sheet.walk()
    assert "/Decode" not in sheet.now
    off = samples(sheet.now) / (257 if bits == 16 else 1) - lcms(pixels.astype(np.uint8)).astype(int)
    assert abs(off).max() <= 2.2  # half a unit of 8 bits, which is all that the reference is given, is up to one more


@pytest.mark.parametrize("n", [1, 2, 5])
def test_inks_stay_inks(n: int) -> None:
    """Separation and DeviceN over CMYK are the press's own: nothing of the picture changes, to its last byte."""
    sheet = Sheet()
    names = " ".join(f"/Ink{i}" for i in range(n))
    function = sheet.stream(b"{ " + b"pop " * (n - 1) + b"0 0 0 }", "/FunctionType 4 /Range [0 1 0 1 0 1 0 1]")
    function.Domain = Array([0, 1] * n)
    space = Array([Name.DeviceN, Object.parse(f"[{names}]".encode()), Name.DeviceCMYK, function])
    before = sheet.put(sheet.image(zlib.compress(smooth(n).tobytes()), space, 32, 32, 8, "/Filter /FlateDecode"))
    result = sheet.walk()
    assert (result.leftovers, result.changed["pictures"]) == ([], 0)
    assert sheet.now.objgen == before.objgen


def test_two_inks_on_a_screen() -> None:
    """The stand-in colour of each pair of samples, row by row; `stand_in` is what the PDF's program says."""
    pixels = np.tile(smooth(2, 40), (40, 40, 1))
    sheet = Sheet()
    program = sheet.stream(b"{ 0 0 }", "/FunctionType 4 /Domain [0 1 0 1] /Range [0 1 0 1 0 1 0 1]")
    space = Array([Name.DeviceN, Array([Name.Orange, Name.Green]), Name.DeviceCMYK, program])
    sheet.put(sheet.image(zlib.compress(pixels.tobytes()), space, 1600, 1600, 8, "/Filter /FlateDecode"))
    assert sheet.walk(ToScreen(CONDITION)).leftovers == []
    stand_in = np.concatenate([smooth(2, 40), np.zeros((40, 40, 2), np.uint8)], axis=2).reshape(-1, 4) / 255
    wanted = ToScreen(CONDITION).colours(CMYK, stand_in, True).reshape(40, 40, 3) * 255
    assert abs(samples(sheet.now)[-40:, -40:] - wanted).max() <= 1


# JPEG


@pytest.mark.parametrize("sampling", [0, 2])
@pytest.mark.parametrize("progressive", [False, True])
def test_jpeg_is_encoded_once_without_subsampling(sampling: int, progressive: bool) -> None:
    sheet, pixels = Sheet(), smooth(3, 64)
    data = jpeg(pixels, subsampling=sampling, progressive=progressive)
    sheet.put(sheet.image(data, "/DeviceRGB", 64, 64, 8, "/Filter /DCTDecode"))
    assert sheet.walk(ToCondition(CONDITION, picture_quality=98)).leftovers == []
    assert sheet.now.Filter == Name.DCTDecode
    assert abs(sheet.drawn() - inked(lcms(pixels)).drawn()).mean() <= 2


@pytest.mark.parametrize("n", [1, 4])
def test_jpeg_that_needs_no_change_keeps_its_bytes(n: int) -> None:
    data = jpeg(smooth(n))
    sheet = Sheet()
    kind = {1: "/DeviceGray", 4: "/DeviceCMYK"}[n]
    sheet.put(sheet.image(data, kind, 32, 32, 8, "/Filter /DCTDecode"))
    sheet.walk()
    assert hashlib.sha256(sheet.now.read_raw_bytes()).digest() == hashlib.sha256(data).digest()


def test_profiled_inks_lose_their_profile_and_no_byte_of_data() -> None:
    data = jpeg(smooth(4))
    sheet = Sheet()
    profile = sheet.icc(CONDITION.profile.read_bytes(), 4)
    sheet.put(sheet.image(data, profile, 32, 32, 8, "/Filter /DCTDecode /Decode [1 0 1 0 1 0 1 0]"))
    before = sheet.drawn()
    sheet.walk()
    assert sheet.now.ColorSpace == Name.DeviceCMYK
    assert sheet.now.read_raw_bytes() == data
    assert [int(v) for v in sheet.now.Decode] == [1, 0] * 4
    assert before.shape == sheet.drawn().shape


def test_a_shared_picture_is_converted_once() -> None:
    sheet = Sheet()
    picture = sheet.image(jpeg(smooth(3)), "/DeviceRGB", 32, 32, 8, "/Filter /DCTDecode")
    sheet.put(picture)
    sheet.page.Resources.XObject.Again = picture
    sheet.page.Contents = sheet.pdf.make_stream(b"q 90 0 0 90 0 0 cm /P Do Q q 20 0 0 20 100 100 cm /Again Do Q")
    sheet.pdf.add_blank_page(page_size=(200, 200))
    other = sheet.pdf.pages[1].obj
    other.Resources, other.Contents = sheet.page.Resources, sheet.page.Contents
    result = sheet.walk()
    made = {str(page.obj.Resources.XObject[key].objgen) for page in sheet.pdf.pages for key in ("/P", "/Again")}
    assert (len(made), result.changed["pictures"]) == (1, 1)


@pytest.mark.parametrize("decode", ["", "/Decode [1 0 1 0 1 0]"])
def test_jpeg_with_a_decode_array(decode: str) -> None:
    sheet, pixels = Sheet(), smooth(3)
    sheet.put(sheet.image(jpeg(pixels), "/DeviceRGB", 32, 32, 8, f"/Filter /DCTDecode {decode}"))
    sheet.walk(ToCondition(CONDITION, picture_quality=98))
    wanted = lcms(255 - pixels if decode else pixels)
    assert abs(sheet.drawn() - inked(wanted).drawn()).mean() <= 2


def test_colour_transform_counts_for_more_than_jfif() -> None:
    """Table 13: 0 says the three colours are red, green and blue; JFIF's marker would say that they are not."""
    pixels = smooth(3)
    plain = jpeg(pixels, keep_rgb=True)
    at = plain.find(b"\xff\xee")
    bare = plain[:at] + plain[at + 16 :] if at > 0 else plain
    named = bare.replace(b"R\x11", b"\1\x11").replace(b"G\x11", b"\2\x11").replace(b"B\x11", b"\3\x11")
    named = named.replace(b"\3R\0G\0B\0", b"\3\1\0\2\0\3\0")
    jfif = named[:2] + b"\xff\xe0\0\x10JFIF\0\1\1\0\0\1\0\1\0\0" + named[2:]
    sheet = Sheet()
    sheet.put(sheet.image(jfif, "/DeviceRGB", 32, 32, 8, "/Filter /DCTDecode /DecodeParms << /ColorTransform 0 >>"))
    before = sheet.drawn()
    sheet.walk(ToCondition(CONDITION, picture_quality=98))
    assert abs(sheet.drawn() - inked(lcms(pixels)).drawn()).mean() <= 2
    as_drawn = before[60:380, 10:280].reshape(-1, 3).mean(axis=0)
    assert abs(as_drawn - pixels.reshape(-1, 3).mean(axis=0)).max() < 25  # PDFium takes them so, too


def test_a_working_copy_is_stored_as_it_is() -> None:
    class Lasting(ToScreen):
        lasting = True

    for data, entries in ((jpeg(smooth(3)), "/Filter /DCTDecode"), (smooth(3).tobytes(), "")):
        sheet = Sheet()
        sheet.put(sheet.image(data, "/DeviceRGB", 32, 32, 8, entries))
        sheet.walk(ToScreen(CONDITION))
        assert "/Filter" not in sheet.now
        other = Sheet()
        other.put(other.image(data, "/DeviceRGB", 32, 32, 8, entries))
        other.walk(Lasting(CONDITION))
        assert abs(sheet.drawn() - other.drawn()).mean() <= 1
