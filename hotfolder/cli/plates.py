"""The command `plates`: each ink of a PDF as a gray picture, the map of total ink, and how much of each ink it takes."""

from __future__ import annotations

import shutil
import tempfile
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

from hotfolder.cli.jobs import artwork
from hotfolder.cli.show import as_json, console, plain, say, sentences, table
from hotfolder.colour.condition import Condition
from hotfolder.config.builtin import builtin_studio
from hotfolder.config.reader import load_studio
from hotfolder.config.words import ended, unknown
from hotfolder.daemon.files import Files
from hotfolder.daemon.publish import Member, put
from hotfolder.errors import ConfigError
from hotfolder.ink import PageInk
from hotfolder.names import printable, safe_stem
from hotfolder.pdf.looking.coverage import SQUARE_CM, measure
from hotfolder.pdf.plates import Plates, make_plates
from hotfolder.pdf.render import open_pages
from hotfolder.report.ink_map import ink_map, with_scale
from hotfolder.report.screen import FAULTS

TOTAL = "total-ink"
_LONGEST_INK = 60  # bytes of an ink's name in a file's name


@dataclass
class Page:
    """One page's figures, and the files made of it: one for each ink in their order, and the map."""

    ink: PageInk
    ppi: float
    over_cm2: float
    doubts: list[str]
    files: list[str] = field(default_factory=list)


def make_plate_files(
    file: Path, into: Path, ppi: float, *, condition: str | None, config: Path | None, page: int | None, json_: bool
) -> int:
    """`hotfolder plates`. Returns the exit code; ConfigError for mistakes of whoever calls it."""
    artwork([file])
    chosen = _condition(condition, config)
    try:
        numbers = _pages(file, page)
        _prepare(into)
        pages = _work(file, into, ppi, chosen, numbers)
    except ConfigError:
        raise
    except FAULTS as fault:
        sentences([f"{file}: no plates were made: {_reason(fault)}."])
        return 1
    if json_:
        as_json(_data(file, into, chosen, pages))
    else:
        for each in pages:
            _show(each, chosen, several=len(numbers) > 1)
        say(
            f"The pictures stand in {printable(str(into))}: {printable(_first(pages))} and so on. Nothing was overwritten."
        )
    return 0


def _condition(name: str | None, config: Path | None) -> Condition:
    studio = builtin_studio() if config is None else load_studio(config)
    name = studio.condition if name is None else name
    if name not in studio.conditions:
        told = unknown("printing condition", name, list(studio.conditions), "The printing conditions are")
        raise ConfigError([f"--condition {printable(name)}: {told}"])
    return studio.conditions[name]


def _pages(file: Path, page: int | None) -> Sequence[int]:
    with open_pages(file) as pages:
        count = len(pages)
    if page is not None and page > count:
        raise ConfigError([f"--page {page}: the file has {count} page{'s' if count != 1 else ''}."])
    return range(1, count + 1) if page is None else [page]


def _prepare(into: Path) -> None:
    try:
        into.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        reason = ended(f"{error.strerror or error}").lower()
        raise ConfigError([f"--into {printable(str(into))}: the folder can't be made: {reason}"]) from error


def _work(file: Path, into: Path, ppi: float, condition: Condition, numbers: Sequence[int]) -> list[Page]:
    """Make every picture in a hidden folder first, then give them their names together, none that is taken."""
    room = Path(tempfile.mkdtemp(prefix=".hotfolder-", dir=into))
    try:
        pages: list[Page] = []
        members: list[Member] = []
        for number in numbers:
            pages.append(_page(file, room, ppi, condition, number, members, several=len(numbers) > 1))
        names = put(Files(), room.name, room, into, members)
        given = dict(zip((member.source for member in members), names, strict=True))
        for page in pages:
            page.files = [given[source] for source in page.files]
        return pages
    finally:
        shutil.rmtree(room, ignore_errors=True)


