"""Converts gradients (ISO 32000-1 8.7.4.5): their colours are computed finely and written as tables of inks."""

import itertools
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from pikepdf import Array, Dictionary, Name, Object, Stream

from hotfolder.pdf.objects import copy_dictionary, entry, numbers, whole
from hotfolder.pdf.values.functions import Function, read_function, write_sampled, write_stitched
from hotfolder.pdf.values.spaces import Space
from hotfolder.pdf.walk.mapping import Fate, Plan
from hotfolder.pdf.walk.mesh import convert_mesh
from hotfolder.pdf.walk.outcome import CannotConvert

if TYPE_CHECKING:
    from hotfolder.pdf.walk.walker import Walker

_FEWEST, _MOST = 65, 100_000  # samples between two bends; and in all
_CLOSE = 0.002  # largest difference to the true colour halfway between samples, of full ink
_MOST_BENDS = 500
_FIELD = 96  # samples a side of a gradient over a field (type 1)


def convert_shading(walker: "Walker", found: object, space: Space, plan: Plan) -> Object:
    """A new shading with the same geometry. ValueError with the reason where it must stay as it is."""
    if not isinstance(found, (Dictionary, Stream)):
        raise CannotConvert("it can't be read")
    kind = whole(entry(found, "/ShadingType"), 0)
    if kind not in range(1, 8):
        raise CannotConvert("it is of an unknown kind")
    if plan.fate is Fate.SWAP:
        return _with(walker, found, {"/ColorSpace": plan.swap})
    target = walker.mapping.target
    new: dict[str, object] = {"/ColorSpace": Name("/" + target.kind)}
    background = entry(found, "/Background")
    if background is not None:
        inks = walker.mapping.colours(space, np.array([numbers(background, space.n)]), False)[0]
        new["/Background"] = Array([float(x) for x in inks])
    function = entry(found, "/Function")
    if kind == 1:
        new["/Function"] = _field(walker, read_function(function), found, space)
    elif function is not None:
        new["/Function"] = _line(walker, read_function(function), _span(found, kind), space)
    elif kind in (2, 3):
        raise CannotConvert("it has no colours")
    elif isinstance(found, Stream):
        return convert_mesh(walker, found, space, kind, new)
    return _with(walker, found, new)


def _with(walker: "Walker", found: Dictionary | Stream, changes: dict[str, object]) -> Object:
    if isinstance(found, Stream):
        made: Stream | Dictionary = walker.rewritten(found, None, frozenset(changes))
    else:
        made = copy_dictionary(found, frozenset(changes))
    for key, value in changes.items():
        made[key] = value
    return walker.pdf.make_indirect(made)


def _span(found: Dictionary | Stream, kind: int) -> tuple[float, float]:
    """The values that the gradient's parameter takes: its Domain, or for a mesh the last pair of its Decode array."""
    if kind in (2, 3):
        low, high = numbers(entry(found, "/Domain", Array([0, 1])), 2)
    else:
        flat = numbers(entry(found, "/Decode"))
        if len(flat) < 6:
            raise CannotConvert("its numbers can't be read")
        low, high = flat[4], flat[5]
    if not low < high:
        raise CannotConvert("it runs over nothing")
    return low, high


def _line(walker: "Walker", function: Function, span: tuple[float, float], space: Space) -> Object:
    """Colours along one parameter: between bends as many samples as keep the error under `_CLOSE`."""
    if function.inputs != 1 or function.outputs != space.n:
        raise CannotConvert("its function doesn't fit its colour space")
    low, high = span
    edges = [low, *(b for b in function.breaks() if low < b < high), high]
    if len(edges) > _MOST_BENDS:
        edges = [low, high]
    # A jump at a bend belongs to the right-hand part (7.10.4), so each part is sampled just short of its end.
    tiny = (high - low) * 1e-9
    spans = [(a if a == low else a + tiny, b if b == high else b - tiny) for a, b in itertools.pairwise(edges)]
    parts = [
        write_sampled(walker.pdf, table, [0, 1], [len(table)]) for table in _tables(walker, function, spans, space)
    ]
    return write_stitched(walker.pdf, parts, edges)


def _tables(
    walker: "Walker", function: Function, spans: list[tuple[float, float]], space: Space
) -> NDArray[np.float64]:
    """(parts, samples, inks). All parts are converted in one call, because gray ones must know of coloured ones."""
    count = _FEWEST
    while True:
        places = np.concatenate([np.linspace(a, b, 2 * count - 1) for a, b in spans])[:, None]
        inks = walker.mapping.colours(space, function(places), True).reshape(len(spans), 2 * count - 1, -1)
        off = abs((inks[:, :-2:2] + inks[:, 2::2]) / 2 - inks[:, 1::2]).max()
        if off <= _CLOSE or 4 * count * len(spans) > _MOST:
            return inks
        count = 2 * count - 1


def _field(walker: "Walker", function: Function, found: Dictionary | Stream, space: Space) -> Object:
    if function.inputs != 2 or function.outputs != space.n:
        raise CannotConvert("its function doesn't fit its colour space")
    domain = numbers(entry(found, "/Domain", Array([0, 1, 0, 1])), 4)
    if not (domain[0] < domain[1] and domain[2] < domain[3]):
        raise CannotConvert("it runs over nothing")
    x, y = np.meshgrid(np.linspace(domain[0], domain[1], _FIELD), np.linspace(domain[2], domain[3], _FIELD))
    colours = walker.mapping.colours(space, function(np.stack([x.ravel(), y.ravel()], axis=1)), True)
    return write_sampled(walker.pdf, colours, domain, [_FIELD, _FIELD])
