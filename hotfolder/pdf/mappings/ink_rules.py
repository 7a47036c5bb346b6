"""What becomes of spot inks: kept, renamed, or mixed from the four process inks, each as the condition says."""

import itertools
from collections.abc import Callable, Iterator

import numpy as np
import pikepdf
from pikepdf import Array, Dictionary, Name, Object

from hotfolder.colour.condition import NO_SPOTS, Condition
from hotfolder.pdf.objects import MOST_LEVELS, copy_dictionary, dictionary, entry, name, names, whole
from hotfolder.pdf.values.functions import write_sampled
from hotfolder.pdf.values.spaces import Floats, Space
from hotfolder.pdf.walk.mapping import KEEP, Fate, Plan
from hotfolder.pdf.walk.outcome import CannotConvert

Colours = Callable[[Floats], Floats]

_TINT_STEPS = 256
# Samples a side of a stand-in for so many inks, from coarse to fine; 16 bits each, at most some 700 000 bytes.
_SIDES = {2: (17, 33, 65, 129), 3: (9, 17, 33), 4: (7, 11, 17)}
_CLOSE = 0.02  # of full ink: the largest error halfway between samples


def plan_inks(condition: Condition, space: Space, pdf: pikepdf.Pdf, stand_in: Colours) -> Plan:
    """The plan for a Separation or DeviceN space. `stand_in`: numbers of its alternate space to process inks."""
    if why := _screen_colours(space):
        return Plan(Fate.LEAVE, why=why)
    fates = [condition.spot(ink) for ink in space.inks]
    mixed = [ink for ink, spot in zip(space.inks, fates, strict=True) if spot.fate == "cmyk"]
    if mixed:
        left = [ink for ink in space.inks if ink not in mixed and (ink in ("All",) or ink not in NO_SPOTS)]
        if left:
            return Plan(Fate.LEAVE, why=f"it mixes the ink {left[0]}, which stays, with {mixed[0]}, which shall not")
        listed = ", ".join(mixed)
        return Plan(Fate.CONVERT, remark=f"the spot ink {listed} is now mixed from cyan, magenta, yellow and black")
    new = [spot.name if spot.fate == "rename" else ink for ink, spot in zip(space.inks, fates, strict=True)]
    renamed = {old: now for old, now in zip(space.inks, new, strict=True) if old != now}
    named = [ink for ink in new if ink != "None"]
    if len(set(named)) < len(named):
        return Plan(Fate.LEAVE, why="two of its inks would get the same name")
    assert space.base is not None
    plain_rgb = space.base.kind == "DeviceRGB"
    if not renamed and not plain_rgb:
        return KEEP
    try:
        return _rewritten(space, pdf, new, renamed, stand_in if plain_rgb else None)
    except ValueError as fault:
        return Plan(Fate.LEAVE, why=str(fault))


def _screen_colours(space: Space) -> str:
    """Why the attributes of an NChannel space (ISO 32000-1 8.6.6.5) keep its inks from standing as they are."""
    found = space.found
    attributes = found[4] if space.kind == "DeviceN" and isinstance(found, Array) and len(found) > 4 else None
    process = entry(attributes, "/Process")
    kind, n = _family(entry(process, "/ColorSpace"))
    if (n == 3 or kind in ("DeviceRGB", "CalRGB", "Lab")) and set(names(entry(process, "/Components"))) & set(
        space.inks
    ):
        return "some of its inks are in truth the red, green and blue of a screen"
    colorants = dictionary(entry(attributes, "/Colorants"))
    for key in colorants.keys():  # noqa: SIM118
        single = colorants[key]
        if isinstance(single, Array) and len(single) == 4 and _family(single[2])[0] == "DeviceRGB":
            return f"the stand-in colour of its ink {key[1:]} is plain RGB"
    return ""


def _family(found: object) -> tuple[str, int]:
    """A colour space's family, and how many numbers an ICCBased one has."""
    kind = name(found[0] if isinstance(found, Array) and len(found) else found)
    profile = found[1] if isinstance(found, Array) and len(found) > 1 else None
    return kind, whole(entry(profile, "/N"), 0) if kind == "ICCBased" else 0


def _rewritten(
    space: Space, pdf: pikepdf.Pdf, new: list[str], renamed: dict[str, str], stand_in: Colours | None
) -> Plan:
    """The same inks under their new names, and with a stand-in in process inks where it was plain RGB."""
    found = space.found
    assert isinstance(found, Array)
    made = Array(list(found))
    remarks = []
    if stand_in is not None:
        made[2], made[3] = Name.DeviceCMYK, _sampled(space, pdf, stand_in)
        remarks.append("the ink stays; its stand-in colour for screens is now CMYK")
    if renamed:
        called = [Name("/" + ink) for ink in new]
        made[1] = called[0] if space.kind == "Separation" else Array(called)
        if len(made) > 4 and isinstance(made[4], Dictionary):
            made[4] = _attributes(made[4], renamed)
        remarks.append("; ".join(f"the ink {old} is now called {now}" for old, now in renamed.items()))
        if space.kind == "Separation" and (other := _other_of(pdf, new[0])) is not None:
            made[2], made[3] = other[2], other[3]
            remarks.append("the file had that ink already: it looks on screens as it did there")
    return Plan(Fate.SWAP, pdf.make_indirect(made), remark="; ".join(remarks))


