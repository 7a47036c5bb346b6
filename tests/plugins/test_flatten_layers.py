"""What flatten_layers takes out, what it leaves byte for byte, and that the page looks the same afterwards.

Checked against PDFium, Ghostscript and MuPDF, three programs that decide on their own which layers print.
"""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pikepdf
import pytest
from pikepdf import Array, Dictionary, Name, Object, Pdf, Stream
from PIL import Image

from hotfolder.job import Job
from hotfolder.loading import load_plugins
from hotfolder.pdf.render import render_page
from hotfolder.testing import codes, make_job, run_steps

CORPUS = Path(__file__).parents[3] / "shared" / "corpus"
STEPS = load_plugins().steps
GROUND = b"0.9 0.9 0.6 rg 0 0 200 200 re f 0 g\n"
SQUARE = b"1 0 0 rg 20 20 60 60 re f"
AFTER = b"\n100 100 40 40 re f"
FORM = "/Type /XObject /Subtype /Form /BBox [0 0 200 200]"


def stream(pdf: Pdf, data: bytes, entries: str) -> Stream:
    made = Stream(pdf, data)
    for key, value in Object.parse(f"<< {entries} >>".encode()).items():
        made[key] = value
    return made


def poster(
    path: Path, content: bytes, config: str = "", more: Callable[[Pdf, Object, Object], None] | None = None
) -> Path:
    """A page with the layers On and Off, under those names; OCMDs and further things by `more`."""
    pdf = pikepdf.new()
    page = pdf.add_blank_page(page_size=(200, 200)).obj
    on, off = (pdf.make_indirect(Dictionary(Type=Name.OCG, Name=title)) for title in ("Art", "Old price"))
    pdf.Root.OCProperties = Dictionary(OCGs=Array([on, off]), D=Dictionary(OFF=Array([off]), Order=Array([on, off])))
    for key, value in Object.parse(f"<< {config} >>".encode()).items():
        pdf.Root.OCProperties.D[key] = value
    font = Dictionary(Type=Name.Font, Subtype=Name.Type1, BaseFont=Name.Helvetica)
    plain = stream(pdf, SQUARE, FORM)
    hidden, shown = stream(pdf, SQUARE, FORM), stream(pdf, SQUARE, FORM)
    hidden.OC, shown.OC = off, on
    picture = stream(
        pdf, bytes(range(48)), "/Subtype /Image /Width 4 /Height 4 /ColorSpace /DeviceRGB /BitsPerComponent 8"
    )
    shade = "<< /ShadingType 2 /ColorSpace /DeviceRGB /Coords [0 0 200 0] /Function << /FunctionType 2 /Domain [0 1] /C0 [1 0 0] /C1 [0 0 1] /N 1 >> >>"
    page.Resources = Dictionary(
        Properties=Dictionary(On=on, Off=off),
        Font=Dictionary(F=font),
        XObject=Dictionary(Plain=plain, Hidden=hidden, Shown=shown, Pic=picture),
        Shading=Dictionary(Sh=Object.parse(shade.encode())),
    )
    if more is not None:
        more(pdf, on, off)
    page.Contents = pdf.make_stream(GROUND + content)
    pdf.save(path)
    return path


def member(text: str) -> Callable[[Pdf, Object, Object], None]:
    """A membership dictionary named M: (on) and (off) in the text stand for the layers."""

    def put(pdf: Pdf, on: Object, off: Object) -> None:
        found = _linked(Object.parse(f"<< /Type /OCMD {text} >>".encode()), {b"on": on, b"off": off})
        pdf.pages[0].obj.Resources.Properties.M = pdf.make_indirect(found)

    return put


def _linked(item: Object, layers: dict[bytes, Object]) -> Object:
    if isinstance(item, pikepdf.String):
        return layers[bytes(item)]
    if isinstance(item, Array):
        return Array([_linked(one, layers) for one in item])
    if isinstance(item, Dictionary):
        return Dictionary({key: _linked(value, layers) for key, value in item.items()})
    return item


