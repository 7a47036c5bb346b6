"""A picture of 78 megapixels inside a PDF, deflated or as JPEG: converted, against libvips doing the pixels alone.

Run: .venv/bin/python tests/bench/pictured_pdf.py [RUNS]
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import tempfile
import zlib
from pathlib import Path

import pikepdf
import pyvips
from big_picture import photograph
from pikepdf import Dictionary, Name, Stream
from studio import run_apart

from hotfolder.colour.condition import DEFAULT, SHIPPED
from hotfolder.colour.profile import SRGB

OURS = """
import sys, pikepdf
from hotfolder.colour.condition import DEFAULT, SHIPPED
from hotfolder.pdf.mappings import ToCondition
from hotfolder.pdf.walk.walker import walk
with pikepdf.open(sys.argv[1]) as pdf:
    result = walk(pdf, ToCondition(SHIPPED[DEFAULT]))
    assert not result.leftovers and result.changed["pictures"], result
    pdf.save(sys.argv[2])
"""
# Deflated pixels are read and written as a TIFF of deflated strips: the same work as a PDF's, by libvips alone.
REFERENCE = """
import sys, pyvips
source, target, profile, srgb = sys.argv[1:]
picture = pyvips.Image.new_from_file(source, access="sequential")
picture = picture.icc_transform(profile, input_profile=srgb, intent="relative", black_point_compensation=True)
if target.endswith(".jpg"):
    picture.jpegsave(target, Q=95, subsample_mode="off", keep="none")
else:
    picture.tiffsave(target, compression="deflate", predictor="none", bigtiff=True)
"""


def page_with_picture(path: Path, wide: int, high: int, data: bytes, filter_: str) -> None:
    pdf = pikepdf.new()
    pdf.add_blank_page(page_size=(1728, 2592))
    picture = Stream(pdf, data)
    picture.stream_dict = Dictionary(
        Type=Name.XObject, Subtype=Name.Image, Width=wide, Height=high, BitsPerComponent=8, ColorSpace=Name.DeviceRGB,
        Filter=Name(filter_),
    )  # fmt: skip
    pdf.pages[0].Resources = Dictionary(XObject=Dictionary(Im1=pdf.make_indirect(picture)))
    pdf.pages[0].Contents = pdf.make_stream(b"q 1728 0 0 2592 0 0 cm /Im1 Do Q")
    pdf.save(path)


def make(folder: Path) -> None:
    """Of each kind the PDF, and the same pixels for libvips."""
    jpeg, tiff = folder / "photograph.jpg", folder / "photograph.tif"
    photograph(jpeg)
    picture = pyvips.Image.new_from_file(str(jpeg), access="sequential")
    picture.tiffsave(str(tiff), compression="deflate", predictor="none", keep="none", bigtiff=True)
    page_with_picture(folder / "jpeg.pdf", picture.width, picture.height, jpeg.read_bytes(), "/DCTDecode")
    pixels = pyvips.Image.new_from_file(str(tiff)).write_to_memory()
    page_with_picture(folder / "deflated.pdf", picture.width, picture.height, zlib.compress(pixels, 6), "/FlateDecode")


def main(runs: int) -> None:
    with tempfile.TemporaryDirectory() as name:
        folder, srgb = Path(name), Path(name) / "srgb.icc"
        srgb.write_bytes(SRGB.data)
        # Apart: what this process has held in memory would count as its children's peak.
        subprocess.run([sys.executable, __file__, "--make", name], check=True)
        for kind, pdf, pixels, target in (
            ("JPEG", folder / "jpeg.pdf", folder / "photograph.jpg", "out.jpg"),
            ("deflated", folder / "deflated.pdf", folder / "photograph.tif", "out.tif"),
        ):
            ratios = []
            for _ in range(runs):
                alone, alone_mb = run_apart(
                    sys.executable, "-c", REFERENCE, str(pixels), str(folder / target), str(SHIPPED[DEFAULT].profile),
                    str(srgb),
                )  # fmt: skip
                ours, ours_mb = run_apart(sys.executable, "-c", OURS, str(pdf), str(folder / "ours.pdf"))
                ratios.append(ours / alone)
                print(
                    f"{kind}: libvips alone {alone:.1f} s, {alone_mb:.0f} MB; ours {ours:.1f} s, {ours_mb:.0f} MB; "
                    f"ratio {ratios[-1]:.2f}"
                )
            print(f"{kind}: median ratio {statistics.median(ratios):.2f}")


if __name__ == "__main__":
    if sys.argv[1:2] == ["--make"]:
        make(Path(sys.argv[2]))
    else:
        main(int(sys.argv[1]) if len(sys.argv) > 1 else 3)
