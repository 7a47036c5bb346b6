"""Tells how well text can be read: how small it is, and whether it can be made out from where it is looked at."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from hotfolder.finding import Box, Level
from hotfolder.gathered import Found
from hotfolder.pdf.looking.inventory import Kind, Painted
from hotfolder.units import show_length

LEAST_SEEN = 0.1  # points; what is smaller than this paints no more than a speck
MOST_WORDS = 40  # letters of a quotation
ALIKE = 1.01
#: A letter that a good eye just makes out is seen under 5 minutes of arc (Snellen; so are the signs of ISO 8596).
OF_DISTANCE = math.tan(math.radians(5 / 60))
MOSTLY = 0.5  # of the letters
_RULE = f"A rule of thumb from eye tests: good eyes just make out letters of 1/{1 / OF_DISTANCE:.0f} of the distance."


@dataclass(frozen=True, slots=True)
class Piece:
    """Text that is seen inside the trim: its size and the height of its letters in points on paper."""

    size: float
    height: float
    words: str
    box: Box


def pieces(objects: Sequence[Painted], trim: Box | None) -> list[Piece]:
    """The text of a page that is seen inside the trim, specks left out."""
    return list(_pieces(objects, trim))


def _pieces(objects: Sequence[Painted], trim: Box | None) -> Iterator[Piece]:
    for one in objects:
        font = one.font
        if one.kind is not Kind.TEXT or not one.seen or one.box is None or font is None or font.scale is None:
            continue
        if one.words and not any(letter.isalnum() for letter in one.words):
            continue  # dots of a leader, bullets, rules made of dashes
        if one.size >= LEAST_SEEN and (trim is None or one.box.grown(1e-6).common(trim) is not None):
            # Small letters without stems are what is hardest to make out, where there are any.
            low = any(letter.islower() for letter in one.words)
            height = one.size * (font.heights.small if low else font.heights.capital)
            yield Piece(one.size, height, one.words, one.box)


def small_text(text: Sequence[Piece], least: float) -> Found | None:
    """What is said of the smallest text, if that is smaller than asked for."""
    size = min((piece.size for piece in text), default=math.inf)
    if size >= least:
        return None
    those = [piece for piece in text if piece.size <= size * ALIKE]
    told = f"{size:.1f} pt"
    return Found(
        "small_text",
        f"{{page}} has text of only {told}{_quoted(those, ': ')}. It may be hard to read, and fine strokes may fill with ink or break up.",
        measured=told,
        required=f"{least:g} pt",
        mend="Make it larger, or keep it to one dark ink on a light ground.",
        level=Level.NOTE,
        box=those[0].box,
    )


def from_afar(text: Sequence[Piece], distance: float) -> tuple[Found | None, str]:
    """What is said of text too small for the distance from which it is looked at, and else a sentence for the report."""
    if not text:
        return None, ""
    needed, where = distance * OF_DISTANCE, f"Seen from {_metres(distance)}"
    small = [piece for piece in text if piece.height * ALIKE < needed]
    if len(small) == len(text):
        most = max(piece.height for piece in text)
        those = [piece for piece in text if piece.height * ALIKE >= most]
        return _far(
            "type_too_small",
            f"{where}, not even the largest text on {{page}} can be made out{_quoted(those, ': ')}. {_RULE}",
            most,
            needed,
            those[0],
        ), ""
    share = sum(map(_letters, small)) / max(1, sum(map(_letters, text)))
    if share < MOSTLY:
        rest = f"; {100 * share:.0f} % of the letters are smaller than that" if small else ""
        return None, f"{where}, the text can be made out{rest}."
    least = min(piece.height for piece in small)
    those = [piece for piece in small if piece.height <= least * ALIKE]
    return _far(
        "type_for_near",
        f"{where}, most of the text on {{page}} ({100 * share:.0f} % of its letters) is too small to be made out, down "
        f"to {those[0].size:.1f} pt{_quoted(those, ': ')}. {_RULE}",
        least,
        needed,
        those[0],
    ), ""


def _far(code: str, message: str, height: float, needed: float, first: Piece) -> Found:
    return Found(
        code,
        message,
        measured=f"letters {show_length(height)} high",
        required=f"letters {show_length(needed)} high",
        mend=f"Set what must be read from there in about {math.ceil(first.size * needed / height)} pt or more. What is "
        "meant to be read from close up can stay.",
        level=Level.NOTE,
        box=first.box,
    )


def _letters(piece: Piece) -> int:
    return len("".join(piece.words.split()))


def _quoted(those: Sequence[Piece], before: str) -> str:
    words = " ".join("".join(piece.words for piece in those).split())
    return f"{before}“{words[:MOST_WORDS]}{'…' if len(words) > MOST_WORDS else ''}”" if words else ""


def _metres(distance: float) -> str:
    metres, feet = distance / 72 * 0.0254, distance / 72 / 12
    return f"{metres:.3g} m ({feet:.3g} ft)"
