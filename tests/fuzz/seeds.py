"""Files to damage: some of our own making, one for each thing a reader must understand, and those of a folder."""

from __future__ import annotations

import io
import tempfile
from pathlib import Path

import pikepdf
from mutate import opened
from pikepdf import Array, Dictionary, Name
from PIL import Image

from hotfolder.colour.condition import PROFILES
from hotfolder.testing import make_pdf

LARGEST = 400_000  # bytes; what is larger takes long and is mostly pictures


def ours() -> dict[str, bytes]:
    """Small artwork with many kinds of colour, picture, gradient, font and frame."""
    made: dict[str, bytes] = {}
    with tempfile.TemporaryDirectory() as folder:
        plain = make_pdf(Path(folder) / "plain.pdf", trim_mm=(105, 148), bleed_mm=3)
        made["plain.pdf"] = opened(plain.read_bytes())
        made["rich.pdf"] = opened(_rich(plain.read_bytes()))
        made["rich packed.pdf"] = _rich(plain.read_bytes())
    picture = Image.linear_gradient("L").resize((240, 320))
    colours = Image.merge("RGB", (picture, picture.rotate(180), picture.transpose(Image.Transpose.FLIP_LEFT_RIGHT)))
    profile = (PROFILES / "srgb.icc").read_bytes()
    kinds: list[tuple[str, Image.Image, str, dict[str, object]]] = [
        ("gray.png", picture, "PNG", {}),
        ("profile.png", colours, "PNG", {"icc_profile": profile}),
        ("palette.png", colours.quantize(16), "PNG", {}),
        ("clear.png", colours.convert("RGBA"), "PNG", {}),
        ("plain.jpg", colours, "JPEG", {"quality": 80}),
        ("stepwise.jpg", colours, "JPEG", {"progressive": True, "icc_profile": profile}),
        ("inks.jpg", colours.convert("CMYK"), "JPEG", {}),
        ("plain.tif", colours, "TIFF", {}),
        ("lzw.tif", colours, "TIFF", {"compression": "tiff_lzw", "icc_profile": profile}),
        ("deflate.tif", colours.convert("CMYK"), "TIFF", {"compression": "tiff_adobe_deflate"}),
        ("jpeg.tif", colours, "TIFF", {"compression": "jpeg"}),
        ("fax.tif", picture.convert("1"), "TIFF", {"compression": "group4"}),
    ]
    for name, image, kind, settings in kinds:
        stream = io.BytesIO()
        image.save(stream, kind, dpi=(300, 300), **settings)
        made[name] = stream.getvalue()
    return made


