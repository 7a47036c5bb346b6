"""Makes the shipped printing-condition profiles anew from published measurements, and measures what came out.

    python scripts/make_profiles.py                  all three, six minutes or so each
    python scripts/make_profiles.py uncoated         one
    python scripts/make_profiles.py --measure        only measure the profiles that are there

Needs Argyll's `colprof` (2.3.1 made the shipped ones); nothing of Argyll is needed to use the profiles.
"""

import argparse
import gzip
import os
import re
import shutil
import struct
import subprocess
import sys
import tempfile
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))

from hotfolder.colour import cmm  # noqa: E402
from hotfolder.colour.condition import PROFILES, SHIPPED, Condition, Intent  # noqa: E402
from hotfolder.colour.difference import ciede2000  # noqa: E402
from hotfolder.colour.pcs import xyz_to_lab  # noqa: E402
from hotfolder.colour.profile import SRGB, check_output_profile  # noqa: E402
from hotfolder.colour.transform import condition_lab, lab_to_condition, to_condition  # noqa: E402

DATA = ROOT / "tests" / "outside" / "data"
SOURCE_GAMUT = Path("/usr/share/color/argyll/ref/sRGB.icm")
# Kept fixed, so that the same data and the same colprof give the same bytes.
MADE_ON = (2025, 11, 25, 0, 0, 0)


INTENTS: tuple[Intent, ...] = ("relative", "perceptual", "saturation")


@dataclass(frozen=True)
class Recipe:
    """What one profile is made from; `limit` is colprof's own, a little under the condition's (see below)."""

    data: str
    limit: int
    description: str
    copyright: str


RECIPES = {
    "coated_europe": Recipe(
        "FOGRA39L",
        300,
        "FOGRA39L coated 300%",
        "Made from FOGRA39L (icc-profiles-free, zlib licence); this profile CC0",
    ),
    "coated_us": Recipe(
        "TR006",
        318,
        "CGATS TR 006 coated 320%",
        "Source of characterization data: ANSI/CGATS/GRACoL TR 006-2007. This profile CC0",
    ),
    "uncoated": Recipe(
        "FOGRA47L",
        291,
        "FOGRA47L uncoated 300%",
        "Made from FOGRA47L (colord, CC0); this profile CC0",
    ),
}

# -qh fine tables for the look of inks, -bm medium ones for finding inks (file size); black starts at 20 % and
# rises to full at the dark end (-kp), K to 98 % at most; -cmt -dpp viewing conditions for the perceptual tables;
# -nc leaves the measurements themselves out of the profile.
OPTIONS = ["-qh", "-bm", "-cmt", "-dpp", "-nc", "-kp", "0", "0.2", "1", "1", "0.7", "-L98"]

# Without this, Argyll keeps media-relative colours by a white adaptation of its own, which other readers of ICC
# files do not undo: their absolute colours (a proof) would be up to 1 Lab unit off the published data.
ENVIRONMENT = {"ARGYLL_CREATE_WRONG_VON_KRIES_OUTPUT_CLASS_REL_WP": "1"}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("conditions", nargs="*", default=list(RECIPES), help=", ".join(RECIPES))
    parser.add_argument("--measure", action="store_true", help="make nothing, only measure")
    parser.add_argument("--out", type=Path, default=PROFILES, help="folder for the profiles")
    asked = parser.parse_args()
    for name in asked.conditions:
        if name not in RECIPES:
            parser.error(f"no recipe is called {name!r}; there are {', '.join(RECIPES)}")
        target = asked.out / SHIPPED[name].profile.name
        if not asked.measure:
            make(RECIPES[name], target)
        print("\n".join(measure(replace(SHIPPED[name], profile=target), RECIPES[name])))


