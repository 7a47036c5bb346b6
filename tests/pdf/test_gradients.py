"""Gradients: a converted one looks as the original converted at every place; reference is another way to compute it."""

import io
import itertools
import shutil
import subprocess
import tempfile
from collections.abc import Callable

import numpy as np
import pikepdf
import pypdfium2
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pikepdf import Array, Dictionary, Name, Object, Stream
from PIL import Image

from hotfolder.colour.condition import SHIPPED
from hotfolder.colour.difference import ciede2000
from hotfolder.colour.profile import SRGB
from hotfolder.colour.transform import condition_lab, gray_to_black, to_condition
from hotfolder.pdf.mappings import Mapping, ToCondition
from hotfolder.pdf.values.functions import read_function
from hotfolder.pdf.values.spaces import RGB, Floats, Space, SpaceReader
from hotfolder.pdf.walk.mapping import KEEP, Fate, Plan
from hotfolder.pdf.walk.mesh_pieces import Pieces, patch, triangle
from hotfolder.pdf.walk.outcome import WalkResult
from hotfolder.pdf.walk.walker import walk

CONDITION = SHIPPED["coated_europe"]
PLACES = np.random.default_rng(1).random(4000)


def page_with(shading: str, data: bytes | None = None, more: dict[str, Object] | None = None) -> pikepdf.Pdf:
    """A page of 200 by 200 points that a gradient fills."""
    pdf = pikepdf.new()
    pdf.add_blank_page(page_size=(200, 200))
    found = Object.parse(f"<< {shading} >>".encode())
    if data is not None:
        stream = Stream(pdf, data)
        for key in found.keys():  # noqa: SIM118
            stream[key] = found[key]
        found = stream
    for key, value in (more or {}).items():
        found[key] = value
    pdf.pages[0].obj.Resources = Dictionary(Shading=Dictionary(S=pdf.make_indirect(found)))
    pdf.pages[0].obj.Contents = pdf.make_stream(b"/S sh")
    return pdf


def shading_of(pdf: pikepdf.Pdf) -> Object:
    return pdf.pages[0].obj.Resources.Shading.S


def convert(pdf: pikepdf.Pdf) -> WalkResult:
    return walk(pdf, ToCondition(CONDITION))


def true_inks(rgb: Floats) -> Floats:
    """Gray all along is black ink alone; else each colour as the profile has it."""
    if (rgb == rgb[:, :1]).all():
        return gray_to_black(SRGB, CONDITION).colours(rgb[:, :1])
    return to_condition(SRGB, CONDITION).colours(rgb)


def apart(one: Floats, other: Floats) -> float:
    return float(ciede2000(condition_lab(CONDITION, one), condition_lab(CONDITION, other)).max())


# Along a line: types 2 and 3, and meshes with a function


TWO = "<< /FunctionType 2 /Domain [0 1] /C0 [{}] /C1 [{}] /N {} >>"
STOPS = TWO.format("1 0 0", "1 1 0", 1) + TWO.format("0 0 1", "0 1 1", 0.4) + TWO.format("0 1 0", "0 1 0", 3)
RAMPS = {
    "red to green": TWO.format("1 0 0", "0 1 0", 1),
    "blue to yellow": TWO.format("0 0 1", "1 1 0", 1),
    "black to white": TWO.format("0 0 0", "1 1 1", 1),
    "a steep power": TWO.format("0 0 0.4", "1 1 0", 12),
    "a power that begins steeply": TWO.format("1 0 1", "0 1 0", 0.1),
    "three colours with jumps": f"<< /FunctionType 3 /Domain [0 1] /Functions [{STOPS}] /Bounds [.3 .301]"
    " /Encode [0 1 1 0 0 1] >>",
    "two jumps at one place": f"<< /FunctionType 3 /Domain [0 1] /Functions [{STOPS}] /Bounds [.5 .5]"
    " /Encode [0 1 0 1 0 1] >>",
    "one function for each number": "[" + "".join(f"<< /FunctionType 2 /Domain [0 1] /C0 [{a}] /C1 [{b}] /N {n} >>"
        for a, b, n in ((0, 1, 1), (1, 0, 2), (0.5, 0.1, 1))) + "]",
}  # fmt: skip
PROGRAMS = {
    "a jump in a program": "{ dup .37 gt { pop 1 0 0 } { 0 exch 1 } ifelse }",
    "many jumps": "{ 20 mul cvi 2 mod dup 1 exch sub .5 exch }",
    "waves": "{ dup 3600 mul sin .5 mul .5 add exch dup 720 mul cos abs exch }",
}


