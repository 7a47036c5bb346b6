"""Finds out what a colour space really means: by which profile its numbers become colours."""

import pikepdf
from pikepdf import Array, Stream

from hotfolder.colour.cmm import check_source
from hotfolder.colour.condition import Condition
from hotfolder.colour.link import Link, link
from hotfolder.colour.profile import SRGB, Profile, read_profile
from hotfolder.colour.transform import press_profile, to_condition
from hotfolder.pdf.objects import entry, name, stream_bytes
from hotfolder.pdf.values.calibrated import calibrated_profile
from hotfolder.pdf.values.spaces import Space

_ICC_SPACES = {"GRAY": 1, "RGB ": 3, "CMYK": 4, "Lab ": 3}

Source = tuple[Space, Profile | None, str]


class Sources:
    """The sources of one document's colours, each read once."""

    def __init__(self, condition: Condition) -> None:
        self.condition = condition
        self._found: dict[object, Source] = {}
        self._assumed: Profile | None = None
        self._pdf: object = None

    def of(self, space: Space) -> Source:
        """(The space, or what stands in for its damaged profile; the profile to convert with, None where none is
        needed; what to tell about it.)"""
        if space.key not in self._found:
            self._found[space.key] = self._read(space)
        return self._found[space.key]

    def _read(self, space: Space) -> Source:
        if space.kind == "DeviceRGB":
            return space, SRGB, ""
        if space.kind in ("CalGray", "CalRGB"):
            return space, read_profile(calibrated_profile(space)), ""
        if space.kind != "ICCBased":
            return space, None, ""
        assert space.base is not None
        try:
            profile = read_profile(space.profile or b"")
            if _ICC_SPACES.get(profile.space) != space.n:
                raise ValueError(
                    f"the embedded profile is for {profile.space.strip()}, the colours have {space.n} numbers"
                )
            if profile.space == "Lab ":
                limits = space.limits or ((0.0, 100.0), (-128.0, 127.0), (-128.0, 127.0))
                return Space("Lab", 3, ("Lab", space.key), space.found, limits=limits), None, ""
            if space.n != 4:
                to_condition(profile, self.condition)
            elif self.condition.cmyk == "convert":
                check_source(profile)
            return space, profile, ""
        except ValueError as fault:
            real, stand_in, _ = self.of(space.base)
            return real, stand_in, f"{str(fault).rstrip('.')}; {real.kind} was used instead"

    # CMYK that was made for another press

    def learn(self, pdf: pikepdf.Pdf) -> None:
        """Reads once for which press the document's CMYK without a profile was made: its own output intent
        (ISO 15930: that is what it means), else what the condition assumes."""
        if self.condition.cmyk == "keep" or self._pdf is pdf:
            return
        self._pdf = pdf
        self._assumed = output_intent(pdf)
        if self._assumed is None and self.condition.cmyk_source is not None:
            self._assumed = read_profile(self.condition.cmyk_source)

    def link(self, space: Space, rule: Condition) -> Link | None:
        """How CMYK in this space becomes the condition's; None where its numbers are the press's own."""
        if self.condition.cmyk == "keep":
            return None
        profile = self._assumed if space.kind == "DeviceCMYK" else self.of(space)[1]
        if profile is None or profile.digest == press_profile(self.condition).digest:
            return None
        return link(profile, rule)

    def press_of(self, space: Space) -> str:
        """The press for which CMYK in this space was made, by its profile's name."""
        profile = self._assumed if space.kind == "DeviceCMYK" else self.of(space)[1]
        return "" if profile is None else profile.name


def output_intent(pdf: pikepdf.Pdf) -> Profile | None:
    """The CMYK profile of the document's output intent (ISO 32000-1 14.11.5), None where there is none of use."""
    listed = pdf.Root.get("/OutputIntents")
    for intent in listed if isinstance(listed, Array) else ():
        found = entry(intent, "/DestOutputProfile")
        if name(entry(intent, "/S")) not in ("GTS_PDFX", "GTS_PDFA1") or not isinstance(found, Stream):
            continue
        try:
            profile = read_profile(stream_bytes(found))
            check_source(profile)
        except ValueError:
            continue
        if profile.space == "CMYK":
            return profile
    return None
