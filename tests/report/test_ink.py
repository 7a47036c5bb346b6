"""The report's section on ink, the map's scale, and the log's line: complete, light, and harmless whatever inks are called."""

from __future__ import annotations

import base64
import datetime as dt
import json
import re
from io import BytesIO
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from hotfolder.finding import Outcome
from hotfolder.ink import InkUse, InkView, PageInk
from hotfolder.record import JobRecord
from hotfolder.report.ink_map import ink_map, tones, with_scale
from hotfolder.report.log import JobLog, ink_fields
from hotfolder.report.page import write_report


def view(*inks: str, page: int = 1, side: int = 200, doubts: tuple[str, ...] = ()) -> InkView:
    uses = tuple(InkUse(name, 12.34, 56.7, 300.0, 123.4) for name in inks)
    unused = InkUse("Yellow", 0.0, 0.0, 0.0, 0.0)
    rng = np.random.default_rng(7)
    return InkView(
        ink=PageInk(page, 1000.0, (*uses, unused), 24.68, 291.6),
        limit=300,
        plates={name: rng.integers(0, 256, (side, side), np.uint8) for name in inks},
        total=rng.integers(0, 900, (2 * side, 2 * side), np.uint16),
        together=rng.integers(0, 256, (2 * side, 2 * side, 3), np.uint8),
        doubts=doubts,
    )


def report(folder: Path, *views: InkView) -> str:
    record = JobRecord(
        job="j",
        file="p.pdf",
        route="r",
        arrived=dt.datetime(2026, 11, 25, tzinfo=dt.UTC),
        outcome=Outcome.PASS,
        ink=[one.ink.readable() for one in views],
    )
    write_report(record, folder / "r.html", original=None, working=None, opened=None, condition=None, ink=views)
    return (folder / "r.html").read_text(encoding="utf-8")


def pictures(text: str) -> list[Image.Image]:
    found = re.findall(r'src="data:image/jpeg;base64,([^"]+)"', text)
    return [Image.open(BytesIO(base64.b64decode(data))) for data in found]


def test_every_ink_has_its_line_and_its_plate(tmp_path: Path) -> None:
    text = report(tmp_path, view("Cyan", "Gold", doubts=("a knockout group: what overlaps is shown mixed",)))
    for words in (
        "Ink on the sheet",
        "12.3 %",
        "123 cm²",
        "300 cm² (30 %)",
        "57 %",
        "24.7 %",
        "292 %, limit 300 %",
        "of 1000 cm²",
    ):
        assert words in text
    assert "Not certain: a knockout group: what overlaps is shown mixed." in text
    assert "Yellow" not in text  # it prints nothing
    shown = pictures(text)
    assert [one.mode for one in shown] == ["RGB", "RGB", "L", "L"]  # map, all inks together, two plates
    assert shown[2].size == (200, 200)


def test_a_plate_is_dark_where_the_ink_is(tmp_path: Path) -> None:
    one = view("Cyan")
    one.plates["Cyan"][:] = 0
    one.plates["Cyan"][:100] = 255
    plate = np.asarray(pictures(report(tmp_path, one))[2])
    assert plate[:90].max() < 10
    assert plate[110:].min() > 245


def test_without_figures_there_is_no_section(tmp_path: Path) -> None:
    assert "Ink on" not in report(tmp_path)


def test_names_of_inks_are_text(tmp_path: Path) -> None:
    text = report(tmp_path, view("<script>alert(1)</script>", 'Gold" onload="x', "turned\u202eknI", "no\udcfftext"))
    assert "<script" not in text
    assert 'onload="x' not in text
    assert "\u202e" not in text
    assert "&lt;script&gt;" in text


def test_the_report_stays_light(tmp_path: Path) -> None:
    """Noise packs badly: what is too much is left out, the figures stay."""
    text = report(tmp_path, *(view(*(f"Ink {at}" for at in range(12)), page=page, side=400) for page in (1, 2, 3)))
    assert len(text) < 1_500_000
    assert text.count("Ink 11") >= 3
    assert "Ink on page 3" in text


def test_the_log_has_a_line_of_coverage(tmp_path: Path) -> None:
    path = tmp_path / "job.log"
    with JobLog(path, job="j") as log:
        log.write("ink measured", **ink_fields(view("Cyan", "no\udcfftext").ink.readable()))
    line = json.loads(path.read_text(encoding="utf-8"))
    assert line["coverage"] == {"Cyan": 12.34, "no\\xfftext": 12.34}
    assert (line["page"], line["area_cm2"], line["total"], line["peak"]) == (1, 1000.0, 24.68, 291.6)


@pytest.mark.parametrize("limit", [240, 300, 320])
def test_the_map_gets_darker_up_to_the_limit_and_jumps_there(limit: float) -> None:
    light = tones(limit).astype(int) @ (299, 587, 114) / 1000  # lightness as ITU-R BT.601 weighs it
    at = round(limit * 2.55)
    assert light[0] == 255
    assert (np.diff(light[: at + 1]) <= 0.6).all()  # never lighter again, but for rounding
    assert light[at + 2] - light[at] > 90
    assert (np.diff(light[at + 2 :]) <= 0.6).all()


def test_the_scale_stands_below_the_map_and_names_the_limit() -> None:
    total = np.full((50, 80), int(310 * 2.55), np.uint16)
    plain = ink_map(total, 300)
    whole = with_scale(plain, 300, "Total ink")
    assert whole.width >= 460
    assert whole.height > plain.height + 100
    assert whole.crop((20, 20, 100, 70)).tobytes() == plain.tobytes()
    assert with_scale(plain, 300, "x" * 500).size == whole.size
