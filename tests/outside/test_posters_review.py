"""What holds real posters is what posters_review.md judges, row by row: a change of judgement has to change that table.

Each poster is ordered in the size that its first page has: with 3 mm bleed, and without where something near the cut is
held. The first order runs all that judges before anything is drawn or sealed; the second only what looks at bleed, since
all else measures from the trim and finds the same. The rows of check_ink are left to test_posters.py: drawing every ink
takes a minute more.
"""

from __future__ import annotations

import re
from pathlib import Path

import pikepdf
import pytest

from hotfolder.config.builtin import builtin_studio
from hotfolder.pdf.boxes import read_boxes
from hotfolder.testing import make_job, run_steps

CORPUS = Path(__file__).parents[3] / "shared" / "corpus"
TABLE = Path(__file__).with_name("posters_review.md")
#: What looks at bleed, and so finds another thing in each order.
OF_BLEED = {"open_pdf", "check_geometry", "check_bleed", "check_frames"}
#: They hold nothing by themselves, or nothing that a look at the page could judge.
LEFT_OUT = {"check_sharpness", "check_lines", "add_marks", "seal_pdf", "check_ink", "verify_result", "rename_result"}
ORDERS = {"3 mm": "3mm", "none": "0mm"}
CHAIN = [step for step in builtin_studio().routes[0].chain if step.name not in LEFT_OUT]

pytestmark = [
    pytest.mark.skipif(not CORPUS.is_dir(), reason="the corpus of real posters is not beside the clone"),
    pytest.mark.filterwarnings("ignore::pikepdf.exceptions.PageCopyWarning"),
]


def reviewed() -> dict[str, list[list[str]]]:
    """The table's rows by file: order, finding, level, and so on."""
    rows: dict[str, list[list[str]]] = {}
    for line in TABLE.read_text(encoding="utf-8").splitlines():
        cells = [cell.strip() for cell in line.strip("|").split("|")]
        if line.startswith("| `"):
            rows.setdefault(cells[0].strip("`"), []).append(cells[1:])
    return rows


def expected(rows: list[list[str]], order: str, steps: set[str]) -> set[str]:
    """What the table says that these steps hold for in an order: `check_fonts: font_not_embedded`."""
    holds = {finding for orders, finding, level, *_ in rows if level == "hold" and orders in ("both", order)}
    return {finding for finding in holds if finding.split(":")[0] in steps}


def orders() -> list[tuple[str, str]]:
    near = re.compile(r"check_(bleed|frames|construction)")
    return [
        (name, order)
        for name, rows in reviewed().items()
        for order in ORDERS
        if order == "3 mm" or any(near.match(row[1]) for row in rows)
    ]


@pytest.mark.parametrize(("name", "order"), orders())
def test_the_table_names_what_holds(name: str, order: str, tmp_path: Path) -> None:
    path = next(
        (folder / name for folder in (CORPUS / "posters", CORPUS / "stress") if (folder / name).is_file()), None
    )
    if path is None:
        pytest.skip(f"{name} is not in this corpus")
    with pikepdf.open(path) as pdf:
        boxes, pages = read_boxes(pdf.pages[0]), len(pdf.pages)
    width, height = boxes.seen_size(boxes.trim)
    ticket = {"trim": f"{width:.2f}x{height:.2f}pt", "pages": pages, "bleed": ORDERS[order], "safe_margin": "0.5in"}
    chain = [step for step in CHAIN if order == "3 mm" or step.name in OF_BLEED]
    job = make_job(tmp_path, path, ticket=ticket, opened=False)
    records = run_steps(job, *chain)
    assert not [record.trace for record in records if record.trace]
    found = {f"{one.step}: {one.code}" for one in job.findings if one.level == "hold"}
    assert found == expected(reviewed()[name], order, {step.name for step in chain})


def test_every_hold_has_a_verdict_and_a_reason() -> None:
    for name, rows in reviewed().items():
        for order, finding, level, seen, verdict, why in rows:
            assert order in ("both", *ORDERS), name
            assert level in ("hold", "note", "missing", "pass"), name
            assert verdict in ("right", "taste", "wrong", "missing"), (name, finding)
            assert seen, (name, finding)
            assert why or level == "note", (name, finding)
