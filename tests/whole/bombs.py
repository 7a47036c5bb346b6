"""Files made to do harm: little on the disk and much in memory, circles without end, sizes that lie, doors out."""

from __future__ import annotations

import io
import struct
import zlib
from collections.abc import Callable
from pathlib import Path

import pikepdf
from pikepdf import Dictionary, Name
from PIL import Image

from hotfolder.colour.condition import PROFILES
from hotfolder.testing import make_pdf

Make = Callable[[Path], None]
SIZE = (105 * 72 / 25.4, 148 * 72 / 25.4)
BOX = f"[0 0 {SIZE[0]:.3f} {SIZE[1]:.3f}]"


def written(objects: list[str | bytes], trailer: str = "") -> bytes:
    """A PDF of these objects, the first one its root, with a right table, so that only what is meant is wrong."""
    out, places = bytearray(b"%PDF-1.6\n"), list[int]()
    for number, text in enumerate(objects, 1):
        places.append(len(out))
        body = text.encode("latin-1") if isinstance(text, str) else text
        out += b"%d 0 obj %s endobj\n" % (number, body)
    table = b"".join(b"%010d 00000 n \n" % place for place in places)
    count, start = len(objects) + 1, len(out)
    return bytes(out) + (
        b"xref\n0 %d\n0000000000 65535 f \n%strailer<</Size %d/Root 1 0 R%s>>\nstartxref\n%d\n%%%%EOF\n"
        % (count, table, count, trailer.encode(), start)
    )


def stream(data: bytes, entries: str = "") -> bytes:
    return b"<<%s/Length %d>>stream\n%s\nendstream" % (entries.encode(), len(data), data)


def zeros(megabytes: int, byte: bytes = b"\0") -> bytes:
    """So much of one byte, packed, without it ever being in memory."""
    packer = zlib.compressobj(1)
    block = byte * (1 << 20)
    return b"".join([packer.compress(block) for _ in range(megabytes)]) + packer.flush()


BOMB = zeros(500)
BLANKS = zeros(500, b" ")


def page(
    content: bytes, resources: str = "", *more: str | bytes, catalog: str = "", content_entries: str = ""
) -> bytes:
    """One page of A6; what is in `more` are objects 5 and on."""
    return written(
        [
            f"<</Type/Catalog/Pages 2 0 R{catalog}>>",
            "<</Type/Pages/Kids[3 0 R]/Count 1>>",
            f"<</Type/Page/Parent 2 0 R/MediaBox{BOX}/TrimBox{BOX}/Contents 4 0 R/Resources<<{resources}>>>>",
            stream(content, content_entries),
            *more,
        ]
    )


def plain(data: bytes) -> Make:
    return lambda path: path.write_bytes(data) and None


def picture(entries: str, data: bytes) -> bytes:
    whole = f"/Type/XObject/Subtype/Image/BitsPerComponent 8/ColorSpace/DeviceRGB{entries}"
    return page(b"q 300 0 0 420 0 0 cm /P Do Q", "/XObject<</P 5 0 R>>", stream(data, whole))


def doubled_forms(path: Path) -> None:
    """Forty forms, each drawing the next one twice."""
    forms: list[bytes] = []
    for number in range(40):
        following = f"/Resources<</XObject<</F {number + 6} 0 R>>>>" if number < 39 else ""
        drawn = b"/F Do /F Do" if number < 39 else b"0 0 9 9 re f"
        forms.append(stream(drawn, f"/Type/XObject/Subtype/Form/BBox[0 0 300 420]{following}"))
    path.write_bytes(page(b"/F Do", "/XObject<</F 5 0 R>>", *forms))


def chained_forms(path: Path) -> None:
    forms = [
        stream(b"/F Do", f"/Type/XObject/Subtype/Form/BBox[0 0 300 420]/Resources<</XObject<</F {number + 6} 0 R>>>>")
        for number in range(3000)
    ]
    path.write_bytes(
        page(b"/F Do", "/XObject<</F 5 0 R>>", *forms, stream(b"", "/Type/XObject/Subtype/Form/BBox[0 0 1 1]"))
    )


def many_pages(path: Path) -> None:
    count = 100_000
    kids = " ".join(f"{number} 0 R" for number in range(3, count + 3))
    each = f"<</Type/Page/Parent 2 0 R/MediaBox{BOX}>>"
    path.write_bytes(
        written(["<</Type/Catalog/Pages 2 0 R>>", f"<</Type/Pages/Kids[{kids}]/Count {count}>>", *[each] * count])
    )


