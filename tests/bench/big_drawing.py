"""A page of a million operators with 200,000 changes of colour, against Ghostscript converting the same page to CMYK.

Run: .venv/bin/python tests/bench/big_drawing.py [RUNS]

Seconds are of the processor, user and system: others may be at work on the machine. Ours is timed twice: in a copy of a
loaded process, as each job of the daemon is, and with Python's start and all imports. The first run is not counted, so that
Python finds its modules compiled, as an installed program does (unset PYTHONDONTWRITEBYTECODE).
"""

from __future__ import annotations

import multiprocessing
import random
import resource
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path

import pikepdf
from studio import run_apart

OURS = """
import os, sys, pikepdf
from hotfolder.colour.condition import DEFAULT, SHIPPED
from hotfolder.pdf.mappings import ToCondition
from hotfolder.pdf.walk.walker import walk
def convert():
    with pikepdf.open(sys.argv[1]) as pdf:
        assert not walk(pdf, ToCondition(SHIPPED[DEFAULT])).leftovers
        pdf.save(sys.argv[2])
if len(sys.argv) == 3:
    convert()
else:
    from hotfolder.pdf.verifying.compare import prepare
    prepare(SHIPPED[DEFAULT])
    if (child := os.fork()) == 0:
        convert()
        os._exit(0)
    used = os.wait4(child, 0)
    assert used[1] == 0
    print(used[2].ru_utime + used[2].ru_stime)
"""
COLOURS, OPERATORS = 200_000, 1_000_000


def drawing(path: Path, distinct: int) -> None:
    """Small shapes as a map or a plan has them: each group a colour (one of so many), then paths and their paint."""
    chance, parts = random.Random(1), []
    palette = [tuple(round(chance.random(), 3) for _ in range(3)) for _ in range(distinct)]
    per_group = OPERATORS // COLOURS - 1
    for at in range(COLOURS):
        x, y = chance.randrange(5900) / 10, chance.randrange(8300) / 10
        parts.append("{:g} {:g} {:g} {}".format(*palette[chance.randrange(distinct)], "rg" if at % 4 else "RG"))
        lines = [f"{x + chance.randrange(99) / 10:g} {y + chance.randrange(99) / 10:g} l" for _ in range(per_group - 2)]
        parts += [f"{x:g} {y:g} m", *lines, "f" if at % 4 else "S"]
    pdf = pikepdf.new()
    pdf.add_blank_page(page_size=(595, 842))
    pdf.pages[0].Contents = pdf.make_stream("\n".join(parts).encode())
    pdf.save(path)


def processor_time(*command: str) -> tuple[float, float]:
    """Seconds of the processor and peak megabytes of a command run as a process of its own."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    _, megabytes = run_apart(*command)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime, megabytes


def main(runs: int) -> None:
    with tempfile.TemporaryDirectory() as name:
        for distinct in (1000, COLOURS):
            source, ratios, loaded_ratios = Path(name) / "drawing.pdf", [], []
            # Drawn by another process: a process begins with the peak memory of the one that starts it.
            drawer = multiprocessing.get_context("spawn").Process(target=drawing, args=(source, distinct))
            drawer.start()
            drawer.join()
            for run in range(runs + 1):
                gs, gs_mb = processor_time(
                    "gs", "-q", "-dSAFER", "-dBATCH", "-dNOPAUSE", "-sDEVICE=pdfwrite",
                    "-sColorConversionStrategy=CMYK", "-dProcessColorModel=/DeviceCMYK",
                    f"-sOutputFile={name}/gs.pdf", str(source),
                )  # fmt: skip
                ours, ours_mb = processor_time(sys.executable, "-c", OURS, str(source), f"{name}/ours.pdf")
                command = [sys.executable, "-c", OURS, str(source), f"{name}/ours.pdf", "loaded"]
                loaded = float(subprocess.run(command, check=True, capture_output=True, text=True).stdout)
                if run == 0:
                    continue
                ratios.append(ours / gs)
                loaded_ratios.append(loaded / gs)
                print(
                    f"{distinct} colours: Ghostscript {gs:.2f} s, {gs_mb:.0f} MB; ours {loaded:.2f} s loaded, "
                    f"{ours:.2f} s with Python's start, {ours_mb:.0f} MB; ratios {loaded_ratios[-1]:.2f}, {ratios[-1]:.2f}"
                )
            medians = [statistics.median(found) for found in (loaded_ratios, ratios)]
            print(f"{distinct} colours: median ratios {medians[0]:.2f} loaded, {medians[1]:.2f} with Python's start")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 3)
