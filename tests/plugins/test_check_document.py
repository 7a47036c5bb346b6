"""What check_document says about what a file carries besides its art: one table of small real PDFs."""

import pikepdf
import pytest
from pikepdf import Array, Dictionary, Name, Object, Stream

from hotfolder.loading import load_plugins
from hotfolder.testing import codes, make_job, make_pdf, run_steps

INSIDE, OUTSIDE, ACROSS = "[100 100 200 200]", "[0 0 20 20]", "[10 100 60 200]"


def note(text: str):
    """Lay an annotation upon the first page; its look, if any, is a filled square."""

    def change(pdf: pikepdf.Pdf) -> None:
        item = Object.parse(f"<< /Type /Annot {text} >>".encode())
        item.AP = Dictionary(N=Stream(pdf, b"0 0 9 9 re f", Subtype=Name.Form, BBox=Array([0, 0, 9, 9])))
        item = pdf.make_indirect(item)
        if item.Subtype == Name.Widget:
            pdf.Root.AcroForm = Dictionary(Fields=Array([item]))
        pdf.pages[0].obj.Annots = Array([*pdf.pages[0].obj.get("/Annots", Array()), item])

    return change


def root(text: str):
    def change(pdf: pikepdf.Pdf) -> None:
        for key, value in Object.parse(f"<< {text} >>".encode()).items():
            pdf.Root[key] = value

    return change


def xobject(text: str):
    def change(pdf: pikepdf.Pdf) -> None:
        stream = Stream(pdf, b"")
        for key, value in Object.parse(f"<< {text} >>".encode()).items():
            stream[key] = value
        pdf.pages[0].obj.Resources = Dictionary(XObject=Dictionary(X=stream))

    return change


def layer(title: str, *, off: bool = False, no_print: bool = False, used: bool = True, says: str = ""):
    def change(pdf: pikepdf.Pdf) -> None:
        group = pdf.make_indirect(Dictionary(Type=Name.OCG, Name=title))
        if no_print or says:
            group.Usage = Dictionary(Print=Dictionary(PrintState=Name("/" + (says or "OFF"))))
        rule = Dictionary(Event=Name.Print, Category=Array([Name.Print]), OCGs=Array([group]))
        config = Dictionary(OFF=Array([group] if off else []), AS=Array([rule] if no_print else []))
        pdf.Root.OCProperties = Dictionary(OCGs=Array([group]), D=config)
        if used:
            pdf.pages[0].obj.Resources = Dictionary(Properties=Dictionary(MC0=group))

    return change


def attach(pdf: pikepdf.Pdf) -> None:
    pdf.attachments["prices.csv"] = b"1,2"


# what is put into a poster with 15 mm of slug -> findings as (level code, words of the message, measured)
TABLE = {
    "nothing": ((), []),
    "a stamp that prints": (
        (note(f"/Subtype /Stamp /F 4 /Rect {INSIDE}"),),
        [("hold printing_annotation", "The page has a stamp in the art that would be printed.", "stamp")],
    ),
    "a stamp that prints across the bleed's edge": (
        (note(f"/Subtype /Stamp /F 4 /Rect {ACROSS}"),),
        [("hold printing_annotation", "a stamp", "stamp")],
    ),
    "a stamp that prints in the slug": (
        (note(f"/Subtype /Stamp /F 4 /Rect {OUTSIDE}"),),
        [("note left_out", "On the page there is 1 stamp. They don't print", None)],
    ),
    "comments for the screen": (
        (*[note(f"/Subtype /Text /Rect {INSIDE}")] * 2, note(f"/Subtype /Link /F 2 /Rect {INSIDE}")),
        [("note left_out", "On the page there are 2 notes and 1 link.", None)],
    ),
    "a form field that prints": (
        (note(f"/Subtype /Widget /FT /Tx /F 4 /Rect {INSIDE}"),),
        [("hold form_field", "The page has a form field in the art.", None)],
    ),
    "a video": (
        (note(f"/Subtype /RichMedia /Rect {INSIDE}"),),
        [("hold media", "The page has a video or animation in the art. It can't be printed", None)],
    ),
    "a video in the slug": (
        (note(f"/Subtype /Movie /Rect {OUTSIDE}"),),
        [("note left_out", "On the page there is 1 video.", None)],
    ),
    "a printer's mark in the slug": ((note(f"/Subtype /PrinterMark /F 4 /Rect {OUTSIDE}"),), []),
    "a printer's mark in the art": (
        (note(f"/Subtype /PrinterMark /F 4 /Rect {INSIDE}"),),
        [("hold printing_annotation", "a printer's mark in the art", "printer's mark")],
    ),
    "an unknown kind that prints": (
        (note(f"/Subtype /Sparkle /F 4 /Rect {INSIDE}"),),
        [("hold printing_annotation", "a comment in the art", "comment")],
    ),
    "a script at opening": (
        (root("/OpenAction << /S /JavaScript /JS (app.alert\\(1\\)) >>"),),
        [("note scripts", "The file carries scripts. They don't print", None)],
    ),
    "two kinds of action": (
        (root("/AA << /WC << /S /Launch /F (a) >> /DC << /S /Sound >> >>"),),
        [("note scripts", "The file carries actions and calls of other programs.", None)],
    ),
    "opening at a place is no action": ((root("/OpenAction << /S /GoTo /D [0 /Fit] >>"),), []),
    "an attachment": ((attach,), [("note attachments", "Other files are attached: “prices.csv”.", None)]),
    "a portfolio": ((root("/Collection << >>"),), [("hold portfolio", "wrapper that holds other files", None)]),
    "an XFA form": ((root("/AcroForm << /Fields [] /XFA [] >>"),), [("hold xfa_form", "only certain programs", None)]),
    "fields without a look": (
        (root("/AcroForm << /Fields [ << /FT /Tx >> ] /NeedAppearances true >>"),),
        [("hold form_unset", "look is left to each program", None)],
    ),
    "a form without fields": ((root("/AcroForm << /Fields [] /NeedAppearances true >>"),), []),
    "signed": (
        (root("/AcroForm << /Fields [ << /FT /Sig /V << >> >> ] >>"),),
        [("note signature", "signed digitally", None)],
    ),
    "PostScript": ((xobject("/Subtype /PS"),), [("hold postscript", "PostScript code", "1 of them")]),
    "data elsewhere": (
        (xobject("/Subtype /Image /F (a.tif)"),),
        [("hold outside_data", "in another file", "1 of them")],
    ),
    "a stand-in": (
        (xobject("/Subtype /Image /OPI << >>"),),
        [("hold stand_in", "stand-in for a picture", "1 of them")],
    ),
    "a second version": (
        (xobject("/Subtype /Image /Alternates [ << /DefaultForPrinting true >> ]"),),
        [("hold print_alternate", "second version", "1 of them")],
    ),
    "a transfer curve": (
        (root("/X << /TR << /FunctionType 2 /N 2 /Domain [0 1] >> >>"),),
        [("hold transfer_curve", "transfer curve", "1 of them")],
    ),
    "a layer that is on": ((layer("Art"),), []),
    "a layer that is off": (
        (layer("Guides", off=True),),
        [("note layer_off", "switched off: “Guides”. They are not printed.", "1 off")],
    ),
    "a layer that is off and empty": ((layer("Guides", off=True, used=False),), []),
    "a layer for the screen only": (
        (layer("Proof", no_print=True),),
        [("hold layer_differs", "The layer “Proof” is shown on the screen and isn't printed", None)],
    ),
    "a layer whose own word doesn't count": (
        (layer("Proof", says="OFF"),),
        [("hold layer_differs", "The layer “Proof” says of itself that it does not print, but the file doesn't", None)],
    ),
    "a layer off whose own word doesn't count": (
        (layer("Proof", off=True, says="ON"),),
        [("hold layer_differs", "The layer “Proof” says of itself that it prints, but the file doesn't", None)],
    ),
    "a layer whose own word is the file's too": ((layer("Art", says="ON"),), []),
    "a layer without art whose own word doesn't count": ((layer("Proof", says="OFF", used=False),), []),
}


