"""Single inks of a gradient's function are what the whole function gives for them."""

import numpy as np
import pikepdf
import pytest
from pikepdf import Array, Dictionary, Stream

from hotfolder.pdf.values.functions import read_function
from hotfolder.pdf.values.picked import picked


def table(pdf: pikepdf.Pdf, entries: str, count: int) -> Stream:
    made = Stream(pdf, np.random.default_rng(3).integers(0, 256, count, dtype=np.uint8).tobytes())
    for key, value in pikepdf.Object.parse(f"<< /FunctionType 0 /BitsPerSample 8 {entries} >>".encode()).items():
        made[key] = value
    return made


def curve(pdf: pikepdf.Pdf, power: float = 2.0) -> Dictionary:
    return Dictionary(FunctionType=2, Domain=[0, 1], C0=Array([0, 0.2, 1, 0.4]), C1=Array([0.9, 0, 0.1, 0.4]), N=power)


def stitched(pdf: pikepdf.Pdf) -> Dictionary:
    parts = [curve(pdf), table(pdf, "/Domain [0 1] /Range [0 1 0 1 0 1 0 1] /Size [5]", 20)]
    return Dictionary(
        FunctionType=3, Domain=[0, 3], Functions=Array(parts), Bounds=Array([1.5]), Encode=Array([0, 1, 1, 0])
    )


FUNCTIONS = {
    "a curve": curve,
    "a table": lambda pdf: table(pdf, "/Domain [0 1] /Range [0 1 0 1 0 1 0 1] /Size [9]", 36),
    "a table with a decode array": lambda pdf: table(
        pdf, "/Domain [-1 2] /Range [0 1 0 1 0 1 0 1] /Decode [1 0 0 .5 .2 .9 0 1] /Encode [8 0] /Size [9]", 36
    ),
    "a field": lambda pdf: table(pdf, "/Domain [0 1 0 1] /Range [0 1 0 1 0 1 0 1] /Size [4 3]", 48),
    "parts of both": stitched,
}


@pytest.mark.parametrize("name", FUNCTIONS)
@pytest.mark.parametrize("places", [[0, 1, 2], [3], [-1, 3, -1]])
def test_single_inks_of_a_function(name: str, places: list[int]) -> None:
    pdf = pikepdf.new()
    found = FUNCTIONS[name](pdf)
    whole, part = read_function(found), read_function(picked(pdf, found, places))
    rows = np.random.default_rng(5).uniform(-1, 3, (400, whole.inputs))
    wanted = 1 - np.concatenate([whole(rows), np.zeros((400, 1))], axis=1)[:, places]
    assert abs(part(rows) - wanted).max() <= 1e-4


def test_what_must_be_computed_is_left_to_it() -> None:
    pdf = pikepdf.new()
    program = Stream(pdf, b"{ dup dup dup }")
    program.FunctionType, program.Domain, program.Range = 4, Array([0, 1]), Array([0, 1] * 4)
    assert picked(pdf, program, [0]) is None
    assert picked(pdf, table(pdf, "/Domain [0 1] /Range [0 1] /Decode [-1 2] /Size [5]", 5), [0]) is None
    limited = curve(pdf)
    limited.Range = Array([0, 0.5] * 4)
    assert picked(pdf, limited, [0]) is None
    with pytest.raises(ValueError, match="doesn't fit"):
        picked(pdf, curve(pdf), [4])
