"""The finished file's name, from the order."""

from __future__ import annotations

from pathlib import Path

import pytest
from pydantic import ValidationError

from hotfolder.loading import load_plugins
from hotfolder.testing import make_job, make_pdf, run_steps

RenameResult = load_plugins().steps["rename_result"]

TICKET = {"client": "Quay Market", "title": "Jazz / Night", "trim": "24x36in", "copies": 40}

NAMES = [
    ("{name}", "quay final"),
    ("{client}_{title}_{trim}", "Quay Market_Jazz - Night_24x36in"),
    ("{title}-{due}", "Jazz - Night"),
    ("{due}", "quay final"),
    ("{trim} {bleed} x{copies}", "24x36in 0.125in x40"),
    ("{condition} {job}", "coated_europe test-job"),
]


@pytest.mark.parametrize(("template", "stem"), NAMES)
def test_name(tmp_path: Path, template: str, stem: str) -> None:
    artwork = make_pdf(tmp_path / "quay final.pdf")
    before = artwork.read_bytes()
    job = make_job(tmp_path, artwork, ticket=TICKET)
    run_steps(job, RenameResult(RenameResult.Settings(template=template)))
    assert job.result_stem == stem
    assert job.artwork.read_bytes() == before
    assert job.told == [f"The finished file is named {stem}.pdf."]


@pytest.mark.parametrize("template", ["{klient}", "{client", "", "x" * 201])
def test_a_wrong_template_is_refused_at_start(template: str) -> None:
    with pytest.raises(ValidationError):
        RenameResult.Settings(template=template)