@pytest.mark.parametrize("kind", ["/ShadingType 2 /Coords [0 0 200 0]", "/ShadingType 3 /Coords [99 99 0 99 99 80]"])
@pytest.mark.parametrize("case", [*RAMPS, *PROGRAMS])
def test_a_ramp_is_true_everywhere(case: str, kind: str) -> None:
    pdf = page_with(f"{kind} /ColorSpace /DeviceRGB /Extend [true false] /Function {RAMPS.get(case, 'null')}")
    if case in PROGRAMS:
        program = Stream(pdf, PROGRAMS[case].encode())
        program.FunctionType, program.Domain, program.Range = 4, Array([0, 1]), Array([0, 1, 0, 1, 0, 1])
        shading_of(pdf).Function = pdf.make_indirect(program)
    before = read_function(shading_of(pdf).Function)
    result = convert(pdf)
    assert result.leftovers == []
    after = shading_of(pdf)
    assert (after.ColorSpace, list(after.Extend)) == (Name.DeviceCMYK, [True, False])
    places = np.concatenate([PLACES[PLACES > 1e-6], [0.26, 1]])
    assert apart(read_function(after.Function)(places[:, None]), true_inks(before(places[:, None]))) < 1


COLOURS = st.tuples(*[st.floats(0, 1)] * 3)


@settings(max_examples=12, deadline=None, derandomize=True)
@given(st.lists(COLOURS, min_size=2, max_size=6), st.floats(0.05, 20), st.sampled_from([(0, 1), (-3, 7), (0, 0.001)]))
def test_any_ramp_of_powers_is_true_everywhere(
    stops: list[tuple[float, ...]], power: float, domain: tuple[float, float]
) -> None:
    parts = [
        Dictionary(FunctionType=2, Domain=Array([0, 1]), C0=Array(list(a)), C1=Array(list(b)), N=power)
        for a, b in itertools.pairwise(stops)
    ]
    low, high = domain
    bounds = [low + (high - low) * i / len(parts) for i in range(1, len(parts))]
    function = Dictionary(
        FunctionType=3, Domain=Array(list(domain)), Functions=Array(parts), Bounds=Array(bounds),
        Encode=Array([0, 1] * len(parts)),
    )  # fmt: skip
    pdf = page_with(f"/ShadingType 2 /Coords [0 0 9 9] /ColorSpace /DeviceRGB /Domain [{low} {high}]")
    shading_of(pdf).Function = function
    before = read_function(shading_of(pdf).Function)
    assert convert(pdf).leftovers == []
    places = (low + PLACES[:1500] * (high - low))[:, None]
    near_bend = (abs(places - np.array(bounds or [1e9])) < (high - low) * 1e-3).any(axis=1)  # six decimals in the file
    assert apart(read_function(shading_of(pdf).Function)(places[~near_bend]), true_inks(before(places[~near_bend]))) < 1


