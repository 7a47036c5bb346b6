"""Converts gradient meshes (ISO 32000-1 8.7.4.5.5 to 8.7.4.5.8): triangles and patches with a colour at each corner."""

from typing import TYPE_CHECKING

import numpy as np
from pikepdf import Array, Object, Stream

from hotfolder.pdf.objects import entry, whole
from hotfolder.pdf.values.spaces import Floats, Space
from hotfolder.pdf.walk.blend import CLOSE, Blend
from hotfolder.pdf.walk.mesh_pieces import errors, in_stream_order, pieces_of, refine
from hotfolder.pdf.walk.mesh_records import read_mesh, write_pieces

if TYPE_CHECKING:
    from hotfolder.pdf.walk.walker import Walker

_COLOURED = frozenset({"/Length", "/Filter", "/DecodeParms", "/Decode", "/BitsPerComponent"})
_REBUILT = _COLOURED | frozenset({"/BitsPerCoordinate", "/BitsPerFlag", "/VerticesPerRow", "/ShadingType"})


def convert_mesh(
    walker: "Walker", mesh: Stream, space: Space, kind: int, changes: dict[str, object], background: Floats | None
) -> Object:
    """A mesh without a function, with the mapping's colours at its corners, 16 bits each.

    Between corners colours are mixed, from now on in the new space. Where that would look different, triangles and
    patches are cut into smaller ones of the same shape and colours. CannotConvert where even that is not enough.
    """
    records = read_mesh(mesh, space, kind)
    colours = records.colours
    if space.kind == "Indexed" and space.base is not None:
        colours, background = space.lookup(colours), None if background is None else space.lookup(background)
        space = space.base
    blend = Blend(walker.mapping, space, colours if background is None else np.concatenate([colours, background]))
    if background is not None:
        changes["/Background"] = Array([float(x) for x in blend(background)[0]])
    pieces = pieces_of(records, kind, colours, whole(entry(mesh, "/VerticesPerRow"), 0))
    if errors(blend, pieces).max() <= CLOSE:
        return _made(walker, mesh, records.with_colours(blend(colours)), _COLOURED, changes, records.decode)
    finer = refine(blend, pieces)
    walker.result.remark(
        walker.page_number,
        "a gradient mesh",
        f"{len(pieces)} parts became {len(finer)} smaller ones, so that its colours stay the same between corners",
    )
    inks = blend(finer.colours.reshape(-1, space.n)).reshape(*finer.colours.shape[:2], -1)
    changes |= {"/BitsPerCoordinate": 32, "/BitsPerFlag": 8, "/ShadingType": 4 if kind < 6 else 7}
    data = write_pieces(in_stream_order(finer), inks, records.decode)
    return _made(walker, mesh, data, _REBUILT, changes, records.decode)


def _made(
    walker: "Walker", mesh: Stream, data: bytes, gone: frozenset[str], changes: dict[str, object], decode: list[float]
) -> Object:
    new = walker.rewritten(mesh, data, gone | frozenset(changes))
    for key, value in changes.items():
        new[key] = value
    new.BitsPerComponent = 16
    new.Decode = Array([*decode[:4], *[0, 1] * walker.mapping.target.n])
    return walker.pdf.make_indirect(new)