def same_kids(path: Path) -> None:
    kids = "3 0 R " * 500_000
    path.write_bytes(written(["<</Type/Catalog/Pages 2 0 R>>", f"<</Type/Pages/Kids[{kids}]/Count 500000>>", f"<</Type/Page/Parent 2 0 R/MediaBox{BOX}>>"]))  # fmt: skip


def deep_kids(path: Path) -> None:
    depth = 20_000
    nodes = [f"<</Type/Pages/Parent {number + 1} 0 R/Kids[{number + 3} 0 R]/Count 1>>" for number in range(depth)]
    path.write_bytes(
        written(["<</Type/Catalog/Pages 2 0 R>>", *nodes, f"<</Type/Page/Parent {depth + 1} 0 R/MediaBox{BOX}>>"])
    )


def circle_of_parents(path: Path) -> None:
    path.write_bytes(written(["<</Type/Catalog/Pages 2 0 R>>", "<</Type/Pages/Parent 3 0 R/Kids[3 0 R]/Count 1>>", "<</Type/Pages/Parent 2 0 R/Kids[2 0 R 4 0 R]/Count 1>>", "<</Type/Page/Parent 3 0 R>>"]))  # fmt: skip


def table_before_itself(path: Path) -> None:
    data = page(b"0 0 9 9 re f")
    start = data.rindex(b"xref\n0")
    path.write_bytes(data.replace(b"trailer<<", b"trailer<</Prev %d" % start))


def streams_of_each_other(path: Path) -> None:
    """Two object streams that continue each other, and each stands in the other (7.5.7 forbids it)."""
    one = stream(b"6 0 <<>>", "/Type/ObjStm/N 1/First 4/Extends 6 0 R")
    two = stream(b"5 0 <<>>", "/Type/ObjStm/N 1/First 4/Extends 5 0 R")
    body = page(b"0 0 9 9 re f", "", one, two)
    rows = b"".join(
        struct.pack(">BIB", *row) for row in [(0, 0, 255), *[(1, body.index(b"%d 0 obj" % n), 0) for n in (1, 2, 3, 4)], (2, 6, 0), (2, 5, 0)]
    )  # fmt: skip
    start = body.index(b"xref\n0")
    index = stream(rows, "/Type/XRef/W[1 4 1]/Size 8/Root 1 0 R")
    path.write_bytes(body[:start] + b"7 0 obj " + index + b" endobj\nstartxref\n%d\n%%%%EOF\n" % start)


def laughing_metadata(path: Path) -> None:
    entities = "".join(f'<!ENTITY a{n} "{f"&a{n - 1};" * 10}">' for n in range(1, 12))
    text = (
        f'<?xpacket begin="" id="W5M0MpCehiHzreSzNTczkc9d"?><!DOCTYPE x [<!ENTITY a0 "ha"><!ENTITY f SYSTEM "file:///etc/passwd">{entities}]>'
        '<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">'
        '<rdf:Description rdf:about="" xmlns:dc="http://purl.org/dc/elements/1.1/"><dc:title>&a11;&f;</dc:title>'
        '</rdf:Description></rdf:RDF></x:xmpmeta><?xpacket end="w"?>'
    )
    path.write_bytes(
        page(b"0 0 9 9 re f", "", stream(text.encode(), "/Type/Metadata/Subtype/XML"), catalog="/Metadata 5 0 R")
    )


def lying_profile(tags: int, offset: int, size: int, length: int = 0) -> bytes:
    data = bytearray((PROFILES / "srgb.icc").read_bytes())
    data[0:4] = struct.pack(">I", length or len(data))
    data[128:132] = struct.pack(">I", tags)
    data[136:144] = struct.pack(">II", offset, size)
    return bytes(data)


LIES = {
    "longer than it is": lying_profile(9, 300, 40, length=0xFFFFFFFF),
    "a flood of tags": lying_profile(0xFFFFFFFF, 300, 40),
    "a tag beyond the end": lying_profile(9, 0xFFFFFFF0, 0x20),
    "an endless tag": lying_profile(9, 200, 0xFFFFFFFF),
}


