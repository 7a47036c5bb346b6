"""What seal_pdf says and does: the sentence for each obstacle, the file that results, and that nothing comes of a held one."""

from __future__ import annotations

import importlib
import re
from pathlib import Path

import pikepdf
import pytest
from pikepdf import Array, Dictionary, Name, String

from hotfolder.colour.condition import SHIPPED
from hotfolder.loading import load_plugins
from hotfolder.pdf.finishing import obstacles, strip
from hotfolder.testing import codes, make_job, make_pdf, run_steps

SEAL_PDF = load_plugins().steps["seal_pdf"]


def test_a_clean_poster_is_sealed(tmp_path: Path) -> None:
    job = make_job(tmp_path, make_pdf(tmp_path / "Jazz Night.pdf"))
    run_steps(job, SEAL_PDF())
    assert codes(job) == []
    assert job.told[0] == "Finished as PDF/X-4 for Coated paper, Europe (FOGRA39); the profile is inside the file."
    assert job.artwork.read_bytes().startswith(b"%PDF-1.6")
    with job.read() as pdf:
        assert str(pdf.docinfo["/Title"]) == "Jazz Night"


@pytest.mark.parametrize("name", SHIPPED)
def test_each_condition_puts_its_own_profile_in(name: str, tmp_path: Path) -> None:
    job = make_job(tmp_path, make_pdf(tmp_path / "a.pdf"), condition=SHIPPED[name])
    run_steps(job, SEAL_PDF())
    with job.read() as pdf:
        intent = pdf.Root.OutputIntents[0]
        assert str(intent.OutputConditionIdentifier) == SHIPPED[name].identifier
        assert intent.DestOutputProfile.read_bytes() == SHIPPED[name].profile.read_bytes()


def test_an_obstacle_is_told_and_nothing_saved(tmp_path: Path) -> None:
    path = make_pdf(tmp_path / "a.pdf", content=b"1 0 0 rg 0 0 99 99 re f")
    job = make_job(tmp_path, path)
    run_steps(job, SEAL_PDF())
    assert codes(job) == ["hold colour_left"]
    assert job.findings[0].message == "The artwork still has colours that are not the press's inks (DeviceRGB)."
    assert job.findings[0].page == 1
    assert job.artwork == path


def test_every_obstacle_has_its_sentence() -> None:
    sentences = importlib.import_module(SEAL_PDF.__module__).SENTENCES
    code = "".join(Path(module.__file__ or "").read_text(encoding="utf-8") for module in (obstacles, strip))
    named = set(re.findall(r'\.add\(\s*"([a-z_]+)"', code)) | set(re.findall(r'^ +\("([a-z_]+)", ', code, re.MULTILINE))
    assert named == set(sentences)
    readme = (Path(__file__).parents[2] / "plugins" / "seal_pdf" / "README.md").read_text(encoding="utf-8")
    for key, (message, mend) in sentences.items():
        assert f"| `{key}` |" in readme
        assert message.endswith(".")
        assert mend.endswith(".")


def test_another_condition_in_the_artwork_is_noted(tmp_path: Path) -> None:
    path = make_pdf(tmp_path / "a.pdf")
    with pikepdf.open(path, allow_overwriting_input=True) as pdf:
        pdf.Root.OutputIntents = Array([Dictionary(S=Name.GTS_PDFX, OutputConditionIdentifier=String("FOGRA27"))])
        pdf.save(path)
    job = make_job(tmp_path, path)
    run_steps(job, SEAL_PDF())
    assert codes(job) == ["note other_condition"]
    assert (job.findings[0].measured, job.findings[0].required) == ("FOGRA27", "FOGRA39")


def test_boxes_that_make_no_sense_are_held(tmp_path: Path) -> None:
    job = make_job(tmp_path, make_pdf(tmp_path / "a.pdf", changes={"/TrimBox": Array([9000, 9000, 9001, 9001])}))
    run_steps(job, SEAL_PDF())
    assert codes(job) == ["hold cannot_seal"]
    assert "TrimBox lies outside the page" in job.findings[0].message


def test_a_picture_packed_twice_whose_outer_packing_is_damaged(tmp_path: Path) -> None:
    path = make_pdf(tmp_path / "a.pdf", content=b"q 99 0 0 99 0 0 cm /P Do Q")
    with pikepdf.open(path, allow_overwriting_input=True) as pdf:
        picture = pikepdf.Stream(pdf, b"no LZW")
        picture.Filter = Array([Name.LZWDecode, Name.DCTDecode])
        picture.DecodeParms = Array([Dictionary(Predictor=15, Columns=-5), Dictionary()])
        picture.Subtype, picture.ColorSpace = Name.Image, Name.DeviceCMYK
        picture.Width = picture.Height = picture.BitsPerComponent = 8
        pdf.pages[0].obj.Resources = Dictionary(XObject=Dictionary(P=pdf.make_indirect(picture)))
        pdf.save(path)
    job = make_job(tmp_path, path)
    run_steps(job, SEAL_PDF())
    assert codes(job) == ["hold cannot_seal"]
    assert "packed twice can't be unpacked" in job.findings[0].message


@pytest.mark.parametrize(
    ("title", "written"), [("  ", "a"), ("\u200b", "a"), ("x" * 150 + "  night", "x" * 150 + " night")]
)
def test_a_title_on_the_ticket_without_letters_counts_as_none(title: str, written: str, tmp_path: Path) -> None:
    job = make_job(tmp_path, make_pdf(tmp_path / "a.pdf"), ticket={"title": title})
    run_steps(job, SEAL_PDF())
    with job.read() as pdf:
        assert str(pdf.docinfo["/Title"]) == written


def test_a_title_too_long_does_not_end_in_a_space(tmp_path: Path) -> None:
    """XMP's reader takes such a space away, and Info would say otherwise."""
    path = make_pdf(tmp_path / "a.pdf")
    with pikepdf.open(path, allow_overwriting_input=True) as pdf:
        pdf.docinfo["/Title"] = String("x" * 499 + " and so on")
        pdf.save(path)
    job = make_job(tmp_path, path)
    run_steps(job, SEAL_PDF())
    with job.read() as pdf:
        assert str(pdf.docinfo["/Title"]) == "x" * 499


@pytest.mark.parametrize("stem", ["-", "\udcff", "a\nb", "x" * 200, "<&>"])
def test_any_file_name_makes_a_title(stem: str, tmp_path: Path) -> None:
    job = make_job(tmp_path, make_pdf(tmp_path / "a.pdf"))
    job.name = stem + ".pdf"
    run_steps(job, SEAL_PDF())
    assert codes(job) == []
    with job.read() as pdf:
        assert str(pdf.docinfo["/Title"])


def test_the_jobs_time_is_the_files_time(tmp_path: Path) -> None:
    job = make_job(tmp_path, make_pdf(tmp_path / "a.pdf"))
    job.id = "20261125-142257-7f3a9c"
    run_steps(job, SEAL_PDF())
    with job.read() as pdf:
        assert str(pdf.docinfo["/ModDate"]).startswith("D:20261125142257")
