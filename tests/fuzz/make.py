"""Makes a batch of damaged files: make.py SEED FIRST COUNT STOCK INTO. Within limits: what is damaged may turn on us."""

from __future__ import annotations

import os
import random
import resource
import signal
import sys
import warnings
from pathlib import Path

from mutate import mutated

_MEMORY, _SECONDS = 2 << 30, 20


def main(seed: str, first: int, count: int, stock: Path, into: Path) -> None:
    resource.setrlimit(resource.RLIMIT_AS, (_MEMORY, _MEMORY))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    warnings.simplefilter("ignore")
    names = sorted(os.listdir(stock))
    for number in range(first, first + count):
        signal.alarm(_SECONDS)  # its own end, if it does not come to one
        r = random.Random(f"{seed}/{number}")
        name, other = r.choice(names), r.choice(names)
        data = mutated(r, (stock / name).read_bytes(), (stock / other).read_bytes())
        beside = into / f"{number}.part"
        beside.write_bytes(name.encode() + b"\n" + data[: 20 << 20])
        beside.rename(into / f"{number}.made")


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]), int(sys.argv[3]), Path(sys.argv[4]), Path(sys.argv[5]))
