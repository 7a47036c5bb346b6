"""Says whether a path stands in the drawing instructions by itself, so that it can go as a whole."""

import re

# Nothing is tried twice ("++" gives nothing back), so that no file can make the search long.
_NUMBER = rb"[-+]?+(?:\d++(?:\.\d*+)?+|\.\d++)\s++"
#: A path without anything else between its operators, and without a mere point, which a round pen would draw.
_PLAIN_PATH = re.compile(
    rb"\s*+(?:(?:%b){4}re\s++|(?:%b){2}m\s++(?:(?:%b){2}l\s++|(?:%b){4}[vy]\s++|(?:%b){6}c\s++)++(?:h\s++)?+)++"
    % ((_NUMBER,) * 5)
)
_CLIPS = re.compile(rb"\sW\*?\Z")


def is_plain_path(path: bytes) -> bool:
    return _PLAIN_PATH.fullmatch(_CLIPS.sub(b"", path.rstrip()) + b" ") is not None
