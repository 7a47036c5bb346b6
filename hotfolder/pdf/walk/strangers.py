"""Finds words in drawing instructions that are no instructions: programs differ in what they make of what follows."""

import re
from collections.abc import Sequence

from hotfolder.pdf.walk.content import REGULAR, TOKEN, inline_picture, string_end
from hotfolder.pdf.walk.plain_runs import PlainRun

# All operators of ISO 32000-1 annex A.
_OPERATORS = frozenset(
    b"b B b* B* BDC BI BMC BT BX c cm CS cs d d0 d1 Do DP EI EMC ET EX f F f* G g gs h i ID j J K k l m M MP n q Q re RG"
    b" rg ri s S SC sc SCN scn sh T* Tc Td TD Tf Tj TJ TL Tm Tr Ts Tw Tz v w W W* y ' \"".split()
) | {b"true", b"false", b"null"}
_MOST = 5
_DIGITS = b"+-.0123456789"
# White space and brackets part words; which digits a number has does not matter.
_SHAPES = bytes(0x20 if c in b"\0\t\n\f\r ()<>[]{}" else 0x30 if c in b"0123456789" else c for c in range(256))
_KNOWN_SHAPES = {word.translate(_SHAPES) for word in _OPERATORS} - {b"BI", b"BX", b"EX"}

# What needs no second look, at the speed of a regular expression. BI, BX and texts in brackets within brackets do.
_ENDS = rb"(?!" + REGULAR + rb")"
_WORDS = (
    rb"(?:[cfghijklmnqsvwyFGJKMQSWbB'\"]|re|cm|[bBfW]\*|T[*cdDfjJLmrswz]|rg|RG|cs|CS|s[ch]|SC|scn|SCN|gs|Do|BT|ET|BDC"
    rb"|EMC|BMC|d[01]?|ri|MP|DP)" + _ENDS
)
_CLEAN = re.compile(
    rb"(?:[\0\t\n\f\r \[\]]++|[-+.\d]++" + _ENDS + rb"|" + _WORDS + rb"|\((?:[^()\\]++|\\.)*+\)|<[\da-fA-F\s]*+>|/"
    + REGULAR + rb"*+|<<|>>|%[^\r\n]*+)*+",
    re.S,
)  # fmt: skip


def strangers(data: bytes, plain: Sequence[PlainRun] = ()) -> list[bytes]:
    """Words that are no operators, a few at most. Between BX and EX any are allowed (7.8.2). `plain`: known to hold
    nothing but operators."""
    shapes, position = set[bytes](), 0
    for start, end in [*((run.start, run.end) for run in plain), (len(data), len(data))]:
        shapes.update(data[position:start].translate(_SHAPES).split())
        position = end
    shapes -= _KNOWN_SHAPES
    if not any(shape.strip(b"+-.0") for shape in shapes if shape[0] != 0x2F or b"/" in shape[1:]):
        return []
    found: list[bytes] = []
    position, allowed = 0, 0
    while len(found) < _MOST:
        clean = _CLEAN.match(data, position)
        token = TOKEN.match(data, clean.end() if clean is not None else position)
        if token is None:
            break
        word, position = token.group(1), token.end()
        if word == b"(":
            position = string_end(data, token.start(1))
        elif word == b"BI":
            position = inline_picture(data, position)[2]
        elif word in (b"BX", b"EX"):
            allowed = max(0, allowed + (1 if word == b"BX" else -1))
        elif (
            not allowed
            and word not in _OPERATORS
            and word[0] not in b"/%[]{}<>)"
            and word.strip(_DIGITS)
            and word not in found
        ):
            found.append(word)
    return found
