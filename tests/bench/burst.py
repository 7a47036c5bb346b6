"""Many small files dropped at once: time grows as the number of files does, the daemon's memory does not grow.

Run: .venv/bin/python tests/bench/burst.py [MOST]
"""

from __future__ import annotations

import sys
from pathlib import Path

from studio import run_studio

from hotfolder.testing import make_pdf


def main(most: int) -> None:
    base = 0.0
    for count in (most // 8, most // 4, most // 2, most):

        def drop(watched: Path, count: int = count) -> None:
            for number in range(count):
                make_pdf(watched / f"poster {number:04}.pdf", content=b"0.1 0.%04d 0.2 0 k 0 0 5000 5000 re f" % number)

        ours = run_studio(drop, trim="A3")
        assert ours.outcomes == ["pass"] * count
        each = ours.span / count
        base = base or each
        grown = ours.daemon_mb[-1] - ours.daemon_mb[len(ours.daemon_mb) // 4]
        print(
            f"{count:4} files: {ours.span:6.1f} s, {each * 1000:4.0f} ms each ({each / base:.2f} of the smallest run); "
            f"daemon {ours.daemon_mb[-1]:.0f} MB, grown by {grown:.1f} MB over the last three quarters"
        )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
