"""A profile that cannot stand for a printing press is refused in one plain sentence, and nothing crashes."""

import io
import struct
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import ImageCms

from hotfolder.colour.condition import SHIPPED, Condition
from hotfolder.colour.profile import LARGEST, SRGB, Profile, check_output_profile, read_profile
from hotfolder.colour.transform import condition_lab, to_condition

SOUND = SHIPPED["uncoated"].profile.read_bytes()
ASK = "ask the printer for the ICC profile of the press and paper"

Damage = Callable[[bytearray], bytes | bytearray]


def header(at: int, word: bytes) -> Damage:
    return lambda data: data[:at] + word + data[at + len(word) :]


def entry(name: str, at: int, value: bytes) -> Damage:
    """Writes over one line of the table of contents: `at` 0 is the name, 4 the offset, 8 the size."""

    def damage(data: bytearray) -> bytearray:
        place = data.index(name.encode(), 132) + at
        return data[:place] + value + data[place + len(value) :]

    return damage


def tag(name: str, change: Callable[[bytes], bytes]) -> Damage:
    def damage(data: bytearray) -> bytearray:
        for found, offset, size in read_profile(SOUND).tags:
            if found == name:
                data[offset : offset + size] = change(bytes(data[offset : offset + size]))
        return data

    return damage


def number(value: int) -> bytes:
    return struct.pack(">I", value)


def no_table_to_inks(data: bytearray) -> bytearray:
    for name in ("B2A0", "B2A1", "B2A2"):
        data = bytearray(entry(name, 0, name.lower().encode())(data))
    return data


def no_table_from_inks(data: bytearray) -> bytearray:
    for name in ("A2B0", "A2B1", "A2B2"):
        data = bytearray(entry(name, 0, name.lower().encode())(data))
    return data


def upside_down(content: bytes) -> bytes:
    """The table's grid read from the end: paper as dark as all inks, and the reverse."""
    start = 52 + 2 * content[8] * struct.unpack_from(">H", content, 48)[0]
    length = content[9] * content[10] ** content[8]
    grid = np.frombuffer(content, ">u2", length, start).reshape(-1, content[9])[::-1]
    return content[:start] + grid.tobytes() + content[start + 2 * length :]


CASES: dict[str, tuple[Damage, str]] = {
    "empty": (lambda data: b"", "press.icc is empty: there is no colour profile in it."),
    "a word": (lambda data: b"hello", "press.icc is not a colour profile: the mark of an ICC file is missing."),
    "a picture": (
        lambda data: b"\x89PNG\r\n\x1a\n" + bytes(5000),
        "press.icc is not a colour profile: the mark of an ICC file is missing.",
    ),
    "half": (
        lambda data: data[: len(data) // 2],
        f"press.icc is cut short: it should hold {len(SOUND)} bytes and holds {len(SOUND) // 2}.",
    ),
    "header alone": (
        lambda data: data[:128],
        f"press.icc is cut short: it should hold {len(SOUND)} bytes and holds 128.",
    ),
    "last byte missing": (
        lambda data: data[:-1],
        f"press.icc is cut short: it should hold {len(SOUND)} bytes and holds {len(SOUND) - 1}.",
    ),
    "size zero": (header(0, number(0)), "press.icc is damaged: its table of contents cannot be right."),
    "no tags": (header(128, number(0)), "press.icc is damaged: its table of contents cannot be right."),
    "too many tags": (
        header(128, number(2**32 - 1)),
        "press.icc is damaged: its table of contents cannot be right.",
    ),
    "tag outside": (
        entry("B2A1", 4, number(2**31)),
        "press.icc is damaged: its table of contents points outside the file.",
    ),
    "tag too long": (
        entry("B2A1", 8, number(2**32 - 8)),
        "press.icc is damaged: its table of contents points outside the file.",
    ),
    "tag in the header": (
        entry("wtpt", 4, number(12)),
        "press.icc is damaged: its table of contents points outside the file.",
    ),
    "screen": (
        lambda data: SRGB.data,
        f"press.icc is a profile of a screen, not of a printing press: {ASK}.",
    ),
    "scanner": (
        header(12, b"scnr"),
        f"press.icc is a profile of a camera or scanner, not of a printing press: {ASK}.",
    ),
    "link": (
        header(12, b"link"),
        f"press.icc is a profile of a fixed conversion between two devices, not of a printing press: {ASK}.",
    ),
    "colour space": (
        header(12, b"spac"),
        f"press.icc is a profile of a colour space, not of a printing press: {ASK}.",
    ),
    "effect": (
        header(12, b"abst"),
        f"press.icc is a profile of a colour effect, not of a printing press: {ASK}.",
    ),
    "rgb printer": (
        header(16, b"RGB "),
        f"press.icc describes a printer that is fed red, green and blue, not CMYK: {ASK}.",
    ),
    "gray printer": (
        header(16, b"GRAY"),
        f"press.icc describes a printer that is fed one gray channel, not CMYK: {ASK}.",
    ),
    "six inks": (
        header(16, b"6CLR"),
        f"press.icc describes a printer that is fed other inks than cyan, magenta, yellow and black, not CMYK: {ASK}.",
    ),
    "no way to inks": (
        no_table_to_inks,
        f"press.icc lacks the table that finds the inks for a colour: {ASK}.",
    ),
    "no way back": (
        no_table_from_inks,
        f"press.icc lacks the table that tells how inks look on paper: {ASK}.",
    ),
    "no paper": (
        entry("wtpt", 0, b"none"),
        f"press.icc does not tell the colour of the paper: {ASK}.",
    ),
    "paper as bright as the sun": (
        tag("wtpt", lambda content: content[:8] + b"\x7f" * 12),
        f"press.icc does not tell the colour of the paper: {ASK}.",
    ),
    "table overwritten": (
        tag("B2A1", lambda content: b"\xff" * len(content)),
        "press.icc is damaged or incomplete: no colour can be converted with it.",
    ),
    "table of zeros": (
        tag("A2B0", lambda content: content[:4] + bytes(len(content) - 4)),
        "press.icc is damaged or incomplete: no colour can be converted with it.",
    ),
    "paper black": (
        tag("A2B1", upside_down),
        "press.icc is damaged: by it, all four inks together would hardly show on paper.",
    ),
    "tables at odds": (
        tag("B2A1", upside_down),
        "press.icc is damaged: its tables from inks to colour and back contradict each other.",
    ),
}


@pytest.mark.parametrize(("damage", "sentence"), CASES.values(), ids=CASES)
def test_what_is_refused_and_in_which_words(tmp_path: Path, damage: Damage, sentence: str) -> None:
    path = tmp_path / "press.icc"
    path.write_bytes(damage(bytearray(SOUND)))
    with pytest.raises(ValueError, match=r".") as caught:
        check_output_profile(path)
    assert str(caught.value) == sentence


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match=r"press\.icc cannot be read: No such file or directory\.$"):
        check_output_profile(tmp_path / "press.icc")


