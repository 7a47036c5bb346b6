"""How long codes are looked for on the first pages of a folder of PDFs, against drawing them at 150 ppi; with --find, how
many of the codes are found that are laid on these pages at random places.

Run: .venv/bin/python tests/bench/codes_of_folder.py FOLDER [--find]

Seconds are of the processor, user and system: others may be at work on the machine.
"""

from __future__ import annotations

import random
import resource
import sys
from collections import Counter
from collections.abc import Iterator
from io import BytesIO
from pathlib import Path

import pikepdf
from reportlab.graphics.barcode import createBarcodeDrawing
from reportlab.pdfgen.canvas import Canvas

from hotfolder.pdf.boxes import PageBoxes, read_boxes
from hotfolder.pdf.looking.codes import find_codes
from hotfolder.pdf.render import open_pages
from hotfolder.units import MM

MODULES = (0.3, 0.4, 0.6, 1.0)  # mm


def processor_seconds() -> float:
    used = resource.getrusage(resource.RUSAGE_SELF)
    return used.ru_utime + used.ru_stime


def pages_of(folder: Path) -> Iterator[tuple[Path, PageBoxes]]:
    for path in sorted(folder.rglob("*.pdf")):
        try:
            with pikepdf.open(path) as pdf:
                yield path, read_boxes(pdf.pages[0])
        except (ValueError, IndexError, pikepdf.PdfError):
            continue


def measure_time(folder: Path) -> None:
    rows = []
    for path, boxes in pages_of(folder):
        try:
            with open_pages(path) as pages:
                pages.render(1, 20)  # the file is read
                started = processor_seconds()
                pages.render(1, 150)
                between = processor_seconds()
                find_codes(pages, 1, boxes.bleed, boxes.user_unit)
                rows.append((processor_seconds() - between, between - started))
        except ValueError:
            continue
    ours, theirs = (sum(row[place] for row in rows) for place in (0, 1))
    print(f"{len(rows)} pages: {ours:.1f} s, drawn at 150 ppi {theirs:.1f} s: {ours / theirs:.2f}")


def code(kind: str, module: float) -> bytes:
    """A code on white with its free space, as a PDF of its own size; written by another program than the one that reads."""
    if kind == "QR":
        drawing = createBarcodeDrawing("QR", value="https://example.org/fair", barLevel="M", barBorder=4)
        size = drawing.width / (25 + 8)
    else:
        drawing = createBarcodeDrawing("EAN13", value="400638133393", barWidth=1, barHeight=60, quiet=1)
        size = 1.0
    scale = module * MM / size
    out = BytesIO()
    canvas = Canvas(out, pagesize=(drawing.width * scale, drawing.height * scale))
    canvas.setFillGray(1)
    canvas.rect(0, 0, drawing.width * scale, drawing.height * scale, stroke=0, fill=1)
    canvas.scale(scale, scale)
    drawing.drawOn(canvas, 0, 0)
    canvas.save()
    return out.getvalue()


def measure_finding(folder: Path) -> None:
    found, tried, chance = Counter[tuple[str, float]](), Counter[tuple[str, float]](), random.Random(7)
    for path, boxes in pages_of(folder):
        for kind in ("QR", "EAN-13"):
            for module in MODULES:
                with pikepdf.open(path) as pdf, pikepdf.open(BytesIO(code(kind, module))) as drawn:
                    wide, high = (float(side) / boxes.user_unit for side in list(drawn.pages[0].MediaBox)[2:])
                    if wide > boxes.trim.width or high > boxes.trim.height:
                        continue
                    left = chance.uniform(boxes.trim.left, boxes.trim.right - wide)
                    low = chance.uniform(boxes.trim.bottom, boxes.trim.top - high)
                    pdf.pages[0].add_overlay(drawn.pages[0], pikepdf.Rectangle(left, low, left + wide, low + high))
                    out = BytesIO()
                    pdf.save(out)
                tried[kind, module] += 1
                with open_pages(out.getvalue()) as pages:
                    codes = find_codes(pages, 1, boxes.bleed, boxes.user_unit)
                found[kind, module] += any(
                    one.reads and one.box.left > left - 9 and one.box.top < low + high + 9 for one in codes
                )
    for key, count in tried.items():
        print(f"{key[0]} with modules of {key[1]:g} mm: {found[key]} of {count} found")


if __name__ == "__main__":
    (measure_finding if "--find" in sys.argv else measure_time)(Path(sys.argv[1]))