def profiled_pdf(data: bytes) -> Make:
    def make(path: Path) -> None:
        path.write_bytes(
            page(b"/C cs 1 0 0 sc 0 0 99 99 re f", "/ColorSpace<</C[/ICCBased 5 0 R]>>", stream(data, "/N 3"))
        )

    return make


def profiled_picture(data: bytes, kind: str) -> Make:
    return lambda path: Image.new("RGB", (620, 874), "teal").save(path, kind, icc_profile=data, dpi=(150, 150))


def png(*chunks: tuple[bytes, bytes], width: int = 600, height: int = 800) -> bytes:
    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    every = [(b"IHDR", head), *chunks, (b"IEND", b"")]
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body)) for kind, body in every
    )


DRAWN = (b"IDAT", zlib.compress((b"\0" + b"\x40" * 1800) * 800))


def wide_tiff(compression: str) -> Make:
    """A small TIFF that says it is 100,000 pixels wide and high."""

    def make(path: Path) -> None:
        buffer = io.BytesIO()
        Image.new("L", (64, 64)).save(buffer, "TIFF", compression=compression)
        data = bytearray(buffer.getvalue())
        at = struct.unpack("<I", data[4:8])[0]
        for entry in range(at + 2, at + 2 + 12 * struct.unpack("<H", data[at : at + 2])[0], 12):
            if struct.unpack("<H", data[entry : entry + 2])[0] in (256, 257, 278):
                data[entry + 2 : entry + 12] = struct.pack("<HII", 4, 1, 100_000)
        path.write_bytes(data)

    return make


def circle_of_sheets(path: Path) -> None:
    buffer = io.BytesIO()
    Image.new("L", (64, 64)).save(buffer, "TIFF")
    data = bytearray(buffer.getvalue())
    at = struct.unpack("<I", data[4:8])[0]
    end = at + 2 + 12 * struct.unpack("<H", data[at : at + 2])[0]
    data[end : end + 4] = struct.pack("<I", at)
    path.write_bytes(data)


def jpx(width: int) -> bytes:
    """A small JPEG 2000 that says it is so wide and high (ISO/IEC 15444-1 A.5.1)."""
    buffer = io.BytesIO()
    Image.new("RGB", (64, 64), "navy").save(buffer, "JPEG2000")
    return buffer.getvalue().replace(struct.pack(">II", 64, 64), struct.pack(">II", width, width))


def calling_out(path: Path) -> None:
    make_pdf(path, trim_mm=(105, 148), bleed_mm=3)
    with pikepdf.open(path, allow_overwriting_input=True) as pdf:
        elsewhere = Dictionary(
            Type=Name.Filespec, F=pikepdf.String("/etc/passwd"), UF=pikepdf.String("http://127.0.0.1:9/x")
        )
        pdf.pages[0].obj.Contents = pikepdf.Stream(pdf, b"", F=elsewhere)
        pdf.Root.OpenAction = Dictionary(S=Name.Launch, F=elsewhere)
        pdf.save(path)


