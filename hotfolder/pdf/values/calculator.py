"""Runs the small programs (ISO 32000-1 7.10.5) with which some files describe gradients and spot inks."""

import math
import re
from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[Any]  # of numbers or booleans
Program = list["float | str | Program"]
MOST_TOKENS = 20_000
MOST_STACK = 200  # ISO 32000-1 annex C asks readers for 100.
MOST_NESTED = 32
_NUMBER = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?")


class Calculator:
    """One program. It has no loops, so its length bounds its work; both branches of a condition
    are computed where some rows take one and some the other."""

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
    if token in _KNOWN:
        return token
    value = float(token) if _NUMBER.fullmatch(token) else math.inf
    if not math.isfinite(value):
        raise ValueError(f"a calculating function with the unknown word {token[:20]!r}")
    return value


def _run(program: Program, stack: list[Floats], rows: int) -> list[Floats]:
    blocks: list[Program] = []
    for word in program:
        if isinstance(word, list):
            blocks.append(word)
        elif isinstance(word, float):
            stack.append(np.full(rows, word))
        elif word in ("if", "ifelse"):
            stack = _choose(word, stack, blocks, rows)
        elif word == "not":
            value = stack.pop()
            stack.append(~value if value.dtype == bool else -np.trunc(value) - 1)
        elif word in _ONE:
            stack.append(_ONE[word](np.asarray(stack.pop(), np.float64)))
        elif word in _TWO:
            second, first = stack.pop(), stack.pop()
            stack.append(
                np.asarray(_TWO[word](np.asarray(first, np.float64), np.asarray(second, np.float64)), np.float64)
            )
        elif word in _COMPARE or word in _LOGIC:
            second, first = stack.pop(), stack.pop()
            stack.append(_compare(word, first, second))
        else:
            _shuffle(word, stack, rows)
        if len(stack) > MOST_STACK:
            raise ValueError("a calculating function that piles up too many numbers")
    return stack


def _compare(word: str, first: Floats, second: Floats) -> Floats:
    """Booleans stay arrays of bool, because `not`, `and`, `or` and `xor` mean other things for numbers (table 42)."""
    if word in _COMPARE:
        return np.asarray(_COMPARE[word](first, second))
    if first.dtype == bool and second.dtype == bool:
        return np.asarray(_LOGIC[word](first, second))
    one, other = (np.clip(np.nan_to_num(np.trunc(x)), -(2**31), 2**31 - 1).astype(np.int64) for x in (first, second))
    return np.asarray(_LOGIC[word](one, other), np.float64)


def _choose(word: str, stack: list[Floats], blocks: list[Program], rows: int) -> list[Floats]:
    otherwise = blocks.pop() if word == "ifelse" else []
    then = blocks.pop()
    true = stack.pop() != 0
    if true.all() or not true.any():  # the other branch may be one that would go wrong
        return _run(then if true.all() else otherwise, stack, rows)
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
        stack.append(np.full(rows, word == "true"))
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
    "bitshift": _shift,
}
_COMPARE: dict[str, Callable[..., object]] = {
    "eq": np.equal,
    "ne": np.not_equal,
    "gt": np.greater,
    "ge": np.greater_equal,
    "lt": np.less,
    "le": np.less_equal,
}
_LOGIC: dict[str, Callable[..., object]] = {"and": np.bitwise_and, "or": np.bitwise_or, "xor": np.bitwise_xor}
_KNOWN = {
    *_ONE,
    *_TWO,
    *_COMPARE,
    *_LOGIC,
    "not",
    "if",
    "ifelse",
    "pop",
    "dup",
    "exch",
    "copy",
    "index",
    "roll",
    "true",
    "false",
}
