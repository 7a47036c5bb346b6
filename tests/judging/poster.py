"""The poster that all pairs share, the words for what is laid upon it, and what a pair is."""

from __future__ import annotations

import functools
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

import numpy as np
from papers import BLACK, BOLD, Ink, Paper
from PIL import Image
from sheet import Sheet, packed

Art = Callable[[Any], None]
Which = Literal["fault", "clean"]
SKY: Ink = (0.5, 0.15, 0.05, 0)
RED: Ink = (0, 0.9, 0.8, 0)
TICKET = {"trim": "8x10in"}  # bleed 1/8 in, safe margin 1/2 in and 150 ppi are the ticket's own


def both(*parts: Art) -> Art:
    """One drawing after the other."""
    return lambda paper: [part(paper) for part in parts] and None


def ground(ink: Ink = SKY, beyond: float | None = None) -> Art:
    return lambda paper: paper.ground(ink, beyond)


def fill(left: float, bottom: float, right: float, top: float, ink: Ink = RED) -> Art:
    return lambda paper: paper.fill(left, bottom, right, top, ink)


def words(text: str, x: float, y: float, points: float, ink: Ink = BLACK, font: Path = BOLD) -> Art:
    return lambda paper: paper.words(text, x, y, points, ink, font)


def line(x0: float, y0: float, x1: float, y1: float, points: float, ink: Ink = BLACK) -> Art:
    return lambda paper: paper.line(x0, y0, x1, y1, points, ink)


def picture(data: bytes, left: float, bottom: float, right: float, top: float) -> Art:
    return lambda paper: paper.picture(data, left, bottom, right, top)


def logo(x: float, y: float, ink: Ink = RED) -> Art:
    """A drawing of many points, 24 x 24 mm: a sun with its rays."""
    turns = np.arange(48) * np.pi / 24
    reach = np.where(np.arange(48) % 2, 12, 8)
    corners = list(zip(x + 12 + reach * np.cos(turns), y + 12 + reach * np.sin(turns), strict=True))
    return lambda paper: paper.shape([(float(across), float(up)) for across, up in corners], ink)


def moved(by: tuple[float, float, float, float], x: float, y: float, art: Art) -> Art:
    """The art through a matrix about (x, y): scaled, mirrored, skewed or turned."""

    def draw(paper: Paper) -> None:
        with paper.moved(*by, x, y):
            art(paper)

    return draw


def clipped(left: float, bottom: float, right: float, top: float, art: Art) -> Art:
    """The art, of which only this much shows."""

    def draw(paper: Paper) -> None:
        with paper.clipped(left, bottom, right, top):
            art(paper)

    return draw


def title(paper: Paper) -> None:
    """What every poster says, well inside the safe margin."""
    paper.words("HARBOUR LIGHTS", 22, 210, 40)
    paper.words("Saturday 8 pm, Old Slipway", 22, 30, 20)


def harbour(paper: Paper) -> None:
    paper.ground(SKY)
    title(paper)


@functools.cache
def photo(wide: int = 480, high: int = 360) -> Image.Image:
    """What a camera's picture is like: its contrast falls evenly from coarse to fine (of our own making, no scene)."""
    random = np.random.default_rng(11)
    coarse = np.hypot(*np.meshgrid(np.fft.fftfreq(wide), np.fft.fftfreq(high)))
    coarse[0, 0] = 1
    tones = [np.fft.ifft2(np.fft.fft2(random.standard_normal((high, wide))) / coarse).real for _ in range(3)]
    pixels = np.stack([110 + 42 * (tone - tone.mean()) / tone.std() for tone in tones], axis=2)
    return Image.fromarray(pixels.clip(0, 255).astype(np.uint8))


@functools.cache
def jpeg(wide: int = 480, high: int = 360, quality: int = 90) -> bytes:
    return packed(photo(wide, high), quality=quality)


@functools.cache
def noise(wide: int, high: int) -> bytes:
    """A picture that can't be packed smaller."""
    return packed(Image.fromarray(np.random.default_rng(5).integers(0, 256, (high, wide, 3), dtype=np.uint8)), "PNG")


@dataclass(frozen=True)
class Arrived:
    """A file as it arrives, where that is no page that was drawn: a picture, or a damaged file."""

    data: Callable[[], bytes]
    ending: str = ".jpg"

    def draw(self, path: Path) -> Path:
        path = path.with_suffix(self.ending)
        path.write_bytes(self.data())
        return path


@dataclass(frozen=True)
class Pair:
    """One planted fault, and its twin that differs in that one thing.

    `planted`: the fault in one sentence. `fault`, `clean`: what is laid on the shared poster, or a whole sheet. `finds`:
    `step: level code`, as the chain must tell it. `says`: what its sentences must contain. `also`: what holds along with
    it, because one thing is wrong in two ways. `gap`: why a pair is not told apart yet; its test then has to fail.
    """

    name: str
    planted: str
    fault: Art | Sheet | Arrived
    clean: Art | Sheet | Arrived
    finds: str
    says: str = ""
    ticket: dict[str, Any] = field(default_factory=dict)
    by: Literal["reportlab", "fpdf2"] = "reportlab"
    on: Art = harbour
    sheet: dict[str, Any] = field(default_factory=dict)
    settings: dict[str, dict[str, Any]] = field(default_factory=dict)
    also: tuple[str, ...] = ()
    gap: str = ""

    def drawn(self, which: Which, folder: Path) -> Path:
        art = self.fault if which == "fault" else self.clean
        if not isinstance(art, Sheet | Arrived):
            art = Sheet(both(self.on, art), self.by, **self.sheet)
        return art.draw(folder / f"{which}.pdf")
