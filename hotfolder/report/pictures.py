"""Gathers the report's pictures: the proof of the sheet, and a crop for each place where something was found."""

from __future__ import annotations

import base64
import math
import warnings
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from io import BytesIO
from pathlib import Path

import pikepdf
from PIL import Image, ImageOps

from hotfolder.colour.condition import Condition
from hotfolder.finding import Box, Finding
from hotfolder.moved import Moved
from hotfolder.pdf.boxes import PageBoxes, read_boxes
from hotfolder.pdf.opening.kinds import pdf_kind
from hotfolder.pdf.pictures.kept import SHEET_SIDE
from hotfolder.pdf.render import Pages, open_pages
from hotfolder.report import proof
from hotfolder.report.mixed import CODES, MOST_PAIRS, draw_pair
from hotfolder.report.screen import FAULTS, screen_copy
from hotfolder.ticket import Ticket

MOST_PROOFS = 4
MOST_CROPS = 24
CROP_PPI = 150.0  # what pictures keep in crops, where that comes to no more pixels of a sheet than
MOST_CROP_PIXELS = 4_000_000  # so that one small place on a large poster does not cost seconds
MOST_BYTES = 1_000_000  # of all pictures together; as data: URIs a third more
_PICTURES = ("JPEG", "PNG", "TIFF", "WEBP", "GIF", "BMP")  # not EPS: for that Pillow would start another program
MOST_PICTURE_PIXELS = 100_000_000  # of an original that no step could open
QUALITY, CROP_QUALITY = 85, 80


@dataclass(frozen=True, slots=True)
class Shown:
    """A picture ready for the page."""

    uri: str
    width: int
    height: int
    alt: str
    page: int = 1


@dataclass(slots=True)
class Pictures:
    """What there is to see. `remarks`: sentences about what could not be shown, or not exactly."""

    proofs: list[Shown] = field(default_factory=list)
    crops: dict[int, Shown] = field(default_factory=dict)  # by the finding's number
    placed: set[int] = field(default_factory=set)  # numbers that stand on a proof
    has_lines: bool = False
    hatched: bool = False
    remarks: list[str] = field(default_factory=list)
    spent: int = 0

    def add(self, picture: Image.Image, alt: str, page: int, quality: int) -> Shown | None:
        """Encode a picture, if the report can still take it."""
        data = BytesIO()
        # Full colour resolution: thin lines beside each other would bleed into one.
        picture.save(data, "JPEG", quality=quality, subsampling=0)
        if self.spent + data.tell() > MOST_BYTES:
            return None
        self.spent += data.tell()
        uri = "data:image/jpeg;base64," + base64.b64encode(data.getvalue()).decode("ascii")
        return Shown(uri, picture.width, picture.height, alt, page)


@dataclass(frozen=True, slots=True)
class _Located:
    """A finding with a place: its number in the report, page and box."""

    number: int
    page: int
    box: Box


@dataclass(frozen=True, slots=True)
class _Crop:
    """A crop to draw: which place, on a page with which boxes, how much around it, at what resolution."""

    place: _Located
    boxes: PageBoxes
    area: Box
    ppi: float


def gather(
    findings: Sequence[Finding],
    ticket: Ticket,
    *,
    original: Path | None,
    working: Path | None,
    opened: Path | None,
    condition: Condition | None,
    shown: tuple[bytes, float] | None = None,
    moved: Mapping[int, Moved] | None = None,
) -> Pictures:
    """All pictures for findings numbered from 1 in the given order. Never raises for what is in the artwork."""
    pictures = Pictures()
    located = [
        _Located(number, finding.page or 1, finding.box)
        for number, finding in enumerate(findings, 1)
        if finding.box is not None and proof.usable(finding.box)
    ]
    if opened is not None and condition is not None:
        _pairs(pictures, findings, opened, condition, moved or {})
    try:
        if (pdf := working or opened) is not None:
            _draw_all(pictures, located, ticket, pdf, condition, shown)
        elif original is not None:
            _plain(pictures, original)
    except FAULTS as fault:
        pictures.remarks.append(_cannot(fault))
    return pictures


def _cannot(fault: Exception) -> str:
    if isinstance(fault, pikepdf.PasswordError):
        return "There is no picture of the sheet, because a password protects the file."
    reason = f": {str(fault).rstrip('.')}" if isinstance(fault, ValueError) else ""
    return f"There is no picture of the sheet{reason}."


def _draw_all(
    pictures: Pictures,
    located: list[_Located],
    ticket: Ticket,
    working: Path,
    condition: Condition | None,
    shown: tuple[bytes, float] | None,
) -> None:
    boxes = _page_boxes(working)
    wanted = sorted({1, *(place.page for place in located if 1 <= place.page <= len(boxes))})[:MOST_PROOFS]
    if len(boxes) > len(wanted):
        pictures.remarks.append(_shown_pages(wanted, len(boxes)))
    readable = [found for page in wanted if (found := boxes[page - 1]) is not None]
    ppi = max((min(SHEET_SIDE / max(_inches(found)), proof.MOST_PPI) for found in readable), default=72.0)
    crops = _wanted_crops(pictures, located, boxes)
    coarse = [crop for crop in crops if crop.ppi <= ppi]
    fine = [crop for crop in crops if crop.ppi > ppi]
    copy: Path | bytes
    if shown is not None and shown[1] >= ppi:
        copy, remark = shown[0], ""
    else:
        copy, remark = screen_copy(working, condition, ppi, sorted({*wanted, *(crop.place.page for crop in coarse)}))
    pictures.remarks += [remark] if remark else []
    with open_pages(copy) as pages:
        for page in wanted:
            _proof(pictures, pages, boxes[page - 1], page, located, ticket)
        _crops(pictures, pages, coarse)
    if fine:
        kept = min(CROP_PPI, *(math.sqrt(MOST_CROP_PIXELS / math.prod(_inches(crop.boxes))) for crop in fine))
        if kept < 0.5 * CROP_PPI:
            pictures.remarks.append("Photographs in the pictures of single places may look coarser than they are.")
        copy, _ = screen_copy(working, condition, kept, sorted({crop.place.page for crop in fine}))
        with open_pages(copy) as pages:
            _crops(pictures, pages, fine)


