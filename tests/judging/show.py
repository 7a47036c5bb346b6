"""Prints the table of planted faults as text, or draws every pair beside its clean twin.

    python tests/judging/show.py [--told] [--sheet FOLDER] [WORD]

`--told` runs the chain and prints what it tells of each fault, `--sheet` writes contact sheets; WORD picks by name or topic.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

import pypdfium2
from PIL import Image, ImageDraw
from poster import Pair, Which
from table import TOPICS
from test_pairs import judged_fault, told

LOOK = (220, 260)  # pixels of one picture
ROW = 4  # pairs beside each other
ROWS = 4


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("word", nargs="?", default="")
    parser.add_argument("--told", action="store_true")
    parser.add_argument("--sheet", type=Path)
    wanted = parser.parse_args()
    picked = {
        topic: [pair for pair in pairs if wanted.word.lower() in f"{topic} {pair.name}".lower()]
        for topic, pairs in TOPICS.items()
    }
    print(f"{sum(map(len, picked.values()))} pairs")
    for topic, pairs in picked.items():
        if pairs:
            print(f"\n{topic}")
        for pair in pairs:
            print(as_text(pair))
            if wanted.told:
                print(*(f"      > {sentence}" for sentence in run_once(pair)), sep="\n")
    if wanted.sheet:
        draw_sheets([pair for pairs in picked.values() for pair in pairs], wanted.sheet)


def as_text(pair: Pair) -> str:
    order = ", ".join(f"{key} {value}" for key, value in pair.ticket.items())
    lines = [f"  {pair.name}", f"      {pair.planted}" + (f" Ordered: {order}." if order else "")]
    lines.append(f"      {pair.finds}" + (f", saying “{pair.says}”" if pair.says else ""))
    return "\n".join([*lines, f"      NOT YET: {pair.gap}"] if pair.gap else lines)


def run_once(pair: Pair) -> list[str]:
    with tempfile.TemporaryDirectory() as folder:
        return told(judged_fault(pair, Path(folder)))


def draw_sheets(pairs: list[Pair], folder: Path) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    for start in range(0, len(pairs), ROW * ROWS):
        sheet = Image.new("RGB", (ROW * (2 * LOOK[0] + 20), ROWS * (LOOK[1] + 30)), "lightgray")
        for at, pair in enumerate(pairs[start : start + ROW * ROWS]):
            x, y = at % ROW * (2 * LOOK[0] + 20), at // ROW * (LOOK[1] + 30)
            ImageDraw.Draw(sheet).text((x + 4, y + 2), f"{pair.name} ({pair.finds.split()[-1]})"[:70], fill="black")
            sheet.paste(look(pair, "fault"), (x, y + 18))
            sheet.paste(look(pair, "clean"), (x + LOOK[0] + 4, y + 18))
        sheet.save(folder / f"pairs-{start // (ROW * ROWS) + 1}.png")


def look(pair: Pair, which: Which) -> Image.Image:
    """The first page, or the picture that arrives, no larger than LOOK."""
    with tempfile.TemporaryDirectory() as folder:
        path = pair.drawn(which, Path(folder))
        try:
            if path.suffix != ".pdf":
                with Image.open(path) as opened:
                    image = opened.convert("RGB")
            else:
                with pypdfium2.PdfDocument(path) as pdf:
                    image = pdf[0].render(scale=1, may_draw_forms=True).to_pil()
        except (OSError, pypdfium2.PdfiumError):
            image = Image.new("RGB", LOOK, "black")  # some faults are just that
    image.thumbnail(LOOK)
    return image


if __name__ == "__main__":
    main()
