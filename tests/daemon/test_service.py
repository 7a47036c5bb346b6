"""The service files: understood by the tools they are for, closed as far as they can be, naming what there is."""

from __future__ import annotations

import plistlib
import re
import shutil
import subprocess
from pathlib import Path

import pytest

CONFIG = Path(__file__).parents[2] / "config"
UNIT = CONFIG / "hotfolder.service"
MOST_EXPOSURE = 2.5  # of 10, as systemd-analyze(1) reckons it; below it calls a service "OK"

needs_systemd = pytest.mark.skipif(shutil.which("systemd-analyze") is None, reason="systemd-analyze is not here")


def analyze(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(["systemd-analyze", *arguments], capture_output=True, text=True, check=False, timeout=60)


@needs_systemd
def test_the_unit_is_well_closed() -> None:
    done = analyze("security", "--offline=yes", "--no-pager", str(UNIT))
    if "unrecognized option" in done.stderr:
        pytest.skip("this systemd-analyze can't look at a file")
    found = re.search(r"exposure level for hotfolder.service: ([0-9.]+)", done.stdout)
    assert found is not None, done.stderr
    assert float(found[1]) <= MOST_EXPOSURE


@needs_systemd
def test_the_unit_is_understood(tmp_path: Path) -> None:
    program = tmp_path / "hotfolder"
    program.write_text("#!/bin/sh\n")
    program.chmod(0o755)
    unit = tmp_path / "hotfolder.service"
    unit.write_text(UNIT.read_text().replace("/opt/hotfolder/bin/hotfolder", str(program)))
    done = analyze("verify", str(unit))
    wrong = [line for line in done.stderr.splitlines() if "hotfolder.service" in line]
    assert [line for line in wrong if "Unknown" in line or "ailed to parse" in line or "not executable" in line] == []


def test_the_unit_asks_for_what_the_daemon_gives() -> None:
    text = UNIT.read_text()
    for line in ("Type=notify", "WatchdogSec=", "Restart=always", "ExecReload=/bin/kill -HUP", "KillMode=mixed"):
        assert line in text


def test_the_property_list_is_one() -> None:
    data = plistlib.loads((CONFIG / "org.hotfolder.daemon.plist").read_bytes())
    assert data["ProgramArguments"][1] == "run"
    assert data["KeepAlive"] is True