@pytest.mark.parametrize("domain", ["[1 0]", "[.5 .5]", "[2 5]"])
def test_a_domain_may_run_backwards_stand_still_or_lie_beyond_the_functions(domain: str) -> None:
    function = TWO.format("1 0 0", "0 0 1", 1)
    pdf = page_with(f"/ShadingType 2 /Coords [0 0 9 9] /ColorSpace /DeviceRGB /Domain {domain} /Function {function}")
    before = read_function(shading_of(pdf).Function)
    assert convert(pdf).leftovers == []
    after = shading_of(pdf)
    assert [float(x) for x in after.Domain] == [float(x) for x in domain[1:-1].split()]
    places = np.linspace(float(after.Domain[0]), float(after.Domain[1]), 101)[:, None]
    assert apart(read_function(after.Function)(places), true_inks(before(places))) < 1


def test_a_background_meets_its_gradient_and_box_and_smoothing_stay() -> None:
    function = TWO.format("1 0 0", "0.5 0.5 0.5", 1)
    pdf = page_with(
        "/ShadingType 2 /Coords [0 0 9 9] /ColorSpace /DeviceRGB /Background [.5 .5 .5] /BBox [1 2 3 4]"
        f" /AntiAlias true /Function {function}"
    )
    convert(pdf)
    after = shading_of(pdf)
    end = read_function(after.Function)(np.array([[1.0]]))[0]
    assert [float(x) for x in after.Background] == pytest.approx(end.tolist(), abs=1e-4)
    assert ([int(x) for x in after.BBox], after.AntiAlias) == ([1, 2, 3, 4], True)


def test_a_rule_for_the_whole_gradient_holds_for_each_of_its_pieces() -> None:
    """Black to white and back is gray, but for one narrow spike of red: then nothing of it is black ink alone."""
    stops = [
        ("0 0 0", "1 1 1", ".5"),
        ("1 1 1", "1 0 0", ".5001"),
        ("1 0 0", "1 1 1", ".5002"),
        ("1 1 1", "0 0 0", "1"),
    ]
    parts = " ".join(TWO.format(one, other, 1) for one, other, _ in stops)
    bounds = " ".join(end for _, _, end in stops[:-1])
    function = f"<< /FunctionType 3 /Domain [0 1] /Functions [{parts}] /Bounds [{bounds}] /Encode [{'0 1 ' * 4}] >>"
    pdf = page_with(f"/ShadingType 2 /Coords [0 0 9 9] /ColorSpace /DeviceRGB /Function {function}")
    before = read_function(shading_of(pdf).Function)
    convert(pdf)
    places = PLACES[:500, None]
    inks = read_function(shading_of(pdf).Function)(places)
    assert inks[:, :3].max() > 0.5
    assert apart(inks, to_condition(SRGB, CONDITION).colours(before(places))) < 1


def test_the_same_run_of_colours_is_computed_once() -> None:
    function = TWO.format("1 0 0", "0 0 1", 1)
    pdf = page_with(f"/ShadingType 2 /Coords [0 0 9 9] /ColorSpace /DeviceRGB /Function {function}")
    shadings = pdf.pages[0].obj.Resources.Shading
    for name, text in (("A", function), ("B", function.replace("1 0 0", ".9 0 0"))):
        facts = f"<< /ShadingType 3 /Coords [0 0 0 9 9 9] /ColorSpace /DeviceRGB /Function {text} >>"
        shadings[f"/{name}"] = pdf.make_indirect(Object.parse(facts.encode()))
    pdf.pages[0].obj.Contents = pdf.make_stream(b"/S sh /A sh /B sh")
    convert(pdf)
    after = pdf.pages[0].obj.Resources.Shading
    assert after.S.Function.objgen == after.A.Function.objgen
    assert after.S.Function.objgen != after.B.Function.objgen


SPACES = {
    "CalRGB": "[/CalRGB << /WhitePoint [.9505 1 1.089] /Gamma [1.8 1.8 1.8]"
    " /Matrix [.4497 .2446 .0252 .3163 .672 .1412 .1845 .0833 .9227] >>]",
    "Lab": "[/Lab << /WhitePoint [.9642 1 .8249] /Range [-100 100 -100 100] >>]",
    "CalGray": "[/CalGray << /WhitePoint [.9642 1 .8249] /Gamma 2.2 >>]",
}
ENDS = {"CalRGB": ("1 0 0", "0 .5 1"), "Lab": ("90 -60 60", "20 50 -70"), "CalGray": ("0", "1")}


