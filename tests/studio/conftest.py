"""A folder with small steps, so that configs are tested whatever steps ship."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from hotfolder.config.reader import Studio, load_studio
from hotfolder.errors import ConfigError

STEPS = '''
"""Small steps for trying configs."""
import shutil
from pathlib import Path
from hotfolder.plugin import MM, Length, Opener, Part, Settings, Step, hookimpl, setting

class LookSettings(Settings):
    tolerance: Length = setting(MM, "How far off", unit="mm", ge=0)
    depth: int = setting(3, "How deep", ge=1, le=5)
    corner: bool = setting(True, "Whether the corners too")

class TrySettings(Settings):
    def __init__(self, **values):
        raise KeyError("a fault of the plugin")

def make(name, *, base=Step, reads=(), changes=(), mends=False, settings=Settings):
    def run(self, job):
        if base is Opener:
            job.use(Path(shutil.copyfile(job.original, job.scratch(".pdf"))))
        elif name == "look_boxes" and b"too small" in job.artwork.read_bytes():
            job.hold("too_small", "It is too small.", measured="1", required=str(job.ticket.pages), mend="Make it larger.")
        else:
            job.tell("Looked.")
    body = {"name": name, "run": run, "reads": frozenset(reads), "mends": mends, "Settings": settings}
    if base is not Opener:
        body["changes"] = frozenset(changes)
    else:
        body["recognises"] = classmethod(lambda cls, head: "test")
    return type(name.title().replace("_", ""), (base,), {**body, "__module__": __name__, "__doc__": f"{name} it."})

MADE = [
    make("open_first", base=Opener),
    make("open_second", base=Opener),
    make("look_boxes", reads={Part.BOXES}, settings=LookSettings),
    make("look_colour", reads={Part.COLOUR}),
    make("turn_colour", reads={Part.COLOUR}, changes={Part.COLOUR}),
    make("mend_boxes", reads={Part.BOXES}, changes={Part.BOXES}, mends=True),
    make("draw_marks", changes={Part.BOXES, Part.CONTENT}),
    make("call_it", changes={Part.NAME}),
    make("break_settings", settings=TrySettings),
]
globals().update({step.__name__: step for step in MADE})

@hookimpl
def register_steps(register):
    for step in MADE:
        register(step)
'''


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A studio's folder with the steps above in it; the current folder."""
    (tmp_path / "steps").mkdir()
    (tmp_path / "steps" / "little_steps.py").write_text(STEPS, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture
def load(folder: Path) -> Callable[[str], Studio]:
    def load_text(text: str) -> Studio:
        Path("studio.toml").write_text(text, encoding="utf-8")
        return load_studio(Path("studio.toml"))

    return load_text


@pytest.fixture
def problems(load: Callable[[str], Studio]) -> Callable[[str], list[str]]:
    """What is wrong with a config text, as sentences; empty where nothing is."""

    def find(text: str) -> list[str]:
        try:
            load(text)
        except ConfigError as error:
            return error.problems
        return []

    return find
