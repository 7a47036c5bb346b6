"""Strips along the cut, drawn and judged: processor seconds against drawing the whole page once at 150 ppi with PDFium.

Run: .venv/bin/python tests/bench/edges.py [FILE.pdf ...]   (default: a 24x36 in JPEG at 300 ppi, made here)
"""

from __future__ import annotations

import io
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pikepdf
from PIL import Image

from hotfolder.pdf.boxes import read_boxes
from hotfolder.pdf.looking.edges import draw_edges
from hotfolder.pdf.looking.edges_bands import frames, line_on_cut
from hotfolder.pdf.looking.edges_reach import lacking, reaches_cut
from hotfolder.pdf.render import open_pages
from hotfolder.testing import embed_picture
from hotfolder.units import INCH, MM


def main(paths: list[Path]) -> None:
    for path in paths:
        whole, strips = (min(_seconds(work, path) for _ in range(3)) for work in (draw_page, look_along_cut))
        print(f"{path.name}: page {whole:.3f} s, edges {strips:.3f} s, ratio {strips / whole:.2f}")


def _seconds(work: Callable[[Path], None], path: Path) -> float:
    start = time.process_time()
    work(path)
    return time.process_time() - start


def draw_page(path: Path) -> None:
    with open_pages(path) as pages:
        pages.render(1, 150)


def look_along_cut(path: Path) -> None:
    with pikepdf.open(path) as pdf, open_pages(path) as pages:
        boxes = read_boxes(pdf.pages[0])
        strips = draw_edges(pages, 1, boxes, boxes.trim, INCH / 8)
        for strip in strips.values():
            lacking(strip, INCH / 8, 0.2 * MM)
            reaches_cut(strip)
            line_on_cut(strip)
        frames(strips, 3 * MM)


def large_picture(path: Path) -> Path:
    """24x36 in and bleed, one JPEG of 300 ppi over it all."""
    size = (round(24.25 * 300), round(36.25 * 300))
    tones = np.random.default_rng(1).integers(0, 255, (size[1] // 50, size[0] // 50, 3), dtype=np.uint8)
    data = io.BytesIO()
    Image.fromarray(tones).resize(size, Image.Resampling.BICUBIC).save(data, "JPEG", quality=90)
    pdf = pikepdf.new()
    page = pdf.add_blank_page(page_size=(24.25 * 72, 36.25 * 72))
    page.obj.TrimBox = [9, 9, 24.25 * 72 - 9, 36.25 * 72 - 9]
    picture = embed_picture(pdf, *size, data=b"")
    picture.write(data.getvalue(), filter=pikepdf.Name.DCTDecode)
    page.obj.Resources = pikepdf.Dictionary(XObject=pikepdf.Dictionary(Picture=picture))
    page.obj.Contents = pdf.make_stream(b"q 1746 0 0 2610 0 0 cm /Picture Do Q")
    pdf.save(path)
    return path


if __name__ == "__main__":
    if sys.argv[1:]:
        main([Path(name) for name in sys.argv[1:]])
    else:
        with tempfile.TemporaryDirectory() as folder:
            main([large_picture(Path(folder) / "24x36in-300ppi.pdf")])
