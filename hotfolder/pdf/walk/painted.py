"""What a content stream paints with: patterns, gradients, pictures, drawn fonts, soft masks; each rewritten once."""

import re
from collections.abc import Callable
from typing import TYPE_CHECKING

from pikepdf import Array, Dictionary, Name, Object, Stream

from hotfolder.pdf.objects import (
    MOST_LEVELS,
    copy_dictionary,
    dictionary,
    entry,
    identity,
    name,
    names,
    same_object,
    stream_bytes,
    whole,
)
from hotfolder.pdf.pictures.kept import LARGE
from hotfolder.pdf.values.spaces import Space, device_name
from hotfolder.pdf.walk.graphics import blend_mode, read_intent
from hotfolder.pdf.walk.inline import as_stream
from hotfolder.pdf.walk.mapping import Fate, Plan
from hotfolder.pdf.walk.masks import soft_mask
from hotfolder.pdf.walk.outcome import CannotConvert, StaysAsFound
from hotfolder.pdf.walk.pictures import convert_picture, picture_space
from hotfolder.pdf.walk.placing import read_matrix
from hotfolder.pdf.walk.resources import ResourceEdits
from hotfolder.pdf.walk.shadings import convert_shading
from hotfolder.pdf.walk.state import UNIT, Colour, Matrix, State, multiply, transform_box

if TYPE_CHECKING:
    from hotfolder.pdf.walk.walker import Walker

_D1 = re.compile(rb"[\s\0]*(?:[-+.\d]+[\s\0]+){6}d1(?=[\s\0])")


def _tiling(walker: "Walker", pattern: Stream, resources: object, depth: int, base: Matrix, colour: Colour) -> object:
    """A tiling pattern's cell (8.7.3). An uncoloured one has no colours of its own: it is only looked at."""
    uncoloured = whole(entry(pattern, "/PaintType"), 1) == 2
    if uncoloured and not (walker.mapping.every_use or walker.mapping.shapes):
        return pattern
    state = State(ctm=base, grouped=True)
    if uncoloured:
        state.fill = state.stroke = colour
        state.uncoloured = True
    return walker.form(pattern, resources, state, owned=True, black=True, depth=depth + 1)[0]


def pattern(walker: "Walker", found: object, resources: object, depth: int, base: Matrix, colour: Colour) -> object:
    """A pattern as `scn` names it, tiling or shading; `colour` is what an uncoloured one is painted with."""
    if isinstance(found, Stream):
        return _tiling(walker, found, resources, depth, base, colour)
    if not isinstance(found, Dictionary) or "/Shading" not in found:
        return found
    place = ("gradient pattern", identity(found), walker.spaces.defaults(resources))
    if (known := walker.known(place)) is not None:
        return known.made
    began = walker.begin()
    graphics, made = found.get("/ExtGState"), found
    gradient = shading(walker, found["/Shading"], resources, read_intent(name(entry(graphics, "/RI"))))
    masked = graphics_state(walker, graphics, resources, depth)
    if not same_object(gradient, found["/Shading"]) or not same_object(masked, graphics):
        new = copy_dictionary(found)
        new.Shading = gradient
        if masked is not None:
            new.ExtGState = masked
        made = walker.pdf.make_indirect(new)
    return walker.remember(place, made, began)


def glyphs(walker: "Walker", font: object, resources: object, state: State, depth: int) -> object:
    """A Type 3 font (9.6.5), whose glyphs are drawn by content streams; a d1 glyph has no colours of its own."""
    procedures = entry(font, "/CharProcs")
    if not isinstance(font, Dictionary) or not isinstance(procedures, Dictionary) or depth > MOST_LEVELS:
        return font
    place = ("font", identity(font), walker.dependence(state))
    if (known := walker.known(place)) is not None:
        return known.made
    if place in walker.active:
        walker.leave("a font", "a glyph is drawn with its own font")
        return font
    walker.active.add(place)
    began = walker.begin()
    edits = ResourceEdits(entry(font, "/Resources", resources))
    changed: dict[str, Object] = {}
    for key in procedures.keys():  # noqa: SIM118
        glyph = procedures[key]
        try:
            data = stream_bytes(glyph)
        except ValueError as fault:
            walker.leave("a glyph", str(fault))
            continue
        uncoloured = _D1.match(data) is not None
        if uncoloured and not (walker.mapping.every_use or walker.mapping.shapes):
            continue
        inner = state.copy()
        inner.uncoloured |= uncoloured
        inner.in_glyph = True
        inner.ctm = multiply(read_matrix(entry(font, "/FontMatrix")), state.ctm)
        new, borrowed = walker.run(data, edits, inner, inner.ctm, owned=False, black=False, depth=depth + 1)
        if borrowed and not uncoloured:
            walker.leave("a glyph", "what it is painted with depends on the colour space of the text around it")
        if new is not None:
            changed[key] = walker.pdf.make_indirect(walker.rewritten(glyph, new, frozenset()))
    walker.active.discard(place)
    made: object = font
    if changed or edits.result() is not None:
        made = _font(walker, font, procedures, changed, edits)
    return walker.remember(place, made, began)


def _font(
    walker: "Walker", font: Dictionary, procedures: Dictionary, changed: dict[str, Object], edits: ResourceEdits
) -> Object:
    new, drawn = copy_dictionary(font), copy_dictionary(procedures)
    for key, glyph in changed.items():
        drawn[key] = glyph
    new.CharProcs = drawn
    if (resources := edits.result()) is not None:
        new.Resources = resources
    return walker.pdf.make_indirect(new)