def usage(state: str, *, counts: bool = True, name: str = "on") -> Callable[[Pdf, Object, Object], None]:
    def put(pdf: Pdf, on: Object, off: Object) -> None:
        layer = on if name == "on" else off
        layer.Usage = Dictionary(Print=Dictionary(PrintState=Name("/" + state)))
        if counts:
            rule = Dictionary(Event=Name.Print, Category=Array([Name.Print]), OCGs=Array([layer]))
            pdf.Root.OCProperties.D.AS = Array([rule])

    return put


def note_on(layer: str) -> Callable[[Pdf, Object, Object], None]:
    def put(pdf: Pdf, on: Object, off: Object) -> None:
        look = stream(pdf, SQUARE, FORM)
        pdf.pages[0].obj.Annots = Array(
            [Dictionary(Type=Name.Annot, Subtype=Name.Stamp, Rect=Array([0, 0, 200, 200]), F=4, AP=Dictionary(N=look))]
        )
        pdf.pages[0].obj.Annots[0].OC = on if layer == "on" else off

    return put


def inner(content: bytes, where: str) -> Callable[[Pdf, Object, Object], None]:
    """A form, pattern, soft mask or drawn letter whose own content has layers."""

    def put(pdf: Pdf, on: Object, off: Object) -> None:
        found = pdf.pages[0].obj.Resources
        own = Dictionary(Properties=Dictionary(On=on, Off=off))
        made = stream(pdf, content, FORM)
        made.Resources = own
        found.XObject.Inner = made
        if where == "pattern":
            cell = "/Type /Pattern /PatternType 1 /PaintType 1 /TilingType 1 /BBox [0 0 100 100] /XStep 100 /YStep 100"
            tile = stream(pdf, content, cell)
            tile.Resources = own
            found.Pattern = Dictionary(P=tile)
        elif where == "mask":
            made.Group = Dictionary(S=Name.Transparency, CS=Name.DeviceGray)
            found.ExtGState = Dictionary(M=Dictionary(SMask=Dictionary(S=Name.Luminosity, G=made)))
        elif where == "letter":
            drawn = Object.parse(
                b"<< /Type /Font /Subtype /Type3 /FontBBox [0 0 1000 1000] /FontMatrix [0.001 0 0 0.001 0 0] "
                b"/FirstChar 97 /LastChar 97 /Widths [1000] /Encoding << /Differences [97 /a] >> >>"
            )
            drawn.CharProcs = Dictionary(a=pdf.make_stream(b"1000 0 d0 " + content))
            drawn.Resources = own
            found.Font.D = drawn

    return put


def inside(layer: bytes, content: bytes) -> bytes:
    return b"/OC /" + layer + b" BDC\n" + content + b"\nEMC"


