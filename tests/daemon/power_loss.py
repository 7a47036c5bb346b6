"""Cuts the power after each thing a daemon does to its disk, in several ways, and judges what the next daemon makes of it.

Run as a program of its own (it forks): `power_loss.py FOLDER SCENE STEP DAMAGES [links]`, where STEP 1 takes every moment, 2
every other, each with so many damages; prints one JSON object.
SQLite does the same ("How SQLite Is Tested", 3.3: several random damages to each snapshot).
"""

from __future__ import annotations

import json
import os
import pickle
import random
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))
sys.path.insert(0, str(Path(__file__).parent))

from crash_points import Links, Shim, Trial, in_child
from crash_scenes import run
from power_disk import Recorder, Remains


def record(trial: Trial, notes: Path, kind: type[Shim]) -> Recorder:
    """One undisturbed run; the recorder comes back from the process it ran in."""

    class Recording(Recorder):
        _no_replace = kind._no_replace

    trial.begin()

    def whole() -> None:
        recorder = Recording(*{trial.root: 1, trial.base: 1} if trial.scene.across else (trial.root,))
        run(trial.root, trial.base, recorder, trial.name)
        kept = (recorder.tops, recorder.deeds, recorder.before, recorder.first, recorder.folders)
        notes.write_bytes(pickle.dumps(kept))

    if in_child(whole):
        raise RuntimeError("the undisturbed run failed")
    recorder = Recorder.__new__(Recorder)
    kept = pickle.loads(notes.read_bytes())
    recorder.tops, recorder.deeds, recorder.before, recorder.first, recorder.folders = kept
    notes.unlink()
    return recorder


def main(arguments: list[str]) -> None:
    start = time.monotonic()
    where, name, step, damages, *more = arguments
    trial = Trial(Path(where), name, Links if "links" in more else Shim)
    recorder = record(trial, Path(f"{where}.deeds"), trial.kind)
    moments = list(range(recorder.before + int(step) - 1, len(recorder.deeds) + 1, int(step)))
    only = os.environ.get("ONLY")
    for k in moments:
        for seed in range(int(damages)):
            if only and only != f"{k} {seed}":
                continue
            remains = Remains(recorder, k, random.Random(f"{name} {k} {seed}"))
            remains.lay_down()
            if only:
                print(remains.tell(), file=sys.stderr)
            trial.judge(f"moment {k}, damage {seed}")
        if len(trial.bad) > 20:
            break
    if not only:
        trial.end()
    seconds = round(time.monotonic() - start, 1)
    print(json.dumps({"points": len(moments), "bad": trial.bad, "seconds": seconds}, indent=1))


if __name__ == "__main__":
    main(sys.argv[1:])