def test_a_folder(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match=r"cannot be read: Is a directory\.$"):
        check_output_profile(tmp_path)


def test_an_endless_file_is_not_read_to_its_end(tmp_path: Path) -> None:
    path = tmp_path / "press.icc"
    with path.open("wb") as file:
        file.write(SOUND)
        file.truncate(LARGEST + 1)
    with pytest.raises(ValueError, match=r"press\.icc is larger than 64 MB: that is no colour profile\.$"):
        check_output_profile(path)


def test_a_sound_profile_tells_what_it_is() -> None:
    profile = check_output_profile(SHIPPED["coated_us"].profile)
    assert (profile.device_class, profile.space, profile.pcs, profile.channels) == ("prtr", "CMYK", "Lab ", 4)
    assert profile.version == (2, 2)
    assert "TR 006" in profile.description
    assert (profile.tag("cprt") or b"")[8:].startswith(b"Source of characterization data: ANSI/CGATS")
    assert profile.tag("none") is None
    assert profile == read_profile(profile.data)


def test_the_screen_profile_is_always_the_same() -> None:
    assert SRGB.space == "RGB "
    assert SRGB.device_class == "mntr"
    assert read_profile(SRGB.data).digest == SRGB.digest


def test_what_follows_the_profile_in_the_file_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "press.icc"
    path.write_bytes(SOUND + b"\0" * 100)
    assert check_output_profile(path).space == "CMYK"


def converts(condition: Condition) -> bool:
    """LittleCMS opens it both ways by another door (Pillow), and our own conversions give colours and inks."""
    profile = ImageCms.ImageCmsProfile(io.BytesIO(condition.profile.read_bytes()))
    screen = ImageCms.ImageCmsProfile(io.BytesIO(SRGB.data))
    for intent in ImageCms.Intent:
        flags = ImageCms.Flags.NOOPTIMIZE
        ImageCms.buildTransform(screen, profile, "RGB", "CMYK", intent, flags)
        ImageCms.buildTransform(profile, screen, "CMYK", "RGB", intent, flags)
    inks = to_condition(SRGB, condition).colours([[0, 0, 0], [0.5, 0.5, 0.5], [1, 1, 1], [1, 0, 0]])
    lab = condition_lab(condition, inks)
    return bool(np.isfinite(lab).all() and (inks >= 0).all() and (inks <= 1).all())


def outcome(path: Path) -> tuple[Profile | None, str]:
    try:
        return check_output_profile(path), ""
    except ValueError as error:
        return None, str(error)


# Most of a profile is tables; the bytes that decide stand in the header, the table of contents, the tags' heads.
PLACES = st.one_of(
    st.integers(0, 320),
    st.sampled_from([at + i for _, at, size in read_profile(SOUND).tags for i in range(min(size, 56))]),
    st.integers(0, len(SOUND) - 1),
)
CHANGES = st.lists(st.tuples(PLACES, st.integers(0, 255)), min_size=1, max_size=6)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(changes=CHANGES, length=st.one_of(st.none(), st.integers(0, len(SOUND))))
def test_a_changed_profile_is_refused_or_converts(
    tmp_path: Path, changes: list[tuple[int, int]], length: int | None
) -> None:
    data = bytearray(SOUND)
    for place, value in changes:
        data[place] = value
    path = tmp_path / "press.icc"
    path.write_bytes(data[:length])
    profile, words = outcome(path)
    if profile is None:
        assert words.startswith("press.icc ")
        assert words.endswith(".")
        assert "\n" not in words
        return
    # A name of its own for each: conversions are kept by condition.
    condition = replace(SHIPPED["uncoated"], name=profile.digest, profile=path)
    assert converts(condition)


@settings(max_examples=100, deadline=None)
@given(data=st.one_of(st.binary(max_size=400), st.binary(min_size=4, max_size=300).map(lambda b: SOUND[:128] + b)))
def test_random_bytes_are_refused_in_a_sentence(data: bytes) -> None:
    with pytest.raises(ValueError, match=r"^the embedded colour profile .*\.$"):
        read_profile(data)
