"""The report's picture of mixed colours: one place as it was designed, and beside it as inks mix it."""

from __future__ import annotations

import base64
import io
from pathlib import Path

import numpy as np
import pytest
from pikepdf import Dictionary, Name
from PIL import Image

from hotfolder.colour.condition import SHIPPED
from hotfolder.colour.difference import ciede2000
from hotfolder.colour.transform import srgb_lab
from hotfolder.finding import Box, Finding, Level
from hotfolder.report.mixed import draw_pair
from hotfolder.report.pictures import Pictures, gather
from hotfolder.testing import make_pdf
from hotfolder.ticket import Ticket

CONDITION = SHIPPED["coated_europe"]
PLACE = Box(380, 420, 420, 480)


@pytest.fixture
def poster(tmp_path: Path) -> Path:
    """Two areas that multiply in RGB: 9 CIEDE2000 apart from what their inks give."""
    return make_pdf(
        tmp_path / "p.pdf",
        content=b"0 0.4 1 rg 100 100 400 500 re f /G gs 1 0.8 0 rg 300 300 400 500 re f",
        resources=Dictionary(ExtGState=Dictionary(G=Dictionary(BM=Name.Multiply))),
        changes={"/Group": Dictionary(S=Name.Transparency, CS=Name.DeviceRGB, I=True)},
    )


def test_both_halves_show_the_place(poster: Path) -> None:
    drawn = draw_pair(poster, 1, PLACE, CONDITION)
    assert drawn is not None
    half = drawn.width // 4
    middle = [drawn.getpixel((x, drawn.height // 2 - 30)) for x in (half, drawn.width - half)]
    assert middle[0] == pytest.approx((0, 0.32 * 255, 0), abs=2)  # the product of both, by ISO 32000-1 11.3.5.2
    first, second = srgb_lab(np.array(middle) / 255)
    assert ciede2000(first[None], second[None])[0] > 4


def test_a_place_off_the_sheet_has_no_picture(poster: Path) -> None:
    assert draw_pair(poster, 1, Box(9000, 9000, 9100, 9100), CONDITION) is None


def gathered(poster: Path, opened: Path | None) -> Pictures:
    found = Finding(code="blending_changes", level=Level.HOLD, message="Told.", page=1, box=PLACE)
    return gather([found], Ticket(), original=None, working=poster, opened=opened, condition=CONDITION)


def test_the_report_shows_the_pair_where_it_can(poster: Path) -> None:
    shown = gathered(poster, poster).crops[1]
    assert "on the left" in shown.alt
    with Image.open(io.BytesIO(base64.b64decode(shown.uri.partition(",")[2]))) as picture:
        assert picture.width == shown.width > 2 * picture.height
    assert "on the left" not in gathered(poster, None).crops[1].alt
    damaged = poster.with_name("damaged.pdf")
    damaged.write_bytes(b"%PDF-1.6 nothing")
    assert "on the left" not in gathered(poster, damaged).crops[1].alt
