"""Takes real PDFs through the whole chain and, apart from it, through the conversion; others look at what came.

For each file: either what Ghostscript draws of the finished file looks, within LIMITS, as LittleCMS foresees from what
it draws of the file that came in, or the job is held. Nothing that compares here is used by hotfolder itself.

Run over a whole folder: .venv/bin/python tests/outside/corpus.py FOLDER [RESULTS.tsv]
"""

from __future__ import annotations

import datetime as dt
import functools
import io
import json
import os
import resource
import signal
import subprocess
import sys
import tempfile
import time
import warnings
from collections import Counter
from pathlib import Path
from typing import Any

import numpy as np
import pikepdf
from numpy.typing import NDArray
from PIL import Image, ImageCms

from hotfolder.colour.condition import DEFAULT, SHIPPED, Condition
from hotfolder.colour.difference import ciede2000
from hotfolder.colour.profile import SRGB
from hotfolder.colour.transform import gray_to_black
from hotfolder.config.builtin import builtin_studio
from hotfolder.pdf.boxes import read_boxes
from hotfolder.pdf.mappings import ToCondition
from hotfolder.pdf.walk.walker import walk
from hotfolder.work import RESULT, Order, run_order

Floats = NDArray[np.float64]
SECONDS, MEGABYTES = 180, 3000  # for one file; beyond either, the daemon holds the job
PAGES = 2  # of each file that are looked at
LONG_SIDE = 720  # pixels drawn
REDUCED, BLOCK = 3, 6  # pixels averaged each way before comparing, and of these, in which a place is judged
# CIEDE2000. Most files come within 0.1 and 1. What is largest of the rest: small black text, which goes to black ink
# alone, mixed with its ground along its edges (0.8 and 7.2), and glows that blend in inks instead of RGB (1.4 and 6.4).
MEAN, WORST = 1.6, 8.0
CONDITION: Condition = SHIPPED[DEFAULT]


def examine(path: Path, folder: Path) -> dict[str, Any]:
    """What the chain does with a file, what converting alone does, and how far each is from what was foreseen."""
    found: dict[str, Any] = {"name": path.name}
    started = time.perf_counter()
    record = run_order(_order(path, folder / "out"), builtin_studio().plugins.manager)
    held = sorted({finding.code for finding in record.findings if finding.level == "hold"})
    found |= {"outcome": "hold" if held else "pass", "codes": held, "seconds": time.perf_counter() - started}
    found["faults"] = [step.name for step in record.steps if step.trace]
    if not held:
        return found | {"compared": compare(path, folder / "out" / RESULT, folder)}
    # Held for whatever else: what converting alone would have made of it.
    try:
        with pikepdf.open(path) as pdf:
            left = walk(pdf, ToCondition(CONDITION)).leftovers
            pdf.save(folder / "converted.pdf")
    except (pikepdf.PdfError, pikepdf.PasswordError) as fault:
        return found | {"compared": f"can't be opened: {type(fault).__name__}"}
    if left:
        return found | {"compared": f"left as it is: {left[0].what}, {left[0].why}"}
    return found | {"compared": compare(path, folder / "converted.pdf", folder)}


def _order(path: Path, out: Path) -> Order:
    out.mkdir()
    try:
        with pikepdf.open(path) as pdf:
            pages = len(pdf.pages)
    except (pikepdf.PdfError, pikepdf.PasswordError, ValueError):
        pages = 1
    studio = builtin_studio()
    route = studio.routes[0]
    return Order(
        job="poster", route=route.name, name=path.name, subfolder="", original=path, ticket_files=(), out=out,
        arrived=dt.datetime(2026, 3, 14, 9, 0, tzinfo=dt.UTC), attempt=1, chain=route.chain,
        ticket={"bleed": "0mm", "pages": max(1, pages), "least_ppi": 1}, file_names=(), subfolders="",
        conditions=studio.conditions, condition=studio.condition,
    )  # fmt: skip


# Before and after


