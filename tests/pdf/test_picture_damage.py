"""Damaged pictures are never passed in silence: found when the PDF is opened, and left with a reason when converted."""

import io
import zlib
from pathlib import Path

import numpy as np
import pikepdf
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image
from sheets import Sheet, jpeg, smooth

from hotfolder.finding import Hold
from hotfolder.pdf.opening.placed_pictures import check_pictures, picture_fault
from hotfolder.pdf.pictures.fax import check_fax


def circle(side: int = 200) -> Image.Image:
    y, x = np.mgrid[0:side, 0:side] - side / 2
    return Image.fromarray(x**2 + y**2 + 30 * x * np.sin(y / 3) < side**2 / 6)


def fax(picture: Image.Image, coding: str) -> bytes:
    """The code that libtiff writes, taken out of its TIFF (one strip)."""
    out = io.BytesIO()
    picture.save(out, "TIFF", compression=coding, tiffinfo={278: picture.height})
    with Image.open(io.BytesIO(out.getvalue())) as opened:
        (at,), (size,) = opened.tag_v2[273], opened.tag_v2[279]
    return out.getvalue()[at : at + size]


FAXES = {"group4": "/K -1", "group3": "/K 0", "tiff_ccitt": "/K 0 /EncodedByteAlign true"}


def fax_fault(data: bytes, coding: str, rows: int = 200) -> str:
    sheet = Sheet()
    entries = f"/Filter /CCITTFaxDecode /DecodeParms << {FAXES[coding]} /Columns 200 /Rows {rows} >>"
    return picture_fault(sheet.put(sheet.image(data, "/DeviceGray", 200, rows, 1, entries)))


@pytest.mark.parametrize("coding", FAXES)
def test_a_whole_fax_picture_is_whole(coding: str) -> None:
    """The code of libtiff, which is not ours, is followed to its last row."""
    assert fax_fault(fax(circle(), coding), coding) == ""


