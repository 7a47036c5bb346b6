"""Holds DEVELOPERS.md to the code: its example plugin runs, its hooks exist, dependencies point downwards."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest

from hotfolder.hookspecs import Hooks

REPO = Path(__file__).parents[2]
TEXT = (REPO / "DEVELOPERS.md").read_text(encoding="utf-8")


def block(marker: str) -> str:
    found = re.search(rf"<!-- {marker} -->\n```python\n(.*?)```", TEXT, re.DOTALL)
    assert found, f"DEVELOPERS.md has no block marked {marker}"
    return found[1]


def test_the_example_plugin_passes_its_own_test(tmp_path: Path) -> None:
    """In a process of its own, so that its plugin folder does not disturb the other tests."""
    folder = tmp_path / "my-plugins"
    folder.mkdir()
    (folder / "check_longest_side.py").write_text(block("example plugin"), encoding="utf-8")
    (tmp_path / "test_it.py").write_text(block("example test"), encoding="utf-8")
    (tmp_path / "conftest.py").write_text(block("example conftest"), encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", str(tmp_path)],
        capture_output=True,
        text=True,
        check=False,
        cwd=tmp_path,
    )
    assert "1 passed" in done.stdout, done.stdout + done.stderr


def test_every_hook_is_documented() -> None:
    hooks = {name for name in vars(Hooks) if not name.startswith("_")}
    documented = set(re.findall(r"^\| `([a-z_]+)\(", TEXT, re.MULTILINE))
    assert documented == hooks


JOBS = ("job", "chain", "work", "ticketing", "record", "plugin", "loading")
ABOVE = ("daemon", "config", "cli", "demo")
MAY_NOT_IMPORT = {
    # folder or module -> what it must not know of, below hotfolder
    "hotfolder/pdf": (*JOBS, *ABOVE, "report"),
    "hotfolder/colour": (*JOBS, *ABOVE, "report", "pdf"),
    "hotfolder/report": (*ABOVE, "chain", "work"),
    "plugins": (*ABOVE, "chain", "work", "report"),
    "hotfolder/chain.py": (*ABOVE, "work", "report"),
    "hotfolder/work.py": ABOVE,
    "hotfolder/daemon/runner.py": ("daemon.loop", "daemon.spool", "daemon.ledger", "config.reader", "cli", "demo"),
    "hotfolder/daemon": ("cli", "demo", "config.reader"),
    "hotfolder/config": ("cli", "demo", "daemon.loop", "daemon.runner"),
}


@pytest.mark.parametrize("place", MAY_NOT_IMPORT)
def test_dependencies_point_downwards(place: str) -> None:
    path = REPO / place
    for file in [path] if path.suffix else sorted(path.rglob("*.py")):
        for module in imported(file):
            for above in MAY_NOT_IMPORT[place]:
                wrong = module == f"hotfolder.{above}" or module.startswith(f"hotfolder.{above}.")
                assert not wrong, f"{file.relative_to(REPO)} imports {module}"


def imported(file: Path) -> set[str]:
    names: set[str] = set()
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module:
            names |= {node.module} | {f"{node.module}.{alias.name}" for alias in node.names}
        elif isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
    return names


def test_the_layout_names_what_is_there() -> None:
    """Every module and folder of the package's top, and every folder of hotfolder/pdf, is named in the layout."""
    layout = TEXT.split("## Layout")[1].split("## Words")[0]
    named = set(re.findall(r"[a-z_]+(?:\.py|/)", layout))
    places = [*(REPO / "hotfolder").iterdir(), *(REPO / "hotfolder" / "pdf").iterdir()]
    for place in places:
        if not place.name.startswith(("_", "py.typed")):
            name = f"{place.name}/" if place.is_dir() else place.name
            assert name in named, f"{place.relative_to(REPO)} is not in the layout"