TEXT = b"BT /F 30 Tf 20 150 Td (AB) Tj ET"
# name -> content behind the ground, further things, what the content is afterwards (None: looked at otherwise)
TABLE = {
    "a layer that prints": (inside(b"On", SQUARE), None, b"\n" + SQUARE + b"\n"),
    "a layer that doesn't": (inside(b"Off", SQUARE), None, b"\n1 0 0 rg 20 20 60 60 re n\n"),
    "colour set in a hidden layer counts on": (inside(b"Off", SQUARE) + AFTER, None, None),
    "a place set in a hidden layer counts on": (inside(b"Off", b"1 0 0 1 40 0 cm") + AFTER, None, None),
    "a clip in a hidden layer counts on": (
        inside(b"Off", b"0 0 120 120 re W f") + b"\n0 1 0 rg" + AFTER,
        None,
        b"\n0 0 120 120 re W n\n\n0 1 0 rg" + AFTER,
    ),
    "layers in layers": (
        inside(b"Off", SQUARE + b"\n" + inside(b"On", SQUARE)) + AFTER,
        None,
        b"\n1 0 0 rg 20 20 60 60 re n\n\n1 0 0 rg 20 20 60 60 re n\n\n" + AFTER,
    ),
    "sections that are no layers stay": (
        b"/Span <</Lang (en)>> BDC\n" + inside(b"Off", SQUARE) + b"\n/P BMC EMC EMC",
        None,
        b"/Span <</Lang (en)>> BDC\n\n1 0 0 rg 20 20 60 60 re n\n\n/P BMC EMC EMC",
    ),
    "a section across q and Q": (b"q\n/OC /Off BDC\nQ " + SQUARE + b"\nEMC" + AFTER, None, None),
    "a section that never ends": (b"/OC /Off BDC\n" + SQUARE, None, b"\n1 0 0 rg 20 20 60 60 re n"),
    "a section that never began": (SQUARE + b"\nEMC", None, SQUARE + b"\nEMC"),
    "text": (inside(b"Off", TEXT) + b"\n" + TEXT.replace(b"150", b"50"), None, None),
    "text within a line": (
        b"BT /F 30 Tf 20 50 Td (A) Tj /OC /Off BDC (BB) Tj EMC (C) Tj ET",
        None,
        b"BT /F 30 Tf 20 50 Td (A) Tj  \n3 Tr\n(BB) Tj\n0 Tr\n  (C) Tj ET",
    ),
    "text that clips": (
        inside(b"Off", b"BT 7 Tr /F 90 Tf 20 50 Td (A) Tj ET") + b"\n0 0 1 rg 0 0 200 200 re f",
        None,
        None,
    ),
    "text with spacing that counts on": (
        inside(b"Off", b'BT /F 30 Tf 30 TL 20 50 Td 9 5 (A B) " ET') + b"\nBT 20 20 Td (A B) Tj ET",
        None,
        None,
    ),
    "a picture": (inside(b"Off", b"q 50 0 0 50 20 20 cm /Pic Do Q") + AFTER, None, b"\nq 50 0 0 50 20 20 cm  Q\n" + AFTER),
    "a picture inside the instructions": (
        inside(b"Off", b"q 50 0 0 50 20 20 cm BI /W 1 /H 1 /CS /RGB /BPC 8 ID \xff\0\0 EI Q") + AFTER,
        None,
        b"\nq 50 0 0 50 20 20 cm  Q\n" + AFTER,
    ),
    "a gradient": (inside(b"Off", b"/Sh sh") + AFTER, None, b"\n\n" + AFTER),
    "a form within a section": (inside(b"Off", b"/Plain Do") + inside(b"On", b"/Plain Do"), None, b"\n\n\n/Plain Do\n"),
    "a form on a layer of its own": (b"/Hidden Do q 1 0 0 1 90 90 cm /Shown Do Q", None, b" q 1 0 0 1 90 90 cm /Shown Do Q"),
    "a form with layers in it": (b"/Inner Do" + AFTER, inner(inside(b"Off", SQUARE) + AFTER, "form"), None),
    "a pattern with layers in it": (
        b"/Pattern cs /P scn 0 0 200 200 re f",
        inner(inside(b"Off", SQUARE) + b"\n0 1 0 rg 5 5 9 9 re f", "pattern"),
        None,
    ),
    "a soft mask with layers in it": (
        b"/M gs 0 0 1 rg 0 0 200 200 re f",
        inner(b"1 g 90 90 60 60 re f\n" + inside(b"Off", b"1 g 20 20 60 60 re f"), "mask"),
        None,
    ),
    "a drawn letter with layers in it": (
        b"BT /D 90 Tf 20 50 Td (aa) Tj ET",
        inner(b"0 0 300 300 re f " + inside(b"Off", b"400 0 300 300 re f"), "letter"),
        None,
    ),
    "a comment that prints": (b"", note_on("on"), b""),
    "a comment on a hidden layer": (b"", note_on("off"), b""),
    "printing switches it off": (inside(b"On", SQUARE) + AFTER, usage("OFF"), b"\n1 0 0 rg 20 20 60 60 re n\n" + AFTER),
    "printing switches it on": (inside(b"Off", SQUARE), usage("ON", name="off"), b"\n" + SQUARE + b"\n"),
}  # fmt: skip
# ISO 32000-1 table 99 and 8.11.2.2: membership -> whether it prints
MEMBERS = {
    "/OCGs (on)": True,
    "/OCGs (off)": False,
    "/OCGs [(on) (off)]": True,
    "/OCGs [(on) (off)] /P /AnyOn": True,
    "/OCGs [(on) (off)] /P /AllOn": False,
    "/OCGs [(on) (off)] /P /AnyOff": True,
    "/OCGs [(on) (off)] /P /AllOff": False,
    "/OCGs (off) /P /AllOff": True,
    "/OCGs []": True,
    "/OCGs [null null]": True,
    "/VE [/Not (off)]": True,
    "/VE [/Not (on)]": False,
    "/VE [/And (on) (off)]": False,
    "/VE [/Or (on) (off)]": True,
    "/VE [/And (on) [/Not (off)]] /OCGs (off)": True,
    "/OCGs (on) /VE [/Not [/Or (off) (on)]]": False,
}


