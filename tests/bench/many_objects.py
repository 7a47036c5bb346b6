"""Taking the inventory of pages of 1,000, 10,000 and 100,000 objects, against PDFium drawing them at 150 ppi.

Run: .venv/bin/python tests/bench/many_objects.py [RUNS]

Seconds are of the processor, user and system: others may be at work on the machine. check_margin is timed with it: what
it does apart from the inventory is the difference (a drawing of the page at 100 ppi, above all).
"""

from __future__ import annotations

import random
import resource
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import pikepdf
from pikepdf import Dictionary, Name

from hotfolder.loading import load_plugins
from hotfolder.pdf.looking.inventory import take_inventory
from hotfolder.pdf.render import render_page
from hotfolder.testing import make_job, run_steps

COUNTS = (1_000, 10_000, 100_000)
PPI = 150


def drawing(path: Path, count: int) -> None:
    """A plan of 24 x 36 in: areas, curved lines, and texts shown whole and kerned, a quarter each."""
    chance, parts = random.Random(1), []
    for at in range(count // 4):
        x, y = chance.random() * 1700, chance.random() * 2500
        parts += [
            f"q {chance.random():.2f} 0 0 0 k {x:.2f} {y:.2f} 20 10 re f Q",
            f"{x:.2f} {y:.2f} m {x + 30:.2f} {y:.2f} l {x + 3:.2f} {y + 3:.2f} {x + 5:.2f} {y:.2f} {x:.2f} {y + 30:.2f} c S",
            f"BT /F1 9 Tf 1 0 0 1 {x:.2f} {y:.2f} Tm (Street {at}) Tj ET",
            f"BT /F1 9 Tf {x:.2f} {y:.2f} Td [(Str) 20 (eet) -10 (x)] TJ ET",
        ]
    pdf = pikepdf.new()
    pdf.add_blank_page(page_size=(1728, 2592))
    font = pdf.make_indirect(Dictionary(Type=Name.Font, Subtype=Name.Type1, BaseFont=Name.Helvetica))
    pdf.pages[0].Resources = Dictionary(Font=Dictionary(F1=font))
    pdf.pages[0].Contents = pdf.make_stream("\n".join(parts).encode())
    pdf.save(path)


def seconds(work: Callable[[], object]) -> float:
    begin = time.process_time()
    work()
    return time.process_time() - begin


def inventory(path: Path) -> None:
    with pikepdf.open(path) as pdf:
        take_inventory(pdf, 1)


def check(folder: Path, path: Path) -> None:
    run_steps(make_job(folder, path), load_plugins().steps["check_margin"]())


def main(runs: int) -> None:
    with tempfile.TemporaryDirectory() as kept:
        for count in COUNTS:
            path = Path(kept) / f"{count}.pdf"
            drawing(path, count)
            taken = statistics.median(seconds(lambda p=path: inventory(p)) for _ in range(runs))  # type: ignore[misc]
            checked = statistics.median(seconds(lambda p=path: check(Path(kept), p)) for _ in range(runs))  # type: ignore[misc]
            drawn = statistics.median(seconds(lambda p=path: render_page(p, 1, PPI)) for _ in range(runs))  # type: ignore[misc]
            memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
            print(
                f"{count:7,} objects: inventory {taken:.2f} s ({taken / count * 1e6:.0f} µs each), "
                f"{taken / drawn:.2f} of drawing ({drawn:.2f} s); check_margin {checked:.2f} s, "
                f"{checked / drawn:.2f} of drawing; {memory:.0f} MB"
            )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 3)