def _proof(
    pictures: Pictures, pages: Pages, boxes: PageBoxes | None, page: int, located: list[_Located], ticket: Ticket
) -> None:
    if boxes is None:
        drawn = pages.render(page, proof.proof_ppi(pages.shown_inches(page))).picture
        alt = f"Page {page} of the artwork"
        pictures.remarks.append(f"Page {page} is shown without its lines: what it says of its size makes no sense.")
    else:
        places = [proof.Place(place.number, place.box) for place in located if place.page == page]
        drawn = proof.draw_proof(pages, page, boxes, ticket, places)
        alt = f"Page {page} of the artwork on its sheet, with the lines of bleed, trim and safe margin"
        pictures.has_lines = True
        pictures.hatched |= proof.lacks_sheet(boxes, ticket)
        pictures.placed |= {place.number for place in places}
    shown = pictures.add(drawn, alt, page, QUALITY)
    if shown is not None:
        pictures.proofs.append(shown)


def _shown_pages(shown: list[int], total: int) -> str:
    named = ", ".join(map(str, shown))
    return f"Shown here: page{'s' if len(shown) > 1 else ''} {named} of {total}."


def _wanted_crops(pictures: Pictures, located: list[_Located], boxes: list[PageBoxes | None]) -> list[_Crop]:
    crops = []
    for place in located:
        found = boxes[place.page - 1] if 1 <= place.page <= len(boxes) else None
        area = proof.crop_area(place.box, found) if found is not None else None
        if found is not None and area is not None and place.number not in pictures.crops:
            crops.append(_Crop(place, found, area, proof.crop_ppi(area, found)))
    if len(crops) > MOST_CROPS:
        pictures.remarks.append(f"Only the first {MOST_CROPS} places are shown in pictures of their own.")
    return crops[:MOST_CROPS]


def _crops(pictures: Pictures, pages: Pages, crops: list[_Crop]) -> None:
    for crop in crops:
        drawn = proof.draw_crop(pages, crop.place.page, crop.boxes, crop.place.box, crop.area)
        alt = f"The place of point {crop.place.number}, outlined, with its surroundings"
        shown = pictures.add(drawn, alt, crop.place.page, CROP_QUALITY)
        if shown is not None:
            pictures.crops[crop.place.number] = shown


def _pairs(
    pictures: Pictures,
    findings: Sequence[Finding],
    opened: Path,
    condition: Condition,
    moved: Mapping[int, Moved],
) -> None:
    """The places of mixed colours twice, before and after; where that can't be drawn they get an ordinary picture."""
    wanted = [(number, found) for number, found in enumerate(findings, 1) if found.code in CODES and found.box]
    for number, found in wanted[:MOST_PAIRS]:
        if found.box is None or not proof.usable(found.box):
            continue
        page = found.page or 1
        box = moved[page].before(found.box) if page in moved else found.box
        with suppress(*FAULTS):
            drawn = draw_pair(opened, page, box, condition)
            alt = f"The place of point {number}, outlined: on the left as it was designed, on the right as inks mix it"
            shown = pictures.add(drawn, alt, page, QUALITY) if drawn is not None else None
            if shown is not None:
                pictures.crops[number] = shown


def _plain(pictures: Pictures, original: Path) -> None:
    """A picture of artwork that no step has opened, where it can be had at all."""
    drawn: Image.Image | None = None
    with suppress(*FAULTS, Image.DecompressionBombError), warnings.catch_warnings(action="ignore"):
        drawn = _small(original)
    if drawn is None and _seems_pdf(original):
        with suppress(*FAULTS), open_pages(original) as pages:
            drawn = pages.render(1, proof.proof_ppi(pages.shown_inches(1))).picture
    if drawn is None:
        pictures.remarks.append("There is no picture of the artwork, because the file can't be opened.")
        return
    shown = pictures.add(drawn, "The artwork as it arrived", 1, QUALITY)
    if shown is not None:
        pictures.proofs.append(shown)
        pictures.remarks.append("The artwork is shown as it arrived; its colours are approximate.")


def _seems_pdf(original: Path) -> bool:
    """The reader of PDF searches other files for a lost list of contents, for minutes."""
    with original.open("rb") as stream:
        return bool(pdf_kind(stream.read(4096)))


def _small(original: Path) -> Image.Image:
    with Image.open(original, formats=_PICTURES) as found:
        if found.width * found.height > MOST_PICTURE_PIXELS:
            raise ValueError("the picture is too large to be shown")
        found.draft("RGB", (proof.LONG_SIDE, proof.LONG_SIDE))
        found.thumbnail((proof.LONG_SIDE, proof.LONG_SIDE))
        return ImageOps.exif_transpose(found).convert("RGB")


def _page_boxes(path: Path) -> list[PageBoxes | None]:
    """Every page's boxes; None where they make no sense."""
    found: list[PageBoxes | None] = []
    with path.open("rb") as stream, pikepdf.open(stream) as pdf:
        for page in pdf.pages:
            try:
                found.append(read_boxes(page))
            except ValueError:
                found.append(None)
    return found


def _inches(boxes: PageBoxes) -> tuple[float, float]:
    width, height = boxes.size(boxes.media)
    return width / 72, height / 72
