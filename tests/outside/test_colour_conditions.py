"""The shipped printing conditions against the published measurements they were made from."""

import gzip
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from hotfolder.colour.condition import SHIPPED, Intent
from hotfolder.colour.difference import ciede2000
from hotfolder.colour.profile import SRGB
from hotfolder.colour.transform import condition_lab, gray_to_black, lab_to_condition, to_condition

DATA = {"coated_europe": "FOGRA39L", "coated_us": "TR006", "uncoated": "FOGRA47L"}

# Lab (D50, white backing) of paper, the solids, their overprints and all four inks in full, as they stand in the
# characterisation data of FOGRA39L and FOGRA47L (Fogra) and of ANSI/CGATS/GRACoL TR 006-2007.
PATCHES = ("0000", "1000", "0100", "0010", "0001", "0110", "1010", "1100", "1110", "1111")
AIMS = {
    "coated_europe": (
        (95, 0, -2), (55, -37, -50), (48, 74, -3), (89, -5, 93), (16, 0, 0),
        (47, 68, 48), (50, -65, 27), (24, 22, -46), (23, 0, 0), (8.71, -0.07, 2.06),
    ),
    "coated_us": (
        (95, -0.02, -1.96), (54.96, -37.12, -50), (47.93, 74.11, -3.01), (88.94, -5.02, 93.17), (14.95, 0.19, -0.14),
        (47.37, 68.25, 48.79), (50.12, -68.43, 25), (24.13, 17.2, -46.14), (23, 0.17, -0.25), (8.06, 0.44, 0.02),
    ),
    "uncoated": (
        (95, 0, -2), (60, -26, -44), (56, 61, -1), (89, -4, 78), (31, 1, 1),
        (54, 55, 26), (54, -44, 14), (38, 8, -31), (33, 0, 0), (23.46, 2.45, 1.59),
    ),
}  # fmt: skip


def characterisation(name: str) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    text = gzip.decompress((Path(__file__).parent / "data" / f"{DATA[name]}.ti3.gz").read_bytes()).decode("latin-1")
    head = re.search(r"BEGIN_DATA_FORMAT\s+(.*?)\s+END_DATA_FORMAT", text, re.S)
    body = re.search(r"BEGIN_DATA\s*\n(.*?)\nEND_DATA\b", text, re.S)
    assert head is not None
    assert body is not None
    wanted = ("CMYK_C", "CMYK_M", "CMYK_Y", "CMYK_K", "LAB_L", "LAB_A", "LAB_B")
    columns = [head[1].split().index(column) for column in wanted]
    rows = [line.split() for line in body[1].splitlines() if line.strip()]
    table = np.array([[float(row[column]) for column in columns] for row in rows])
    return table[:, :4] / 100, table[:, 4:]


every_condition = pytest.mark.parametrize("name", list(SHIPPED))


@every_condition
def test_the_measured_patches_look_as_measured(name: str) -> None:
    inks, measured = characterisation(name)
    assert len(np.unique(inks, axis=0)) == 1588  # IT8.7/4: 1617 patches, some of them twice
    apart = ciede2000(condition_lab(SHIPPED[name], inks), measured)
    assert apart.mean() < 0.2
    assert np.percentile(apart, 99) < 0.5
    assert apart.max() < 1.0


@every_condition
def test_the_solids_look_as_published(name: str) -> None:
    inks = [[float(ink) for ink in patch] for patch in PATCHES]
    apart = ciede2000(condition_lab(SHIPPED[name], inks), AIMS[name])
    assert dict(zip(PATCHES, apart.round(2), strict=True)) == pytest.approx(dict.fromkeys(PATCHES, 0.0), abs=0.5)


@every_condition
def test_a_printable_colour_survives_the_way_to_inks_and_back(name: str) -> None:
    condition = replace(SHIPPED[name], intent="absolute")
    inks, _ = characterisation(name)
    again = condition_lab(condition, lab_to_condition(condition, condition_lab(condition, inks)))
    apart = ciede2000(condition_lab(condition, inks), again)
    middle = ((inks[:, :3] >= 0.2) & (inks[:, :3] <= 0.7)).all(axis=1) & (inks[:, 3] <= 0.4)
    assert middle.sum() > 200
    assert np.median(apart[middle]) < 0.5
    assert apart[middle].max() < 2.0
    # Tints of one or two inks are the border of what can be printed; the tables are coarse there (17 steps a side).
    light = inks.sum(axis=1) <= 2.0
    assert np.percentile(apart[light], 95) < 2.5


@every_condition
@pytest.mark.parametrize("intent", ["relative", "perceptual", "saturation", "absolute"])
@pytest.mark.parametrize("moved", [True, False], ids=["black moved", "black kept"])
def test_no_colour_of_a_screen_takes_more_ink_than_the_paper(name: str, intent: Intent, moved: bool) -> None:
    condition = replace(SHIPPED[name], intent=intent, black_point_compensation=moved)
    steps = np.linspace(0, 1, 33)
    cube = np.stack(np.meshgrid(steps, steps, steps), -1).reshape(-1, 3)
    inks = to_condition(SRGB, condition).colours(cube)
    assert inks.sum(axis=1).max() * 100 <= condition.ink_limit


@every_condition
def test_no_colour_at_all_takes_more_ink_than_the_paper(name: str) -> None:
    side = np.linspace(-120, 120, 31)
    grid = np.stack(np.meshgrid(np.linspace(0, 100, 31), side, side), -1).reshape(-1, 3)
    assert lab_to_condition(SHIPPED[name], grid).sum(axis=1).max() * 100 <= SHIPPED[name].ink_limit


@every_condition
def test_grays_of_a_screen_stay_gray_and_in_order(name: str) -> None:
    grays = to_condition(SRGB, SHIPPED[name]).colours(np.linspace(0, 1, 256)[:, None].repeat(3, axis=1))
    seen = condition_lab(SHIPPED[name], grays)
    paper = seen[-1]
    # Gray on paper has the tint of the paper, fading towards black: compare with that line (common practice).
    tint = paper[1:] * (seen[:, :1] / paper[0])
    assert np.hypot(*(seen[:, 1:] - tint).T).max() < 1.5
    assert np.all(np.diff(seen[:, 0]) > 0)


@every_condition
def test_the_black_ink_alone_carries_the_tone_of_grays(name: str) -> None:
    gray = np.linspace(0, 1, 101)[:, None]
    inks = gray_to_black(SRGB, SHIPPED[name]).colours(gray)
    assert inks[0].tolist() == [0, 0, 0, 1]
    assert inks[-1].tolist() == [0, 0, 0, 0]
    assert np.all(inks[:, :3] == 0)
    assert np.all(np.diff(inks[:, 3]) < 0)
