"""Whether a file is whole: every kind as a whole, padded, with something behind it, and cut at many places."""

from __future__ import annotations

import io
import struct
from pathlib import Path

import numpy as np
import pikepdf
import pytest
from PIL import Image

from hotfolder.daemon.completeness import looks_whole


def picture(kind: str, **options: object) -> bytes:
    noise = np.random.default_rng(1).integers(0, 255, (300, 300, 3), dtype=np.uint8)
    stream = io.BytesIO()
    Image.fromarray(noise).save(stream, kind, **options)
    return stream.getvalue()


def pdf(**options: object) -> bytes:
    stream = io.BytesIO()
    with pikepdf.new() as document:
        for _ in range(20):
            document.add_blank_page()
        document.Root.Padding = pikepdf.String("x" * 20_000)
        document.save(stream, **options)
    return stream.getvalue()


WHOLE = {
    "pdf": pdf(),
    "pdf with object streams": pdf(object_stream_mode=pikepdf.ObjectStreamMode.generate),
    "linearised pdf": pdf(linearize=True),
    "jpeg": picture("JPEG"),
    "progressive jpeg": picture("JPEG", progressive=True),
    "png": picture("PNG"),
    "tiff": picture("TIFF"),
    "deflated tiff": picture("TIFF", compression="tiff_adobe_deflate"),
    "big tiff": picture("TIFF", big_tiff=True),
}


@pytest.mark.parametrize("kind", WHOLE)
def test_whole_files(tmp_path: Path, kind: str) -> None:
    path = tmp_path / "file"
    for behind in (b"", b"\0" * 70_000, b"\r\n\r\n"):
        path.write_bytes(WHOLE[kind] + behind)
        assert looks_whole(path), behind[:4]


@pytest.mark.parametrize("kind", [kind for kind in WHOLE if "pdf" not in kind])
def test_something_else_behind_a_picture(tmp_path: Path, kind: str) -> None:
    (tmp_path / "file").write_bytes(WHOLE[kind] + b"a film, as phones add it " * 1000)
    assert looks_whole(tmp_path / "file")


@pytest.mark.parametrize("kind", WHOLE)
def test_cut_files(tmp_path: Path, kind: str) -> None:
    path = tmp_path / "file"
    data = WHOLE[kind]
    for part in (0.02, 0.1, 0.33, 0.5, 0.9, 0.99):
        path.write_bytes(data[: int(len(data) * part)])
        assert not looks_whole(path), part


def test_a_jpeg_preview_is_not_the_end_of_the_picture(tmp_path: Path) -> None:
    small = picture("JPEG", quality=5)[:60_000]
    preview = b"\xff\xe1" + struct.pack(">H", len(small) + 2) + small
    data = b"\xff\xd8" + preview + WHOLE["jpeg"][2:]
    (tmp_path / "file").write_bytes(data[:-5000])
    assert not looks_whole(tmp_path / "file")
    (tmp_path / "file").write_bytes(data)
    assert looks_whole(tmp_path / "file")


def test_unknown_kinds_are_always_whole(tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"Dear printer,")
    assert looks_whole(tmp_path / "file")


HOSTILE = {
    "tiff whose directories go round": b"II*\0" + struct.pack("<I", 8) + struct.pack("<HI", 0, 8),
    "tiff with a huge count of strips": b"II*\0\x08\0\0\0"
    + struct.pack("<H", 2)
    + struct.pack("<HHII", 273, 4, 0xFFFFFFFF, 8)
    + struct.pack("<HHII", 279, 4, 0xFFFFFFFF, 8)
    + struct.pack("<I", 0),
    "big tiff with a huge directory": b"II+\0\x08\0\0\0" + struct.pack("<QQ", 16, 2**63),
    "jpeg segments of no length": b"\xff\xd8\xff\xe0" + b"\0" * 5000 + b"\xff",
    "png chunk of 4 GB": b"\x89PNG\r\n\x1a\n\xff\xff\xff\xffIDAT" + b"x" * 5000,
}


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_files_get_an_answer(tmp_path: Path, name: str) -> None:
    (tmp_path / "file").write_bytes(HOSTILE[name])
    assert looks_whole(tmp_path / "file") in (True, False)
