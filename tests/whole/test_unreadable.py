"""A file that the daemon may not read: held in words, still there, the daemon alive."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from hotfolder.testing import make_pdf

# Whoever is root reads every file, unless that right is given up first (Linux capabilities(7), util-linux setpriv).
PRIVILEGED = os.name == "posix" and os.geteuid() == 0
LESS = ["setpriv", "--bounding-set=-dac_override,-dac_read_search"]


@pytest.mark.skipif(os.name != "posix", reason="permissions of this kind are POSIX's")
@pytest.mark.skipif(
    PRIVILEGED and shutil.which("setpriv") is None, reason="root reads every file, and setpriv is absent"
)
def test_a_file_nobody_may_read(tmp_path: Path) -> None:
    (tmp_path / "in").mkdir()
    (tmp_path / "studio.toml").write_text(
        '[routes.posters]\nwatch = "in"\npass = "pass"\nhold = "hold"\nsettle = 0.3\npatience = 1\n', encoding="utf-8"
    )
    closed = make_pdf(tmp_path / "in" / "closed.pdf")
    size = closed.stat().st_size
    closed.chmod(0)
    command = [sys.executable, "-m", "hotfolder", "run", str(tmp_path / "studio.toml"), "--until-idle"]
    done = subprocess.run([*(LESS if PRIVILEGED else []), *command], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "hold" / "closed.pdf").stat().st_size == size
    assert "not allowed to read this file" in (tmp_path / "hold" / "closed.log").read_text(encoding="utf-8")
    assert (tmp_path / "hold" / "closed.report.html").is_file()
