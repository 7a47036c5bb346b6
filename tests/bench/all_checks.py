"""All checks that judge artwork, together, against drawing each page once at 150 ppi with PDFium.

Run: .venv/bin/python tests/bench/all_checks.py FOLDER [--sum]

Each PDF of the folder goes through the chain once, with its own size and page count as the order. Seconds are of the
processor, user and system: others may be at work on the machine. Files that can't be drawn are left out, and told.
`--sum`: only the sums, and no line for each file. check_ink and verify_result measure the finished file and don't count.
"""

from __future__ import annotations

import sys
import tempfile
import time
import warnings
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

import pikepdf

from hotfolder.loading import load_plugins
from hotfolder.pdf.boxes import read_boxes
from hotfolder.pdf.render import render_page
from hotfolder.step import Step
from hotfolder.testing import make_job, run_steps

PPI = 150
BEFORE = ("document", "construction", "geometry", "bleed", "frames", "margin", "fonts", "pictures", "sharpness")
AFTER = ("lines", "codes")  # of the colours as they print
CHAIN = ("open_pdf", *(f"check_{name}" for name in BEFORE), "convert_colour", *(f"check_{name}" for name in AFTER))


@dataclass
class Measured:
    """One file: seconds of drawing its pages, and of each check."""

    name: str
    pages: int
    drawing: float = 0.0
    checks: Counter[str] = field(default_factory=Counter)
    findings: list[str] = field(default_factory=list)

    @property
    def all(self) -> float:
        return sum(self.checks.values())

    def line(self) -> str:
        dear = ", ".join(f"{name} {seconds:.2f}" for name, seconds in self.checks.most_common(3))
        ratio = self.all / max(self.drawing, 1e-9)
        return (
            f"{ratio:6.2f}  {self.all:6.2f} s, drawn {self.drawing:6.2f} s  {self.name[:44]} ({self.pages} p.): {dear}"
        )


def draw(path: Path, pages: int) -> float:
    begin = time.process_time()
    for page in range(1, pages + 1):
        render_page(path, page, PPI)
    return time.process_time() - begin


def measure(path: Path, folder: Path, steps: list[Step]) -> Measured:
    """ValueError where it can't be opened or drawn."""
    try:
        with pikepdf.open(path) as pdf:
            boxes, count = read_boxes(pdf.pages[0]), len(pdf.pages)
    except (pikepdf.PdfError, IndexError) as fault:
        raise ValueError(str(fault)) from fault
    wide, high = boxes.seen_size(boxes.trim)
    job = make_job(
        folder, path, ticket={"trim": f"{wide:.2f}x{high:.2f}pt", "bleed": "0pt", "pages": count}, opened=False
    )
    found = Measured(path.name, count)
    for step in steps:
        begin = time.process_time()
        run_steps(job, step)
        if step.name.startswith("check_"):
            _ = job.artwork  # what the step changed would be saved here; a check changes nothing
            found.checks[step.name.removeprefix("check_")] += time.process_time() - begin
        else:
            _ = job.has_artwork and job.artwork
    assert "fault" not in {finding.code for finding in job.findings}
    found.drawing = draw(path, count)
    found.findings = sorted(f"{finding.level.value[0]}:{finding.code}" for finding in job.findings)
    return found


def main(folder: Path, *, each: bool) -> None:
    warnings.simplefilter("ignore")
    steps = [load_plugins().steps[name]() for name in CHAIN]
    rows = []
    with tempfile.TemporaryDirectory() as kept:
        for at, path in enumerate(sorted(folder.rglob("*.pdf"))):
            try:
                rows.append(measure(path, Path(kept) / str(at), steps))
            except ValueError as fault:
                print(f"left out: {path.name}: {fault}")
    rows.sort(key=lambda row: row.all / max(row.drawing, 1e-9), reverse=True)
    for row in rows if each else ():
        print(row.line())
    if "--found" in sys.argv:
        for row in sorted(rows, key=lambda row: row.name):
            print(row.name, *row.findings)
    sums = sum((row.checks for row in rows), Counter())
    ours, theirs = sum(sums.values()), sum(row.drawing for row in rows)
    print(", ".join(f"{name} {seconds:.2f}" for name, seconds in sums.most_common()))
    print(f"{len(rows)} files: {ours:.2f} s, drawn {theirs:.2f} s: {ours / max(theirs, 1e-9):.2f} times")


if __name__ == "__main__":
    main(Path(sys.argv[1]), each="--sum" not in sys.argv)
