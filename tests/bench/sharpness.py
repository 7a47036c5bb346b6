"""How long check_sharpness looks at a 24x36 in picture of 78 megapixels, against libvips reading it.

    python tests/bench/sharpness.py 3

Sharp pictures are left after a few squares; soft ones are looked at up to the limit, so both are measured, as JPEG and
deflated.
"""

from __future__ import annotations

import statistics
import sys
import time
import zlib
from collections.abc import Callable

import numpy as np
import pikepdf
import pyvips
from pikepdf import Name, Stream

from hotfolder.pdf.pictures.detail import read_detail
from hotfolder.pdf.pictures.pieces import detailed_pieces
from hotfolder.pdf.values.spaces import RGB

WIDTH, HEIGHT = 7200, 10_800


def picture(soft: bool) -> pyvips.Image:
    coarse = np.random.default_rng(1).normal(128, 40, (HEIGHT // 8, WIDTH // 8, 3)).clip(0, 255).astype(np.uint8)
    large = pyvips.Image.new_from_memory(coarse.tobytes(), WIDTH // 8, HEIGHT // 8, 3, "uchar").resize(
        8, kernel="cubic"
    )
    grain = pyvips.Image.gaussnoise(WIDTH, HEIGHT, sigma=0.5 if soft else 12, mean=0)
    return (large + grain).cast("uchar").copy(interpretation="srgb").copy_memory()


def seconds(work: Callable[[], object]) -> float:
    began = time.perf_counter()
    work()
    return time.perf_counter() - began


def main(rounds: int) -> None:
    for soft in (False, True):
        image = picture(soft)
        jpeg = image.jpegsave_buffer(Q=90)
        packed = zlib.compress(image.write_to_memory(), 1)
        with pikepdf.new() as pdf:
            for coding, data in (("DCTDecode", jpeg), ("FlateDecode", packed)):
                stream = Stream(pdf, data, Width=WIDTH, Height=HEIGHT, BitsPerComponent=8)
                stream.ColorSpace, stream.Filter = Name.DeviceRGB, Name("/" + coding)
                ours = [seconds(lambda s=stream: read_detail(detailed_pieces(s, RGB))) for _ in range(rounds)]
                reference = [
                    seconds(lambda j=jpeg: pyvips.Image.jpegload_buffer(j, access="sequential").copy_memory())
                    for _ in range(rounds)
                ]
                ratio = statistics.median(ours) / statistics.median(reference)
                print(
                    f"{'soft' if soft else 'sharp'} {coding}: {min(ours):.2f} to {max(ours):.2f} s, "
                    f"{ratio:.2f} of libvips reading the JPEG ({statistics.median(reference):.2f} s)"
                )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 3)
