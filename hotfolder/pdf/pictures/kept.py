"""Keeps small decoded copies of large pictures: a poster is looked at several times (compared, shown, as plates)."""

import hashlib
from collections import OrderedDict
from collections.abc import Callable
from concurrent.futures import Future
from threading import Lock, Thread

import numpy as np
import pyvips
from numpy.typing import NDArray

SHEET_SIDE = 1330  # pixels that pictures keep at least along a sheet's long side, where the whole sheet is looked at
LARGE = 2**21  # bytes of data, or pixels, from which decoding takes longer than telling data apart
_MOST_KEPT = 12
_MOST_BYTES = 96 * 2**20
_kept: OrderedDict[object, Future[pyvips.Image]] = OrderedDict()
_keeping = Lock()


def shrunk_jpeg(data: bytes, shrink: int) -> pyvips.Image:
    """A large JPEG decoded small; pyvips.Error where it is damaged."""
    small: pyvips.Image = _begin(data, shrink).result()
    return small


def kept_small(data: bytes, facts: object, make: Callable[[], pyvips.Image]) -> pyvips.Image:
    """What `make` makes of the data, or made of it before; `facts` is all that the result depends on beside it."""
    key = (hashlib.sha256(data).digest(), facts)
    with _keeping:
        known = _kept.get(key)
    if known is not None:
        return known.result()
    made = make().copy_memory()
    _keep(key, _done(made))
    return made


def read_ahead(data: bytes, width: int, height: int) -> None:
    """Begin to decode a large JPEG small while its file is being finished: it will be looked at next."""
    room = max(width, height) // SHEET_SIDE
    if len(data) > LARGE and room >= 2:
        _begin(data, 8 if room >= 8 else 4 if room >= 4 else 2)


def keep_shrunk(data: bytes, coarse: NDArray[np.uint8]) -> None:
    """A large JPEG was decoded to an eighth of its size on another occasion: who looks at it next need not again."""
    if len(data) > LARGE:
        rows, columns, bands = coarse.shape
        small = pyvips.Image.new_from_memory(coarse.tobytes(), columns, rows, bands, "uchar")
        _keep((hashlib.sha256(data).digest(), 8), _done(small))


def _done(image: pyvips.Image) -> "Future[pyvips.Image]":
    future: Future[pyvips.Image] = Future()
    future.set_result(image)
    return future


def _begin(data: bytes, shrink: int) -> "Future[pyvips.Image]":
    key = (hashlib.sha256(data).digest(), shrink)
    with _keeping:
        known = _kept.get(key)
    if known is not None:
        return known
    # A thread of its own for each: two may be wanted side by side, and none outlives the job's process.
    future: Future[pyvips.Image] = Future()
    _keep(key, future)
    Thread(target=_decode, args=(data, shrink, future), daemon=True).start()
    return future


def _keep(key: object, small: "Future[pyvips.Image]") -> None:
    with _keeping:
        _kept[key] = small
        while len(_kept) > _MOST_KEPT or (len(_kept) > 1 and sum(map(_size, _kept.values())) > _MOST_BYTES):
            _kept.popitem(last=False)


def _size(small: "Future[pyvips.Image]") -> int:
    """Bytes of a decoded copy; one that is still being made, or failed, counts as none."""
    if not small.done() or small.exception() is not None:
        return 0
    image = small.result()
    return int(image.width * image.height * image.bands * (1 if image.format == "uchar" else 2))


def _decode(data: bytes, shrink: int, future: "Future[pyvips.Image]") -> None:
    try:
        small = pyvips.Image.jpegload_buffer(data, shrink=shrink, access="sequential", fail_on="error").copy_memory()
    except pyvips.Error as fault:
        future.set_exception(fault)
    else:
        future.set_result(small)
