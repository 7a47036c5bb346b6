"""The plates of the first pages of a folder of PDFs, against Ghostscript's device tiffsep at the same resolution.

Run: .venv/bin/python tests/bench/plates_of_folder.py FOLDER [PPI]

Seconds are of the processor, user and system: others may be at work on the machine.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
from pathlib import Path

import pikepdf

from hotfolder.colour.condition import DEFAULT, SHIPPED
from hotfolder.pdf.plates import make_plates
from hotfolder.pdf.verifying.compare import prepare


def processor_seconds(who: int) -> float:
    used = resource.getrusage(who)
    return used.ru_utime + used.ru_stime


def tiffsep(path: Path, ppi: float) -> tuple[float, bool]:
    """Seconds that Ghostscript takes, and whether it drew anything."""
    with tempfile.TemporaryDirectory() as folder:
        started = processor_seconds(resource.RUSAGE_CHILDREN)
        subprocess.run(
            [
                "gs", "-q", "-dNOPAUSE", "-dBATCH", "-dSAFER", "-sDEVICE=tiffsep", f"-r{ppi}", "-dLastPage=1",
                "-dTextAlphaBits=4", "-dGraphicsAlphaBits=4", f"-sOutputFile={folder}/page.tif", str(path),
            ],
            check=False, capture_output=True,
        )  # fmt: skip
        return processor_seconds(resource.RUSAGE_CHILDREN) - started, any(Path(folder).iterdir())


def main(folder: Path, ppi: float) -> None:
    condition = SHIPPED[DEFAULT]
    prepare(condition)  # as a worker has it
    rows = []
    for path in sorted(folder.rglob("*.pdf")):
        started = processor_seconds(resource.RUSAGE_SELF)
        try:
            make_plates(path, 1, ppi, condition)
        except (ValueError, pikepdf.PdfError):
            continue
        ours = processor_seconds(resource.RUSAGE_SELF) - started
        theirs, drawn = tiffsep(path, ppi)
        if drawn:
            rows.append((ours, theirs, path.name))
    for ours, theirs, name in sorted(rows, key=lambda row: row[0] / row[1], reverse=True)[:8]:
        print(f"{name[:50]:50s} {ours:6.2f} s of {theirs:6.2f} s: {ours / theirs:.2f}")
    ours, theirs = (sum(row[place] for row in rows) for place in (0, 1))
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    slower = sum(row[0] > row[1] for row in rows)
    print(
        f"{len(rows)} files: {ours:.1f} s of {theirs:.1f} s, ratio {ours / theirs:.3f}; {slower} slower; {peak:.0f} MB"
    )


if __name__ == "__main__":
    main(Path(sys.argv[1]), float(sys.argv[2]) if len(sys.argv) > 2 else 72)