def group(walker: "Walker", group: object, resources: object) -> Dictionary | None:
    """A transparency group's attributes with the mapping's blending space; None where they stay."""
    if not isinstance(group, Dictionary):
        return None
    walker.mapping.group_seen(walker, group)
    found = group.get("/CS")
    if found is None or name(entry(group, "/S")) != "Transparency":
        return None
    try:
        space = walker.spaces.read(found, resources)
    except ValueError as fault:
        walker.leave("a transparency group's colour space", str(fault))
        return None
    wanted = walker.mapping.group_space(space, walker.pdf)
    if wanted is None or (wanted.key == space.key and (wanted.found is None or not isinstance(found, Name))):
        return None
    walker.result.changed["groups"] += wanted.found is None  # else it blends as before, with its profile
    # Inks with a profile mix as inks without one do: only the kind of numbers makes a difference.
    if wanted.n != space.n and not walker.mapping.blending_told:
        walker.result.remark(
            walker.page_number,
            "blending space changed",
            f"a transparency group blends in {wanted.kind} instead of {space.label()}, so mixed colours may shift",
        )
    new = copy_dictionary(group)
    new.CS = device_name(wanted) if wanted.found is None else wanted.found
    return new


def graphics_state(walker: "Walker", found: object, resources: object, depth: int) -> object:
    """An ExtGState, with its soft mask rewritten if need be, and the mapping's blend mode."""
    if not isinstance(found, Dictionary) or depth > MOST_LEVELS:
        return found
    mask, blend, font = found.get("/SMask"), blend_mode(found.get("/BM")), found.get("/Font")
    if isinstance(font, Array) and len(font) and name(entry(font[0], "/Subtype")) == "Type3":
        walker.leave("a font", "a graphics state chooses it, and its glyphs are drawings")
    new_blend = walker.mapping.blend_mode(blend)
    if not isinstance(mask, Dictionary) and new_blend == blend:
        return found
    key = ("graphics", identity(found))
    if not walker.mapping.every_use and (known := walker.known(key)) is not None:
        return known.made
    began = walker.begin()
    copy, made = copy_dictionary(found), found
    if isinstance(mask, Dictionary) and not same_object(new_mask := soft_mask(walker, mask, resources, depth), mask):
        copy.SMask = new_mask
        walker.result.changed["masks"] += 1
        made = copy
    if new_blend != blend:
        copy.BM = Name("/" + new_blend)
        made = copy
    return walker.remember(key, found if made is found else walker.pdf.make_indirect(made), began)


def _carried_out(plan: Plan, found: object, convert: Callable[[Plan], object]) -> object:
    """What a picture or gradient becomes by a plan; itself where it stays."""
    if plan.fate is Fate.LEAVE:
        raise CannotConvert(plan.why)
    if plan.fate is Fate.KEEP:
        return found
    try:
        return convert(plan)
    except StaysAsFound as stays:
        return _carried_out(stays.plan, found, convert) if isinstance(stays.plan, Plan) else found


def shading(walker: "Walker", found: object, resources: object, intent: str) -> object:
    """A shading dictionary, rewritten if need be. `intent`: the rendering intent stated for it, "" for none."""
    place, stated = identity(found), intent if walker.mapping.follows_intents else ""
    key = ("shading", place, stated, walker.spaces.defaults(resources))
    if (known := walker.known(key)) is not None:
        return known.made
    began = walker.begin()
    made = found
    try:
        space = walker.spaces.read(entry(found, "/ColorSpace"), resources)
        with walker.using("gradient", intent):
            made = _carried_out(walker.plan(space), found, lambda plan: convert_shading(walker, found, space, plan))
            walker.result.changed["gradients"] += made is not found
    except ValueError as fault:
        walker.leave("a gradient", str(fault))
    return walker.remember(key, made, began)


def _slow_to_read(picture: Object, space: Space) -> bool:
    """A picture in a device space that is better decoded once than for each drawing."""
    if space.kind not in ("DeviceCMYK", "DeviceGray"):
        return False
    pixels = whole(entry(picture, "/Width"), 0) * whole(entry(picture, "/Height"), 0)
    return pixels > LARGE or names(entry(picture, "/Filter"))[-1:] in (["DCTDecode"], ["JPXDecode"])


def picture(
    walker: "Walker", found: Object, resources: object, state: State, inline: bytes | None = None
) -> tuple[object, Space | None]:
    """A picture, converted if need be, and its colour space (None: a stencil, or one that can't be read)."""
    box = transform_box(UNIT, state.ctm)
    if entry(found, "/ImageMask") is True:
        return found, None
    try:
        space = picture_space(found, resources, walker.spaces)
    except ValueError as fault:
        walker.leave("a picture", str(fault), box)
        return found, None
    intent = read_intent(name(entry(found, "/Intent"))) or state.intent if walker.mapping.follows_intents else ""
    key = ("picture", identity(found), space.key, walker.scale(state), intent)
    if (known := walker.known(key)) is not None:
        return known.made, space
    began = walker.begin()
    made: object = found

    def convert(plan: Plan) -> object:
        stream = found if isinstance(found, Stream) else as_stream(walker.pdf, dictionary(found), inline or b"")
        return convert_picture(walker, stream, space, plan, state.ctm)

    try:
        with walker.using("picture", intent):
            plan = walker.plan(space)
            if plan.fate is Fate.KEEP and walker.mapping.shrinks_kept and _slow_to_read(found, space):
                plan = Plan(Fate.CONVERT)
            made = _carried_out(plan, found, convert)
            walker.result.changed["pictures"] += made is not found
    except ValueError as fault:
        walker.leave("an inline picture" if inline is not None else "a picture", str(fault), box)
    return walker.remember(key, made, began), space