def make(recipe: Recipe, target: Path) -> None:
    """Runs colprof in a scratch folder, sets the fixed date, puts the result in place."""
    with tempfile.TemporaryDirectory() as folder:
        base = Path(folder) / recipe.data
        base.with_suffix(".ti3").write_bytes(gzip.decompress((DATA / f"{recipe.data}.ti3.gz").read_bytes()))
        made = base.with_suffix(".icc")
        command = ["colprof", *OPTIONS, f"-l{recipe.limit}", "-S", str(SOURCE_GAMUT)]
        command += ["-D", recipe.description, "-C", recipe.copyright, "-O", str(made), str(base)]
        subprocess.run(command, check=True, env={**os.environ, **ENVIRONMENT}, stdout=subprocess.DEVNULL)
        profile = bytearray(made.read_bytes())
        profile[24:36] = struct.pack(">6H", *MADE_ON)
        made.write_bytes(profile)
        shutil.copyfile(made, target)


def measure(condition: Condition, recipe: Recipe) -> list[str]:
    """Lines of Markdown: fit to the data, then per intent the black, the largest ink, and the grays."""
    inks, lab = read_data(recipe.data)
    fit = ciede2000(condition_lab(condition, inks), lab)
    lines = [
        f"### {condition.profile.name} ({condition.profile.stat().st_size / 1024:.0f} kB)",
        "",
        f"Fit to the {len(inks)} measured patches, CIEDE2000: mean {fit.mean():.3f}, 99th percentile "
        f"{np.percentile(fit, 99):.3f}, largest {fit.max():.3f}. Largest sum of inks for any colour, sRGB or not: "
        f"{largest_possible(condition):.1f} %.",
        "",
        "| intent | black point moved | darkest black C/M/Y/K = sum, L* | largest ink over sRGB | gray chroma, mean / largest |",
        "|---|---|---|---|---|",
    ]
    for intent in INTENTS:
        for moved in (True, False):
            lines.append(_row(replace(condition, intent=intent, black_point_compensation=moved)))
    return [*lines, ""]


def _row(condition: Condition) -> str:
    conversion = to_condition(SRGB, condition)
    steps = np.linspace(0, 1, 33)
    cube = np.stack(np.meshgrid(steps, steps, steps), -1).reshape(-1, 3)
    largest = conversion.colours(cube).sum(axis=1).max() * 100
    grays = conversion.colours(np.linspace(0, 1, 256)[:, None].repeat(3, 1))
    press = check_output_profile(condition.profile)
    seen = xyz_to_lab(cmm.relative_xyz(press, grays, "relative", False))
    chroma = np.hypot(seen[:, 1], seen[:, 2])
    black = "/".join(f"{ink * 100:.0f}" for ink in grays[0])
    moved = "yes" if condition.black_point_compensation else "no"
    return (
        f"| {condition.intent} | {moved} | {black} = {grays[0].sum() * 100:.0f}, L* {seen[0, 0]:.1f} "
        f"| {largest:.1f} % | {chroma.mean():.2f} / {chroma.max():.2f} |"
    )


def largest_possible(condition: Condition) -> float:
    """The largest sum of inks, percent, for any colour at all: a fine grid over Lab, through every table."""
    light, side = np.linspace(0, 100, 51), np.linspace(-120, 120, 61)
    grid = np.stack(np.meshgrid(light, side, side), -1).reshape(-1, 3)
    conditions = (replace(condition, intent=i, black_point_compensation=False) for i in INTENTS)
    return max(float(lab_to_condition(c, grid).sum(axis=1).max()) for c in conditions) * 100


def read_data(name: str) -> tuple[np.ndarray, np.ndarray]:
    """Inks (n, 4) in 0..1 and Lab (n, 3) of the characterisation data."""
    text = gzip.decompress((DATA / f"{name}.ti3.gz").read_bytes()).decode("latin-1")
    head = re.search(r"BEGIN_DATA_FORMAT\s+(.*?)\s+END_DATA_FORMAT", text, re.S)
    body = re.search(r"BEGIN_DATA\s*\n(.*?)\nEND_DATA\b", text, re.S)
    assert head is not None
    assert body is not None
    columns = [head[1].split().index(c) for c in ["CMYK_C", "CMYK_M", "CMYK_Y", "CMYK_K", "LAB_L", "LAB_A", "LAB_B"]]
    rows = [line.split() for line in body[1].splitlines() if line.strip()]
    table = np.array([[float(row[column]) for column in columns] for row in rows])
    return table[:, :4] / 100, table[:, 4:]


if __name__ == "__main__":
    main()
