"""Converts gradients (ISO 32000-1 8.7.4.5): their colours are computed finely and written as tables of inks."""

from typing import TYPE_CHECKING

import numpy as np
from pikepdf import Array, Dictionary, Name, Object, Stream

from hotfolder.pdf.objects import copy_dictionary, entry, identity, numbers, whole
from hotfolder.pdf.values.described import fingerprint, joined_by_curves
from hotfolder.pdf.values.functions import Function, read_function
from hotfolder.pdf.values.picked import picked
from hotfolder.pdf.values.spaces import Floats, Space
from hotfolder.pdf.walk.blend import Blend
from hotfolder.pdf.walk.field import convert_field
from hotfolder.pdf.walk.mapping import Fate, Plan
from hotfolder.pdf.walk.mesh import convert_mesh
from hotfolder.pdf.walk.outcome import CannotConvert
from hotfolder.pdf.walk.ramp import convert_ramp

if TYPE_CHECKING:
    from hotfolder.pdf.walk.walker import Walker

_ANCHORS = 65  # places at which a gradient is looked at to tell whether it is gray all along


def convert_shading(walker: "Walker", found: object, space: Space, plan: Plan) -> Object:
    """A new shading with the same geometry. ValueError with the reason where it must stay as it is."""
    if not isinstance(found, (Dictionary, Stream)):
        raise CannotConvert("it can't be read")
    kind = whole(entry(found, "/ShadingType"), 0)
    if kind not in range(1, 8) or (kind >= 4) != isinstance(found, Stream):
        raise CannotConvert("it is of an unknown kind")
    function = entry(found, "/Function")
    if function is not None and space.kind == "Indexed":
        raise CannotConvert("it uses a colour table, which a gradient with a function may not (8.7.4.4)")
    # Between corners, the colours of a table are mixed in the space that the table is in (8.7.4.4).
    mixed_over_table = space.kind == "Indexed" and kind >= 4
    if plan.fate is Fate.SWAP and not mixed_over_table:
        return _with(walker, found, {"/ColorSpace": plan.swap})
    if function is not None:
        return _with_function(walker, found, space, kind, function)
    if kind < 4 or not isinstance(found, Stream):
        raise CannotConvert("it has no colours")
    changes: dict[str, object] = {"/ColorSpace": Name("/" + walker.mapping.target.kind)}
    return convert_mesh(walker, found, space, kind, changes, _background(found, space))


def _with_function(walker: "Walker", found: Dictionary | Stream, space: Space, kind: int, described: object) -> Object:
    """Its colours come from a function: of the place (type 1), of one number along a line or at a mesh's corners."""
    if (simpler := _picked(walker, found, space, described)) is not None:
        return simpler
    if joined_by_curves(described):
        raise CannotConvert("its table is to be joined by curves (Order 3), which programs draw differently")
    function = read_function(described)
    if function.inputs != (2 if kind == 1 else 1) or function.outputs != space.n:
        raise CannotConvert("its function doesn't fit its colour space")
    background = _background(found, space)
    new: dict[str, object] = {"/ColorSpace": Name("/" + walker.mapping.target.kind)}
    if kind == 1:
        a, b, c, d = numbers(entry(found, "/Domain", Array([0, 1, 0, 1])), 4)
        if not (a < b and c < d):
            raise CannotConvert("it runs over nothing")
        x, y = np.meshgrid(np.linspace(a, b, _ANCHORS), np.linspace(c, d, _ANCHORS))
        blend = _blend(walker, space, function(np.stack([x.ravel(), y.ravel()], axis=1)), background)
        new["/Function"] = convert_field(walker, blend, function, (a, b, c, d))
    else:
        span = _span(found, kind)
        bends = [place for place in function.breaks()[:_ANCHORS] if span[0] < place < span[1]]
        places = np.array([*np.linspace(*span, _ANCHORS), *bends, *np.nextafter(bends, span[0])])
        blend = _blend(walker, space, function(places[:, None]), background)
        new["/Function"] = _ramp(walker, blend, function, span, (fingerprint(described), str(background)))
    if background is not None:
        new["/Background"] = Array([float(x) for x in blend(background)[0]])
    return _with(walker, found, new)


def _picked(walker: "Walker", found: Dictionary | Stream, space: Space, described: object) -> Object | None:
    """The gradient with single inks of its function, where that is all the mapping wants."""
    places = walker.mapping.picks(space)
    if places is None or "/Background" in found:
        return None
    key = ("picked", identity(described), tuple(places))
    known = walker.known(key)
    function = known.made if known else walker.remember(key, picked(walker.pdf, described, places), walker.begin())
    if function is None:
        return None
    return _with(walker, found, {"/ColorSpace": Name("/" + walker.mapping.target.kind), "/Function": function})


def _ramp(walker: "Walker", blend: Blend, function: Function, span: tuple[float, float], alike: object) -> object:
    """Artwork has the same run of colours in many places: it is computed once."""
    key = ("ramp", alike, span, blend.space.key, walker.mapping.purpose)
    if (known := walker.known(key)) is not None:
        return known.made
    return walker.remember(key, convert_ramp(walker, blend, function, span), walker.begin())


def _blend(walker: "Walker", space: Space, anchors: Floats, background: Floats | None) -> Blend:
    if background is not None:  # It meets the gradient's end, so the same rule holds for it.
        anchors = np.concatenate([anchors, background])
    return Blend(walker.mapping, space, anchors)


def _background(found: Dictionary | Stream, space: Space) -> Floats | None:
    background = entry(found, "/Background")
    return None if background is None else np.array([numbers(background, space.n)])


def _with(walker: "Walker", found: Dictionary | Stream, changes: dict[str, object]) -> Object:
    if isinstance(found, Stream):
        made: Stream | Dictionary = walker.rewritten(found, None, frozenset(changes))
    else:
        made = copy_dictionary(found, frozenset(changes))
    for key, value in changes.items():
        made[key] = value
    return walker.pdf.make_indirect(made)


def _span(found: Dictionary | Stream, kind: int) -> tuple[float, float]:
    """Least and largest value of the gradient's parameter: its Domain, or for a mesh the last pair of its Decode array.
    Either may run backwards."""
    if kind in (2, 3):
        one, other = numbers(entry(found, "/Domain", Array([0, 1])), 2)
    else:
        flat = numbers(entry(found, "/Decode"))
        if len(flat) != 6:
            raise CannotConvert("its numbers can't be read")
        one, other = flat[4], flat[5]
    return min(one, other), max(one, other)
