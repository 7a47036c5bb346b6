"""A small PDF: seconds from claim to pass, worker start included, against starting Python with the same libraries.

Run: .venv/bin/python tests/bench/small_pdf.py [RUNS]
"""

from __future__ import annotations

import statistics
import sys
from pathlib import Path

from studio import run_apart, run_studio

from hotfolder.demo.arrivals import arrivals


def main(runs: int) -> None:
    seconds, starts = [], []
    for _ in range(runs):
        start, _ = run_apart(sys.executable, "-c", "import hotfolder.work, pyvips, pypdfium2, pikepdf, numpy")
        # The second and third job are measured: the first also waits for the workers' mother to load.
        ours = run_studio(drop, workers=1)
        assert ours.outcomes == ["pass"] * 3, ours.outcomes
        seconds += ours.seconds[1:]
        starts.append(start)
    print(f"claim to pass: median {statistics.median(seconds):.2f} s, longest {max(seconds):.2f} s")
    print(f"a bare Python with the same libraries starts in {statistics.median(starts):.2f} s")
    print(f"ratio {statistics.median(seconds) / statistics.median(starts):.2f}")


def drop(watched: Path) -> None:
    poster = arrivals()[0]
    for number in range(3):
        poster.write(watched / f"{number}.pdf")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 3)