@pytest.mark.parametrize("kind", SPACES)
def test_ramps_in_other_spaces(kind: str) -> None:
    pdf = page_with(
        f"/ShadingType 2 /Coords [0 0 9 9] /ColorSpace {SPACES[kind]} /Function {TWO.format(*ENDS[kind], 1)}"
    )
    before, space = shading_of(pdf).Function, SpaceReader().read(shading_of(pdf).ColorSpace, None)
    values = read_function(before)(PLACES[:3000, None])
    convert(pdf)
    true = ToCondition(CONDITION).colours(space, values, True)
    assert apart(read_function(shading_of(pdf).Function)(PLACES[:3000, None]), true) < 1


@pytest.mark.parametrize(
    "function",
    [
        "<< /FunctionType 2 /Domain [0 1] /C0 [-900000000 0 0] /C1 [900000000 1 1] /N -90 >>",
        "<< /FunctionType 2 /Domain [-1 1] /C0 [0 0 0] /C1 [1 1 1] /N 0.5 >>",
        "<< /FunctionType 2 /Domain [0 1] /C0 [0 0 0] /C1 [0 0 1] /N 800000000 >>",
    ],
)
def test_functions_that_leave_all_bounds_are_harmless(function: str) -> None:
    pdf = page_with(f"/ShadingType 2 /Coords [0 0 9 9] /ColorSpace /DeviceRGB /Domain [-1 1] /Function {function}")
    assert all(left.what == "a gradient" for left in convert(pdf).leftovers)


# Every type, as another program draws it


class Squared(Mapping):
    """Every number of DeviceRGB times itself: what is mixed between corners is then no longer the same, unless cut."""

    target = RGB

    def plan(self, space: Space, pdf: pikepdf.Pdf) -> Plan:
        return Plan(Fate.CONVERT) if space.kind in ("DeviceRGB", "Indexed") else KEEP

    def colours(self, space: Space, values: Floats, smooth: bool) -> Floats:
        return np.asarray(np.clip(values, 0, 1) ** 2)


def _bytes(*rows: tuple[int, ...]) -> bytes:
    return b"".join(map(bytes, rows))


CORNER = "/BitsPerCoordinate 8 /BitsPerComponent 8 /Decode [0 200 0 200 0 1 0 1 0 1]"
FREE = _bytes(
    (0, 10, 10, 255, 0, 0), (0, 240, 20, 0, 255, 0), (0, 120, 240, 0, 0, 255),
    (1, 250, 250, 255, 255, 255), (2, 255, 130, 0, 0, 0),
)  # fmt: skip
LATTICE = _bytes(
    *[(x, y, (x * 7) % 256, (y * 5) % 256, (x + y) % 256) for y in (5, 100, 250) for x in (5, 90, 160, 250)]
)
EDGE = ((20, 20), (0, 90), (60, 160), (20, 230), (90, 255), (160, 200), (230, 230), (255, 160), (200, 90), (230, 20),
        (160, 0), (90, 60))  # fmt: skip
INNER = ((90, 90), (60, 150), (180, 160), (140, 60))
FOUR = ((255, 0, 0), (255, 255, 0), (0, 0, 255), (0, 255, 128))
COONS = bytes([0]) + _bytes(*EDGE, *FOUR)
# Shares its edge 2 with the one before (table 85): eight points and two colours of its own.
NEXT = bytes([2]) + _bytes((236, 15), (245, 15), (250, 20), (252, 100), (253, 150), (250, 230), (245, 240), (238, 240),
                           (255, 255, 255), (0, 0, 0))  # fmt: skip
