"""Draws the printer's marks around a poster: where to cut, how the plates align, how the inks print.

The marks are one form XObject, drawn before the artwork: whatever the artwork's own drawing leaves open or broken
cannot reach them. The artwork follows, clipped to its bleed box.
"""

from __future__ import annotations

import pikepdf
from pikepdf import Array, Dictionary, Name, Stream

from hotfolder.finding import Box
from hotfolder.pdf.boxes import LEAST_UNITS, MOST_UNITS, PageBoxes, set_box
from hotfolder.pdf.finishing.sheet import TARGET, Inks, Marks, Sheet, to_user, view_matrix
from hotfolder.pdf.finishing.slug import Line, embed_font, show_line
from hotfolder.pdf.objects import content_bytes, inherited
from hotfolder.pdf.walk.content import splice
from hotfolder.pdf.walk.nesting import imbalance
from hotfolder.units import MM

_FORM = "/PrinterMarks"
_RING, _DISC = 2.3 * MM, 1.1 * MM  # radii of a registration target's circle and of its filled middle
_KAPPA = 0.5522847498  # how far the handles of four Bezier curves stand out to make a circle


def draw_marks(
    pdf: pikepdf.Pdf, page: pikepdf.Page, boxes: PageBoxes, sheet: Sheet, marks: Marks, slug: Line | None = None
) -> None:
    """Put the marks on the page, clip the artwork to the bleed box and set the boxes to the grown sheet.

    Trim and bleed keep their place, so nothing of the artwork moves; the media box may begin below zero. ValueError
    with one sentence where the sheet becomes too large for a PDF, or the page's content can't be read.
    """
    matrix = view_matrix(boxes, boxes.trim)
    media = to_user(matrix, sheet.edge)
    _check_size(media)
    contents = _guarded(pdf, page, boxes.bleed)
    form = _form(pdf, sheet, marks, slug, matrix)
    resources = _own_resources(pdf, page)
    name = _free_name(resources)
    resources.XObject[Name(name)] = form
    before = f"/Artifact BMC\n{name} Do\nEMC\n".encode("ascii")
    page.obj.Contents = Array([pdf.make_indirect(Stream(pdf, before)), *contents])
    for box, corners in (
        ("MediaBox", media),
        ("CropBox", media),  # inheritable: leaving it out could bring back one of the page tree
        ("BleedBox", boxes.bleed),
        ("TrimBox", boxes.trim),
    ):
        set_box(page, box, corners)
    if "/ArtBox" in page.obj:
        del page.obj.ArtBox  # a page for the press has a trim box or an art box, not both


def _check_size(media: Box) -> None:
    if max(media.width, media.height) > MOST_UNITS:
        raise ValueError(
            f"With the printer's marks the sheet would be {max(media.width, media.height):g} units long; "
            f"a PDF page may have {MOST_UNITS:g} at most."
        )
    if min(media.width, media.height) < LEAST_UNITS:
        raise ValueError("The sheet is too small for a PDF page.")


# ---- the artwork


def _guarded(pdf: pikepdf.Pdf, page: pikepdf.Page, bleed: Box) -> list[pikepdf.Object]:
    """The page's content inside a clip to the bleed box, made to end as it began."""
    present = page.obj.get("/Contents")
    streams = [part for part in present if isinstance(part, Stream)] if isinstance(present, Array) else []
    streams = [present] if isinstance(present, Stream) else streams
    try:
        data = content_bytes(present)
    except ValueError as fault:
        raise ValueError(f"The page's drawing can't be read: {fault}.") from fault
    surplus, tail = imbalance(data)
    if surplus:
        streams = [pdf.make_indirect(Stream(pdf, splice(data, surplus)))]
    left, bottom, right, top = bleed
    head = f"q\n{_n(left, bottom, right - left, top - bottom)} re W n\n".encode("ascii")
    made = [pdf.make_indirect(Stream(pdf, head)), pdf.make_indirect(Stream(pdf, b"\n" + tail + b"Q\n"))]
    return [made[0], *streams, made[1]]


def _own_resources(pdf: pikepdf.Pdf, page: pikepdf.Page) -> Dictionary:
    """The page's resources as a dictionary of its own: what it shared with other pages stays as it was."""
    given = inherited(page.obj, "/Resources")
    own = Dictionary(dict(given.items())) if isinstance(given, Dictionary) else Dictionary()
    pictures = own.get("/XObject")
    own.XObject = Dictionary(dict(pictures.items())) if isinstance(pictures, Dictionary) else Dictionary()
    page.obj.Resources = own
    made: Dictionary = page.obj.Resources
    return made


