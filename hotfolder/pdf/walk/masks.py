"""Rewrites soft masks (ISO 32000-1 11.6.5.2): their colours become the gray that the mask would have seen."""

from typing import TYPE_CHECKING

import numpy as np
from pikepdf import Array, Dictionary, Stream

from hotfolder.pdf.objects import copy_dictionary, entry, name, numbers, same_object
from hotfolder.pdf.values.spaces import Space
from hotfolder.pdf.walk.state import State

if TYPE_CHECKING:
    from hotfolder.pdf.walk.walker import Walker


def soft_mask(walker: "Walker", mask: Dictionary, resources: object, depth: int) -> Dictionary:
    """The same mask, or a new one whose group and backdrop are converted. Its transfer function
    stays: it is applied to a luminosity that is what it was."""
    group = entry(mask, "/G")
    if not isinstance(group, Stream):
        walker.leave("a soft mask", "it has no group to be made from")
        return mask
    luminous = name(entry(mask, "/S")) == "Luminosity"
    space = _group_space(walker, group, resources) if luminous else None
    worker = walker.for_mask(walker.mapping.for_mask(space)) if luminous else walker
    made = worker.form(group, resources, State(in_mask=True), owned=True, black=True, depth=depth + 1)[0]
    backdrop = entry(mask, "/BC")
    new_backdrop = _backdrop(worker, backdrop, space) if luminous and space is not None else None
    if same_object(made, group) and new_backdrop is None:
        return mask
    new = copy_dictionary(mask)
    new.G = made
    if new_backdrop is not None:
        new.BC = new_backdrop
    return new


def _group_space(walker: "Walker", group: Stream, resources: object) -> Space | None:
    found = entry(entry(group, "/Group"), "/CS")
    if found is None:
        return None
    try:
        return walker.spaces.read(found, resources)
    except ValueError:
        return None


def _backdrop(worker: "Walker", found: object, space: Space) -> Array | None:
    """The backdrop's colour in the group's new space; None where it stays. Without one it is black (table 144)."""
    wanted = worker.mapping.group_space(space, worker.pdf)
    if wanted is None or found is None or wanted.key == space.key:
        return None
    try:
        values = np.array([numbers(found, space.n)])
    except ValueError:
        return None
    return Array([float(x) for x in worker.mapping.colours(space, values, False)[0]])
