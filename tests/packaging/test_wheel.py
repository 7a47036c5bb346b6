"""The wheel: built, installed into a fresh environment, and the demo run from there."""

from __future__ import annotations

import os
import subprocess
import sys
import sysconfig
import venv
import zipfile
from pathlib import Path

import pytest

REPO = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("wheel")
    run(sys.executable, "-m", "pip", "wheel", "-q", "--no-deps", "--no-build-isolation", "-w", str(out), str(REPO))
    (built,) = out.glob("*.whl")
    return built


@pytest.fixture(scope="module")
def environment(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A fresh environment with the wheel; its dependencies are lent from here, so that no network is needed."""
    folder = tmp_path_factory.mktemp("environment")
    venv.create(folder, with_pip=True)
    binaries = folder / ("Scripts" if os.name == "nt" else "bin")
    run(str(binaries / "python"), "-m", "pip", "install", "-q", "--no-deps", "--no-index", str(wheel))
    site = run(str(binaries / "python"), "-c", "import sysconfig; print(sysconfig.get_path('purelib'))").strip()
    # A plain path in a .pth file is searched last, and .pth files in it are not read: hotfolder comes from the wheel.
    (Path(site) / "lent.pth").write_text(sysconfig.get_path("purelib") + "\n", encoding="utf-8")
    return binaries


def run(*command: str, cwd: Path | None = None) -> str:
    clean = {key: value for key, value in os.environ.items() if key not in {"PYTHONPATH", "VIRTUAL_ENV"}}
    done = subprocess.run(command, capture_output=True, text=True, check=False, cwd=cwd, env=clean)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def test_what_travels_in_it(wheel: Path) -> None:
    names = zipfile.ZipFile(wheel).namelist()
    tops = {name.split("/")[0] for name in names}
    assert len(tops) == 2, tops  # the package and its metadata: never a top-level package called plugins
    shipped = {path.parent.name for path in (REPO / "plugins").glob("*/__init__.py")}
    assert shipped == {name.split("/")[2] for name in names if name.startswith("hotfolder/_plugins/")} - {"__pycache__"}
    for wanted in (
        "hotfolder/data/profiles/fogra39l_coated_300.icc",
        "hotfolder/data/profiles/README.md",
        "hotfolder/data/fonts/NotoSans-Regular.ttf",
        "hotfolder/data/fonts/OFL.txt",
        "hotfolder/py.typed",
    ):
        assert wanted in names
    assert any(name.endswith("licenses/LICENSE") for name in names)
    assert any(name.endswith("licenses/NOTICE") for name in names)


def test_the_installed_demo_runs(environment: Path, tmp_path: Path) -> None:
    where = run(str(environment / "python"), "-c", "import hotfolder; print(hotfolder.__file__)", cwd=tmp_path)
    assert str(environment.parent) in where
    table = run(str(environment / "hotfolder"), "demo", str(tmp_path / "studio"), cwd=tmp_path)
    assert "quaymarket_jazznight_24x36in.pdf" in table
    assert (tmp_path / "studio" / "studio.toml").is_file()
    assert (tmp_path / "studio" / "pass" / "quaymarket_jazznight_24x36in.pdf").is_file()
    assert list((tmp_path / "studio" / "hold").glob("*.report.html"))


def test_the_installed_plugins_are_found(environment: Path, tmp_path: Path) -> None:
    steps = run(str(environment / "hotfolder"), "steps", cwd=tmp_path)
    for path in (REPO / "plugins").glob("*/__init__.py"):
        if path.parent.name != "ticket_file":
            assert path.parent.name in steps
