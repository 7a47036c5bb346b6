"""Works out where a picture stands on the sheet: how large, what is cut off, which resolution results."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from hotfolder.finding import Box, Hold
from hotfolder.units import MM, Size, show_length, show_size

_SLACK = 0.25 * MM  # white left at an edge, or overhang, that no one sees
_LEAST_SIDE = 3.0  # points; no page may be smaller (ISO 32000-1 annex C.2)


class Fit(StrEnum):
    """How a picture meets the ordered size."""

    COVER = "cover"
    CONTAIN = "contain"
    TRUE_SIZE = "true_size"


@dataclass(frozen=True)
class Wanted:
    """What was ordered, in points, and how to get there. `crop_allowance`: percent of the picture's width or height."""

    trim: Size | None
    bleed: float
    safe_margin: float
    fit: Fit = Fit.COVER
    crop_allowance: float = 3.0


@dataclass(frozen=True)
class Placing:
    """Boxes in points, the sheet's left bottom corner at 0, 0. `cropped`: parts (0..1) of width and height lost."""

    sheet: Box  # media and bleed box
    trim: Box
    picture: Box
    ppi: tuple[float, float]
    cropped: tuple[float, float]
    turned: bool = False  # the ordered size lies the other way than it was ordered
    sized_by_file: bool = False  # nothing was ordered; the file's own resolution decided
    white: tuple[float, float] = (0.0, 0.0)  # paper left between trim and picture: at the sides, at top and bottom


def place(pixels: tuple[int, int], ppi: tuple[float, float] | None, wanted: Wanted) -> Placing:
    """Place a picture of so many pixels, as it is looked at. Hold where it can't be placed as wanted."""
    across, down = ppi or (72.0, 72.0)
    natural = Size(pixels[0] * 72 / across, pixels[1] * 72 / down)
    if wanted.trim is None or wanted.fit is Fit.TRUE_SIZE:
        _need_resolution(pixels, ppi)
    if wanted.trim is None:
        return _sized_by_file(pixels, natural, wanted.bleed)
    turned = _lies_otherwise(natural, wanted.trim)
    trim = wanted.trim.turned() if turned else wanted.trim
    sheet = Size(trim.width + 2 * wanted.bleed, trim.height + 2 * wanted.bleed)
    scale = _scale(natural, trim, sheet, wanted)
    return _placed(pixels, Size(natural.width * scale, natural.height * scale), trim, sheet, wanted, turned)


def _need_resolution(pixels: tuple[int, int], ppi: tuple[float, float] | None) -> None:
    if ppi is None:
        raise Hold(
            "size_unknown",
            "The picture doesn't say how large it is meant to be: it holds no resolution, and the size can't be "
            "told without one.",
            measured=f"{pixels[0]} × {pixels[1]} pixels, no resolution",
            mend="Put the ordered size on the ticket, or save the picture with the resolution it is to be "
            "printed at, and drop it again.",
        )


def _sized_by_file(pixels: tuple[int, int], natural: Size, bleed: float) -> Placing:
    sheet = Box(0, 0, natural.width, natural.height)
    trim = sheet.grown(-bleed)
    if min(trim.width, trim.height) < _LEAST_SIDE:
        raise Hold(
            "size_unknown",
            "Nothing says how large the poster is to be, and at its own resolution the picture is smaller than the "
            "bleed around it.",
            measured=show_size(natural.width, natural.height),
            required=f"more than {show_length(2 * bleed + _LEAST_SIDE)} on each side",
            mend="Put the ordered size on the ticket and drop the picture again.",
        )
    return Placing(sheet, trim, sheet, _resolution(pixels, natural), (0, 0), sized_by_file=True)


def _lies_otherwise(picture: Size, trim: Size) -> bool:
    return (picture.width - picture.height) * (trim.width - trim.height) < 0


def _scale(natural: Size, trim: Size, sheet: Size, wanted: Wanted) -> float:
    if wanted.fit is Fit.TRUE_SIZE:
        return 1.0
    across, down = sheet.width / natural.width, sheet.height / natural.height
    whole = min(across, down)
    gap = max(sheet.width - natural.width * whole, sheet.height - natural.height * whole)
    if wanted.fit is Fit.COVER or gap <= 2 * _SLACK:
        return max(across, down)
    # A picture that ends in the bleed on two sides only would be cut unevenly: it goes inside the safe margin.
    inside = min(wanted.safe_margin, trim.width / 3, trim.height / 3)
    return min((trim.width - 2 * inside) / natural.width, (trim.height - 2 * inside) / natural.height)


def _placed(pixels: tuple[int, int], size: Size, trim: Size, sheet: Size, wanted: Wanted, turned: bool) -> Placing:
    over = (max(0.0, 1 - sheet.width / size.width), max(0.0, 1 - sheet.height / size.height))
    if max(over) * 100 > wanted.crop_allowance and max(_overhang(size, sheet)) > _SLACK:
        raise _crop_too_much(size, trim, sheet, over, wanted)
    whole = Box(0, 0, sheet.width, sheet.height)
    left, bottom = (sheet.width - size.width) / 2, (sheet.height - size.height) / 2
    picture = Box(left, bottom, left + size.width, bottom + size.height)
    cut = whole.grown(-wanted.bleed)
    white = (max(0.0, picture.left - cut.left), max(0.0, picture.bottom - cut.bottom))
    if wanted.fit is Fit.TRUE_SIZE:  # the boxes promise no art that isn't there; the order is checked later
        whole = whole.common(picture) or whole
        cut, white = cut.common(picture) or cut, (0.0, 0.0)
    origin = (whole.left, whole.bottom)
    return Placing(
        sheet=_moved(whole, origin),
        trim=_moved(cut, origin),
        picture=_moved(picture, origin),
        ppi=_resolution(pixels, size),
        cropped=over,
        turned=turned,
        white=white if max(white) > _SLACK else (0.0, 0.0),
    )


def _overhang(size: Size, sheet: Size) -> tuple[float, float]:
    return size.width - sheet.width, size.height - sheet.height


def _crop_too_much(size: Size, trim: Size, sheet: Size, over: tuple[float, float], wanted: Wanted) -> Hold:
    sides = "width" if over[0] >= over[1] else "height"
    how = "At its own resolution" if wanted.fit is Fit.TRUE_SIZE else "To fill the sheet"
    return Hold(
        "crop_too_much",
        f"The picture has another shape than the poster. {how}, {max(over) * 100:.1f} % of its {sides} would be "
        f"cut off; {wanted.crop_allowance:g} % is allowed.",
        measured=f"{max(over) * 100:.1f} % would be cut off",
        required=f"{wanted.crop_allowance:g} % at most",
        mend=f"Crop or extend the picture to {show_size(sheet.width, sheet.height)}: the ordered "
        f"{show_size(trim.width, trim.height)} and {show_length(wanted.bleed)} bleed on all sides.",
    )


def _resolution(pixels: tuple[int, int], size: Size) -> tuple[float, float]:
    return pixels[0] * 72 / size.width, pixels[1] * 72 / size.height


def _moved(box: Box, origin: tuple[float, float]) -> Box:
    x, y = origin
    return Box(box.left - x, box.bottom - y, box.right - x, box.top - y)
