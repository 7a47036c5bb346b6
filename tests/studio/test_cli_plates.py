"""The command `plates`: its pictures against what was drawn, names that mean harm, and mistakes told in sentences."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner, Result
from pikepdf import Array, Dictionary, Name
from PIL import Image

from hotfolder.cli.main import main
from hotfolder.cli.plates import file_names
from hotfolder.testing import make_pdf
from hotfolder.units import MM


def call(*arguments: str) -> Result:
    result = CliRunner().invoke(main, ["plates", *arguments], prog_name="hotfolder")
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result


def poster(folder: Path, *inks: str, pages: int = 1, name: str = "poster.pdf", rotate: int = 0) -> Path:
    """A sheet of 100 x 50 mm: solid cyan on the left half, a middle tint of each spot ink on the right half."""
    tint = Dictionary(FunctionType=2, Domain=Array([0, 1]), C0=Array([0, 0, 0, 0]), C1=Array([0, 0.6, 1, 0]), N=1)
    spaces = {
        f"/I{at}": Array([Name.Separation, Name("/" + ink), Name.DeviceCMYK, tint]) for at, ink in enumerate(inks)
    }
    content = b"1 0 0 0 k 0 0 %f 999 re f /On gs " % (50 * MM)
    content += b"".join(b"/I%d cs 0.5 scn %f 0 999 999 re f " % (at, 50 * MM) for at in range(len(inks)))
    states = Dictionary(On=Dictionary(op=True, OP=True, OPM=1))
    return make_pdf(
        folder / name,
        trim_mm=(100, 50),
        bleed_mm=0,
        content=content,
        resources=Dictionary(ColorSpace=Dictionary(spaces), ExtGState=states),
        pages=pages,
        changes={"/Rotate": rotate},
    )


def test_a_gray_picture_for_each_ink(tmp_path: Path) -> None:
    result = call(str(poster(tmp_path, "Gold")), "--into", str(tmp_path / "out"), "--ppi", "50.8")
    assert result.exit_code == 0
    names = ["Cyan", "Magenta", "Yellow", "Black", "Gold", "total-ink"]
    assert {path.name for path in (tmp_path / "out").iterdir()} == {f"poster.{name}.png" for name in names}
    plates = {}
    for name in names[:-1]:
        with Image.open(tmp_path / "out" / f"poster.{name}.png") as picture:
            assert (picture.mode, picture.size) == ("L", (200, 100))  # 50.8 ppi are 2 pixels a millimetre
            assert picture.info["dpi"] == pytest.approx((50.8, 50.8), abs=0.02)
            plates[name] = np.asarray(picture)
    assert (plates["Cyan"][:, :99] == 0).all()
    assert (plates["Cyan"][:, 101:] == 255).all()
    assert (plates["Gold"][:, :99] == 255).all()
    assert (np.abs(plates["Gold"][:, 101:].astype(int) - 127.5) <= 1).all()
    assert (plates["Black"] == 255).all()
    for words in ("Cyan", "50.00 %", "25.0 cm²", "Gold", "all together", "none over the limit"):
        assert words in result.stdout


def test_figures_as_json(tmp_path: Path) -> None:
    result = call(str(poster(tmp_path, "Gold")), "--into", str(tmp_path / "out"), "--json", "--condition", "uncoated")
    data: dict[str, Any] = json.loads(result.stdout)
    assert (data["condition"], data["ink_limit_percent"]) == ("uncoated", 300)
    (page,) = data["pages"]
    assert (page["page"], page["ppi"], page["doubts"]) == (1, 72, [])
    assert page["area_cm2"] == pytest.approx(50, rel=0.01)
    figures = {ink["ink"]: ink for ink in page["inks"]}
    assert figures["Cyan"]["mean_percent"] == pytest.approx(50, abs=0.5)
    assert figures["Cyan"]["peak_percent"] == 100
    assert figures["Gold"]["solid_cm2"] == pytest.approx(12.5, rel=0.02)
    assert figures["Gold"]["printed_cm2"] == pytest.approx(25, rel=0.02)
    assert page["total"]["over_limit_cm2"] == 0
    for ink in (*page["inks"], page["total"]):
        assert (tmp_path / "out" / ink["picture"]).is_file()


def test_the_map_shows_where_the_limit_is_exceeded(tmp_path: Path) -> None:
    """The tone changes at the limit: 340 % stands out from 300 %, and neither is paper."""
    content = b"1 1 0.5 0.5 k 0 0 %f 999 re f 1 1 1 0.4 k %f 0 999 999 re f" % (50 * MM, 50 * MM)
    path = make_pdf(tmp_path / "p.pdf", trim_mm=(100, 50), bleed_mm=0, content=content)
    result = call(str(path), "--into", str(tmp_path), "--json")
    (page,) = json.loads(result.stdout)["pages"]
    assert page["total"]["over_limit_cm2"] == pytest.approx(25, rel=0.03)
    with Image.open(tmp_path / page["total"]["picture"]) as picture:
        at_limit, over = picture.getpixel((20 + 70, 20 + 70)), picture.getpixel((20 + 210, 20 + 70))
    assert isinstance(at_limit, tuple)
    assert isinstance(over, tuple)
    assert at_limit[1] > at_limit[0]  # dark green
    assert over[0] > over[1] + 80  # orange


def test_several_pages_carry_their_number(tmp_path: Path) -> None:
    path = poster(tmp_path, pages=2)
    assert call(str(path), "--into", str(tmp_path / "all")).exit_code == 0
    assert (tmp_path / "all" / "poster.page-2.Cyan.png").is_file()
    assert len(list((tmp_path / "all").iterdir())) == 10
    assert call(str(path), "--into", str(tmp_path / "one"), "--page", "2").exit_code == 0
    assert (tmp_path / "one" / "poster.Cyan.png").is_file()


def test_nothing_is_overwritten(tmp_path: Path) -> None:
    """One name that is taken moves the whole group, so that what belongs together stays together."""
    path, out = poster(tmp_path), tmp_path / "out"
    out.mkdir()
    (out / "poster.Yellow.png").write_text("somebody else's", encoding="utf-8")
    assert call(str(path), "--into", str(out)).exit_code == 0
    assert (out / "poster.Yellow.png").read_text(encoding="utf-8") == "somebody else's"
    assert (out / "poster-2.Yellow.png").is_file()
    assert (out / "poster-2.Cyan.png").is_file()
    assert not (out / "poster.Cyan.png").exists()


HOSTILE = [
    "../../../etc/ink",
    "a/b",
    "..",
    ".",
    "line\nbreak",
    "x" * 127,
    "con",
    "Cyan ",
    "gold",
    "GOLD",
    "total-ink",
    "\u202egnp",
]


def test_names_of_inks_stay_in_the_folder(tmp_path: Path) -> None:
    out = tmp_path / "deep" / "out"
    result = call(str(poster(tmp_path, *HOSTILE)), "--into", str(out))
    assert result.exit_code == 0, result.output
    made = sorted(path.name for path in out.iterdir())
    assert len(made) == 4 + len(HOSTILE) + 1
    assert len({name.casefold() for name in made}) == len(made)
    assert {path.name for path in tmp_path.iterdir()} == {"poster.pdf", "deep"}
    assert {path.name for path in (tmp_path / "deep").iterdir()} == {"out"}
    assert all(name.isprintable() and "/" not in name and len(name.encode()) < 120 for name in made)
    assert "\u202e" not in result.output


def test_every_ink_has_a_name_of_its_own() -> None:
    names = file_names(["Cyan", "cyan", "CYAN", "cyan-2", "\u00c5ngstrom", "A\u030angstrom", "", "total-ink"])
    assert len({name.casefold() for name in names}) == len(names) == 8
    assert (names[0], names[-1]) == ("Cyan", "total-ink")


def test_mistakes(tmp_path: Path) -> None:
    path, into = str(poster(tmp_path)), str(tmp_path / "out")
    for arguments, sentence in (
        ([str(tmp_path / "no.pdf")], f"There is no file {tmp_path / 'no.pdf'}; check its name and its folder."),
        ([path, "--page", "3"], "--page 3: the file has 1 page."),
        (
            [path, "--condition", "coated"],
            "--condition coated: there is no printing condition 'coated'; did you mean 'coated_europe'? The printing "
            "conditions are coated_europe, coated_us, uncoated.",
        ),
    ):
        result = call(*arguments, "--into", into)
        assert (result.exit_code, result.stderr.strip()) == (2, sentence)
    assert call(path).exit_code == 2
    assert call(path, "--into", into, "--ppi", "0").exit_code == 2
    result = call(path, "--into", path)
    assert (result.exit_code, result.stderr) == (2, f"--into {path}: the folder can't be made: file exists.\n")
    assert not Path(into).exists()


@pytest.mark.parametrize("data", [b"", b"%PDF-1.7\n", b"\x89PNG\r\n\x1a\n" + bytes(50), bytes(range(256)) * 40])
def test_what_is_no_pdf(tmp_path: Path, data: bytes) -> None:
    path = tmp_path / "odd.pdf"
    path.write_bytes(data)
    result = call(str(path), "--into", str(tmp_path / "out"))
    assert result.exit_code == 1
    assert result.stderr.startswith(f"{path}: no plates were made: ")
    assert result.stderr.count("\n") == 1
