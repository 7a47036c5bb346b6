"""Plugins: found in folders, and refused with a sentence when broken."""

from __future__ import annotations

import pickle
from pathlib import Path

import pytest

from hotfolder.errors import ConfigError
from hotfolder.loading import load_plugins, shipped_folder

GOOD = """
from hotfolder.plugin import Step, hookimpl
class {cls}(Step):
    name = "{step}"
    def run(self, job): job.note("seen", "Seen.")
@hookimpl
def register_steps(register): register({cls})
"""


def write(folder: Path, name: str, text: str) -> None:
    folder.mkdir(exist_ok=True)
    (folder / name).write_text(text)


def test_own_plugins_join_the_shipped_ones_and_travel(tmp_path: Path) -> None:
    write(tmp_path / "own", "greet_job.py", GOOD.format(cls="GreetJob", step="greet_job"))
    plugins = load_plugins([tmp_path / "own"])
    shipped = {path.name for path in shipped_folder().iterdir() if (path / "__init__.py").is_file()}
    assert "greet_job" in plugins.steps
    assert {name for name in shipped if "_" in name} - {"ticket_file"} <= plugins.steps.keys()
    step = plugins.steps["greet_job"]()
    assert type(pickle.loads(pickle.dumps(step))) is type(step)


BROKEN = [
    ("check_it.py", "import nothing_of_this_name", "could not be loaded: ModuleNotFoundError"),
    ("check_it.py", "x = (", "could not be loaded: SyntaxError"),
    ("check_it.py", "x = 1", "has no hook function marked with @hookimpl"),
    (
        "check_it.py",
        "from hotfolder.plugin import hookimpl\n@hookimpl\ndef regster_steps(register): pass",
        "has a hook that does not exist",
    ),
    (
        "check_it.py",
        "from hotfolder.plugin import hookimpl\n@hookimpl\ndef register_steps(registrar): pass",
        "could not be loaded: PluginValidationError",
    ),
    (
        "check_it.py",
        "from hotfolder.plugin import hookimpl\n@hookimpl\ndef register_steps(register): 1/0",
        "failed to register its steps: ZeroDivisionError",
    ),
    (
        "check_it.py",
        "from hotfolder.plugin import hookimpl\n@hookimpl\ndef register_steps(register): register(int)",
        "is not a subclass of hotfolder.plugin.Step",
    ),
    ("check_it.py", GOOD.format(cls="A", step="Check-It"), "has a name that can't be used"),
    (
        "check_it.py",
        GOOD.format(cls="A", step="rename_result"),
        "has the same name as the step in hotfolder_plugins.rename_result",
    ),
    ("Check It.py", GOOD.format(cls="A", step="check_it"), "has a name that can't be used"),
    ("rename_result.py", GOOD.format(cls="A", step="check_it"), "has the same name as"),
]


@pytest.mark.parametrize(("name", "text", "words"), BROKEN)
def test_a_broken_plugin_stops_the_start(tmp_path: Path, name: str, text: str, words: str) -> None:
    write(tmp_path / "own", name, text)
    with pytest.raises(ConfigError) as error:
        load_plugins([tmp_path / "own"])
    assert any(
        (words in problem and name in problem.replace("check_it ", "check_it.py ")) or words in problem
        for problem in error.value.problems
    )


def test_a_missing_folder_is_named(tmp_path: Path) -> None:
    with pytest.raises(ConfigError, match="does not exist"):
        load_plugins([tmp_path / "nowhere"])
