"""Names: patterns that read an order out of a file's name, templates that write one, and what is safe on every disk."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Iterator, Mapping
from itertools import islice

from hotfolder.suggest import nearest

_PART = re.compile(r"\{([^{}]*)\}")
#: Windows keeps these for devices, with any ending (Microsoft, "Naming Files, Paths, and Namespaces").
_RESERVED = re.compile(r"(con|prn|aux|nul|com[0-9¹²³]|lpt[0-9¹²³])(\..*)?", re.IGNORECASE | re.DOTALL)
# The last two ranges turn the direction of what follows: a name would read otherwise than it is (Unicode, UAX 9).
_FORBIDDEN = re.compile(r'[<>:"/\\|?*\x00-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]')
#: 255 bytes is the longest name on ext4, APFS and (in UTF-16 units) NTFS; the rest is left for endings and numbers.
LONGEST_STEM = 200
MOST_READINGS = 500  # of one name by one pattern; a name of nothing but separators has no end of them


def parts(pattern: str) -> list[str]:
    """The names in braces, in order. ValueError with a sentence where a brace stands alone."""
    if _PART.sub("", pattern).strip("{}") != _PART.sub("", pattern):
        raise ValueError(f"'{pattern}' has a brace that is not closed; write each part as {{name}}")
    return _PART.findall(pattern)


def check_parts(template: str, known: Iterable[str]) -> str:
    """The template, if each of its parts is known. ValueError with a sentence otherwise."""
    every = list(known)
    for part in parts(template):
        if part not in every:
            raise ValueError(f"there is no part {{{part}}}{nearest(part, every)} The parts are {', '.join(every)}")
    return template


def read_name(pattern: str, name: str) -> dict[str, str] | None:
    """The values a name gives for the pattern's parts, such as {client}_{title}_{trim}; None where it doesn't fit.

    A part takes as little as it can; the last takes the rest.
    """
    return next(readings(pattern, name), None)


def readings(pattern: str, name: str) -> Iterator[dict[str, str]]:
    """Every way in which a name fits a pattern (a title may hold the separator, too), short parts first."""
    literals = _PART.split(pattern)[::2]
    if name.startswith(literals[0]):
        wanted = tuple(zip(parts(pattern), literals[1:], strict=True))
        yield from islice(_split(name[len(literals[0]) :], wanted, set()), MOST_READINGS)


def _split(rest: str, wanted: tuple[tuple[str, str], ...], hopeless: set[tuple[int, int]]) -> Iterator[dict[str, str]]:
    """`hopeless`: how much was left, in letters and in parts, where nothing fitted: no need to try it again."""
    if not wanted:
        if not rest:
            yield {}
        return
    here = (len(rest), len(wanted))
    if here in hopeless or any(literal not in rest for _, literal in wanted):
        return
    found = False
    part, literal = wanted[0]
    ends = [len(rest)] if len(wanted) == 1 and not literal else range(1, len(rest) + 1)
    for end in ends:
        if end and rest.startswith(literal, end):
            for values in _split(rest[end + len(literal) :], wanted[1:], hopeless):
                found = True
                yield {part: rest[:end], **values}
    if not found:
        hopeless.add(here)


def read_folders(pattern: str, folder: str) -> dict[str, str]:
    """The values that sub-folder names give; each level of the folder is held against its level of the pattern."""
    values: dict[str, str] = {}
    for level, name in zip(pattern.split("/"), folder.split("/"), strict=False):
        values |= read_name(level, name) or {} if name else {}
    return values


def fill(template: str, fields: Mapping[str, str]) -> str:
    """The template with its parts filled in; an empty part takes the separator before it away."""
    text = _PART.sub(lambda part: fields[part[1]] or "\0", template)
    text = re.sub(r"[ _\-.,]*\0", "", text)
    return text.strip(" _-.,")


def safe_stem(text: str, fallback: str = "poster") -> str:
    """A name (without ending) that Linux, macOS and Windows all take, as close to the text as can be."""
    text = unicodedata.normalize("NFC", text.encode("utf-8", "replace").decode("utf-8"))
    text = _FORBIDDEN.sub("-", text).strip(" .").lstrip("-~")
    text = _shorten(text, LONGEST_STEM).strip(" .")
    if not text:
        return fallback
    return f"{text}-file" if _RESERVED.fullmatch(text) else text


def _shorten(text: str, most: int) -> str:
    """Cut to so many UTF-8 bytes without cutting a character in two."""
    return text.encode("utf-8")[:most].decode("utf-8", "ignore")


def printable(name: str) -> str:
    """A file name for people and logs: bytes that are no text and control characters shown as such, on one line."""
    return "".join(char if char.isprintable() else _escaped(char) for char in name)


def _escaped(char: str) -> str:
    if "\udc80" <= char <= "\udcff":  # a byte that is no text, as Python carries it in a file name (PEP 383)
        return f"\\x{ord(char) - 0xDC00:02x}"
    return char.encode("unicode_escape").decode("ascii")