def step(**settings):
    kind = load_plugins().steps["check_document"]
    return kind(kind.Settings(**settings))


def build(tmp_path, changes):
    path = make_pdf(tmp_path / "poster.pdf", slug_mm=15, bleed_mm=3)
    with pikepdf.open(path, allow_overwriting_input=True) as pdf:
        for change in changes:
            change(pdf)
        pdf.save(path)
    return path


@pytest.mark.parametrize(("changes", "expected"), TABLE.values(), ids=TABLE.keys())
def test_findings(tmp_path, changes, expected):
    job = make_job(tmp_path, build(tmp_path, changes))
    (record,) = run_steps(job, step())
    assert record.ended == "done", record.trace
    assert codes(job) == [line[0] for line in expected]
    for finding, (_, words, measured) in zip(job.findings, expected, strict=True):
        assert words in finding.message
        assert measured == finding.measured
        assert finding.mend or finding.level == "note"
    assert bool(record.told) is not job.held


def test_layers_off_may_hold(tmp_path):
    job = make_job(tmp_path, build(tmp_path, (layer("Guides", off=True),)))
    run_steps(job, step(layers_off="hold"))
    assert codes(job) == ["hold layer_off"]


def test_layers_off_may_be_left_to_another_step(tmp_path):
    job = make_job(tmp_path, build(tmp_path, (layer("Guides", off=True),)))
    run_steps(job, step(layers_off="ignore"))
    assert codes(job) == []


def test_locked_without_password(tmp_path):
    path = make_pdf(tmp_path / "poster.pdf")
    with pikepdf.open(path, allow_overwriting_input=True) as pdf:
        pdf.save(path, encryption=pikepdf.Encryption(owner="secret", user=""))
    job = make_job(tmp_path, path)
    run_steps(job, step())
    assert codes(job) == ["note encrypted"]


def test_where_a_comment_is(tmp_path):
    job = make_job(tmp_path, build(tmp_path, (note(f"/Subtype /Stamp /F 4 /Rect {INSIDE}"),)))
    run_steps(job, step())
    assert (job.findings[0].page, job.findings[0].box) == (1, (100, 100, 200, 200))


def test_a_page_without_sense_still_has_its_comments_judged(tmp_path):
    path = build(tmp_path, (note(f"/Subtype /Stamp /F 4 /Rect {OUTSIDE}"),))
    with pikepdf.open(path, allow_overwriting_input=True) as pdf:
        pdf.pages[0].obj.TrimBox = Array([0, 0, 0, 0])
        pdf.save(path)
    job = make_job(tmp_path, path)
    run_steps(job, step())
    assert codes(job) == ["hold printing_annotation"]
