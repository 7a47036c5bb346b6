"""A 24x36 in picture at 300 ppi (78 megapixels): from claim to pass, against libvips doing the pixels alone.

Run: .venv/bin/python tests/bench/big_picture.py [RUNS]
"""

from __future__ import annotations

import statistics
import sys
import tempfile
from pathlib import Path

import pyvips
from studio import run_apart, run_studio

from hotfolder.colour.condition import DEFAULT, SHIPPED
from hotfolder.colour.profile import SRGB

REFERENCE = """
import sys, pyvips
source, target, profile, srgb = sys.argv[1:]
picture = pyvips.Image.new_from_file(source, access="sequential")
picture = picture.icc_transform(profile, input_profile=srgb, intent="relative", black_point_compensation=True)
picture.jpegsave(target, Q=95, subsample_mode="off", keep="none")
"""


def photograph(path: Path) -> None:
    """Soft shapes, texture and grain, so that it packs like a photograph (about 20 MB)."""
    wide, high = 7200, 10800
    base = pyvips.Image.perlin(wide, high, cell_size=900).linear(90, 128)
    bands = [
        base
        + pyvips.Image.perlin(wide, high, cell_size=cell).linear(30, 0)
        + pyvips.Image.gaussnoise(wide, high, sigma=4, mean=0)
        for cell in (300, 150, 60)
    ]
    picture = bands[0].bandjoin(bands[1:]).cast("uchar").copy(interpretation="srgb", xres=300 / 25.4, yres=300 / 25.4)
    picture.set_type(pyvips.GValue.blob_type, "icc-profile-data", SRGB.data)
    picture.jpegsave(str(path), Q=92)


def main(runs: int) -> None:
    with tempfile.TemporaryDirectory() as name:
        source, srgb = Path(name) / "photograph.jpg", Path(name) / "srgb.icc"
        photograph(source)
        srgb.write_bytes(SRGB.data)
        ratios = []
        for _ in range(runs):
            alone, alone_mb = run_apart(
                sys.executable, "-c", REFERENCE, str(source), str(Path(name) / "out.jpg"),
                str(SHIPPED[DEFAULT].profile), str(srgb),
            )  # fmt: skip
            ours = run_studio(lambda watched: (watched / "photograph.jpg").hardlink_to(source), warm=True)
            assert ours.outcomes == ["pass"], ours.words
            ratios.append(ours.span / alone)
            print(
                f"libvips alone {alone:.2f} s, {alone_mb:.0f} MB; claim to pass {ours.span:.2f} s, "
                f"worker {ours.worker_mb:.0f} MB; ratio {ratios[-1]:.2f}"
            )
        print(f"median ratio {statistics.median(ratios):.2f}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 3)
