"""Reads the graphics state dictionaries (ISO 32000-1 table 58) as far as the look of a colour depends on them."""

from pikepdf import Array, Dictionary

from hotfolder.pdf.objects import name, number
from hotfolder.pdf.walk.state import State

# ISO 32000-1 table 70; a name that is not there counts as the second one (8.6.5.8).
_INTENTS = {
    "Perceptual": "perceptual",
    "RelativeColorimetric": "relative",
    "Saturation": "saturation",
    "AbsoluteColorimetric": "absolute",
}


def read_intent(stated: str) -> str:
    """A rendering intent as a printing condition names it; "" where nothing is stated."""
    return _INTENTS.get(stated, "relative") if stated else ""


def read_graphics(found: Dictionary) -> dict[str, object]:
    """What an ExtGState sets: names of `State`'s attributes and their new values. Odd values are passed over."""
    sets: dict[str, object] = {}
    if "/OP" in found:
        sets["overprint_stroke"] = bool(found["/OP"])
        sets["overprint_fill"] = bool(found["/OP"])
    if "/op" in found:
        sets["overprint_fill"] = bool(found["/op"])
    if "/OPM" in found:
        sets["overprint_mode"] = sets["written_mode"] = int(number(found["/OPM"], 0.0))
    for key, attribute in (("/ca", "alpha_fill"), ("/CA", "alpha_stroke")):
        if key in found:
            sets[attribute] = number(found[key], 1.0)
    if "/LW" in found:
        sets["line_width"] = sets["written_width"] = number(found["/LW"], 1.0)
    if "/BM" in found:
        sets["blend"] = blend_mode(found["/BM"])
    if "/SMask" in found:
        sets["masked"] = isinstance(found["/SMask"], Dictionary)
    if (stated := name(found.get("/RI"))) != "":
        sets["intent"] = read_intent(stated)
    font = found.get("/Font")
    if isinstance(font, Array) and len(font) == 2:
        sets["font"], sets["font_size"] = font[0], number(font[1], 0.0)
    return sets


def blend_mode(found: object) -> str:
    """A blend mode, or the first of a list (11.6.3)."""
    return name(found[0] if isinstance(found, Array) and len(found) else found) or "Normal"


def apply(sets: dict[str, object], state: State) -> None:
    for attribute, value in sets.items():
        setattr(state, attribute, value)