TENSOR = bytes([0]) + _bytes(*EDGE, *INNER, *FOUR)
RAMP = TWO.format("1 0 0", "0 1 1", 1)
SAMPLED_FIELD = "/FunctionType 0 /Domain [0 1 0 1] /Range [0 1 0 1 0 1] /Size [3 3] /BitsPerSample 8"
KINDS: dict[str, tuple[str, bytes | None]] = {
    "1 field": ("/ShadingType 1 /ColorSpace /DeviceRGB /Domain [0 1 0 1] /Matrix [200 0 0 200 0 0]", None),
    "2 axial": (f"/ShadingType 2 /ColorSpace /DeviceRGB /Coords [20 30 170 160] /Function {RAMP}", None),
    "3 radial": (f"/ShadingType 3 /ColorSpace /DeviceRGB /Coords [80 90 10 120 110 90] /Function {RAMP}"
                 " /Extend [true true]", None),
    "4 triangles": (f"/ShadingType 4 /ColorSpace /DeviceRGB /BitsPerFlag 8 {CORNER}", FREE),
    "5 lattice": (f"/ShadingType 5 /ColorSpace /DeviceRGB /VerticesPerRow 4 {CORNER}", LATTICE),
    "6 coons": (f"/ShadingType 6 /ColorSpace /DeviceRGB /BitsPerFlag 8 {CORNER}", COONS + NEXT),
    "7 tensor": (f"/ShadingType 7 /ColorSpace /DeviceRGB /BitsPerFlag 8 {CORNER}", TENSOR),
    "4 with a function": (
        f"/ShadingType 4 /ColorSpace /DeviceRGB /BitsPerFlag 8 /BitsPerCoordinate 8 /BitsPerComponent 8"
        f" /Decode [0 200 0 200 0 1] /Function {RAMP}",
        _bytes((0, 10, 10, 0), (0, 240, 20, 128), (0, 120, 240, 255))),
}  # fmt: skip


def build(kind: str) -> pikepdf.Pdf:
    shading, data = KINDS[kind]
    pdf = page_with(shading, data)
    if kind == "1 field":
        table = bytes(
            [255, 0, 0, 0, 0, 255, 255, 255, 0, 0, 255, 0, 255, 255, 255, 0, 0, 0, 9, 99, 200, 255, 0, 255, 80, 80, 0]
        )
        function = Stream(pdf, table)
        for key, value in Object.parse(f"<< {SAMPLED_FIELD} >>".encode()).items():
            function[key] = value
        shading_of(pdf).Function = pdf.make_indirect(function)
    return pdf


def drawn(pdf: pikepdf.Pdf) -> np.ndarray:
    saved = io.BytesIO()
    pdf.save(saved)
    page = pypdfium2.PdfDocument(saved.getvalue())[0]
    return page.render(scale=1, rev_byteorder=True).to_numpy()[:, :, :3] / 255.0


def inside(picture: np.ndarray) -> np.ndarray:
    """Where something is painted and no edge is near."""
    painted = (picture != 1).any(axis=2)
    kept = painted.copy()
    for axis in (0, 1):
        for step in (-3, -2, -1, 1, 2, 3):
            kept &= np.roll(painted, step, axis)
    return kept


def drawn_by_ghostscript(pdf: pikepdf.Pdf) -> np.ndarray:
    if shutil.which("gs") is None:
        pytest.skip("Ghostscript is not installed here")
    with tempfile.TemporaryDirectory() as folder:
        pdf.save(f"{folder}/a.pdf")
        command = ["gs", "-q", "-dNOPAUSE", "-dBATCH", "-dSAFER", "-sDEVICE=png16m", "-r72"]
        subprocess.run([*command, "-o", f"{folder}/a.png", f"{folder}/a.pdf"], check=True)
        return np.asarray(Image.open(f"{folder}/a.png").convert("RGB")) / 255.0


