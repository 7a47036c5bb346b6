"""A daemon is disturbed and killed for a while: nothing is lost, nothing is doubled, nothing is shown by halves."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

PROGRAM = Path(__file__).with_name("run.py")
LEAST = 10  # kills that even a busy machine has time for


@pytest.mark.skipif(sys.platform != "linux", reason="it forks, and looks for processes in /proc")
def test_what_a_minute_of_killing_leaves(tmp_path: Path) -> None:
    command = [
        sys.executable,
        PROGRAM,
        "--seconds",
        "45",
        "--kills",
        "200",
        "--seed",
        "1",
        "--folder",
        tmp_path / "shop",
    ]
    done = subprocess.run([str(each) for each in command], capture_output=True, text=True, timeout=500, check=False)
    found = json.loads(done.stdout)
    assert found["wrong"] == []
    assert done.returncode == 0
    assert found["kills"] >= LEAST
    assert found["pass"] > 0
    assert found["hold"] > 0
