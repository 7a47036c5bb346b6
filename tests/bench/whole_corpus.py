"""Converting a folder of PDFs to CMYK, file by file, against Ghostscript's conversion of the same files.

Run: .venv/bin/python tests/bench/whole_corpus.py FOLDER [EVERY]     (EVERY 5: each fifth file)
"""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import tempfile
import time
import warnings
from pathlib import Path

import pikepdf

from hotfolder.colour.condition import DEFAULT, SHIPPED
from hotfolder.colour.transform import prepare
from hotfolder.pdf.mappings import ToCondition
from hotfolder.pdf.walk.walker import walk

LONGEST = 120  # seconds


def ours(source: Path, target: Path) -> tuple[float, float, bool]:
    """Seconds, seconds of processor, and whether it was done: in a copy of this process, as the daemon's workers are."""
    before, started = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    child = os.fork()
    if child == 0:
        warnings.simplefilter("ignore")
        try:
            with pikepdf.open(source) as pdf:
                walk(pdf, ToCondition(SHIPPED[DEFAULT]))
                pdf.save(target)
        except (pikepdf.PdfError, pikepdf.PasswordError):
            os._exit(1)
        os._exit(0)
    status = os.waitpid(child, 0)[1]
    return time.perf_counter() - started, _processor(before), status == 0


def ghostscript(source: Path, target: Path) -> tuple[float, float, bool]:
    before, started = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    command = ["gs", "-q", "-dSAFER", "-dBATCH", "-dNOPAUSE", "-sDEVICE=pdfwrite", "-sColorConversionStrategy=CMYK"]
    try:
        done = subprocess.run(
            [*command, "-dProcessColorModel=/DeviceCMYK", f"-sOutputFile={target}", str(source)],
            capture_output=True, timeout=LONGEST, check=False,
        )  # fmt: skip
    except subprocess.TimeoutExpired:
        return float(LONGEST), _processor(before), False
    return time.perf_counter() - started, _processor(before), done.returncode == 0


def _processor(before: resource.struct_rusage) -> float:
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def main(folder: Path, every: int) -> None:
    prepare(SHIPPED[DEFAULT])
    totals, lost, count = [0.0] * 4, [], 0
    with tempfile.TemporaryDirectory() as name:
        for path in sorted(folder.rglob("*.pdf"))[::every]:
            here, here_cpu, fine = ours(path, Path(name) / "ours.pdf")
            there, there_cpu, fine_too = ghostscript(path, Path(name) / "theirs.pdf")
            if not fine or not fine_too:
                continue  # one of them can't open it
            count += 1
            totals = [a + b for a, b in zip(totals, (here, there, here_cpu, there_cpu), strict=True)]
            if here_cpu > there_cpu:
                lost.append(f"  {path.name}: {here_cpu:.2f} s of processor against {there_cpu:.2f} s")
    print(f"{count} files: ours {totals[0]:.1f} s, Ghostscript {totals[1]:.1f} s, ratio {totals[0] / totals[1]:.2f}")
    print(f"of processor: ours {totals[2]:.1f} s, Ghostscript {totals[3]:.1f} s, ratio {totals[2] / totals[3]:.2f}")
    print(f"ours takes longer on {len(lost)}:", *lost, sep="\n")


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 1)