def _page(
    file: Path, room: Path, ppi: float, condition: Condition, number: int, members: list[Member], *, several: bool
) -> Page:
    plates = make_plates(file, number, ppi, condition)
    ink, total = measure(plates), plates.total()
    over = float((total > condition.ink_limit * 2.55 + 1).sum()) * plates.square_points() / SQUARE_CM
    page = Page(ink, plates.ppi, over, [f"{doubt.what}: {doubt.why}" for doubt in plates.doubts])
    stem, before = safe_stem(file.stem), f".page-{number}" if several else ""
    pictures = [_gray(plates, name) for name in plates.inks] + [_map(total, ink, condition)]
    for place, (picture, name) in enumerate(zip(pictures, file_names([*plates.inks, TOTAL]), strict=True)):
        source = f"{number}-{place}.png"
        picture.save(room / source, dpi=(plates.ppi, plates.ppi))
        members.append(Member(source, stem, f"{before}.{name}.png"))
        page.files.append(source)
    return page


def _gray(plates: Plates, ink: str) -> Image.Image:
    return Image.fromarray(255 - plates.coverage[ink])


def _map(total: np.ndarray[Any, np.dtype[np.uint16]], ink: PageInk, condition: Condition) -> Image.Image:
    heading = f"Total ink: mean {ink.mean_total:.0f} %, peak {ink.peak_total:.0f} %. {condition.title}"
    return with_scale(ink_map(total, condition.ink_limit), condition.ink_limit, heading)


def file_names(inks: Sequence[str]) -> list[str]:
    """For each ink the part of a file's name that stands for it: safe on every disk, no two alike in any case."""
    given: list[str] = []
    taken: set[str] = set()
    for ink in inks:
        stem = safe_stem(ink, "ink").encode("utf-8")[:_LONGEST_INK].decode("utf-8", "ignore").strip(" .") or "ink"
        name, count = stem, 1
        while (key := unicodedata.normalize("NFKC", name).casefold()) in taken:
            count += 1
            name = f"{stem}-{count}"
        taken.add(key)
        given.append(name)
    return given


def _reason(fault: Exception) -> str:
    return str(fault).rstrip(".") if isinstance(fault, ValueError) else f"{type(fault).__name__}: {fault}".rstrip(".")


def _first(pages: Sequence[Page]) -> str:
    return pages[0].files[0] if pages else ""


def _data(file: Path, into: Path, condition: Condition, pages: Sequence[Page]) -> dict[str, Any]:
    return {
        "file": str(file),
        "into": str(into),
        "condition": condition.name,
        "ink_limit_percent": condition.ink_limit,
        "pages": [_page_data(page) for page in pages],
    }


def _page_data(page: Page) -> dict[str, Any]:
    inks = [
        {
            "ink": use.name,
            "picture": file,
            "mean_percent": round(use.mean, 2),
            "peak_percent": round(use.peak, 1),
            "printed_cm2": round(use.printed_cm2, 1),
            "solid_cm2": round(use.solid_cm2, 1),
        }
        for use, file in zip(page.ink.inks, page.files, strict=False)
    ]
    return {
        "page": page.ink.page,
        "ppi": page.ppi,
        "area_cm2": round(page.ink.area_cm2, 1),
        "inks": inks,
        "total": {
            "picture": page.files[-1],
            "mean_percent": round(page.ink.mean_total, 2),
            "peak_percent": round(page.ink.peak_total, 1),
            "over_limit_cm2": round(page.over_cm2, 2),
        },
        "doubts": page.doubts,
    }


def _show(page: Page, condition: Condition, *, several: bool) -> None:
    heading = f"Page {page.ink.page}, " if several else ""
    title = f"{heading}{page.ink.area_cm2:.0f} cm² at {page.ppi:.4g} ppi; {condition.title}, ink limit {condition.ink_limit:g} %"
    rows = table("ink", "mean coverage", "area with ink", "as solid ink", "peak", "picture", title=title)
    for use, file in zip(page.ink.inks, page.files, strict=False):
        rows.add_row(
            plain(use.name),
            f"{use.mean:.2f} %",
            f"{use.printed_cm2:.0f} cm²",
            f"{use.solid_cm2:.1f} cm²",
            f"{use.peak:.0f} %",
            plain(file),
        )
    over = f"{page.over_cm2:.1f} cm² over {condition.ink_limit:g} %" if page.over_cm2 else "none over the limit"
    rows.add_row(
        "all together",
        f"{page.ink.mean_total:.2f} %",
        over,
        "",
        f"{page.ink.peak_total:.0f} %",
        plain(page.files[-1]),
    )
    console().print(rows)
    for doubt in page.doubts:
        say(f"Not certain: {printable(doubt)}.")
