"""Colour profiles: reads an ICC file, and tells in plain words why one cannot stand for a printing press."""

import hashlib
import io
import struct
from dataclasses import dataclass, field
from pathlib import Path

from PIL import Image, ImageCms

from hotfolder.colour.condition import PROFILES

# Larger than any profile in use (the largest seen are near 15 MB); a file beyond this is something else.
LARGEST = 64 * 1024 * 1024
_HEADER = 128
_MOST_TAGS = 200

CHANNELS = {"GRAY": 1, "RGB ": 3, "Lab ": 3, "XYZ ": 3, "CMYK": 4}

_CLASSES = {
    "mntr": "a screen",
    "scnr": "a camera or scanner",
    "link": "a fixed conversion between two devices",
    "spac": "a colour space",
    "abst": "a colour effect",
    "nmcl": "a list of named colours",
}
_SPACES = {"RGB ": "red, green and blue", "GRAY": "one gray channel", "Lab ": "Lab numbers", "CMY ": "three inks"}
# Bare paper, light tints of one and of three inks, gray of black ink alone, and (last) every ink in full.
_PATCHES = bytes(
    byte
    for patch in (
        (0, 0, 0, 0),
        (160, 20, 20, 0),
        (20, 160, 20, 0),
        (20, 20, 160, 0),
        (90, 65, 65, 0),
        (0, 0, 0, 110),
        (255, 255, 255, 255),
    )
    for byte in patch
)
# In steps of a Lab byte; far beyond what any usable profile shows (the shipped ones: 191 and 2).
_LEAST_CONTRAST = 50
_FARTHEST_APART = 20
_ASK = "ask the printer for the ICC profile of the press and paper"


@dataclass(frozen=True, slots=True)
class Profile:
    """An ICC profile (ICC.1:2010). `device_class`, `space` and `pcs` are the header's four-letter signatures."""

    name: str = field(compare=False)
    device_class: str = field(compare=False)
    space: str = field(compare=False)
    pcs: str = field(compare=False)
    description: str = field(compare=False)
    version: tuple[int, int] = field(compare=False)
    digest: str
    path: Path | None = field(compare=False)
    data: bytes = field(compare=False, repr=False)
    tags: tuple[tuple[str, int, int], ...] = field(compare=False, repr=False)

    @property
    def channels(self) -> int:
        """How many numbers make one colour; 0 where the space is none that can be converted here."""
        return CHANNELS.get(self.space, 0)

    def tag(self, signature: str) -> bytes | None:
        """The bytes of one tag, type signature first, or None."""
        for name, offset, size in self.tags:
            if name == signature:
                return self.data[offset : offset + size]
        return None


def read_profile(source: Path | bytes) -> Profile:
    """Reads a profile from a file or from bytes; ValueError with one plain sentence where it cannot be used."""
    if isinstance(source, bytes):
        return _parse("the embedded colour profile", source, None)
    try:
        with source.open("rb") as file:
            data = file.read(LARGEST + 1)
    except OSError as error:
        raise ValueError(f"{source} cannot be read: {error.strerror or error}.") from error
    return _parse(source.name, data, source)


def check_output_profile(path: Path) -> Profile:
    """Reads the profile of a printing condition; ValueError with one plain sentence unless a press is described.

    It must be of class `prtr`, take CMYK, carry tables both ways, and convert in LittleCMS with every intent.
    """
    profile = read_profile(path)
    if profile.device_class != "prtr":
        what = _CLASSES.get(profile.device_class, "something unknown")
        raise ValueError(f"{profile.name} is a profile of {what}, not of a printing press: {_ASK}.")
    if profile.space != "CMYK":
        what = _SPACES.get(profile.space, "other inks than cyan, magenta, yellow and black")
        raise ValueError(f"{profile.name} describes a printer that is fed {what}, not CMYK: {_ASK}.")
    _check_tables(profile)
    _check_conversions(profile)
    return profile


def _parse(name: str, data: bytes, path: Path | None) -> Profile:
    _check_frame(name, data)
    size, version = struct.unpack_from(">I", data)[0], (data[8], data[9] >> 4)
    tags = _tags(name, data, size)
    try:
        opened = ImageCms.ImageCmsProfile(io.BytesIO(data))
        description = str(opened.profile.profile_description or "")
    except (OSError, ValueError, ImageCms.PyCMSError) as error:
        raise ValueError(f"{name} is damaged: it cannot be opened as a colour profile.") from error
    return Profile(
        name=name,
        device_class=_word(data, 12),
        space=_word(data, 16),
        pcs=_word(data, 20),
        description=description,
        version=version,
        digest=hashlib.sha256(data).hexdigest(),
        path=path,
        data=data,
        tags=tags,
    )


