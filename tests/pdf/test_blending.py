"""Transparency that mixes in RGB: which pages have it, what converting it changes, and groups that stay in RGB."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pikepdf
import pytest
from pikepdf import Array, Dictionary, Name, Object, Stream
from pypdf import PdfReader

from hotfolder.colour.condition import SHIPPED
from hotfolder.colour.difference import ciede2000
from hotfolder.colour.profile import SRGB
from hotfolder.colour.transform import condition_to_srgb, srgb_lab, to_condition
from hotfolder.finding import Box
from hotfolder.pdf.finishing.obstacles import Obstacles, find_obstacles
from hotfolder.pdf.looking.mixing import Mixing, find_mixing
from hotfolder.pdf.mappings import ToCondition
from hotfolder.pdf.mappings.keep_blending import KeepBlending, wrap_page
from hotfolder.pdf.render import render_page
from hotfolder.pdf.verifying.blending import measure_blending
from hotfolder.pdf.verifying.drawing_check import drawing_faults
from hotfolder.pdf.walk.outcome import WalkResult
from hotfolder.pdf.walk.walker import walk
from hotfolder.testing import embed_picture, make_pdf

CONDITION = SHIPPED["coated_europe"]
MULTIPLY, HALF = Dictionary(BM=Name.Multiply), Dictionary(ca=0.5)
PLAIN = Dictionary(ca=1, CA=1, BM=Name.Normal)
OVERLAP = Box(300, 300, 500, 600)


def two(below: str, above: str) -> bytes:
    """Two areas that overlap in OVERLAP, the upper one by the graphics state G."""
    return f"{below} rg 100 100 400 500 re f /G gs {above} rg 300 300 400 500 re f".encode()


def group(space: object, *, isolated: bool = True) -> Dictionary:
    made = Dictionary(S=Name.Transparency, I=isolated)
    if space is not None:
        made.CS = Name(space) if isinstance(space, str) else space
    return made


def build(path: Path, content: bytes, graphics: Dictionary, space: str | None, inner: Dictionary | None = None) -> Path:
    """A page with the content, in a form with the group `inner` if one is given; the page blends in `space`."""
    # Copies: what stands in one file can't be put into another.
    graphics = Object.parse(graphics.unparse())
    inner = None if inner is None else Object.parse(inner.unparse())
    make_pdf(path, changes={"/Group": group(space)} if space else {})
    with pikepdf.open(path, allow_overwriting_input=True) as pdf:
        page = pdf.pages[0].obj
        resources = Dictionary(ExtGState=Dictionary(G=graphics), XObject=Dictionary(P=embed_picture(pdf, 9, 9)))
        resources.XObject.P.SMask = embed_picture(pdf, 9, 9, "/DeviceGray")
        page.Contents, page.Resources = pdf.make_stream(content), resources
        if inner is not None:
            form = Stream(pdf, content, Type=Name.XObject, Subtype=Name.Form, BBox=Array([0, 0, 900, 1300]))
            form.Resources, form.Group = resources, inner
            page.Contents = pdf.make_stream(b"/F Do")
            page.Resources = Dictionary(XObject=Dictionary(F=pdf.make_indirect(form)))
        pdf.save(path)
    return path


RED_BLUE = two("1 0 0", "0 0 1")
INKS = b"0 1 1 0 k 100 100 400 500 re f /G gs 1 1 0 0 k 300 300 400 500 re f"
MIXING = [
    # content, graphics state, page's space, group of a form, what is found: the page, the group, or nothing
    ("page in RGB", RED_BLUE, HALF, "/DeviceRGB", None, "page"),
    ("a blend mode", RED_BLUE, MULTIPLY, "/DeviceRGB", None, "page"),
    ("inks on a page in RGB", INKS, HALF, "/DeviceRGB", None, "page"),
    ("page that names no space", RED_BLUE, HALF, None, None, "page"),
    ("inks where no space is named", INKS, HALF, None, None, ""),
    ("a picture with a soft mask", b"300 0 0 300 0 0 cm /P Do", PLAIN, "/DeviceRGB", None, "page"),
    ("page in inks", RED_BLUE, HALF, "/DeviceCMYK", None, ""),
    ("nothing mixes", RED_BLUE, PLAIN, "/DeviceRGB", None, ""),
    ("group in RGB on a page in inks", RED_BLUE, HALF, "/DeviceCMYK", group("/DeviceRGB"), "group"),
    ("group in RGB on a page in RGB", RED_BLUE, HALF, "/DeviceRGB", group("/DeviceRGB"), "page"),
    # 11.6.6: what is not isolated blends in the space of what it lies on, whatever it names
    ("not isolated", RED_BLUE, HALF, "/DeviceCMYK", group("/DeviceRGB", isolated=False), ""),
    ("group without a space", RED_BLUE, HALF, "/DeviceRGB", group(None), "page"),
    ("group in inks on a page in RGB", RED_BLUE, HALF, "/DeviceRGB", group("/DeviceCMYK"), "page"),
    ("group in inks on a page in inks", RED_BLUE, HALF, "/DeviceCMYK", group("/DeviceCMYK"), ""),
    ("no colour space at all", RED_BLUE, HALF, "/DeviceCMYK", group("/Nonsense"), ""),
]


@pytest.mark.parametrize(("content", "graphics", "space", "inner", "wanted"), [case[1:] for case in MIXING])
def test_which_pages_mix_in_rgb(
    tmp_path: Path, content: bytes, graphics: Dictionary, space: str | None, inner: Dictionary | None, wanted: str
) -> None:
    path = build(tmp_path / "p.pdf", content, graphics, space, inner)
    with pikepdf.open(path) as pdf:
        found = find_mixing(pdf)
        if wanted == "group":
            assert found == [Mixing(1, False, frozenset({pdf.pages[0].obj.Resources.XObject.F.objgen}))]
        else:
            assert found == ([Mixing(1, True, frozenset())] if wanted else [])


def test_what_a_mask_mixes_is_never_printed(tmp_path: Path) -> None:
    path = make_pdf(tmp_path / "p.pdf", content=b"/M gs 0 1 0 0 k 0 0 300 300 re f", changes={"/Group": group(None)})
    with pikepdf.open(path, allow_overwriting_input=True) as pdf:
        inside = Stream(pdf, two("1 0 0", "0 0 1"), Type=Name.XObject, Subtype=Name.Form, BBox=Array([0, 0, 900, 900]))
        inside.Group, inside.Resources = group("/DeviceRGB"), Dictionary(ExtGState=Dictionary(G=HALF))
        mask = Dictionary(S=Name.Luminosity, G=pdf.make_indirect(inside))
        pdf.pages[0].obj.Resources = Dictionary(ExtGState=Dictionary(M=Dictionary(SMask=mask)))
        assert find_mixing(pdf) == []


# ---- measuring


def expected(below: tuple[float, ...], above: tuple[float, ...], mode: str) -> float:
    """CIEDE2000 between mixing two RGB colours and mixing their inks, by the formulas of ISO 32000-1 11.3.5 and 11.3.6:
    how far the mixture of inks, as it prints, is from the designed one or its soft proof, whichever is nearer."""
    rgb = np.array([below, above])
    inks = to_condition(SRGB, CONDITION).colours(rgb)
    if mode == "Multiply":
        mixed, mixed_inks = rgb[0] * rgb[1], 1 - (1 - inks[0]) * (1 - inks[1])  # on additive values: 1 less the ink
    else:
        mixed, mixed_inks = rgb.mean(axis=0), inks.mean(axis=0)
    proof = condition_to_srgb(CONDITION, to_condition(SRGB, CONDITION).colours(mixed[None]))[0]
    came = np.repeat(condition_to_srgb(CONDITION, mixed_inks[None]), 2, axis=0)
    return float(ciede2000(srgb_lab(np.array([mixed, proof])), srgb_lab(came)).min())


MEASURED = [
    ("Multiply", (1, 0.4, 0), (0, 0.6, 1), MULTIPLY),
    ("Multiply", (0.9, 0.2, 0.2), (0.3, 0.9, 0.3), MULTIPLY),
    ("Multiply", (0, 0.4, 1), (1, 0.8, 0), MULTIPLY),
    ("Normal", (0.2, 0.3, 0.9), (0.9, 0.9, 0.1), HALF),
    ("Normal", (1, 0.6, 0), (0, 0.3, 0.8), HALF),
    ("Normal", (0.9, 0.2, 0.2), (0.2, 0.6, 0.3), HALF),
]


@pytest.mark.parametrize(("mode", "below", "above", "graphics"), MEASURED)
def test_a_large_change_is_measured_as_the_formulas_have_it(
    tmp_path: Path, mode: str, below: tuple[float, ...], above: tuple[float, ...], graphics: Dictionary
) -> None:
    content = two("{} {} {}".format(*below), "{} {} {}".format(*above))
    found = measure_blending(build(tmp_path / "p.pdf", content, graphics, "/DeviceRGB"), 1, CONDITION)
    wanted = expected(below, above, mode)
    assert wanted > 4
    assert found.worst == pytest.approx(wanted, abs=1.0)
    assert found.box.within(OVERLAP, 1)


SMALL = [
    ("white over gray", two("0.5 0.5 0.5", "1 1 1"), HALF),
    ("nothing overlaps, all is covering", two("1 0 0", "0 0 1"), PLAIN),
    ("white over colour", two("0.2 0.5 0.3", "1 1 1"), Dictionary(ca=0.05)),
]


@pytest.mark.parametrize(("content", "graphics"), [case[1:] for case in SMALL])
def test_what_hardly_changes_measures_small(tmp_path: Path, content: bytes, graphics: Dictionary) -> None:
    found = measure_blending(build(tmp_path / "p.pdf", content, graphics, "/DeviceRGB"), 1, CONDITION)
    assert found.worst < 1.5


def test_the_ordinary_conversion_does_not_count(tmp_path: Path) -> None:
    """A blue far outside of what inks can print changes, but not by being mixed: it covers what lies below."""
    content = b"0 0 1 rg 0 0 800 900 re f /G gs 0.6 g 0 0 100 100 re f"
    found = measure_blending(build(tmp_path / "p.pdf", content, Dictionary(ca=0.99), "/DeviceRGB"), 1, CONDITION)
    assert found.worst < 1.5


def test_a_page_that_cannot_be_drawn_is_told(tmp_path: Path) -> None:
    path = make_pdf(tmp_path / "p.pdf", changes={"/MediaBox": Array([0, 0, 0, 0]), "/TrimBox": None, "/BleedBox": None})
    with pytest.raises(ValueError, match="area"):
        measure_blending(path, 1, CONDITION)


# ---- keeping


def keep(path: Path) -> tuple[Path, WalkResult]:
    out = path.with_name("kept.pdf")
    with pikepdf.open(path) as pdf:
        mapping = ToCondition(replace(CONDITION, blending="keep"))
        groups: set[tuple[int, int]] = set()
        for mixing in find_mixing(pdf):
            groups |= {wrap_page(pdf, mixing.page)} if mixing.whole else mixing.groups
        mapping.kept_groups, mapping.keeper = frozenset(groups), KeepBlending(mapping)
        result = walk(pdf, mapping)
        pdf.save(out)
    return out, result


def obstacles(path: Path, *, rgb_groups: bool) -> Obstacles:
    found = Obstacles()
    with pikepdf.open(path) as pdf:
        find_obstacles(pdf, found, rgb_groups=rgb_groups)
    return found


def second_reader(path: Path, *, rgb_groups: bool) -> set[str]:
    return {fault.code for fault in drawing_faults(PdfReader(path), rgb_groups=rgb_groups)}


KEPT = [
    ("multiply", RED_BLUE, MULTIPLY, "/DeviceRGB", None),
    ("no space named", RED_BLUE, HALF, None, None),
    ("a group alone", RED_BLUE, HALF, "/DeviceCMYK", group("/DeviceRGB")),
    ("a group on a page in RGB", RED_BLUE, HALF, "/DeviceRGB", group("/DeviceRGB")),
    ("a mode that needs an empty backdrop", RED_BLUE, Dictionary(BM=Name.Difference), "/DeviceRGB", None),
    ("a picture with a soft mask", b"300 0 0 300 90 90 cm /P Do", PLAIN, "/DeviceRGB", None),
]


@pytest.mark.parametrize(("content", "graphics", "space", "inner"), [case[1:] for case in KEPT])
def test_what_is_kept_looks_as_before_and_may_be_sealed(
    tmp_path: Path, content: bytes, graphics: Dictionary, space: str | None, inner: Dictionary | None
) -> None:
    path = build(tmp_path / "p.pdf", content, graphics, space, inner)
    kept, result = keep(path)
    assert result.leftovers == []
    assert obstacles(kept, rgb_groups=True) == {}
    assert second_reader(kept, rgb_groups=True) == set()
    assert list(obstacles(kept, rgb_groups=False)) == ["colour_left"]
    assert second_reader(kept, rgb_groups=False) == {"screen_colours"}
    before, after = (np.asarray(render_page(file, 1, 30).picture, int) for file in (path, kept))
    assert abs(before - after).max() <= 2


def test_only_groups_with_a_profile_may_hold_screen_colours(tmp_path: Path) -> None:
    kept, _ = keep(build(tmp_path / "p.pdf", RED_BLUE, HALF, "/DeviceRGB"))
    for number, spoil in enumerate((_no_profile, _no_default, _not_isolated, _red_outside)):
        spoilt = tmp_path / f"spoilt-{number}.pdf"
        with pikepdf.open(kept) as pdf:
            spoil(pdf.pages[0].obj)
            pdf.save(spoilt)
        assert "colour_left" in obstacles(spoilt, rgb_groups=True), spoil
        assert second_reader(spoilt, rgb_groups=True) == {"screen_colours"}, spoil


def _whole(page: pikepdf.Object) -> pikepdf.Object:
    (form,) = page.Resources.XObject.as_dict().values()
    return form


def _no_profile(page: pikepdf.Object) -> None:
    _whole(page).Group.CS = Name.DeviceRGB
    del _whole(page).Resources.ColorSpace


def _no_default(page: pikepdf.Object) -> None:
    del _whole(page).Resources.ColorSpace


def _not_isolated(page: pikepdf.Object) -> None:
    _whole(page).Group.I = False


def _red_outside(page: pikepdf.Object) -> None:
    page.Contents.write(page.Contents.read_bytes() + b" 1 0 0 rg 0 0 9 9 re f")


def test_inks_inside_a_kept_group_stay_inks(tmp_path: Path) -> None:
    content = b"0.1 0.2 0.3 0.4 k 0 0 99 99 re f 0.5 g 0 0 50 50 re f /G gs 1 0 0 rg 0 0 9 9 re f"
    kept, _ = keep(build(tmp_path / "p.pdf", content, HALF, "/DeviceRGB"))
    with pikepdf.open(kept) as pdf:
        art = _whole(pdf.pages[0].obj).Resources.XObject.Art
        assert art.read_bytes() == content
        assert Name.DeviceCMYK == pdf.pages[0].obj.Group.CS


def test_a_profile_of_the_page_itself_is_kept(tmp_path: Path) -> None:
    path = build(tmp_path / "p.pdf", RED_BLUE, HALF, "/DeviceRGB")
    with pikepdf.open(path, allow_overwriting_input=True) as pdf:
        own = Array([Name.CalRGB, Dictionary(WhitePoint=Array([0.95, 1, 1.09]), Gamma=Array([1.8, 1.8, 1.8]))])
        pdf.pages[0].obj.Resources.ColorSpace = Dictionary(DefaultRGB=own)
        pdf.save(path)
    kept, _ = keep(path)
    with pikepdf.open(kept) as pdf:
        art = _whole(pdf.pages[0].obj).Resources.XObject.Art
        assert art.Resources.ColorSpace.DefaultRGB[0] == Name.CalRGB
    assert obstacles(kept, rgb_groups=True) == {}


def test_a_damaged_profile_gives_way_inside_a_kept_group(tmp_path: Path) -> None:
    path = build(tmp_path / "p.pdf", b"/C cs 1 0 0 sc 0 0 99 99 re f /G gs 0 0 9 9 re f", HALF, "/DeviceRGB")
    with pikepdf.open(path, allow_overwriting_input=True) as pdf:
        broken = Array([Name.ICCBased, pdf.make_stream(b"no profile", N=3)])
        pdf.pages[0].obj.Resources.ColorSpace = Dictionary(C=broken, DefaultRGB=broken)
        pdf.save(path)
    kept, result = keep(path)
    assert [remark.what for remark in result.remarks] == ["ICCBased with 3 channels"]
    with pikepdf.open(kept) as pdf:
        spaces = _whole(pdf.pages[0].obj).Resources.XObject.Art.Resources.ColorSpace
        assert Name.DeviceRGB == spaces.C
        assert spaces.DefaultRGB[1].read_bytes() == SRGB.data


def test_a_group_that_takes_its_colour_from_outside_is_left(tmp_path: Path) -> None:
    """The page says the space, the group only the numbers: kept numbers in a converted space would be nonsense."""
    content = b"0.9 0.1 0.1 sc 0 0 300 300 re f /G gs 100 100 300 300 re f"
    path = build(tmp_path / "p.pdf", content, HALF, "/DeviceCMYK", group("/DeviceRGB"))
    with pikepdf.open(path, allow_overwriting_input=True) as pdf:
        pdf.pages[0].obj.Contents = pdf.make_stream(b"/DeviceRGB cs /F Do")
        pdf.save(path)
    _, result = keep(path)
    assert [leftover.what for leftover in result.leftovers] == ["a group"]


def test_a_form_used_inside_and_outside_becomes_two(tmp_path: Path) -> None:
    path = build(tmp_path / "p.pdf", b"/G gs /Shared Do", HALF, "/DeviceCMYK", group("/DeviceRGB"))
    with pikepdf.open(path, allow_overwriting_input=True) as pdf:
        page = pdf.pages[0].obj
        form = Stream(pdf, b"1 0 0 rg 0 0 99 99 re f", Type=Name.XObject, Subtype=Name.Form)
        form.BBox, form.Resources = Array([0, 0, 99, 99]), Dictionary()
        shared = pdf.make_indirect(form)
        page.Resources.XObject.Shared = page.Resources.XObject.F.Resources.XObject.Shared = shared
        page.Contents = pdf.make_stream(b"/Shared Do /F Do")
        pdf.save(path)
    kept, result = keep(path)
    assert result.leftovers == []
    with pikepdf.open(kept) as pdf:
        drawn = pdf.pages[0].obj.Resources.XObject
        assert b" k" in drawn.Shared.read_bytes()
        assert drawn.F.Resources.XObject.Shared.read_bytes() == b"1 0 0 rg 0 0 99 99 re f"
    assert obstacles(kept, rgb_groups=True) == {}
