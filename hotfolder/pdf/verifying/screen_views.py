"""Shows artwork on a screen in two ways to compare them: as it was designed, and as the finished file will print.

Both shrink pictures first. Colours go through LittleCMS by way of Pillow: another way than the conversion took.
"""

from __future__ import annotations

import io
from concurrent.futures import ThreadPoolExecutor
from functools import lru_cache
from pathlib import Path

import numpy as np
import pikepdf
import pyvips
from PIL import Image, ImageCms

from hotfolder.colour.condition import Condition
from hotfolder.colour.profile import SRGB
from hotfolder.pdf.mappings import ToCondition, ToScreen
from hotfolder.pdf.values.spaces import RGB, Floats, Space
from hotfolder.pdf.walk.content import Operation, write_numbers
from hotfolder.pdf.walk.frame import Frame
from hotfolder.pdf.walk.mapping import Mapping, Plan
from hotfolder.pdf.walk.outcome import CannotConvert
from hotfolder.pdf.walk.state import State
from hotfolder.pdf.walk.walker import walk


class AsPrinted(ToScreen):
    """Inks as the condition prints them, shown by LittleCMS through Pillow: another way than the conversion took."""

    def colours(self, space: Space, values: Floats, smooth: bool) -> Floats:
        inks = self.inks(space, np.asarray(values, np.float64), smooth)
        return apply_to_colours(inks_to_screen(self.condition), "CMYK", inks)


class AsDesigned(AsPrinted):
    """The artwork before conversion: RGB as the designer saw it, inks as the condition prints them."""

    had_screen_colours = False  # whether anything was met that the conversion changes

    def __init__(self, condition: Condition, ppi: float | None = None) -> None:
        super().__init__(condition, ppi)
        self._inks = ToCondition(condition)
        self.had_screen_colours = condition != condition.plain()
        if self._inks.areas is not None:
            # Large black areas shall get other inks, so that is how they are meant; all else is compared as designed.
            recipe = np.array([condition.rich_black]) / 100
            shown = apply_to_colours(inks_to_screen(condition), "CMYK", recipe)[0].tolist()
            self._inks.areas.operator = write_numbers(shown) + b" rg"
            self.watched = self._inks.watched

    def operation(self, frame: Frame, operation: Operation) -> None:
        self._inks.operation(frame, operation)

    def depends(self, state: State) -> object:
        return self._inks.depends(state)

    def plan(self, space: Space, pdf: pikepdf.Pdf) -> Plan:
        self._inks.sources.learn(pdf)
        kind = space.base.kind if space.kind in ("Indexed", "Pattern") and space.base is not None else space.kind
        self.had_screen_colours |= kind in ("DeviceRGB", "CalRGB", "CalGray", "Lab", "ICCBased")
        return super().plan(space, pdf)

    def colours(self, space: Space, values: Floats, smooth: bool) -> Floats:
        if not _is_rgb(space) or self._by_other_intent():
            return super().colours(space, values, smooth)
        if space.kind == "DeviceRGB" or not space.profile:
            return np.asarray(values, np.float64)
        try:
            return apply_to_colours(_to_srgb(space.profile), "RGB", values)
        except (OSError, ImageCms.PyCMSError):
            return super().colours(space, values, smooth)

    def picture(self, image: pyvips.Image, space: Space) -> tuple[pyvips.Image, Space]:
        if not _is_rgb(space) or self._by_other_intent():
            return super().picture(image, space)
        if space.kind == "DeviceRGB" or not space.profile:
            return image, RGB
        try:
            marked = image.copy()
            marked.set_type(pyvips.GValue.blob_type, "icc-profile-data", space.profile)
            shown = marked.icc_transform("srgb", embedded=True, intent="relative", black_point_compensation=True)
            return shown, RGB
        except pyvips.Error as fault:
            raise CannotConvert(str(fault)) from fault

    def _by_other_intent(self) -> bool:
        """Whether what is shown now is converted by another intent than the comparison assumes for screen colours."""
        self._inks.purpose = self.purpose
        rule, usual = self._inks.rule, self.condition
        return (rule.intent, rule.black_point_compensation) != (usual.intent, usual.black_point_compensation)


def _is_rgb(space: Space) -> bool:
    return space.kind == "DeviceRGB" or (space.kind == "ICCBased" and space.n == 3)


def apply_to_colours(transform: ImageCms.ImageCmsTransform, mode: str, values: Floats) -> Floats:
    """Colours (n, channels) in 0..1 through a transform, with 8 bits: enough to compare."""
    if not len(values):
        return np.zeros((0, 3))
    row = Image.frombytes(mode, (len(values), 1), np.round(np.clip(values, 0, 1) * 255).astype(np.uint8).tobytes())
    shown: Floats = np.asarray(ImageCms.applyTransform(row, transform), np.float64)
    return np.asarray(shown[0] / 255)


@lru_cache(maxsize=16)
def _to_srgb(profile: bytes) -> ImageCms.ImageCmsTransform:
    return _transform(io.BytesIO(profile), "RGB", ImageCms.Flags.NOOPTIMIZE)


@lru_cache(maxsize=8)
def inks_to_screen(condition: Condition, many: bool = False) -> ImageCms.ImageCmsTransform:
    """From inks to sRGB. For few colours the exact tables, at no cost to set up; for `many`, tables made in advance."""
    speed = ImageCms.Flags.NONE if many else ImageCms.Flags.NOOPTIMIZE
    return _transform(io.BytesIO(condition.profile.read_bytes()), "CMYK", speed)


def _transform(source: io.BytesIO, mode: str, speed: ImageCms.Flags) -> ImageCms.ImageCmsTransform:
    return ImageCms.buildTransform(
        source,
        io.BytesIO(SRGB.data),
        mode,
        "RGB",
        renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
        flags=ImageCms.Flags.BLACKPOINTCOMPENSATION | speed,
    )


def screen_copies(
    opened: Path, finished: Path, condition: Condition, ppi: float, enlarged: float = 1.0
) -> tuple[bytes, bytes, bool]:
    """Both files as PDFs in memory to be drawn, and whether the artwork had colours that the conversion changes.

    `enlarged`: how many times larger than the opened file the finished one is; `ppi` is that of the finished one.

    Side by side: reading a large picture keeps a processor busy, and it happens outside of Python.
    """
    designed = AsDesigned(condition, ppi * enlarged)
    with ThreadPoolExecutor(max_workers=2) as pool:
        before = pool.submit(screen_copy, opened, designed)
        after = pool.submit(screen_copy, finished, AsPrinted(condition, ppi))
        return before.result(), after.result(), designed.had_screen_colours


def screen_copy(path: Path, mapping: Mapping) -> bytes:
    """The PDF as the mapping shows it, as a file in memory."""
    out = io.BytesIO()
    with pikepdf.open(path) as pdf:
        walk(pdf, mapping)
        pdf.save(
            out, fix_metadata_version=False, compress_streams=False, stream_decode_level=pikepdf.StreamDecodeLevel.none
        )
    return out.getvalue()
