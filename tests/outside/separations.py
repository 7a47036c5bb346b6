"""Compares plates with the separations that other programs make of the same page; none of them is used by hotfolder.

Over a whole folder, after conversion to the printing condition, with the time of both:
.venv/bin/python tests/outside/separations.py FOLDER [PPI]
"""

from __future__ import annotations

import io
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pikepdf
from numpy.typing import NDArray
from PIL import Image

from hotfolder.colour.condition import DEFAULT, SHIPPED
from hotfolder.pdf.mappings import ToCondition
from hotfolder.pdf.plates import PROCESS, Plates, make_plates
from hotfolder.pdf.walk.walker import walk

CONDITION = SHIPPED[DEFAULT]
MEAN, NEARLY_ALL = 1.0, 3.0  # percent of full ink: mean, and of all but the worst hundredth of the places compared
_AROUND, _STEP = 2, 24  # an edge is where inks change by more than 24 of 255 within two pixels
Separations = dict[str, NDArray[np.uint8]]


def ghostscript(path: Path, ppi: float) -> Separations:
    """The first page's inks by Ghostscript's device tiffsep, 255 full ink; edges smoothed, as PDFium does."""
    with tempfile.TemporaryDirectory() as folder:
        subprocess.run(
            [
                "gs", "-q", "-dNOPAUSE", "-dBATCH", "-dSAFER", "-sDEVICE=tiffsep", f"-r{ppi}", "-dLastPage=1",
                "-dTextAlphaBits=4", "-dGraphicsAlphaBits=4", f"--permit-file-read={CONDITION.profile}",
                f"-sOutputICCProfile={CONDITION.profile}", f"-sDefaultCMYKProfile={CONDITION.profile}",
                f"-sOutputFile={folder}/page.tif", str(path),
            ],
            check=False, capture_output=True,
        )  # fmt: skip
        found = {}
        for file in Path(folder).glob("page(*).tif"):
            with Image.open(file) as opened:
                found[file.stem[5:-1]] = 255 - np.asarray(opened.convert("L"))
        return found


def mupdf(path: Path, ppi: float) -> Separations:
    """The first page's process inks by MuPDF, 255 full ink; only of pages without spot inks, which it mixes in."""
    done = subprocess.run(
        ["mutool", "draw", "-q", "-r", str(ppi), "-c", "cmyk", "-N", "-F", "pam", "-o", "-", str(path), "1"],
        check=False, capture_output=True,
    )  # fmt: skip
    head, _, body = done.stdout.partition(b"ENDHDR\n")
    facts = dict(line.split(b" ", 1) for line in head.splitlines() if b" " in line)
    size = [int(facts[key]) for key in (b"HEIGHT", b"WIDTH", b"DEPTH")]
    pixels = np.frombuffer(body, np.uint8).reshape(size)
    return {ink: pixels[:, :, place] for place, ink in enumerate(PROCESS)}


def edges(plate: NDArray[np.uint8]) -> NDArray[np.bool_]:
    """Where an ink changes within a few pixels: two renderers never agree there."""
    wide, span = np.pad(plate, _AROUND, mode="edge"), range(2 * _AROUND + 1)
    high = low = plate
    for down in span:
        for right in span:
            part = wide[down : down + plate.shape[0], right : right + plate.shape[1]]
            high, low = np.maximum(high, part), np.minimum(low, part)
    return high - low > _STEP


def apart(plates: Plates, other: Separations) -> dict[str, tuple[float, float, float]]:
    """For each ink that both have: mean and 99th percentile away from edges, and the mean with edges, in percent."""
    found = {}
    for ink in plates.inks:
        theirs = other.get(ink.replace("/", "_"))
        if theirs is not None:
            rows, columns = (min(sides) for sides in zip(theirs.shape, plates.coverage[ink].shape, strict=True))
            one, two = plates.coverage[ink][:rows, :columns], theirs[:rows, :columns]
            off = np.abs(one.astype(np.float32) - two) / 2.55
            flat = off[~(edges(one) | edges(two))]
            flat = flat if flat.size else off.ravel()
            found[ink] = float(flat.mean()), float(np.percentile(flat, 99)), float(off.mean())
    return found


def converted(path: Path) -> bytes:
    """The file with all colours in inks, as `convert_colour` makes it, and its first page only."""
    out = io.BytesIO()
    with pikepdf.open(path) as pdf:
        del pdf.pages[1:]
        walk(pdf, ToCondition(CONDITION))
        pdf.save(out)
    return out.getvalue()


def main(folder: Path, ppi: float) -> None:
    ours = theirs = 0.0
    means = []
    for path in sorted(folder.rglob("*.pdf")):
        with tempfile.NamedTemporaryFile(suffix=".pdf") as file:
            try:
                file.write(converted(path))
                file.flush()
                started = time.perf_counter()
                plates = make_plates(Path(file.name), 1, ppi, CONDITION)
                made = time.perf_counter()
            except (ValueError, pikepdf.PdfError, pikepdf.PasswordError) as fault:
                print(f"{path.name[:44]:44s} not read: {fault}")
                continue
            separations = ghostscript(Path(file.name), ppi)
            finished = time.perf_counter()
            found = apart(plates, separations)
        if not found:
            print(f"{path.name[:44]:44s} no separations by Ghostscript")
            continue
        mean, most, whole = (max(parts) for parts in zip(*found.values(), strict=True))
        means.append(mean)
        ours, theirs = ours + made - started, theirs + finished - made
        mark = "" if mean <= MEAN and most <= NEARLY_ALL else " <-- " + "; ".join(d.what for d in plates.doubts)
        print(
            f"{path.name[:44]:44s} mean {mean:5.2f}  99 % {most:5.1f}  with edges {whole:5.2f}  "
            f"{made - started:5.2f} s  {finished - made:5.2f} s{mark}",
            flush=True,
        )
    print(f"{len(means)} files, median of means {np.median(means):.2f}; ours {ours:.1f} s, Ghostscript {theirs:.1f} s")


if __name__ == "__main__":
    assert shutil.which("gs"), "Ghostscript is not installed"
    main(Path(sys.argv[1]), float(sys.argv[2]) if len(sys.argv) > 2 else 72)
