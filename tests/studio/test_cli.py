"""The command line: what each command prints, its exit code, and that a mistake is a sentence, never a traceback."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from hotfolder import __version__
from hotfolder.cli.main import main

ROOT = Path(__file__).parents[2]
TOP = 'plugins = ["steps"]\n'
ROUTE = (
    '[routes.posters]\nwatch = "in"\npass = "pass"\nhold = "hold"\n'
    'chain = ["open_first", { step = "look_boxes", tolerance = "2mm" }]\n'
)

Call = Callable[..., Result]


@pytest.fixture
def call(folder: Path) -> Call:
    """Calls a command in a folder with a good config; a traceback in it fails the test."""
    Path("studio.toml").write_text(TOP + ROUTE + '[routes.posters.ticket]\ntrim = "A1"\n', encoding="utf-8")

    def run(*arguments: str) -> Result:
        result = CliRunner().invoke(main, arguments, prog_name="hotfolder")
        if result.exception is not None and not isinstance(result.exception, SystemExit):
            raise result.exception
        return result

    return run


def test_no_arguments_help_and_exit_well(call: Call) -> None:
    result = call()
    assert result.exit_code == 0
    for command in ("run", "jobs", "config", "steps", "check", "once", "demo"):
        assert f"\n  {command} " in result.output


def test_version(call: Call) -> None:
    assert call("--version").output == f"hotfolder {__version__}\n"


def test_an_unknown_command(call: Call) -> None:
    result = call("chek")
    assert result.exit_code == 2
    assert result.stderr == (
        "There is no command 'chek'; did you mean 'check'? The commands are run, jobs, health, config, steps, check, once, plates, demo.\n"
    )


def test_config_as_json(call: Call, folder: Path) -> None:
    result = call("config", "studio.toml", "--json")
    assert result.exit_code == 0
    data = json.loads(result.stdout)
    (route,) = data["routes"]
    assert (route["name"], route["watch"]) == ("posters", str(folder / "in"))
    assert (route["pass"], route["hold"]) == (str(folder / "pass"), str(folder / "hold"))
    assert route["chain"] == [
        {"step": "open_first", "settings": {}},
        {"step": "look_boxes", "settings": {"tolerance": "2mm", "depth": 3, "corner": True}},
    ]
    assert (route["ticket"]["trim"], route["ticket"]["bleed"], route["ticket"]["pages"]) == ("A1", "0.125in", 1)
    assert data["spool"] == str(folder / "spool")
    usual = {"seconds": 600.0, "memory_mb": 1500, "disk_mb": 20_000, "confine": True, "programs": False}
    assert data["limits"] == usual
    assert "kept from" in data["protection"]
    assert set(data["conditions"]) == {"coated_europe", "coated_us", "uncoated"}
    assert len(data["warnings"]) == 2


def test_config_as_tables(call: Call) -> None:
    result = call("config", "studio.toml")
    assert result.exit_code == 0
    for words in ("route posters", "look_boxes (tolerance 2mm, depth 3, corner true)", "ticket.trim", "coated_us"):
        assert words in result.stdout
    assert result.stderr.startswith("Warning: studio.toml, line 6, route 'posters', chain: there is no step 'seal_pdf'")
    assert "\x1b" not in result.output


@pytest.mark.parametrize("json_", [[], ["--json"]])
def test_config_with_problems(call: Call, json_: list[str]) -> None:
    Path("studio.toml").write_text("workers = 0\n" + TOP + ROUTE, encoding="utf-8")
    result = call("config", "studio.toml", *json_)
    assert result.exit_code == 2
    problem = "studio.toml, line 1: 'workers' must be at least 1, not 0."
    assert result.stderr == problem + "\n"
    if json_:
        assert json.loads(result.stdout) == {"file": "studio.toml", "problems": [problem]}


@pytest.mark.parametrize("command", ["run", "config"])
def test_no_such_config(call: Call, command: str) -> None:
    result = call(command, "missing.toml")
    assert result.exit_code == 2
    assert result.stderr == "There is no config file missing.toml; check its name and its folder.\n"


def test_a_config_with_a_problem_starts_nothing(call: Call, folder: Path) -> None:
    Path("studio.toml").write_text("workers = 0\n" + TOP + ROUTE, encoding="utf-8")
    assert call("run", "studio.toml", "--until-idle").exit_code == 2
    assert sorted(path.name for path in folder.iterdir()) == ["steps", "studio.toml"]


def test_steps_come_from_the_code(call: Call) -> None:
    result = call("steps", "look_boxes", "--config", "studio.toml", "--json")
    (step,) = json.loads(result.stdout)
    assert step == {
        "name": "look_boxes",
        "purpose": "look_boxes it.",
        "opens": False,
        "reads": ["boxes"],
        "changes": [],
        "mends": False,
        "settings": [
            {"name": "tolerance", "default": "1mm", "unit": "mm", "allowed": ">= 0in", "help": "How far off"},
            {"name": "depth", "default": 3, "unit": "", "allowed": ">= 1, <= 5", "help": "How deep"},
            {"name": "corner", "default": True, "unit": "", "allowed": "true, false", "help": "Whether the corners too"},
        ],
    }  # fmt: skip


def test_steps_as_tables(call: Call) -> None:
    every = call("steps", "--config", "studio.toml").stdout
    assert "turn_colour" in every
    one = call("steps", "look_boxes", "--config", "studio.toml").stdout
    assert one.startswith("look_boxes: look_boxes it.\nreads: boxes; changes: -\n")
    assert "tolerance" in one
    assert "1mm" in one


def test_steps_of_the_program_itself(call: Call) -> None:
    names = [step["name"] for step in json.loads(call("steps", "--json").stdout)]
    assert names == sorted(names)
    assert "rename_result" in names
    assert "look_boxes" not in names


def test_an_unknown_step(call: Call) -> None:
    result = call("steps", "rename_resul")
    assert result.exit_code == 2
    assert result.stderr.startswith("There is no step 'rename_resul'; did you mean 'rename_result'? The steps are ")


MISTAKES: list[tuple[list[str], list[str]]] = [
    (["missing.pdf"], ["There is no file missing.pdf; check its name and its folder."]),
    (
        ["a\nb.pdf", "\x1b[31m.pdf"],
        [
            "There is no file a\\nb.pdf; check its name and its folder.",
            "There is no file \\x1b[31m.pdf; check its name and its folder.",
        ],
    ),
    (
        ["art.pdf", "--set", "trimm=A1", "--set", "trim=A99", "--set", "trim", "--set", "pages=none"],
        [
            "--set trimm=A1: there is no ticket key 'trimm'; did you mean 'trim'? The ticket keys are trim, bleed, "
            "safe_margin, pages, least_ppi, condition, inks, client, title, copies, due, viewing_distance.",
            "--set trim=A99: 'trim' can't be used: 'A99' is not a sheet size; write width x height and the unit, such "
            "as 24x36in or 610x914mm, or an ISO 216 name such as A1.",
            "--set trim: write KEY=VALUE, such as trim=24x36in.",
            "--set pages=none: 'pages' must be a whole number, not 'none'.",
        ],
    ),
    (
        ["art.pdf", "--set", "condition=coated"],
        [
            "--set condition=coated: there is no printing condition 'coated'; did you mean 'coated_europe'? The printing "
            "conditions are coated_europe, coated_us, uncoated."
        ],
    ),
    (["art.pdf", "--route", "poster"], ["--route 'poster': there is no route 'poster'; did you mean 'posters'? The routes are posters."]),
    (["art.pdf", "--config", "missing.toml"], ["There is no config file missing.toml; check its name and its folder."]),
]  # fmt: skip


@pytest.mark.parametrize("command", [["check"], ["once", "--into", "out"]])
@pytest.mark.parametrize(("arguments", "sentences"), MISTAKES)
def test_mistakes(call: Call, folder: Path, command: list[str], arguments: list[str], sentences: list[str]) -> None:
    Path("art.pdf").write_bytes(b"art")
    given = arguments if "--config" in arguments else [*arguments, "--config", "studio.toml"]
    result = call(*command, *given)
    assert result.exit_code == 2
    assert result.stderr.splitlines() == sentences
    assert not Path("out").exists()


def test_several_routes_need_a_choice(call: Call) -> None:
    Path("art.pdf").write_bytes(b"art")
    more = ROUTE.replace("posters", "notices").replace('"in"', '"in-b"')
    Path("studio.toml").write_text(TOP + ROUTE + more, encoding="utf-8")
    result = call("check", "art.pdf", "--config", "studio.toml")
    assert result.exit_code == 2
    assert result.stderr == "The config has several routes; choose one with --route: posters, notices.\n"


@pytest.mark.parametrize("arguments", [["check"], ["once", "x.pdf"], ["config"], ["run"], ["check", "--no-such"]])
def test_usage_errors(call: Call, arguments: list[str]) -> None:
    result = call(*arguments)
    assert result.exit_code == 2
    assert "Usage: hotfolder" in result.stderr


def test_once_into_a_file(call: Call) -> None:
    Path("art.pdf").write_bytes(b"art")
    result = call("once", "art.pdf", "--into", "art.pdf", "--config", "studio.toml")
    assert result.exit_code == 2
    assert result.stderr == "--into art.pdf: the folder can't be made: not a directory.\n"


def run_module(*arguments: str, cwd: Path, **environment: str) -> subprocess.CompletedProcess[bytes]:
    path = os.pathsep.join([str(ROOT), os.environ.get("PYTHONPATH", "")])
    return subprocess.run(
        [sys.executable, "-m", "hotfolder", *arguments],
        cwd=cwd,
        env={**os.environ, "PYTHONPATH": path, **environment},
        capture_output=True,
        timeout=120,
        check=False,
    )


def test_help_does_not_wait_for_the_libraries_of_the_work(tmp_path: Path) -> None:
    code = "import sys, hotfolder.cli.main; print(*sys.modules)"
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    out = subprocess.run([sys.executable, "-c", code], env=env, capture_output=True, check=True, text=True).stdout
    assert not {"pikepdf", "pydantic", "numpy", "pyvips", "PIL", "rich", "jinja2", "pluggy"} & set(out.split())


def test_python_m_and_a_name_that_is_no_text(tmp_path: Path) -> None:
    result = run_module("check", os.fsdecode(b"caf\xe9.pdf"), cwd=tmp_path, PYTHONIOENCODING="ascii:strict")
    assert result.returncode == 2
    assert result.stderr == b"There is no file caf\\xe9.pdf; check its name and its folder.\n"
