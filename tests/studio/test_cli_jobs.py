"""`check` and `once` on real files, each in its worker process: outcomes, exit codes, what is left on the disk."""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from hotfolder.cli.jobs import checks
from hotfolder.cli.main import main
from hotfolder.cli.run import describe
from hotfolder.daemon.events import Event, What
from hotfolder.step import Opener, Part, Step
from hotfolder.testing import make_pdf

CONFIG = """\
plugins = ["steps"]
[routes.posters]
watch = "in"
pass = "pass"
hold = "hold"
file_names = ["{client}_{title}"]
chain = ["open_first", "look_boxes"]
"""
Call = Callable[..., Result]


@pytest.fixture
def call(folder: Path) -> Call:
    Path("studio.toml").write_text(CONFIG, encoding="utf-8")
    make_pdf(Path("quay_jazz.pdf"))
    Path("small.pdf").write_bytes(Path("quay_jazz.pdf").read_bytes() + b"% too small\n")

    def run(*arguments: str) -> Result:
        result = CliRunner().invoke(main, [*arguments, "--config", "studio.toml"], prog_name="hotfolder")
        if result.exception is not None and not isinstance(result.exception, SystemExit):
            raise result.exception
        return result

    return run


def tree(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def without_caches(files: dict[str, bytes]) -> dict[str, bytes]:
    return {name: data for name, data in files.items() if "__pycache__" not in name}


def test_check_as_json_writes_nothing(call: Call, folder: Path) -> None:
    (folder / "small.ticket.toml").write_text("pages = 3\n", encoding="utf-8")  # weaker than --set
    before = without_caches(tree(folder))
    result = call("check", "quay_jazz.pdf", "small.pdf", "steps", "--set", "pages=7", "--json")
    assert result.exit_code == 1
    good, small, refused = json.loads(result.stdout)
    assert good == {"file": "quay_jazz.pdf", "outcome": "pass", "findings": []}
    assert (small["outcome"], refused["outcome"]) == ("hold", "hold")
    held = [finding for finding in small["findings"] if finding["level"] == "hold"]
    assert held == [
        {
            "code": "too_small",
            "level": "hold",
            "message": "It is too small.",
            "measured": "1",
            "required": "7",
            "page": None,
            "box": None,
            "mend": "Make it larger.",
            "step": "look_boxes",
        }
    ]
    assert [finding["code"] for finding in refused["findings"]] == ["not_a_file"]
    assert without_caches(tree(folder)) == before


def test_check_as_tables(call: Call) -> None:
    result = call("check", "quay_jazz.pdf", "small.pdf")
    assert result.exit_code == 1
    assert result.stdout.startswith(
        "quay_jazz.pdf: pass (nothing to say)\nsmall.pdf: hold (1 to look at and 1 noted)\n"
    )
    assert "Make it larger." in result.stdout
    assert "\x1b" not in result.output


def test_once_publishes_and_leaves_the_artwork(call: Call, folder: Path) -> None:
    before = tree(folder)
    result = call("once", "quay_jazz.pdf", "small.pdf", "--into", "out")
    assert result.exit_code == 1
    found = tree(folder / "out")
    assert sorted(found) == [
        "hold/small.log", "hold/small.report.html",
        "pass/quay_jazz.log", "pass/quay_jazz.pdf", "pass/quay_jazz.report.html",
    ]  # fmt: skip
    assert found["pass/quay_jazz.pdf"] == before["quay_jazz.pdf"]
    assert {name: tree(folder)[name] for name in ("quay_jazz.pdf", "small.pdf")} == {
        name: before[name] for name in ("quay_jazz.pdf", "small.pdf")
    }
    assert not [path for path in (folder / "out").iterdir() if path.name.startswith(".")]
    assert "out/pass/quay_jazz.pdf" in result.stdout
    assert "out/hold/small.report.html" in result.stdout


def test_once_never_overwrites(call: Call, folder: Path) -> None:
    (folder / "other").mkdir()
    make_pdf(folder / "other" / "quay_jazz.pdf", trim_mm=(100, 100))
    assert call("once", "quay_jazz.pdf", "other/quay_jazz.pdf", "--into", "out").exit_code == 0
    first = tree(folder / "out")
    assert first["pass/quay_jazz.pdf"] == (folder / "quay_jazz.pdf").read_bytes()
    assert first["pass/quay_jazz-2.pdf"] == (folder / "other" / "quay_jazz.pdf").read_bytes()
    assert call("once", "quay_jazz.pdf", "--into", "out").exit_code == 0
    second = tree(folder / "out")
    assert {name: second[name] for name in first} == first
    assert set(second) - set(first) == {f"pass/quay_jazz-3{ending}" for ending in (".log", ".pdf", ".report.html")}


def test_the_ticket_beside_the_artwork_counts(call: Call, folder: Path) -> None:
    (folder / "small.ticket.toml").write_text("pages = 3\n", encoding="utf-8")
    (folder / "other").mkdir()
    (folder / "other" / "small.pdf").write_bytes((folder / "small.pdf").read_bytes())
    result = call("check", "small.pdf", "small.ticket.toml", "other/small.pdf", "--json")
    every = [finding for file in json.loads(result.stdout) for finding in file["findings"]]
    assert [finding["required"] for finding in every if finding["code"] == "too_small"] == ["3", "1"]


NAMES = ["line\nbreak.pdf", "\x1b[31mred.pdf", "[bold]x.pdf", "-dash.pdf", "dot..pdf", "😀.pdf", "é" * 120 + ".pdf"]


def test_odd_names(call: Call, folder: Path) -> None:
    names = [*NAMES, os.fsdecode(b"caf\xe9.pdf")]
    for name in names:
        make_pdf(folder / "plain.pdf").rename(folder / name)
    result = call("once", "--into", "out", *(f"./{name}" for name in names))
    assert result.exit_code == 0, result.stdout
    assert "\x1b" not in result.stdout
    for shown in ("line\\nbreak.pdf", "\\x1b[31mred.pdf", "[bold]x.pdf", "caf\\xe9.pdf"):
        assert shown in result.stdout
    published = [path.name for path in (folder / "out" / "pass").iterdir()]
    assert len(published) == 3 * len(names)
    assert all(name.isprintable() for name in published)
    assert all((folder / name).exists() for name in names)


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="whoever is root reads every file")
def test_a_file_that_may_not_be_read(call: Call) -> None:
    Path("small.pdf").chmod(0)
    result = call("check", "small.pdf", "--json")
    assert result.exit_code == 1
    assert [finding["code"] for finding in json.loads(result.stdout)[0]["findings"]] == ["unreadable"]