def compare(before: Path, after: Path, folder: Path) -> list[float] | str:
    """[mean, worst place] in CIEDE2000 over the first pages, or why it can't be told."""
    ways = [(before, folder / "before.pdf"), (after, folder / "after.pdf")]
    try:
        sizes = [_trimmed(source, target) for source, target in ways]
    except ValueError as fault:
        return f"no page to compare: {fault}"
    if not sizes[0] or len(sizes[0]) != len(sizes[1]) or not np.allclose(sizes[0], sizes[1], rtol=0.002):
        return "pages of other sizes"
    mean = worst = 0.0
    for number, size in enumerate(sizes[0], 1):
        was, came = (_drawn(target, number, 72 * LONG_SIDE / max(size)) for _, target in ways)
        if was is None or came is None:
            return "Ghostscript can't draw it"
        apart = difference(was, came)
        mean, worst = max(mean, float(apart.mean())), max(worst, _worst(apart))
    return [round(mean, 3), round(worst, 2)]


def _trimmed(source: Path, target: Path) -> list[tuple[float, float]]:
    """Writes the first pages with their trim as the page's only box; their sizes in points."""
    sizes = []
    with pikepdf.open(source) as pdf:
        del pdf.pages[PAGES:]
        for page in pdf.pages:
            boxes = read_boxes(page)
            page.obj.MediaBox = page.obj.CropBox = list(boxes.trim)
            page.obj.Rotate = 0
            for key in ("/TrimBox", "/BleedBox", "/ArtBox", "/UserUnit", "/Annots"):
                if key in page.obj:
                    del page.obj[key]
            sizes.append((boxes.trim.width, boxes.trim.height))
        pdf.save(target)
    return sizes


def _drawn(path: Path, page: int, ppi: float) -> Floats | None:
    """One page as Ghostscript draws it for a screen, inks read by the printing condition's profile."""
    done = subprocess.run(
        [
            "gs", "-q", "-dSAFER", "-dBATCH", "-dNOPAUSE", f"-dFirstPage={page}", f"-dLastPage={page}",
            "-sDEVICE=png16m", f"-r{ppi:.4f}", "-dTextAlphaBits=4", "-dGraphicsAlphaBits=4", "-dRenderIntent=1",
            "-dBlackPtComp=1", f"--permit-file-read={CONDITION.profile}", f"-sDefaultCMYKProfile={CONDITION.profile}",
            "-sOutputFile=%stdout", "-sstdout=%stderr", str(path),
        ],
        capture_output=True, check=False, timeout=100,
    )  # fmt: skip
    try:
        return np.asarray(Image.open(io.BytesIO(done.stdout)).convert("RGB"))
    except OSError:
        return None


def difference(was: Any, came: Any) -> Floats:
    """CIEDE2000 of each place to the nearest of: as it was, its proof, and its proof in black ink alone if gray."""
    high, wide = min(was.shape[0], came.shape[0]), min(was.shape[1], came.shape[1])
    before, after = (Image.fromarray(np.ascontiguousarray(part[:high, :wide])) for part in (was, came))
    to_inks, to_screen = _transforms()
    proof = ImageCms.applyTransform(ImageCms.applyTransform(before, to_inks), to_screen)
    gray = np.array(proof)
    pixels = np.asarray(before).astype(int)
    neutral = pixels.max(axis=2) - pixels.min(axis=2) <= 8
    gray[neutral] = _black_tones()[pixels[neutral][:, 1]]
    lab = [_lab(part) for part in (after, before, proof, Image.fromarray(gray))]
    return np.asarray(np.min([ciede2000(one, lab[0]) for one in lab[1:]], axis=0))


@functools.cache
def _transforms() -> tuple[Any, Any]:
    screen = ImageCms.ImageCmsProfile(io.BytesIO(SRGB.data))
    press = ImageCms.ImageCmsProfile(str(CONDITION.profile))
    relative, moved = ImageCms.Intent.RELATIVE_COLORIMETRIC, ImageCms.Flags.BLACKPOINTCOMPENSATION
    return (
        ImageCms.buildTransform(screen, press, "RGB", "CMYK", relative, moved),
        ImageCms.buildTransform(press, screen, "CMYK", "RGB", relative, moved),
    )