def test_a_fax_picture_in_two_dimensions() -> None:
    """T.4 with K above 0, written by hand: a row by itself, then rows that repeat it; marks and tags between."""
    mark, flat = (
        "000000000001",
        "00110101" + "11" + "1000" + "10" + "1011",
    )  # 0 white, 2 black, 3 white, 3 black, 4 white
    bits = mark + "1" + flat + (mark + "0" + "1" * 5) * 3 + (mark + "1") * 6
    data = int(bits.ljust(-(-len(bits) // 8) * 8, "0"), 2).to_bytes(-(-len(bits) // 8), "big")
    facts = pikepdf.Dictionary(K=4, Columns=12)
    check_fax(data, facts, 4)
    with pytest.raises(ValueError, match="ends after 4 of 5 rows"):
        check_fax(data, facts, 5)


@pytest.mark.parametrize("left", [0.02, 0.3, 0.6, 0.95])
@pytest.mark.parametrize("coding", FAXES)
def test_a_fax_picture_cut_short(coding: str, left: float) -> None:
    data = fax(circle(), coding)
    assert "its fax data ends" in fax_fault(data[: int(len(data) * left)], coding)


@pytest.mark.parametrize("coding", FAXES)
def test_a_fax_picture_with_fewer_rows_than_it_says(coding: str) -> None:
    assert "of 300" in fax_fault(fax(circle(), coding), coding, rows=300)


def test_a_fax_picture_with_a_hole() -> None:
    data = fax(circle(), "group4")
    assert fax_fault(data[:200] + bytes([0xFF] * 9) + data[240:], "group4")


# JBIG2 (ITU-T T.88): a page, one generic region in T.6 code, the page's end


def segment(number: int, kind: int, data: bytes) -> bytes:
    return number.to_bytes(4, "big") + bytes([kind, 0, 1]) + len(data).to_bytes(4, "big") + data


def jbig2(side: int = 200) -> bytes:
    size = side.to_bytes(4, "big") * 2
    region = size + bytes(9) + b"\1" + fax(circle(side), "group4")
    return segment(0, 48, size + bytes(11)) + segment(1, 38, region) + segment(2, 49, b"")


def jbig2_fault(data: bytes) -> str:
    sheet = Sheet()
    return picture_fault(sheet.put(sheet.image(data, "/DeviceGray", 200, 200, 1, "/Filter /JBIG2Decode")))


def test_a_whole_jbig2_picture_is_whole() -> None:
    assert jbig2_fault(jbig2()) == ""
    assert jbig2_fault(jbig2()[:-11]) == ""  # the page's end says nothing that must be known


@pytest.mark.parametrize("left", [0.0, 0.01, 0.1, 0.5, 0.95])
def test_a_jbig2_picture_cut_short(left: float) -> None:
    data = jbig2()
    assert "JBIG2 data" in jbig2_fault(data[: int(len(data) * left)])


def test_jbig2_whose_shared_parts_are_cut_short() -> None:
    shared = segment(0, 0, bytes(40))
    sheet = Sheet()
    picture = sheet.put(sheet.image(jbig2(), "/DeviceGray", 200, 200, 1, "/Filter /JBIG2Decode"))
    picture.DecodeParms = pikepdf.Dictionary(JBIG2Globals=sheet.stream(shared))
    assert picture_fault(picture) == ""
    picture.DecodeParms = pikepdf.Dictionary(JBIG2Globals=sheet.stream(shared[:-9]))
    assert picture_fault(picture) == "its JBIG2 data is cut short"


# JPEG 2000


def jpx(**options: object) -> bytes:
    out = io.BytesIO()
    Image.fromarray(smooth(3, 128)).save(out, "JPEG2000", irreversible=False, **options)
    return out.getvalue()


@pytest.mark.parametrize("options", [{}, {"no_jp2": True}, {"tile_size": (64, 64)}])
@pytest.mark.parametrize("left", [0.2, 0.5, 0.9, 0.995])
def test_jpeg_2000_cut_short(options: dict[str, object], left: float) -> None:
    data = jpx(**options)
    for part, fault in ((data, ""), (data[: int(len(data) * left)], "its JPEG 2000 data")):
        sheet = Sheet()
        before = sheet.put(sheet.image(part, "/DeviceRGB", 128, 128, 8, "/Filter /JPXDecode"))
        assert picture_fault(before).startswith(fault)
        assert bool(picture_fault(before)) == bool(fault)
        assert [fault in x.why for x in sheet.walk().leftovers] == ([True] if fault else [])


# Inside the drawing instructions


INLINE = {
    "whole": (b"BI /W 10 /H 10 /BPC 8 /CS /RGB ID " + bytes(300) + b" EI Q", ""),
    "too few": (b"BI /W 10 /H 10 /BPC 8 /CS /G ID " + bytes(60) + b" EI " + b"0 0 m 10 10 l S " * 9, "60 of 100 bytes"),
    "too few, at the end": (b"BI /W 10 /H 10 /BPC 8 /CS /RGB ID " + bytes(200) + b" EI Q", "cut short"),
    "no end": (b"BI /W 10 /H 10 /BPC 8 /CS /G ID " + bytes(100) + b" 0 0 m 10 10 l S", "its end is missing"),
    "deflated": (b"BI /W 10 /H 10 /BPC 8 /CS /G /F /Fl ID " + zlib.compress(bytes(100)) + b" EI Q", ""),
    "deflated, too few": (b"BI /W 10 /H 10 /BPC 8 /CS /G /F /Fl ID " + zlib.compress(bytes(90)) + b" EI Q", "90 of 100"),
    "a stencil with too few": (b"BI /W 16 /H 10 /IM true ID " + bytes(15) + b" EI Q 1 0 0 1 0 0 cm 0 0 m 5 5 l S", "cut short"),
    "letters in the data": (b"BI /W 10 /H 4 /BPC 8 /CS /G ID " + b" EI 0 0 m 10 10 l S " * 2 + b" EI Q", ""),
    "fax": (
        b"BI /W 200 /H 200 /BPC 1 /CS /G /F /CCF /DP << /K -1 /Columns 200 >> ID "
        + fax(circle(), "group4") + b" EI Q", "",
    ),
    "fax, too few": (
        b"BI /W 200 /H 200 /BPC 1 /CS /G /F /CCF /DP << /K -1 /Columns 200 >> ID "
        + fax(circle(), "group4")[:300] + b" EI Q", "its fax data ends",
    ),
    "words in a text": (b"BT (BI /W 10 ID nothing EI) Tj ET", ""),
}  # fmt: skip


@pytest.mark.parametrize("place", ["page", "form", "pattern", "glyph"])
@pytest.mark.parametrize("case", INLINE)
def test_inline_pictures(case: str, place: str, tmp_path: Path) -> None:
    content, fault = INLINE[case]
    sheet = Sheet()
    if place == "page":
        sheet.page.Contents = sheet.pdf.make_stream(content)
    elif place == "glyph":
        glyph = sheet.pdf.make_stream(b"10 0 d0 " + content)
        font = pikepdf.Dictionary(Type=pikepdf.Name.Font, Subtype=pikepdf.Name.Type3, CharProcs={"/a": glyph})
        sheet.page.Resources.Font = pikepdf.Dictionary(F=sheet.pdf.make_indirect(font))
    else:
        kind = {"form": "/Subtype /Form", "pattern": "/PatternType 1"}[place]
        sheet.page.Resources.XObject.F = sheet.stream(content, f"{kind} /BBox [0 0 9 9]")
    path = tmp_path / "artwork.pdf"
    sheet.pdf.save(path)
    if fault:
        with pytest.raises(Hold, match=fault):
            check_pictures(path)
    else:
        check_pictures(path)


# Whatever the bytes


ENTRIES = [
    "/Filter /FlateDecode",
    "/Filter /FlateDecode /DecodeParms << /Predictor 15 /Colors 3 /Columns 9 >>",
    "/Filter /LZWDecode",
    "/Filter /RunLengthDecode",
    "/Filter [/ASCII85Decode /DCTDecode]",
    "/Filter /DCTDecode",
    "/Filter /JPXDecode /SMaskInData 1",
    "/Filter /CCITTFaxDecode /DecodeParms << /K -1 /Columns 9 >>",
    "/Filter /CCITTFaxDecode /DecodeParms << /K 4 /Columns 0 >>",
    "/Filter /JBIG2Decode",
    "/Filter /Nonsense",
    "/Filter [/FlateDecode /FlateDecode /Crypt]",
    "/Mask [0 1]",
    "/Decode [1 0]",
    "",
]
STARTS = [b"", jpeg(smooth(3))[:400], zlib.compress(smooth(3).tobytes())[:300], jpx()[:600], jbig2()[:80]]


@settings(deadline=None, max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    start=st.sampled_from(STARTS),
    data=st.binary(max_size=300),
    entries=st.sampled_from(ENTRIES),
    space=st.sampled_from(
        ["/DeviceRGB", "/DeviceGray", "/DeviceCMYK", "[/Indexed /DeviceRGB 3 <00>]", "/Nowhere", "7"]
    ),
    bits=st.sampled_from([1, 2, 4, 8, 16, 0, -3, 99]),
    width=st.sampled_from([1, 9, 32, 0, -1, 70000]),
)
def test_random_data_never_raises(start: bytes, data: bytes, entries: str, space: str, bits: int, width: int) -> None:
    """It is converted, or left with a reason; and what is found at opening is a sentence, not an exception."""
    sheet = Sheet()
    picture = sheet.put(sheet.image(start + data, space, width, 9, bits, entries))
    assert isinstance(picture_fault(picture), str)
    result = sheet.walk()
    assert all(left.why for left in result.leftovers)


@settings(deadline=None, max_examples=60)
@given(st.data())
def test_one_bad_byte_in_a_large_picture_never_raises(data: st.DataObject) -> None:
    """Large ones are read while they are written: damage shows late, and still leaves the picture as it was."""
    packed = bytearray(_LARGE)
    for _ in range(data.draw(st.integers(1, 3))):
        packed[data.draw(st.integers(0, len(packed) - 1))] ^= data.draw(st.integers(1, 255))
    sheet = Sheet()
    before = sheet.put(sheet.image(bytes(packed), "/DeviceRGB", 1300, 1300, 8, _LARGE_ENTRIES))
    result = sheet.walk()
    assert (sheet.now.objgen == before.objgen) == bool(result.leftovers)
    assert all("data" in left.why for left in result.leftovers)


_LARGE = zlib.compress(b"".join(b"\1" + bytes(3897) + bytes([i & 255, 7, 9]) for i in range(1300)))
_LARGE_ENTRIES = "/Filter /FlateDecode /DecodeParms << /Predictor 15 /Colors 3 /Columns 1300 >>"


@pytest.mark.parametrize("entries", [_LARGE_ENTRIES, "/Filter /FlateDecode"])
@pytest.mark.parametrize("left", [0.1, 0.9])
def test_a_large_picture_cut_short_says_how_much_is_there(entries: str, left: float) -> None:
    rows = np.random.default_rng(3).integers(0, 99, (1300, 3900 + ("Predictor" in entries)), dtype=np.uint8)
    rows[:, 0] = 0
    whole = zlib.compress(rows.tobytes(), 1)
    sheet = Sheet()
    before = sheet.put(sheet.image(whole[: int(len(whole) * left)], "/DeviceRGB", 1300, 1300, 8, entries))
    (leftover,) = sheet.walk().leftovers
    assert leftover.why.startswith("its data is cut short (")
    assert sheet.now.objgen == before.objgen


def test_a_row_with_a_filter_that_nobody_knows_is_told() -> None:
    rows = np.zeros((1300, 3901), np.uint8)
    rows[700, 0] = 9
    sheet = Sheet()
    before = sheet.put(sheet.image(zlib.compress(rows.tobytes()), "/DeviceRGB", 1300, 1300, 8, _LARGE_ENTRIES))
    (leftover,) = sheet.walk().leftovers
    assert leftover.why == "its data is damaged or cut short"
    assert sheet.now.objgen == before.objgen
