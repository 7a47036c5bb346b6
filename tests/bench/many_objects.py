"""All checks on pages of 1,000, 10,000 and 100,000 objects, against PDFium drawing them at 150 ppi: how the time grows.

Run: .venv/bin/python tests/bench/many_objects.py [lines text shapes thin mixed] [--most COUNT] [--each]

Seconds are of the processor, user and system: others may be at work on the machine. `--each`: what each check takes, in
the order of the chain; the first that needs it pays for the list of what is painted. Growth is the factor by which the
time grew with ten times the objects: more than 10 is worse than in proportion.
"""

from __future__ import annotations

import random
import resource
import sys
import tempfile
import time
import warnings
from collections.abc import Callable
from functools import partial
from pathlib import Path

import pikepdf
from pikepdf import Dictionary, Name

from hotfolder.loading import load_plugins
from hotfolder.pdf.render import render_page
from hotfolder.testing import make_job, run_steps

PPI = 150
SHEET = (1728, 2592)  # 24 x 36 in
BEFORE = ("document", "construction", "geometry", "bleed", "frames", "margin", "fonts", "pictures", "sharpness")
CHECKS = (*BEFORE, "lines", "codes")


def line(x: float, y: float, at: int) -> str:
    return f"{x:.2f} {y:.2f} m {x + 30:.2f} {y + at % 7:.2f} l S"


def text(x: float, y: float, at: int) -> str:
    if at % 2:
        return f"BT /F1 9 Tf 1 0 0 1 {x:.2f} {y:.2f} Tm (Street {at}) Tj ET"
    return f"BT /F1 9 Tf {x:.2f} {y:.2f} Td [(Str) 20 (eet) -10 (x)] TJ ET"


def shape(x: float, y: float, at: int) -> str:
    if at % 2:
        return f"q {at % 100 / 100:.2f} 0 0 0 k {x:.2f} {y:.2f} 20 10 re f Q"
    return (
        f"{x:.2f} {y:.2f} m {x + 30:.2f} {y:.2f} l {x + 3:.2f} {y + 3:.2f} {x + 5:.2f} {y:.2f} {x:.2f} {y + 30:.2f} c S"
    )


def thin(x: float, y: float, at: int) -> str:
    """Hair lines, and narrow areas as gradients are drawn of them."""
    return f"0.1 w {line(x, y, at)}" if at % 2 else f"0.{at % 10} g {x:.2f} {y:.2f} 0.2 40 re f"


def mixed(x: float, y: float, at: int) -> str:
    return (shape, text)[at % 2](x, y, at // 2)


KINDS: dict[str, Callable[[float, float, int], str]] = {
    "lines": line,
    "text": text,
    "shapes": shape,
    "thin": thin,
    "mixed": mixed,
}


def drawing(path: Path, kind: str, count: int) -> None:
    """A plan of 24 x 36 in."""
    chance = random.Random(1)
    parts = [KINDS[kind](chance.random() * 1690, chance.random() * 2550, at) for at in range(count)]
    pdf = pikepdf.new()
    pdf.add_blank_page(page_size=SHEET)
    font = pdf.make_indirect(Dictionary(Type=Name.Font, Subtype=Name.Type1, BaseFont=Name.Helvetica))
    pdf.pages[0].Resources = Dictionary(Font=Dictionary(F1=font))
    pdf.pages[0].Contents = pdf.make_stream("\n".join(parts).encode())
    pdf.save(path)


def seconds(work: Callable[[], object]) -> float:
    begin = time.process_time()
    work()
    return time.process_time() - begin


def judged(folder: Path, path: Path) -> dict[str, float]:
    """Seconds of each check."""
    steps = load_plugins().steps
    ticket = {"trim": f"{SHEET[0]}x{SHEET[1]}pt", "bleed": "0pt", "viewing_distance": "2000mm"}
    job = make_job(folder, path, ticket=ticket)
    try:
        return {name: seconds(partial(run_steps, job, steps[f"check_{name}"]())) for name in CHECKS}
    finally:
        assert "fault" not in {finding.code for finding in job.findings}
        job.close()


def measure(kind: str, counts: list[int], *, each: bool) -> None:
    before = 0.0
    for count in counts:
        with tempfile.TemporaryDirectory() as kept:
            path = Path(kept) / f"{kind}.pdf"
            drawing(path, kind, count)
            checks = judged(Path(kept), path)
            drawn = seconds(partial(render_page, path, 1, PPI))
        ours = sum(checks.values())
        memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        grown = f", {ours / before:.1f} times what a tenth takes" if before else ""
        print(
            f"{count:9,} of {kind}: {ours:.2f} s, {ours / drawn:.2f} of drawing ({drawn:.2f} s){grown}; {memory:.0f} MB"
        )
        if each:
            print("           ", ", ".join(f"{name} {taken:.2f}" for name, taken in checks.items()))
        before = ours


def main(words: list[str]) -> None:
    warnings.simplefilter("ignore")
    most = int(words[words.index("--most") + 1]) if "--most" in words else 100_000
    counts = [10**power for power in range(3, 9) if 10**power <= most]
    for kind in [word for word in words if word in KINDS] or list(KINDS):
        measure(kind, counts, each="--each" in words)


if __name__ == "__main__":
    main(sys.argv[1:])
