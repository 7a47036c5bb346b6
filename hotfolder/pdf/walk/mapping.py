"""What becomes of each colour: the base that every mapping (to the press, to the screen, a mere count) stands on."""

from dataclasses import dataclass
from enum import Enum
from typing import TYPE_CHECKING, Literal

import numpy as np
import pikepdf
import pyvips
from numpy.typing import NDArray
from pikepdf import Dictionary, Object, Stream

from hotfolder.pdf.values.spaces import CMYK, Floats, Space
from hotfolder.pdf.walk.content import Operation
from hotfolder.pdf.walk.outcome import CannotConvert
from hotfolder.pdf.walk.state import Matrix, State

if TYPE_CHECKING:
    from hotfolder.pdf.walk.frame import Frame
    from hotfolder.pdf.walk.walker import Walker


class Fate(Enum):
    """What a mapping does with the colours of one space."""

    KEEP = "keep"  # numbers and space stay
    SWAP = "swap"  # numbers stay, the space's object is replaced
    CONVERT = "convert"  # numbers are converted to the mapping's target space
    LEAVE = "leave"  # it should be converted and can't be: stays as found, and is reported


@dataclass(frozen=True, slots=True)
class Plan:
    """A fate with what goes with it. `why` explains LEAVE; `remark` is told once for each page."""

    fate: Fate
    swap: object = None
    why: str = ""
    remark: str = ""


KEEP = Plan(Fate.KEEP)


@dataclass(frozen=True, slots=True)
class Purpose:
    """For what a colour is used. `intent`: the rendering intent that the file states, for mappings that follow it."""

    what: Literal["colour", "picture", "gradient"] = "colour"  # "colour": of text, lines and areas
    intent: str = ""


FLAT = Purpose()


@dataclass(frozen=True, slots=True)
class Paint:
    """What is about to be painted. A form holds colours of every space: None."""

    space: Space | None
    values: tuple[float, ...] | None  # of a single colour; None for a picture, gradient or pattern
    overprint: bool
    mode: int  # overprint mode
    blend: str


class Mapping:
    """Changes nothing. A mapping overrides what it does; the walker asks it and rewrites the file."""

    target: Space = CMYK
    watched: tuple[bytes, ...] = ()  # operators of which `operation` is told, beside those that set colour and place
    every_use: bool = False  # True: a form used ten times is followed ten times (for counting places)
    passes_copies: bool = False  # True: but not where a page's art is drawn once more, as bleed made of it
    # True: not only colours matter. Uncoloured pattern cells and glyphs are followed too, and Type 3 letters not when
    # their font is chosen: the mapping does it when they are shown, and their size is known.
    shapes: bool = False
    states_black: bool = False  # True: the initial black must be written out, because it is converted too
    drawn: bool = False  # True: the result is drawn by PDFium, so a fault of its is evened out
    spares: bool = False  # True: `spare` is asked before anything is painted
    follows_intents: bool = False  # True: results depend on the rendering intents that the file states
    converts_inks: bool = False  # True: DeviceGray or DeviceCMYK may be converted too
    purpose: Purpose = FLAT  # for what the colours are that are asked about; the walker sets it
    picture_ppi: float | None = None  # pictures of more than this resolution are shrunk first
    shrinks_kept: bool = False  # True: so are those in DeviceGray and DeviceCMYK that are slow to read, unchanged
    picture_quality: int = 95  # of JPEG pictures that have to be encoded anew
    blending_told: bool = False  # True: whoever walks tells what another blending space does to the picture
    lasting: bool = True  # False: the result is looked at and thrown away, so pictures are stored without packing
    # Pictures, by object, that are so many times finer than wanted wherever they stand: those converted become smaller.
    finer: dict[tuple[int, int], float] | None = None

    def plan(self, space: Space, pdf: pikepdf.Pdf) -> Plan:
        """What becomes of colours in this space; asked once for each space."""
        return KEEP

    def colours(self, space: Space, values: Floats, smooth: bool) -> Floats:
        """Numbers in a space (n, space.n) to the target's (n, target.n) in 0..1.

        `smooth`: they belong to one gradient, so rules for single colours must not tear it. CannotConvert if not exact.
        """
        raise CannotConvert("nothing converts it")

    def picks(self, space: Space) -> list[int] | None:
        """Where the target's channels are nothing but 1 minus single numbers of the space: which (-1: none), else None.
        Then gradients need not be computed anew."""
        return None

    def apart(self, one: Floats, other: Floats) -> Floats:
        """How far apart colours of the target look, (n, target.n) twice to (n,): CIEDE2000, or here percent of ink."""
        return np.asarray(abs(one - other).max(axis=1) * 100)

    def picture(self, image: pyvips.Image, space: Space) -> tuple[pyvips.Image, Space]:
        """A picture whose samples span each number's range, to samples of a device space of the same depth."""
        raise CannotConvert("nothing converts it")

    def samples(self, rows: NDArray[np.uint8], space: Space) -> tuple[NDArray[np.uint8], Space] | None:
        """The same for the pixels (n, space.n) of a small picture, at once; None: `picture` has to do it."""
        return None

    def group_space(self, space: Space, pdf: pikepdf.Pdf) -> Space | None:
        """The device space in which a transparency group blends from now on; None: as it was."""
        return None

    def spare(self, paint: Paint) -> bool:
        """Whether what is about to be painted leaves all below it as it was, as if it were not there."""
        return False

    def blend_mode(self, mode: str) -> str:
        """The blend mode that stands in the changed file for this one."""
        return mode

    def for_mask(self, space: Space | None) -> "Mapping":
        """The mapping for the content of a luminosity soft mask whose group has this space."""
        return self

    def for_group(self, form: Stream, space: Space | None) -> "Mapping":
        """The mapping for a form's content. `space`: where it is a group that blends in a space of its own."""
        return self

    def depends(self, state: State) -> object:
        """What else of the caller's state a form's result depends on."""
        return None

    def group_seen(self, walker: "Walker", group: Dictionary) -> None:
        """A transparency group's attributes were met: a page's or a form's."""

    def operation(self, frame: "Frame", operation: Operation) -> None:
        """A watched operator was met; the frame's state is up to date."""

    def picture_placed(self, frame: "Frame", picture: Object, space: Space | None, name: str) -> None:
        """A picture (a stencil has no space) is painted into the unit square of the frame's state."""

    def gradient_painted(self, frame: "Frame", space: Space) -> None:
        """A gradient is painted by `sh`, or chosen as a pattern."""

    def state_changed(self, frame: "Frame", state: State) -> None:
        """An ExtGState was applied."""

    def stream_begins(self, frame: "Frame", matrix: Matrix) -> None:
        """A page, form, pattern cell, glyph or appearance begins."""
