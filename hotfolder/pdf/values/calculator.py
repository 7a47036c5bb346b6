"""Runs the small programs (ISO 32000-1 7.10.5) with which some files describe gradients and spot inks."""

import re
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Program = list["float | str | Program"]
MOST_TOKENS = 20_000
MOST_STACK = 200  # ISO 32000-1 annex C asks readers for 100.
MOST_NESTED = 32


class Calculator:
    """One program. It has no loops, so its length bounds its work; both branches of a condition are computed."""

    def __init__(self, source: bytes) -> None:
        """ValueError where the source is no such program."""
        text = re.sub(r"%[^\r\n]*", " ", source.decode("latin-1"))
        tokens = re.findall(r"[{}]|[^\s{}]+", text)
        if not tokens or tokens[0] != "{" or len(tokens) > MOST_TOKENS:
            raise ValueError("a calculating function that can't be read")
        self.program, _ = _block(tokens, 1, 0)

    def run(self, inputs: list[Floats], rows: int) -> list[Floats]:
        """The stack after the run, each place an array over the rows; ValueError where the program goes wrong."""
        with np.errstate(all="ignore"):
            try:
                return _run(self.program, list(inputs), rows)
            except IndexError as fault:
                raise ValueError("a calculating function that runs out of numbers") from fault


def _block(tokens: list[str], at: int, depth: int) -> tuple[Program, int]:
    if depth > MOST_NESTED:
        raise ValueError("a calculating function that is nested without end")
    block: Program = []
    while at < len(tokens) and tokens[at] != "}":
        if tokens[at] == "{":
            inner, at = _block(tokens, at + 1, depth + 1)
            block.append(inner)
        else:
            block.append(_word(tokens[at]))
        at += 1
    if at >= len(tokens):
        raise ValueError("a calculating function that is cut short")
    return block, at


def _word(token: str) -> float | str:
    try:
        return float(token)
    except ValueError:
        if token not in _KNOWN:
            raise ValueError(f"a calculating function with the unknown word {token[:20]!r}") from None
        return token


def _run(program: Program, stack: list[Floats], rows: int) -> list[Floats]:
    blocks: list[Program] = []
    for word in program:
        if isinstance(word, list):
            blocks.append(word)
        elif isinstance(word, float):
            stack.append(np.full(rows, word))
        elif word in ("if", "ifelse"):
            stack = _choose(word, stack, blocks, rows)
        elif word in _ONE:
            stack.append(_ONE[word](stack.pop()))
        elif word in _TWO:
            second, first = stack.pop(), stack.pop()
            stack.append(np.asarray(_TWO[word](first, second), np.float64))
        else:
            _shuffle(word, stack, rows)
        if len(stack) > MOST_STACK:
            raise ValueError("a calculating function that piles up too many numbers")
    return stack


def _choose(word: str, stack: list[Floats], blocks: list[Program], rows: int) -> list[Floats]:
    otherwise = blocks.pop() if word == "ifelse" else []
    then = blocks.pop()
    true = stack.pop() != 0
    first, second = _run(then, list(stack), rows), _run(otherwise, list(stack), rows)
    if len(first) != len(second):
        raise ValueError("a calculating function whose branches differ in length")
    return [np.where(true, a, b) for a, b in zip(first, second, strict=True)]


def _shuffle(word: str, stack: list[Floats], rows: int) -> None:
    if word == "pop":
        stack.pop()
    elif word == "dup":
        stack.append(stack[-1])
    elif word == "exch":
        stack[-1], stack[-2] = stack[-2], stack[-1]
    elif word in ("true", "false"):
        stack.append(np.full(rows, float(word == "true")))
    elif word == "copy":
        count = _count(stack)
        stack.extend(stack[len(stack) - count :])
    elif word == "index":
        stack.append(stack[-1 - _count(stack, 1)])
    else:
        turn, count = int(_same(stack)), _count(stack)
        if count:
            turn %= count
            part = stack[len(stack) - count :]
            stack[len(stack) - count :] = part[count - turn :] + part[: count - turn]


def _same(stack: list[Floats]) -> float:
    """A number that steers the stack: it must be the same for all rows, as every real program has it."""
    value = stack.pop()
    if len(value) == 0:
        return 0.0
    if not np.isfinite(value[0]) or (value != value[0]).any():
        raise ValueError("a calculating function whose stack depends on its input")
    return float(value[0])


def _count(stack: list[Floats], beyond: int = 0) -> int:
    count = int(_same(stack))
    if not 0 <= count <= len(stack) - beyond:
        raise ValueError("a calculating function that runs out of numbers")
    return count


def _divide(a: Floats, b: Floats) -> Floats:
    return np.where(b == 0, 0.0, a / np.where(b == 0, 1, b))


def _bitwise(how: Callable[[NDArray[np.int64], NDArray[np.int64]], object]) -> Callable[[Floats, Floats], object]:
    # Booleans are 0 and 1 here, for which the bitwise answer is the logical one.
    return lambda a, b: how(np.nan_to_num(a).astype(np.int64), np.nan_to_num(b).astype(np.int64))


def _shift(a: Floats, b: Floats) -> object:
    return np.trunc(np.trunc(a) * np.exp2(np.clip(b, -40, 40)))


_ONE: dict[str, Callable[[Floats], Floats]] = {
    "abs": np.abs,
    "neg": np.negative,
    "ceiling": np.ceil,
    "floor": np.floor,
    "round": lambda a: np.floor(a + 0.5),
    "truncate": np.trunc,
    "cvi": np.trunc,
    "cvr": lambda a: a,
    "sqrt": lambda a: np.sqrt(np.maximum(a, 0)),
    "ln": np.log,
    "log": np.log10,
    "sin": lambda a: np.sin(np.radians(a)),
    "cos": lambda a: np.cos(np.radians(a)),
    "not": lambda a: np.where((a == 0) | (a == 1), 1 - a, -a - 1),
}
_TWO: dict[str, Callable[[Floats, Floats], object]] = {
    "add": np.add,
    "sub": np.subtract,
    "mul": np.multiply,
    "div": _divide,
    "idiv": lambda a, b: np.trunc(_divide(np.trunc(a), np.trunc(b))),
    "mod": lambda a, b: np.where(b == 0, 0.0, np.fmod(a, np.where(b == 0, 1, b))),
    "exp": lambda a, b: np.nan_to_num(np.power(a, b)),
    "atan": lambda a, b: np.degrees(np.arctan2(a, b)) % 360,
    "eq": np.equal,
    "ne": np.not_equal,
    "gt": np.greater,
    "ge": np.greater_equal,
    "lt": np.less,
    "le": np.less_equal,
    "and": _bitwise(np.bitwise_and),
    "or": _bitwise(np.bitwise_or),
    "xor": _bitwise(np.bitwise_xor),
    "bitshift": _shift,
}
_KNOWN = {*_ONE, *_TWO, "if", "ifelse", "pop", "dup", "exch", "copy", "index", "roll", "true", "false"}
