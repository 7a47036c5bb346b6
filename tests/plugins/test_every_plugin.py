"""What holds for every plugin that ships: a README and a test of its own, settings explained, damage held in words."""

from __future__ import annotations

import importlib.util
import re
from pathlib import Path

import pypdf
import pytest

from hotfolder.loading import load_plugins, shipped_folder
from hotfolder.plugin import Part, Step
from hotfolder.testing import make_job, run_steps

REPO = Path(__file__).parents[2]
PLUGINS = load_plugins()
FOLDERS = sorted(path for path in shipped_folder().iterdir() if (path / "__init__.py").is_file())
STEPS = sorted(PLUGINS.steps.values(), key=lambda step: step.name)

DAMAGED = {
    "empty": b"",
    "head only": b"%PDF-1.7\n",
    "noise": bytes(range(256)) * 40,
    "no pages": b"%PDF-1.4\n1 0 obj<</Type/Catalog/Pages 2 0 R>>endobj\n2 0 obj<</Type/Pages/Kids[]/Count 0>>endobj\ntrailer<</Size 4/Root 1 0 R>>\n%%EOF",
    "page tree in a circle": b"%PDF-1.4\n1 0 obj<</Type/Catalog/Pages 2 0 R>>endobj\n2 0 obj<</Type/Pages/Kids[2 0 R]/Count 1>>endobj\ntrailer<</Size 4/Root 1 0 R>>\n%%EOF",
    "page without a box": b"%PDF-1.4\n1 0 obj<</Type/Catalog/Pages 2 0 R>>endobj\n2 0 obj<</Type/Pages/Kids[3 0 R]/Count 1>>endobj\n3 0 obj<</Type/Page/Parent 2 0 R>>endobj\ntrailer<</Size 4/Root 1 0 R>>\n%%EOF",
}


@pytest.mark.parametrize("folder", FOLDERS, ids=lambda folder: folder.name)
def test_a_readme_and_a_test_of_its_own(folder: Path) -> None:
    assert (folder / "README.md").read_text(encoding="utf-8").startswith(f"# {folder.name}\n")
    assert (REPO / "tests" / "plugins" / f"test_{folder.name}.py").is_file()


@pytest.mark.parametrize("folder", FOLDERS, ids=lambda folder: folder.name)
def test_a_plugin_stays_small(folder: Path) -> None:
    code = (folder / "__init__.py").read_text(encoding="utf-8")
    assert len([line for line in code.splitlines() if line.strip()]) <= 200


@pytest.mark.parametrize("step", STEPS, ids=lambda step: step.name)
def test_every_setting_is_explained(step: type[Step]) -> None:
    """The table in the README is the one that scripts/settings_tables.py writes."""
    spec = importlib.util.spec_from_file_location("settings_tables", REPO / "scripts" / "settings_tables.py")
    assert spec is not None
    assert spec.loader is not None
    tables = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(tables)
    for name, field in step.Settings.model_fields.items():
        assert field.description, f"{step.name}.{name} has no help"
    readme = tables.readme_of(step).read_text(encoding="utf-8")
    assert tables.with_table(readme, step) == readme, "run scripts/settings_tables.py"


@pytest.mark.parametrize("step", STEPS, ids=lambda step: step.name)
def test_every_finding_is_explained(step: type[Step]) -> None:
    """Codes that the plugin's own code names stand in its README."""
    folder = shipped_folder() / step.name
    code = "\n".join(path.read_text(encoding="utf-8") for path in folder.glob("*.py"))
    readme = (folder / "README.md").read_text(encoding="utf-8")
    for found in re.findall(r"(?:\.hold|\.note|\.mended|Hold)\(\s*\"([a-z_]+)\"", code):
        assert f"`{found}`" in readme, f"{step.name}/README.md does not explain {found}"


@pytest.mark.parametrize("step", STEPS, ids=lambda step: step.name)
def test_name_and_parts(step: type[Step]) -> None:
    assert step.__doc__
    assert step.changes <= set(Part)
    assert step.reads <= set(Part)


@pytest.mark.parametrize("kind", DAMAGED)
@pytest.mark.parametrize("step", STEPS, ids=lambda step: step.name)
def test_damage_is_held_not_crashed(step: type[Step], kind: str, tmp_path: Path) -> None:
    """A step handed a damaged file as working PDF holds the job; the file given in stays as it was."""
    path = tmp_path / "damaged.pdf"
    path.write_bytes(DAMAGED[kind])
    job = make_job(tmp_path, path)
    run_steps(job, step())
    assert path.read_bytes() == DAMAGED[kind]
    if not job.held and job.artwork != path:  # qpdf repaired it on opening; then what was made must be whole
        assert len(pypdf.PdfReader(job.artwork).pages) == 1