def test_a_pipe_is_not_waited_for(call: Call) -> None:
    os.mkfifo("pipe.pdf")
    result = call("check", "pipe.pdf", "--json")
    assert result.exit_code == 1
    assert json.loads(result.stdout)[0]["findings"][0]["message"] == "This is a device or a pipe, not a file."


class _Open(Opener):
    name = "open_it"


class _Check(Step):
    name = "check_it"
    reads = frozenset({Part.BOXES})


class _Convert(Step):
    name = "convert_it"
    changes = frozenset({Part.COLOUR})


class _CheckColour(Step):
    name = "check_colour"
    reads = frozenset({Part.COLOUR})


def test_check_says_that_no_size_was_ordered(call: Call) -> None:
    assert "No size was ordered" in call("check", "quay_jazz.pdf").stdout
    assert "No size was ordered" not in call("check", "quay_jazz.pdf", "--set", "trim=A3").stdout


def test_checks_of_a_chain_leave_out_changes_and_what_needs_them() -> None:
    kept, left = checks([_Open(), _CheckColour(), _Convert(), _Check(), _CheckColour()])
    assert [step.name for step in kept] == ["open_it", "check_colour", "check_it"]
    assert left == ["check_colour"]


def test_run_until_idle_tells_each_outcome(call: Call, folder: Path) -> None:
    Path("studio.toml").write_text("rescan = 0.5\n" + CONFIG + "settle = 0.2\n", encoding="utf-8")
    (folder / "in").mkdir()
    for name in ("quay_jazz.pdf", "small.pdf"):
        (folder / name).rename(folder / "in" / name)
    result = CliRunner().invoke(main, ["run", "studio.toml", "--until-idle"])
    assert result.exit_code == 0, result.output
    told = [line.partition("  ")[2] for line in result.stdout.splitlines()]
    assert f"in: watching  {folder / 'in'}" in told or f"{folder / 'in'}: watching" in told
    assert any(line.startswith("quay_jazz.pdf: pass") and "pass/quay_jazz.pdf" in line for line in told)
    assert any(line.startswith("small.pdf: hold") and "It is too small." in line for line in told)
    assert (folder / "pass" / "quay_jazz.pdf").exists()
    assert (folder / "hold" / "small.pdf").exists()


def test_every_kind_of_news_has_words() -> None:
    for what in What:
        line = describe(Event(what, file="jazz.pdf", outcome="hold"))
        assert line.startswith("jazz.pdf: ") or what is What.STEP


def test_several_sizes_are_looked_at_and_made_one_by_one(call: Call, folder: Path) -> None:
    looked = call("check", "quay_jazz.pdf", "--set", "trim=A2 and A3")
    assert looked.exit_code == 0
    assert [line for line in looked.output.splitlines() if line.startswith("quay")] == [
        "quay_jazz.pdf (A2): pass (nothing to say)",
        "quay_jazz.pdf (A3): pass (nothing to say)",
    ]
    assert "Several sizes were ordered" in looked.output
    made = call("once", "quay_jazz.pdf", "small.pdf", "--into", "out", "--set", "trim=A2 and A3")
    assert made.exit_code == 1
    assert sorted(path.name for path in (folder / "out").rglob("*.*")) == [
        f"{stem}{ending}"
        for stem, endings in {
            "quay_jazz_A2": (".log", ".pdf", ".report.html"),
            "quay_jazz_A3": (".log", ".pdf", ".report.html"),
            "small_A2": (".log", ".report.html"),
            "small_A3": (".log", ".report.html"),
        }.items()
        for ending in endings
    ]
    make_pdf(Path("A3 and A10 quay.pdf"))
    call("once", "A3 and A10 quay.pdf", "--into", "named", "--set", "trim=A3 and A10")
    assert sorted(path.name for path in (folder / "named" / "pass").glob("*.pdf")) == [
        "A3 and A10 quay_A10.pdf",  # a name that has both sizes says neither
        "A3 and A10 quay_A3.pdf",
    ]
    report = (folder / "out" / "hold" / "small_A3.report.html").read_text(encoding="utf-8")
    assert "size 2 of 2 that were ordered of this file: A3 of A2, A3" in report
    assert "If only this size has to be made again, order it alone." in report