def _attributes(found: Dictionary, renamed: dict[str, str]) -> Dictionary:
    """The attributes of a DeviceN space (ISO 32000-1 table 71) with the inks' new names."""
    new = copy_dictionary(found)
    colorants = found.get("/Colorants")
    if isinstance(colorants, Dictionary):
        held = Dictionary()
        for key in colorants.keys():  # noqa: SIM118
            now, single = renamed.get(key[1:], key[1:]), colorants[key]
            if isinstance(single, Array) and len(single) == 4 and name(single[1]) in renamed:
                single = Array([single[0], Name("/" + renamed[name(single[1])]), single[2], single[3]])
            held["/" + now] = single
        new.Colorants = held
    hints = found.get("/MixingHints")
    if isinstance(hints, Dictionary):
        new_hints = copy_dictionary(hints)
        for part in ("/Solidities", "/DotGain"):
            if isinstance(listed := hints.get(part), Dictionary):
                new_hints[part] = _renamed_keys(listed, renamed)
        if isinstance(order := hints.get("/PrintingOrder"), Array):
            new_hints.PrintingOrder = Array([Name("/" + renamed.get(name(ink), name(ink))) for ink in order])
        new.MixingHints = new_hints
    return new


def _renamed_keys(found: Dictionary, renamed: dict[str, str]) -> Dictionary:
    return Dictionary({"/" + renamed.get(key[1:], key[1:]): value for key, value in found.items()})


def _other_of(pdf: pikepdf.Pdf, ink: str) -> Array | None:
    """A Separation of this ink that the document has already: all of one ink must look alike (8.6.6.4)."""
    for held in pdf.objects:
        for array in _arrays(held, 0):
            if len(array) == 4 and name(array[0]) == "Separation" and name(array[1]) == ink:
                return array
    return None


def _arrays(found: object, depth: int) -> Iterator[Array]:
    """Arrays in an object, as far as they are its own and not indirect."""
    if depth > MOST_LEVELS:
        return
    if isinstance(found, Array):
        yield found
    inner: list[object] = []
    if isinstance(found, Array):
        inner = list(found) if len(found) < 1000 else []
    elif isinstance(found, Dictionary | pikepdf.Stream):
        inner = [entry(found, key) for key in found.keys()]  # noqa: SIM118
    for below in inner:
        if isinstance(below, Object) and not below.is_indirect:
            yield from _arrays(below, depth + 1)


def _sampled(space: Space, pdf: pikepdf.Pdf, stand_in: Colours) -> Object:
    """A table of process inks for the tints of up to four inks. CannotConvert where none is fine enough."""
    tint, n = space.tint, space.n
    assert tint is not None
    if n == 1:
        inks = stand_in(tint(np.linspace(0, 1, _TINT_STEPS)[:, None]))
        return write_sampled(pdf, inks, [0, 1], [_TINT_STEPS])
    if n not in _SIDES:
        raise CannotConvert(f"its stand-in colour is plain RGB, mixed from {n} inks")
    for side in _SIDES[n]:
        table = stand_in(tint(_grid(side, n)))
        if _error(table, side, n, lambda places: stand_in(tint(places))) <= _CLOSE:
            return write_sampled(pdf, table, [0, 1] * n, [side] * n)
    raise CannotConvert("its stand-in colour is plain RGB, mixed from several inks in a way no table can hold")


def _grid(side: int, n: int) -> Floats:
    """(side ** n, n): every mixture, the first ink running fastest (7.10.2)."""
    axes = np.meshgrid(*[np.linspace(0, 1, side)] * n, indexing="ij")
    return np.stack([axis.ravel() for axis in axes[::-1]], axis=1)


def _error(table: Floats, side: int, n: int, true: Colours) -> float:
    """The largest error in the middle between neighbouring samples, over up to 4096 places spread evenly."""
    cells = (side - 1) ** n
    at = np.unique(np.linspace(0, cells - 1, min(cells, 4096)).astype(int))
    low = np.stack([at // (side - 1) ** axis % (side - 1) for axis in range(n)], axis=1)
    mean = np.zeros((len(at), table.shape[1]))
    for corner in itertools.product((0, 1), repeat=n):
        mean += table[((low + corner) * side ** np.arange(n)).sum(axis=1)] / 2**n
    return float(abs(mean - true((low + 0.5) / (side - 1))).max())
