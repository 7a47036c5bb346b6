"""Finds the word that somebody meant, so that a sentence about a wrong one can say it."""

from __future__ import annotations

import difflib
from collections.abc import Iterable


def nearest(word: str, known: Iterable[str]) -> str:
    """`; did you mean 'x'?` with the nearest known word, or a full stop where none is near."""
    every = list(known)
    begun = [name for name in every if len(word) > 2 and name.startswith(word.lower())]
    close = begun or difflib.get_close_matches(word.lower(), every, n=1, cutoff=0.6)
    return f"; did you mean '{close[0]}'?" if close else "."