# PDFium joins a table of two inputs by a rule of its own, and leaves out lines where a triangle's corner is level with
# a row of pixels, so Ghostscript alone judges these two.
DRAWN = [(kind, drawn) for kind in KINDS if kind not in ("1 field", "4 triangles")]
DRAWN += [(kind, drawn_by_ghostscript) for kind in KINDS]


@pytest.mark.parametrize(("kind", "draw"), DRAWN)
def test_every_type_drawn(kind: str, draw: Callable[[pikepdf.Pdf], np.ndarray]) -> None:
    """Squared by the mapping and drawn, against drawn and squared then: the same within the gradient's own limit."""
    before = draw(build(kind))
    pdf = build(kind)
    result = walk(pdf, Squared())
    assert result.leftovers == []
    after = draw(pdf)
    where = inside(before) & inside(after)
    assert where.mean() > 0.1
    off = abs(after - before**2).max(axis=2)[where]
    # Both pictures are rounded to 255 steps, and a square doubles the error of one; Ghostscript draws gradients in
    # steps of up to two percent (its SmoothnessTolerance).
    assert off.mean() < (0.015 if draw is drawn_by_ghostscript else 0.008)
    assert np.percentile(off, 99) < (0.025 if draw is drawn_by_ghostscript else 0.016)


# Cutting


def surface(points: Floats, u: float, v: float) -> Floats:
    """A tensor patch at (u, v): the sum of 8.7.4.5.8, from the clause."""
    weigh = [np.array([(1 - t) ** 3, 3 * t * (1 - t) ** 2, 3 * t**2 * (1 - t), t**3]) for t in (u, v)]
    return np.einsum("i,j,ijx->x", *weigh, points.reshape(4, 4, 2))


def bilinear(colours: Floats, u: float, v: float) -> Floats:
    c00, c03, c33, c30 = colours
    return np.asarray((1 - u) * ((1 - v) * c00 + v * c03) + u * ((1 - v) * c30 + v * c33))


@settings(max_examples=30, deadline=None, derandomize=True)
@given(st.integers(0, 2**32), st.floats(0, 1), st.floats(0, 1))
def test_a_cut_patch_is_the_same_surface_with_the_same_colours(seed: int, s: float, t: float) -> None:
    random = np.random.default_rng(seed)
    whole = Pieces(patch(), random.random((1, 16, 2)), random.random((1, 4, 3)), np.zeros((1, 3)))
    parts = whole.cut(0)
    for index in range(4):
        _, v, u = parts.order[index]
        assert np.allclose(surface(parts.points[index], s, t), surface(whole.points[0], u + s / 2, v + t / 2))
        assert np.allclose(bilinear(parts.colours[index], s, t), bilinear(whole.colours[0], u + s / 2, v + t / 2))


def test_a_cut_triangle_is_the_same_triangle_with_the_same_colours() -> None:
    random = np.random.default_rng(5)
    corners, colours = random.random((1, 3, 2)), random.random((1, 3, 3))
    parts = Pieces(triangle(), corners, colours, np.zeros((1, 3))).cut(0)
    weights = np.linalg.solve(
        np.vstack([corners[0].T, np.ones(3)]), np.vstack([parts.points.reshape(-1, 2).T, np.ones(12)])
    )
    assert np.allclose(weights.T @ colours[0], parts.colours.reshape(-1, 3))
    (ax, ay), (bx, by), (cx, cy) = corners[0]
    whole = abs((bx - ax) * (cy - ay) - (cx - ax) * (by - ay))
    sides = parts.points[:, 1:] - parts.points[:, :1]
    assert np.allclose(abs(np.linalg.det(sides)), whole / 4)


