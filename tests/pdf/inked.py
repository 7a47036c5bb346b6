"""Pages printed in inks: what is painted on a ground of all of them, and what must come of it."""

import pikepdf
from pages import SPOT, Page
from pikepdf import Array, Name

SECOND = "[/Separation /Varnish /DeviceCMYK << /FunctionType 2 /Domain [0 1] /C0 [0 0 0 0] /C1 [.8 0 .7 0] /N 1 >>]"
ALL = "[/Separation /All /DeviceCMYK << /FunctionType 2 /Domain [0 1] /C0 [0 0 0 0] /C1 [1 1 1 1] /N 1 >>]"
NOWHERE = "[/Separation /None /DeviceCMYK << /FunctionType 2 /Domain [0 1] /C0 [0 0 0 0] /C1 [1 1 1 1] /N 1 >>]"
# The ground that most cases lie on: all process inks, and a spot ink over its lower half (y below 60).
GROUND = ".4 .2 .1 .3 k 0 0 200 200 re f /Spot cs .5 scn 0 0 200 60 re f\n"
BARE, SPOTTED = (40, 20, 10, 30, 0), (0, 0, 0, 0, 50)
UPPER, LOWER = (100, 150), (100, 30)  # places inside what a case paints, on both halves of the ground


def page() -> Page:
    made = Page()
    for name, space in (("Spot", SPOT), ("Second", SECOND), ("All", ALL), ("Nowhere", NOWHERE)):
        made.put("ColorSpace", name, space)
    tint = made.stream(
        "{ exch 0 exch dup 0.6 mul exch 4 -1 roll }", "/FunctionType 4 /Domain [0 1 0 1] /Range [0 1 0 1 0 1 0 1]"
    )
    made.put(
        "ColorSpace",
        "Duotone",
        Array([Name.DeviceN, Array([Name.Orange, Name.Black]), Name.DeviceCMYK, made.pdf.make_indirect(tint)]),
    )
    for name, entries in {
        "Over": "/OP true /op true /OPM 1",
        "Over0": "/OP true /op true /OPM 0",
        "OverLines": "/OP true /op false /OPM 1",
        "Half": "/ca .5 /CA .5",
        "Multiply": "/BM /Multiply",
        "Luminosity": "/BM /Luminosity",
        "Hue": "/BM /Hue",
        "Difference": "/BM /Difference",
    }.items():
        made.put("ExtGState", name, f"<< {entries} >>")
    made.form("Plain", "50 0 100 200 re f", resources=False)
    group = "/Group << /S /Transparency /I true /CS /DeviceCMYK >>"
    made.form("Group", ".3 .5 0 0 k 50 0 100 200 re f /Over gs 0 0 0 .8 k 50 0 100 200 re f", group)
    made.form("Lit", ".5 g 0 0 200 200 re f", "/Group << /S /Transparency /CS /DeviceGray >>")
    mask = pikepdf.Dictionary(S=Name.Luminosity, G=made.obj.Resources.XObject.Lit)
    made.put("ExtGState", "Masked", pikepdf.Dictionary(SMask=mask))
    return made