def flattened(tmp_path: Path, path: Path) -> Job:
    job = make_job(tmp_path, path)
    (record,) = run_steps(job, STEPS["flatten_layers"]())
    assert record.trace is None, record.trace
    return job


def content_of(job: Job) -> bytes:
    with pikepdf.open(job.artwork) as pdf:
        assert "/OCProperties" not in pdf.Root
        assert not any("/OC" in item for item in pdf.objects if isinstance(item, (Dictionary, Stream)))
        return pdf.pages[0].Contents.read_bytes()


PROGRAMS = {
    "gs": "gs -q -dNOPAUSE -dBATCH -dSAFER -dPrinted -sDEVICE=png16m -r72 -sOutputFile={out} {file}",
    "mutool": "mutool draw -q -r 72 -o {out} {file} 1",
}
#: What PDFium does not follow, seen with pypdfium2 5: it shows layers of patterns, masks and comments in any case, and
#: takes a single layer of a membership dictionary without its policy.
NOT_PDFIUM = ("a pattern with layers in it", "a soft mask with layers in it", "a comment on a hidden layer")
NOT_PDFIUM += ("/OCGs (off) /P /AllOff",)


def looks_the_same(case: str, before: Path, after: Path) -> None:
    """PDFium draws both alike, or one of two other programs does: none of the three follows ISO 32000-1 everywhere."""
    one, other = (render_page(path, 1, 72).picture for path in (before, after))
    assert (one.tobytes() == other.tobytes()) != (case in NOT_PDFIUM)
    if case in NOT_PDFIUM:
        programs = [program for program in PROGRAMS if shutil.which(program)]
        if not programs:
            pytest.skip("neither Ghostscript nor MuPDF is here to compare with")
        assert any((_drawn(program, before) == _drawn(program, after)).all() for program in programs)


def _drawn(program: str, path: Path) -> np.ndarray:
    out = path.with_suffix(".drawn.png")
    command = [part.format(out=out, file=path) for part in PROGRAMS[program].split()]
    subprocess.run(command, check=True, capture_output=True)
    with Image.open(out) as picture:
        return np.asarray(picture.convert("RGB"))


@pytest.mark.parametrize("case", TABLE)
def test_what_goes_and_what_stays(tmp_path, case):
    content, more, expected = TABLE[case]
    path = poster(tmp_path / "p.pdf", content, more=more)
    job = flattened(tmp_path, path)
    assert codes(job) == ["mended layers_merged"]
    after = content_of(job)
    assert after.startswith(GROUND)
    if expected is not None:
        assert after.removeprefix(GROUND) == expected
    looks_the_same(case, path, job.artwork)


@pytest.mark.parametrize(("text", "prints"), MEMBERS.items())
def test_membership(tmp_path, text, prints):
    path = poster(tmp_path / "p.pdf", inside(b"M", SQUARE), more=member(text))
    job = flattened(tmp_path, path)
    assert content_of(job).removeprefix(GROUND) == b"\n" + (SQUARE if prints else SQUARE[:-1] + b"n") + b"\n"
    looks_the_same(text, path, job.artwork)


def test_other_programs_agree(tmp_path):
    """One page with a bit of everything, drawn by three programs before and after."""
    content = (
        inside(b"Off", SQUARE) + AFTER + inside(b"On", TEXT) + inside(b"Off", b"/Sh sh /Plain Do")
        + inside(b"M", b"0 0 1 rg 150 150 9 9 re f")
    )  # fmt: skip
    path = poster(tmp_path / "p.pdf", content, more=member("/OCGs (off)"))
    after = flattened(tmp_path, path).artwork
    looks_the_same("", path, after)
    for program in PROGRAMS:
        if shutil.which(program):
            assert (_drawn(program, path) == _drawn(program, after)).all(), program