def test_mesh_colours_are_true_between_corners() -> None:
    """Random places in a triangle: the colours mixed as before and converted, against those mixed of the new corners."""
    data = _bytes((0, 0, 0, 255, 0, 0), (0, 255, 0, 0, 255, 0), (0, 0, 255, 0, 0, 255))
    pdf = page_with(KINDS["4 triangles"][0], data)
    result = convert(pdf)
    assert result.leftovers == []
    assert [remark.what for remark in result.remarks] == ["a gradient mesh"]
    new = shading_of(pdf)
    record = np.dtype([("flag", "u1"), ("at", ">u4", 2), ("inks", ">u2", 4)])
    vertices = np.frombuffer(new.read_bytes(), record).reshape(-1, 3)
    places = np.random.default_rng(2).dirichlet([1, 1, 1], 2000)  # weights of the three corners
    true = true_inks(places @ np.eye(3))
    at = places[:, 1:]  # the corners lie at 0, x and y
    found = np.full((len(at), 4), np.nan)
    for three in vertices:
        corner = three["at"] / (2.0**32 - 1)
        weights = np.linalg.solve(np.vstack([corner.T, np.ones(3)]), np.vstack([at.T, np.ones(len(at))])).T
        inside_it = (weights > -1e-6).all(axis=1)
        found[inside_it] = weights[inside_it] @ (three["inks"] / 65535)
    assert apart(found, true) < 1