def _rich(data: bytes) -> bytes:
    with pikepdf.open(io.BytesIO(data)) as pdf:
        page = pdf.pages[0]
        function = Dictionary(FunctionType=2, Domain=[0, 1], C0=[0, 0, 0, 0], C1=[0, 1, 1, 0], N=1)
        stitched = Dictionary(
            FunctionType=3, Domain=[0, 1], Bounds=[0.5], Encode=[0, 1, 1, 0], Functions=[function, function]
        )
        counted = pdf.make_stream(
            b"{ dup 0.5 mul exch 1 exch sub dup 2 index }", FunctionType=4, Domain=[0, 1], Range=[0, 1] * 4
        )
        sampled = pdf.make_stream(
            bytes(range(0, 256, 16)), FunctionType=0, Domain=[0, 1], Range=[0, 1] * 4, Size=[4], BitsPerSample=8
        )
        rgb = pdf.make_stream((PROFILES / "srgb.icc").read_bytes(), N=3)
        small = Image.linear_gradient("L").resize((40, 40))
        pictures = {}
        for name, kind, filter_ in (("J", "JPEG", "DCTDecode"), ("X", "JPEG2000", "JPXDecode")):
            stream = io.BytesIO()
            small.convert("RGB").save(stream, kind)
            pictures[name] = pdf.make_stream(
                stream.getvalue(), Type=Name.XObject, Subtype=Name.Image, Width=40, Height=40, BitsPerComponent=8,
                ColorSpace=Name.DeviceRGB, Filter=Name("/" + filter_),
            )  # fmt: skip
        mask = pdf.make_stream(small.tobytes(), Type=Name.XObject, Subtype=Name.Image, Width=40, Height=40, BitsPerComponent=8, ColorSpace=Name.DeviceGray)  # fmt: skip
        pictures["F"] = pdf.make_stream(
            small.convert("RGB").tobytes(), Type=Name.XObject, Subtype=Name.Image, Width=40, Height=40, BitsPerComponent=8,
            ColorSpace=Array([Name.ICCBased, rgb]), SMask=mask,
        )  # fmt: skip
        pictures["I"] = pdf.make_stream(
            bytes(range(40)) * 40, Type=Name.XObject, Subtype=Name.Image, Width=40, Height=40, BitsPerComponent=8,
            ColorSpace=Array([Name.Indexed, Name.DeviceCMYK, 63, pikepdf.String(bytes(range(256)))]),
        )  # fmt: skip
        group = Dictionary(Type=Name.Group, S=Name.Transparency, CS=Name.DeviceRGB, I=True)
        form = pdf.make_stream(
            b"/Gold cs 0.5 scn 0 0 50 50 re f /Pat cs /T scn 20 20 60 60 re f BI /W 4 /H 4 /BPC 8 /CS /G ID 0123456789abcdef EI",
            Type=Name.XObject, Subtype=Name.Form, BBox=[0, 0, 100, 100], Group=group,
        )  # fmt: skip
        tile = pdf.make_stream(b"1 0 0 rg 0 0 5 5 re f", Type=Name.Pattern, PatternType=1, PaintType=1, TilingType=1, BBox=[0, 0, 10, 10], XStep=10, YStep=10, Resources=Dictionary())  # fmt: skip
        resources = Dictionary(
            XObject=Dictionary(**pictures, G=form),
            ColorSpace=Dictionary(Gold=Array([Name.Separation, Name.Gold, Name.DeviceCMYK, counted]), Pat=Array([Name.Pattern])),
            Pattern=Dictionary(T=tile),
            Shading=Dictionary(
                A=Dictionary(ShadingType=2, ColorSpace=Name.DeviceCMYK, Coords=[0, 0, 200, 200], Function=stitched, Extend=[True, True]),
                R=Dictionary(ShadingType=3, ColorSpace=Name.DeviceCMYK, Coords=[100, 100, 0, 100, 100, 90], Function=sampled),
            ),
            ExtGState=Dictionary(M=Dictionary(SMask=Dictionary(S=Name.Luminosity, G=form)), H=Dictionary(ca=0.5, BM=Name.Multiply)),
            Font=Dictionary(H=Dictionary(Type=Name.Font, Subtype=Name.Type1, BaseFont=Name.Helvetica)),
        )  # fmt: skip
        form.Resources = resources
        page.obj.Resources = resources
        page.obj.Contents = pdf.make_stream(
            b"0.2 0.4 0 0 k -10 -10 400 500 re f q 80 0 0 80 30 30 cm /J Do Q q 80 0 0 80 120 30 cm /X Do Q"
            b" q 80 0 0 80 30 120 cm /F Do Q q 80 0 0 80 120 120 cm /I Do Q q /M gs 0 0 1 rg 30 220 80 80 re f Q /H gs /G Do"
            b" q 30 220 90 90 re W n /A sh Q q 120 220 90 90 re W n /R sh Q BT /H 12 Tf 40 330 Td (Poster) Tj ET"
        )
        page.Annots = Array([Dictionary(Type=Name.Annot, Subtype=Name.Square, Rect=[10, 10, 60, 60], C=[1, 0, 0])])
        out = io.BytesIO()
        pdf.save(out)
        return out.getvalue()


def every(folder: Path | None) -> dict[str, bytes]:
    """Ours, and the PDFs and pictures of a folder that are not too large."""
    found = ours()
    for path in sorted(folder.rglob("*")) if folder is not None and folder.is_dir() else ():
        if path.suffix.lower() in {".pdf", ".jpg", ".tif", ".tiff", ".png"} and path.stat().st_size <= LARGEST:
            found[path.name] = path.read_bytes()
    return found