def test_the_report_names_what_went_and_shows_it(tmp_path):
    job = flattened(tmp_path, poster(tmp_path / "p.pdf", inside(b"Off", SQUARE)))
    (finding,) = job.findings
    assert finding.message == (
        "What lies on the layer “Old price” does not print and was taken out, as the file asks. "
        "The rest is one drawing now, so that no program can show it otherwise."
    )
    (before, first), (after, second) = job.views["flatten_layers", "layers_merged"]
    assert (before, after) == ("With every layer", "As it prints")
    assert first.getpixel((150, 450)) == (255, 0, 0)
    assert second.getpixel((150, 450)) != (255, 0, 0)


def test_nothing_is_shown_where_every_layer_prints(tmp_path):
    job = flattened(tmp_path, poster(tmp_path / "p.pdf", inside(b"On", SQUARE)))
    assert job.findings[0].message.startswith("The layers of the file are one drawing now.")
    assert not job.views


def test_a_file_without_layers_stays_as_it_is(tmp_path):
    path = tmp_path / "p.pdf"
    with pikepdf.open(poster(tmp_path / "q.pdf", SQUARE)) as pdf:
        del pdf.Root.OCProperties
        pdf.save(path)
    job = flattened(tmp_path, path)
    assert job.artwork == path
    assert not job.findings


def _deep(pdf: Pdf, on: Object, off: Object) -> None:
    rule: Object = off
    for _ in range(60):
        rule = Array([Name.Not, rule])
    pdf.pages[0].obj.Resources.Properties.M = Dictionary(Type=Name.OCMD, VE=rule)


def _wide(pdf: Pdf, on: Object, off: Object) -> None:
    rule: Object = off
    for _ in range(30):
        rule = pdf.make_indirect(Array([Name.And, rule, rule]))
    pdf.pages[0].obj.Resources.Properties.M = Dictionary(Type=Name.OCMD, VE=rule)


UNCLEAR = {
    "a layer's own word against the file's": usage("OFF", counts=False),
    "a rule that makes no sense": member("/VE [/Perhaps (on)]"),
    "a policy that doesn't exist": member("/OCGs (on) /P /Some"),
    "a rule nested too deeply": _deep,
    "a rule that multiplies": _wide,
    "a form that draws itself": lambda pdf, on, off: pdf.pages[0].obj.Resources.XObject.Plain.write(b"/Plain Do"),
}


@pytest.mark.parametrize("more", UNCLEAR.values(), ids=UNCLEAR.keys())
def test_where_programs_could_differ_nothing_changes(tmp_path, more):
    path = poster(tmp_path / "p.pdf", inside(b"On", b"/Plain Do") + inside(b"M", SQUARE), more=more)
    with pikepdf.open(path, allow_overwriting_input=True) as pdf:
        plain = pdf.pages[0].Resources.XObject.Plain
        if plain.read_bytes() == b"/Plain Do":
            plain.Resources = pdf.pages[0].Resources
        pdf.save(path)
    before = path.read_bytes()
    job = flattened(tmp_path, path)
    assert codes(job) == ["hold layers_unclear"]
    assert job.artwork.read_bytes() == before


def test_real_posters_look_the_same(tmp_path):
    files = [path for path in sorted((CORPUS / "posters").glob("*.pdf")) if _layered(path)]
    if not files:
        pytest.skip("no real posters beside the clone")
    for path in files[::4]:
        job = flattened(tmp_path, path)
        assert codes(job) in (["mended layers_merged"], ["hold layers_unclear"])
        one, other = (render_page(each, 1, 36).picture for each in (path, job.artwork))
        assert one.tobytes() == other.tobytes(), path.name


def _layered(path: Path) -> bool:
    try:
        with pikepdf.open(path) as pdf:
            return "/OCProperties" in pdf.Root
    except pikepdf.PdfError:
        return False