def _free_name(resources: Dictionary) -> str:
    taken, number = set(resources.XObject.keys()), 0
    while (name := _FORM + (str(number) if number else "")) in taken:
        number += 1
    return name


# ---- the marks


def _form(
    pdf: pikepdf.Pdf,
    sheet: Sheet,
    marks: Marks,
    slug: Line | None,
    matrix: tuple[float, float, float, float, float, float],
) -> pikepdf.Object:
    """All marks as a form XObject, in points of paper, upright as the poster is looked at."""
    resources = Dictionary(ColorSpace=Dictionary(All=_registration(pdf)))
    drawing = _lines(sheet, marks.weight) + _targets(sheet, marks.weight) + _patches(sheet)
    if slug is not None and slug.text and sheet.slug is not None:
        resources.Font = Dictionary(Slug=embed_font(pdf, slug.text))
        x, y, _ = sheet.slug
        # In black alone: small type in four inks blurs with the least misregister.
        drawing += b"0 0 0 1 k\nBT\n/Slug %b Tf\n%b Td\n" % (_n(slug.size).encode(), _n(x, y).encode())
        drawing += show_line(slug) + b"\nET\n"
    form = Stream(
        pdf,
        drawing,
        Type=Name.XObject,
        Subtype=Name.Form,
        BBox=_array(*sheet.edge),
        Matrix=_array(*matrix),
        Resources=resources,
    )
    return pdf.make_indirect(form)


def _registration(pdf: pikepdf.Pdf) -> pikepdf.Object:
    """Registration colour: Separation /All marks every plate, spot inks included (ISO 32000-1 8.6.6.4)."""
    tint = Dictionary(FunctionType=2, Domain=[0, 1], C0=[0, 0, 0, 0], C1=[1, 1, 1, 1], N=1)
    return pdf.make_indirect(Array([Name.Separation, Name.All, Name.DeviceCMYK, tint]))


def _lines(sheet: Sheet, weight: float) -> bytes:
    drawn = "".join(f"{_n(x0, y0)} m {_n(x1, y1)} l S\n" for x0, y0, x1, y1 in sheet.lines)
    return f"/All CS 1 SCN {_n(weight)} w 0 J [] 0 d\n{drawn}".encode("ascii") if drawn else b""


def _targets(sheet: Sheet, weight: float) -> bytes:
    """Hair lines and ring in full registration colour, the middle filled, and the hair lines spared out of it."""
    parts = [f"/All CS /All cs 1 SCN 1 scn {_n(weight)} w 0 J [] 0 d\n"] if sheet.targets else []
    arm = TARGET / 2
    for x, y in sheet.targets:
        parts += [
            f"{_n(x - arm, y)} m {_n(x + arm, y)} l {_n(x, y - arm)} m {_n(x, y + arm)} l S\n",
            f"{_circle(x, y, _RING)} S\n{_circle(x, y, _DISC)} f\n",
            f"q 0 SCN {_n(x - _DISC, y)} m {_n(x + _DISC, y)} l {_n(x, y - _DISC)} m {_n(x, y + _DISC)} l S Q\n",
        ]
    return "".join(parts).encode("ascii")


def _circle(x: float, y: float, radius: float) -> str:
    k, r = radius * _KAPPA, radius
    return (
        f"{_n(x + r, y)} m {_n(x + r, y + k, x + k, y + r, x, y + r)} c {_n(x - k, y + r, x - r, y + k, x - r, y)} c "
        f"{_n(x - r, y - k, x - k, y - r, x, y - r)} c {_n(x + k, y - r, x + r, y - k, x + r, y)} c h"
    )


def _patches(sheet: Sheet) -> bytes:
    return "".join(_patch(box, inks) for box, inks in sheet.patches).encode("ascii")


def _patch(box: Box, inks: Inks) -> str:
    return f"{_n(*inks)} k {_n(box.left, box.bottom, box.width, box.height)} re f\n"


def _array(*values: float) -> Array:
    return Array([pikepdf.Object.parse(_number(value, 8).encode("ascii")) for value in values])


def _n(*values: float) -> str:
    """Numbers as PDF writes them, to a ten-thousandth."""
    return " ".join(_number(value, 4) for value in values)


def _number(value: float, digits: int) -> str:
    text = f"{value:.{digits}f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text