# What is painted on the ground, and the inks (cyan, magenta, yellow, black, orange) at (100, 150) and (100, 30).
PAINTED = {
    "one ink knocks out all others": ("1 0 0 0 k 50 0 100 200 re f", (100, 0, 0, 0, 0), (100, 0, 0, 0, 0)),
    "a spot ink too": ("/Spot cs .8 scn 50 0 100 200 re f", (0, 0, 0, 0, 80), (0, 0, 0, 0, 80)),
    "gray is black ink": (".3 g 50 0 100 200 re f", (0, 0, 0, 70, 0), (0, 0, 0, 70, 0)),
    "white is no ink": ("0 0 0 0 k 50 0 100 200 re f", (0, 0, 0, 0, 0), (0, 0, 0, 0, 0)),
    "registration colour is in all": ("/All cs .6 scn 50 0 100 200 re f", (60,) * 5, (60,) * 5),
    "None paints nowhere": ("/Nowhere cs 1 scn 0 0 200 200 re f", BARE, SPOTTED),
    "two inks of a mixture": ("/Duotone cs .3 .6 scn 50 0 100 200 re f", (0, 0, 0, 60, 30), (0, 0, 0, 60, 30)),
    # Overprint, 8.6.7: mode 1 spares inks of which a DeviceCMYK colour has none; mode 0 touches all process inks.
    "black overprints": ("/Over gs 0 0 0 1 k 50 0 100 200 re f", (40, 20, 10, 100, 0), (0, 0, 0, 100, 50)),
    "in mode 0 it doesn't": ("/Over0 gs 0 0 0 1 k 50 0 100 200 re f", (0, 0, 0, 100, 0), (0, 0, 0, 100, 50)),
    "two inks overprint": ("/Over gs 0 .7 0 .9 k 50 0 100 200 re f", (40, 70, 10, 90, 0), (0, 70, 0, 90, 50)),
    "white that overprints vanishes": ("/Over gs 0 0 0 0 k 50 0 100 200 re f", BARE, SPOTTED),
    "gray touches all process inks": ("/Over gs 0 g 50 0 100 200 re f", (0, 0, 0, 100, 0), (0, 0, 0, 100, 50)),
    "a spot ink overprints": ("/Over gs /Spot cs .8 scn 50 0 100 200 re f", (40, 20, 10, 30, 80), (0, 0, 0, 0, 80)),
    "only lines overprint": (
        "/OverLines gs 0 .5 0 0 k 0 0 0 1 K 60 w 100 0 m 100 200 l S", (40, 20, 10, 100, 0), (0, 0, 0, 100, 50),
    ),
    "areas beside them don't": ("/OverLines gs 0 .5 0 0 k 50 0 100 200 re B", (0, 50, 0, 0, 0), (0, 50, 0, 0, 0)),
    "overprint ends with its state": ("q /Over gs Q 0 0 0 1 k 50 0 100 200 re f", (0, 0, 0, 100, 0), (0, 0, 0, 100, 0)),
    "a form takes its caller's overprint": ("/Over gs 0 0 0 1 k /Plain Do", (40, 20, 10, 100, 0), (0, 0, 0, 100, 50)),
    "and is drawn without elsewhere": (
        "q /Over gs 0 0 0 .5 k /Plain Do Q 0 0 0 1 k /Plain Do", (0, 0, 0, 100, 0), (0, 0, 0, 100, 0),
    ),
    "a picture of inks overprints them all": (
        "/Over gs q 100 0 0 200 50 0 cm BI /W 1 /H 1 /BPC 8 /CS /CMYK ID \x00\x00\x00\xff EI Q",
        (0, 0, 0, 100, 0), (0, 0, 0, 100, 50),
    ),
    "a stencil overprints as its colour does": (
        "/Over gs 0 0 0 1 k q 100 0 0 200 50 0 cm BI /W 1 /H 1 /IM true ID \x00 EI Q", (40, 20, 10, 100, 0), (0, 0, 0, 100, 50),
    ),
    # Transparency, 11.3: per ink, on 1 minus its amount.
    "half of what is painted": ("/Half gs 1 0 0 0 k 50 0 100 200 re f", (70, 10, 5, 15, 0), (50, 0, 0, 0, 25)),
    "half of a stencil": (
        "/Half gs 1 0 0 0 k q 100 0 0 200 50 0 cm BI /W 1 /H 1 /IM true ID \x00 EI Q", (70, 10, 5, 15, 0), (50, 0, 0, 0, 25),
    ),
    "multiplied": (  # 1 - (1 - .4)(1 - .5) = .7
        "/Multiply gs .5 0 0 0 k 50 0 100 200 re f", (70, 20, 10, 30, 0), (50, 0, 0, 0, 50),
    ),
    "spot inks take no Difference (11.7.4.2)": ("/Difference gs 0 0 0 0 k 50 0 100 200 re f", None, (100, 100, 100, 100, 0)),
    "black stays where hues mix (11.3.5.3)": ("/Hue gs 0 1 1 .9 k 50 0 100 200 re f", (None, None, None, 30, 0), None),
    "black is the source's where lightness mixes": (
        "/Luminosity gs 0 1 1 .9 k 50 0 100 200 re f", (None, None, None, 90, 0), None,
    ),
    # Overprint inside a group, 11.7.4.3: the group is opaque there, but the ink below inside it stays.
    "overprint inside an isolated group": ("/Group Do", (30, 50, 0, 80, 0), (30, 50, 0, 80, 0)),
    "a soft mask counts by its lightness": ("/Masked gs 1 0 0 0 k 50 0 100 200 re f", (70, 10, 5, 15, 0), (50, 0, 0, 0, 25)),
}  # fmt: skip