@functools.cache
def _black_tones() -> NDArray[np.uint8]:
    inks = gray_to_black(SRGB, CONDITION).colours(np.linspace(0, 1, 256)[:, None])
    row = Image.frombytes("CMYK", (256, 1), np.round(inks * 255).astype(np.uint8).tobytes())
    return np.asarray(ImageCms.applyTransform(row, _transforms()[1]))[0]


def _lab(picture: Image.Image) -> Floats:
    small = picture.reduce(min(REDUCED, *picture.size))
    lab = ImageCms.applyTransform(small, _to_lab())
    held = np.asarray(lab).astype(np.int16)
    a_b = held[..., 1:].astype(np.uint8).astype(np.int8)  # Pillow's LAB: a and b signed
    return np.concatenate([held[..., :1] * 100 / 255, a_b], axis=2).astype(np.float64)


@functools.cache
def _to_lab() -> Any:
    screen = ImageCms.ImageCmsProfile(io.BytesIO(SRGB.data))
    return ImageCms.buildTransform(screen, ImageCms.createProfile("LAB"), "RGB", "LAB")


def _worst(apart: Floats) -> float:
    high, wide = (max(1, side // BLOCK) for side in apart.shape)
    rows, columns = apart.shape[0] // high, apart.shape[1] // wide
    blocks = apart[: high * rows, : wide * columns].reshape(high, rows, wide, columns)
    return float(blocks.mean(axis=(1, 3)).max())


# One file in a process of its own; a folder of them


def examine_apart(path: Path) -> dict[str, Any]:
    """`examine` in a copy of this process with limits, as the daemon's workers have them."""
    with tempfile.TemporaryDirectory() as name:
        folder, answer = Path(name), Path(name) / "answer.json"
        child = os.fork()
        if child == 0:
            warnings.simplefilter("ignore")
            resource.setrlimit(resource.RLIMIT_AS, (MEGABYTES * 2**20,) * 2)
            signal.alarm(SECONDS)  # ends it
            answer.write_text(json.dumps(examine(path, folder)), encoding="utf-8")
            os._exit(0)
        status = os.waitpid(child, 0)[1]
        if os.WIFSIGNALED(status) and os.WTERMSIG(status) == signal.SIGALRM:
            return {"name": path.name, "outcome": "hold", "codes": ["took_too_long"], "compared": ""}
        if not answer.is_file():
            return {"name": path.name, "outcome": "crash", "codes": [f"status {status}"], "compared": ""}
        found: dict[str, Any] = json.loads(answer.read_text(encoding="utf-8"))
        return found


def third_case(found: dict[str, Any]) -> str:
    """What must not be: neither held nor as foreseen; "" where all is well."""
    if found["outcome"] == "crash" or found.get("faults"):
        return f"a fault: {found['codes']} {found.get('faults')}"
    return unforeseen(found) if found["outcome"] == "pass" else ""


def unforeseen(found: dict[str, Any]) -> str:
    """How far from what was foreseen, where it is beyond the limits: of a held job, what converting alone made."""
    came = found["compared"]
    if isinstance(came, list) and (came[0] > MEAN or came[1] > WORST):
        return f"mean {came[0]}, worst place {came[1]}"
    return ""


def main(folder: Path, results: Path | None) -> None:
    builtin_studio()  # every plugin is loaded before the first copy
    lines, kinds = [], Counter[str]()
    for path in sorted(folder.rglob("*.pdf")):
        found = examine_apart(path)
        wrong = third_case(found)
        kinds["held, and not as foreseen by converting alone"] += not wrong and bool(unforeseen(found))
        kinds["third case" if wrong else found["outcome"]] += 1
        kinds["compared"] += isinstance(found["compared"], list)
        lines.append("\t".join([path.name, found["outcome"], ",".join(found["codes"]), str(found["compared"]), wrong]))
        print(lines[-1], flush=True)
        if results is not None:
            results.write_text("\n".join(lines) + "\n", encoding="utf-8")
    print(dict(kinds))


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]) if len(sys.argv) > 2 else None)