FORM = "/Type/XObject/Subtype/Form/BBox[0 0 300 420]"
#: By name: how it is made.
BOMBS: dict[str, Make] = {
    "packed drawing.pdf": plain(page(BLANKS, content_entries="/Filter/FlateDecode")),
    "packed twice.pdf": plain(page(zlib.compress(BLANKS), content_entries="/Filter[/FlateDecode/FlateDecode]")),
    "packed form.pdf": plain(page(b"/F Do", "/XObject<</F 5 0 R>>", stream(BLANKS, f"{FORM}/Filter/FlateDecode"))),
    "packed picture.pdf": plain(picture("/Width 100/Height 100/Filter/FlateDecode", BOMB)),
    "packed font.pdf": plain(
        page(b"BT /F 12 Tf (a) Tj ET", "/Font<</F 5 0 R>>",
             "<</Type/Font/Subtype/TrueType/BaseFont/X/FirstChar 97/LastChar 97/Widths[500]/FontDescriptor 6 0 R>>",
             "<</Type/FontDescriptor/FontName/X/Flags 4/FontFile2 7 0 R>>", stream(BOMB, "/Filter/FlateDecode"))
    ),
    "packed profile.pdf": plain(
        page(b"/C cs 1 0 0 sc 0 0 99 99 re f", "/ColorSpace<</C[/ICCBased 5 0 R]>>", stream(BOMB, "/N 3/Filter/FlateDecode"))
    ),
    "packed metadata.pdf": plain(
        page(b"0 0 9 9 re f", "", stream(BOMB, "/Type/Metadata/Subtype/XML/Filter/FlateDecode"), catalog="/Metadata 5 0 R")
    ),
    "packed objects.pdf": plain(
        page(b"0 0 9 9 re f", "", stream(BOMB, "/Type/ObjStm/N 100/First 1000/Filter/FlateDecode"), catalog="/Names 5 0 R")
    ),
    "wide picture.pdf": plain(picture("/Width 2147483647/Height 2147483647", b"\0" * 99)),
    "wide jpx.pdf": plain(picture("/Width 60000/Height 60000/Filter/JPXDecode", jpx(60_000))),
    "hidden jpx.pdf": plain(picture("/Width 64/Height 64/Filter/JPXDecode", jpx(60_000))),
    "wide fax.pdf": plain(picture("/Width 9/Height 9/Filter/CCITTFaxDecode/DecodeParms<</Columns 2147483647/Rows 2147483647/K -1>>", b"\0" * 99)),
    "deep predictor.pdf": plain(picture("/Width 9/Height 9/Filter/FlateDecode/DecodeParms<</Predictor 15/Columns 2147483647/Colors 2147483647>>", zlib.compress(b"\0" * 99))),
    "long lzw.pdf": plain(picture("/Width 20000/Height 20000/Filter/LZWDecode", b"\x80\x0b\x60" * 9)),
    "doubled forms.pdf": doubled_forms,
    "chained forms.pdf": chained_forms,
    "form in itself.pdf": plain(page(b"/F Do", "/XObject<</F 5 0 R>>", stream(b"/F Do", f"{FORM}/Resources<</XObject<</F 5 0 R>>>>"))),
    "pattern in itself.pdf": plain(
        page(b"/Pattern cs /P scn 0 0 99 99 re f", "/Pattern<</P 5 0 R>>",
             stream(b"/Pattern cs /P scn 0 0 9 9 re f", "/Type/Pattern/PatternType 1/PaintType 1/TilingType 1/BBox[0 0 9 9]/XStep .0001/YStep .0001/Resources<</Pattern<</P 5 0 R>>>>"))
    ),
    "tiny tiles.pdf": plain(
        page(b"/Pattern cs /P scn 0 0 299 419 re f", "/Pattern<</P 5 0 R>>",
             stream(b"0 0 1 1 re f", "/Type/Pattern/PatternType 1/PaintType 1/TilingType 1/BBox[0 0 1 1]/XStep .001/YStep .001/Resources<<>>"))
    ),
    "function of itself.pdf": plain(
        page(b"/C cs .5 scn 0 0 99 99 re f", "/ColorSpace<</C[/Separation/X/DeviceCMYK 5 0 R]>>",
             "<</FunctionType 3/Domain[0 1]/Functions[5 0 R 5 0 R]/Bounds[.5]/Encode[0 1 0 1]>>")
    ),
    "sampled without end.pdf": plain(
        page(b"/C cs .5 scn 0 0 99 99 re f", "/ColorSpace<</C[/Separation/X/DeviceCMYK 5 0 R]>>",
             stream(b"\0" * 99, "/FunctionType 0/Domain[0 1]/Range[0 1 0 1 0 1 0 1]/Size[2147483647]/BitsPerSample 32"))
    ),
    "space of itself.pdf": plain(page(b"/C cs .5 scn 0 0 99 99 re f", "/ColorSpace<</C 5 0 R>>", "[/Indexed 5 0 R 255 (abc)]")),
    "thousands of inks.pdf": plain(
        page(b"/C cs " + b".5 " * 5000 + b"scn 0 0 99 99 re f", "/ColorSpace<</C[/DeviceN[" + "".join(f"/I{n}" for n in range(5000)) + "]/DeviceCMYK 5 0 R]>>",
             "<</FunctionType 2/Domain[0 1]/N 1>>")
    ),
    "deep arrays.pdf": plain(page(b"[" * 200_000 + b"]" * 200_000 + b" TJ")),
    "deep entries.pdf": plain(page(b"0 0 9 9 re f", "/X " + "[" * 100_000 + "]" * 100_000)),
    "saved without end.pdf": plain(page(b"q " * 2_000_000 + b"0 0 9 9 re f")),
    "many parts.pdf": plain(page(b"0 0 9 9 re f\n" * 1_000_000)),
    "long path.pdf": plain(page(b"0 0 m " + b"9 9 l 0 9 l " * 500_000 + b"f")),
    "hundred thousand pages.pdf": many_pages,
    "one page half a million times.pdf": same_kids,
    "deep page tree.pdf": deep_kids,
    "circle of parents.pdf": circle_of_parents,
    "table before itself.pdf": table_before_itself,
    "object streams of each other.pdf": streams_of_each_other,
    "length of itself.pdf": plain(page(b"0 0 9 9 re f").replace(b"/Length 12", b"/Length 4 0 R")),
    "laughing metadata.pdf": laughing_metadata,
    "metadata that is none.pdf": plain(page(b"0 0 9 9 re f", "", "<</Type/Metadata>>", catalog="/Metadata 5 0 R")),
    "calling out.pdf": calling_out,
    "endless outline.pdf": plain(page(b"0 0 9 9 re f", "", "<</First 6 0 R/Last 6 0 R>>", "<</Title(x)/Next 6 0 R/First 6 0 R/Parent 5 0 R>>", catalog="/Outlines 5 0 R")),
    "endless names.pdf": plain(page(b"0 0 9 9 re f", "", "<</Kids[5 0 R 5 0 R]/Limits[(a)(z)]>>", catalog="/Names<</EmbeddedFiles 5 0 R/JavaScript 5 0 R>>")),
    "endless fields.pdf": plain(page(b"0 0 9 9 re f", "", "<</T(x)/Kids[5 0 R 5 0 R]/Parent 5 0 R>>", catalog="/AcroForm<</Fields[5 0 R]>>")),
    "endless layers.pdf": plain(page(b"/OC /L BDC 0 0 9 9 re f EMC", "/Properties<</L 5 0 R>>", "<</Type/OCMD/OCGs 5 0 R/VE 6 0 R>>", "[/Not 6 0 R]", catalog="/OCProperties<</OCGs[5 0 R]/D<</Order 6 0 R>>>>")),
    "shading without end.pdf": plain(
        page(b"/S sh", "/Shading<</S 5 0 R>>",
             stream(zeros(2, b"\x7f"), "/ShadingType 4/ColorSpace/DeviceRGB/BitsPerCoordinate 8/BitsPerComponent 8/BitsPerFlag 8/Decode[0 300 0 420 0 1 0 1 0 1]/Filter/FlateDecode"))
    ),
    **{f"profile, {name}.pdf": profiled_pdf(data) for name, data in LIES.items()},
    **{f"profile, {name}.png": profiled_picture(data, "PNG") for name, data in LIES.items()},
    **{f"profile, {name}.tiff": profiled_picture(data, "TIFF") for name, data in list(LIES.items())[:2]},
    **{f"profile, {name}.jpeg": profiled_picture(data, "JPEG") for name, data in list(LIES.items())[2:]},
    "packed profile.png": plain(png((b"iCCP", b"x\0\0" + BOMB), DRAWN)),
    "packed words.png": plain(png((b"zTXt", b"x\0\0" + BOMB), (b"iTXt", b"XML:com.adobe.xmp\0\1\0\0\0" + BOMB), DRAWN)),
    "packed rows.png": plain(png((b"IDAT", BOMB))),
    "wide.png": plain(png(DRAWN, width=2**31 - 1, height=2**31 - 1)),
    "wide deflate.tif": wide_tiff("tiff_adobe_deflate"),
    "wide lzw.tif": wide_tiff("tiff_lzw"),
    "wide bits.tif": wide_tiff("packbits"),
    "circle of sheets.tif": circle_of_sheets,
}  # fmt: skip

#: These take seconds, or all that the limits allow; they are tried by hand, with HOTFOLDER_EXAMPLES set.
SLOW = (
    "packed twice.pdf", "packed form.pdf", "packed font.pdf", "packed profile.pdf", "doubled forms.pdf", "tiny tiles.pdf",
    "hidden jpx.pdf", "long lzw.pdf", "saved without end.pdf", "many parts.pdf", "long path.pdf", "deep arrays.pdf",
    "hundred thousand pages.pdf", "one page half a million times.pdf", "pattern in itself.pdf", "chained forms.pdf", "shading without end.pdf",
)  # fmt: skip