@pytest.mark.parametrize(("kind", "flag"), [(4, 2), (5, 0)])
def test_records_that_end_inside_a_byte(kind: int, flag: int) -> None:
    """8.7.4.5.5: each vertex fills whole bytes; here 2 or 0 bits of flag, 12 for a place, 4 for a number."""
    places = [(0, 0), (4095, 0), (0, 4095), (4095, 4095)][: 3 if kind == 4 else 4]
    data = b""
    for x, y in places:
        bits = "0" * flag + f"{x:012b}{y:012b}" + "1111" * 3
        data += int(bits.ljust(40, "0"), 2).to_bytes(5, "big")
    entries = "/BitsPerFlag 2" if kind == 4 else "/VerticesPerRow 2"
    pdf = page_with(
        f"/ShadingType {kind} /ColorSpace /DeviceRGB {entries} /BitsPerCoordinate 12 /BitsPerComponent 4"
        " /Decode [0 200 0 200 0 1 0 1 0 1]", data
    )  # fmt: skip
    assert convert(pdf).leftovers == []
    after = shading_of(pdf).read_bytes()
    size = len(after) // len(places)
    assert size == -(-(flag + 24 + 64) // 8)
    for index, (x, y) in enumerate(places):
        record = f"{int.from_bytes(after[index * size : (index + 1) * size], 'big'):0{8 * size}b}"
        assert record == ("0" * flag + f"{x:012b}{y:012b}" + "0" * 64).ljust(8 * size, "0")  # white: no ink


def test_an_indexed_mesh_mixes_in_the_space_its_table_is_in() -> None:
    """8.7.4.4: colours of a table are turned into its base space before they are mixed."""
    shading = "/ShadingType 4 /ColorSpace [/Indexed /DeviceRGB 2 <FF000000FF000000FF>] /BitsPerFlag 8"
    shading += " /BitsPerCoordinate 8 /BitsPerComponent 8 /Decode [0 200 0 200 0 255]"
    pdf = page_with(shading, _bytes((0, 0, 0, 0), (0, 255, 0, 1), (0, 0, 255, 2)))
    walk(pdf, Squared())
    plain = page_with(
        KINDS["4 triangles"][0], _bytes((0, 0, 0, 255, 0, 0), (0, 255, 0, 0, 255, 0), (0, 0, 255, 0, 0, 255))
    )
    walk(plain, Squared())
    assert shading_of(pdf).ColorSpace == Name.DeviceRGB
    assert shading_of(pdf).read_bytes() == shading_of(plain).read_bytes()


# Hostile


HOSTILE = {
    "unknown type": ("/ShadingType 9 /ColorSpace /DeviceRGB", None, "unknown kind"),
    "a mesh without data": ("/ShadingType 4 /ColorSpace /DeviceRGB", None, "unknown kind"),
    "no function": ("/ShadingType 2 /ColorSpace /DeviceRGB /Coords [0 0 1 1]", None, "no colours"),
    "a function for another space": (
        f"/ShadingType 2 /ColorSpace /DeviceRGB /Function {TWO.format('0', '1', 1)}", None, "doesn't fit"),
    "a function inside itself": ("/ShadingType 2 /ColorSpace /DeviceRGB /Function LOOP", None, "without end"),
    "a table with a function": (
        f"/ShadingType 2 /ColorSpace [/Indexed /DeviceRGB 0 <000000>] /Function {TWO.format('0', '1', 1)}", None,
        "colour table"),
    "begins in the middle": (KINDS["4 triangles"][0], bytes([1, 0, 0, 0, 0, 0]), "in the middle"),
    "a patch that begins in the middle": (KINDS["6 coons"][0], NEXT, "in the middle"),
    "empty": (KINDS["4 triangles"][0], b"", "empty"),
    "two corners": (KINDS["4 triangles"][0], FREE[:12], "no whole triangle"),
    "one column": (KINDS["5 lattice"][0].replace("Row 4", "Row 1"), LATTICE, "too short"),
    "widths": (KINDS["4 triangles"][0].replace("Component 8", "Component 7"), FREE, "can't be read"),
    "no flags": (KINDS["4 triangles"][0].replace("/BitsPerFlag 8", ""), FREE, "can't be read"),
    "field over nothing": ("/ShadingType 1 /ColorSpace /DeviceRGB /Domain [0 0 0 1] /Function NOISE", None, "over nothing"),
    "a field of noise": ("/ShadingType 1 /ColorSpace /DeviceRGB /Function NOISE", None, "too abruptly"),
    "a ramp of noise": ("/ShadingType 2 /ColorSpace /DeviceRGB /Function NOISE1", None, "too often"),
    "curves": ("/ShadingType 2 /ColorSpace /DeviceRGB /Function CURVES", None, "joined by curves"),
    "a table cut short": ("/ShadingType 2 /ColorSpace /DeviceRGB /Function SHORT", None, "cut short"),
}  # fmt: skip
NOISE = "{ pop 1000003 mul cvi 7919 mod 97 mul 256 mod 256 div dup dup }"


def odd_function(pdf: pikepdf.Pdf, kind: str) -> Object:
    if kind == "LOOP":
        loop = pdf.make_indirect(
            Dictionary(FunctionType=3, Domain=Array([0, 1]), Bounds=Array([]), Encode=Array([0, 1]))
        )
        loop.Functions = Array([loop])
        return loop
    data, n = NOISE.encode() if kind == "NOISE" else NOISE.replace("pop ", "").encode(), 2 if kind == "NOISE" else 1
    stream = Stream(pdf, data if kind.startswith("NOISE") else bytes(9 if kind == "CURVES" else 5))
    stream.FunctionType = 4 if kind.startswith("NOISE") else 0
    stream.Domain, stream.Range = Array([0, 1] * n), Array([0, 1] * 3)
    if not kind.startswith("NOISE"):
        stream.Size, stream.BitsPerSample, stream.Order = Array([3]), 8, 3 if kind == "CURVES" else 1
    return pdf.make_indirect(stream)


@pytest.mark.parametrize("case", HOSTILE)
def test_what_cannot_be_true_is_left_and_told(case: str) -> None:
    shading, data, why = HOSTILE[case]
    shading, _, odd = (
        shading.partition("/Function ") if shading.split()[-1].isupper() or "NOISE1" in shading else (shading, "", "")
    )
    pdf = page_with(shading, data)
    if odd:
        shading_of(pdf).Function = odd_function(pdf, odd.strip())
    before = shading_of(pdf).unparse(resolved=False)
    (left,) = convert(pdf).leftovers
    assert left.what == "a gradient"
    assert why in left.why
    assert shading_of(pdf).unparse(resolved=False) == before