def _check_frame(name: str, data: bytes) -> None:
    if not data:
        raise ValueError(f"{name} is empty: there is no colour profile in it.")
    if len(data) > LARGEST:
        raise ValueError(f"{name} is larger than {LARGEST // 2**20} MB: that is no colour profile.")
    # ICC.1:2010 clause 7.2.9: every profile carries these four letters.
    if data[36:40] != b"acsp":
        raise ValueError(f"{name} is not a colour profile: the mark of an ICC file is missing.")
    told = struct.unpack_from(">I", data)[0]
    if told > len(data) or len(data) < _HEADER + 4:
        raise ValueError(f"{name} is cut short: it should hold {told} bytes and holds {len(data)}.")


def _tags(name: str, data: bytes, size: int) -> tuple[tuple[str, int, int], ...]:
    """The tag table (clause 7.3), each entry proven to lie inside the file."""
    count = struct.unpack_from(">I", data, _HEADER)[0]
    start = _HEADER + 4 + 12 * count
    if not 0 < count <= _MOST_TAGS or start > size:
        raise ValueError(f"{name} is damaged: its table of contents cannot be right.")
    found = []
    for index in range(count):
        at = _HEADER + 4 + 12 * index
        offset, length = struct.unpack_from(">II", data, at + 4)
        if offset < start or length < 8 or offset + length > size:
            raise ValueError(f"{name} is damaged: its table of contents points outside the file.")
        found.append((_word(data, at), offset, length))
    return tuple(found)


def _word(data: bytes, at: int) -> str:
    return data[at : at + 4].decode("latin-1")


def _check_tables(profile: Profile) -> None:
    """Clause 8.4: an output profile tells the paper's white, and converts from inks to colour and back, by each intent."""
    held = {name for name, _, _ in profile.tags}
    if not {"A2B0", "A2B1", "A2B2"} <= held:
        raise ValueError(f"{profile.name} lacks the table that tells how inks look on paper: {_ASK}.")
    if not {"B2A0", "B2A1", "B2A2"} <= held:
        raise ValueError(f"{profile.name} lacks the table that finds the inks for a colour: {_ASK}.")
    white = profile.tag("wtpt") or b""
    x, y, z = struct.unpack_from(">3i", white, 8) if white[:4] == b"XYZ " and len(white) >= 20 else (0, 0, 0)
    if not (0.2 < x / 65536 < 1.2 and 0.2 < y / 65536 < 1.2 and 0.1 < z / 65536 < 1.2):
        raise ValueError(f"{profile.name} does not tell the colour of the paper: {_ASK}.")


def _check_conversions(profile: Profile) -> None:
    try:
        looks = {intent: _there_and_back(profile, intent) for intent in ImageCms.Intent}
    except (OSError, ValueError, ImageCms.PyCMSError) as error:
        raise ValueError(f"{profile.name} is damaged or incomplete: no colour can be converted with it.") from error
    for first, _ in looks.values():
        if first[0] < first[-3] + _LEAST_CONTRAST:
            raise ValueError(f"{profile.name} is damaged: by it, all four inks together would hardly show on paper.")
    first, second = looks[ImageCms.Intent.RELATIVE_COLORIMETRIC]
    # All but the last patch, which holds more ink than a profile will use. Differences wrap at 256, since a and b
    # are signed in the bytes of a Lab picture.
    apart = [(one - other + 128) % 256 - 128 for one, other in zip(first[:-3], second[:-3], strict=True)]
    if max(map(abs, apart)) > _FARTHEST_APART:
        raise ValueError(f"{profile.name} is damaged: its tables from inks to colour and back contradict each other.")


def _there_and_back(profile: Profile, intent: ImageCms.Intent) -> tuple[bytes, bytes]:
    """The Lab bytes of a few patches, and those of the inks found again for these colours."""
    press = ImageCms.ImageCmsProfile(io.BytesIO(profile.data))
    lab = ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB"))
    # A few pixels are not worth the grid that LittleCMS would prepare for a picture.
    to_inks = ImageCms.buildTransform(lab, press, "LAB", "CMYK", intent, ImageCms.Flags.NOOPTIMIZE)
    to_lab = ImageCms.buildTransform(press, lab, "CMYK", "LAB", intent, ImageCms.Flags.NOOPTIMIZE)
    patches = Image.frombytes("CMYK", (len(_PATCHES) // 4, 1), _PATCHES)
    seen = _applied(to_lab, patches)
    return seen.tobytes(), _applied(to_lab, _applied(to_inks, seen)).tobytes()


def _applied(conversion: ImageCms.ImageCmsTransform, image: Image.Image) -> Image.Image:
    converted = ImageCms.applyTransform(image, conversion)
    if converted is None:
        raise ValueError("no picture came back")
    return converted


SRGB: Profile = read_profile(PROFILES / "srgb.icc")
