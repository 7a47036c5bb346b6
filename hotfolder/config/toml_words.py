"""Reads a TOML text and says in a sentence, with its line, why it can't be read."""

from __future__ import annotations

import re
import tomllib
from typing import Any

#: tomllib's words and ours; the first that fits. Its own messages stand where none does.
_WORDS = (
    (r"Unescaped '\\' in a string|Invalid hex value|Escaped character", r"a \ inside double quotes is special; put the text in 'single quotes', or write paths with /"),
    (r"Illegal character '\\n'|Unterminated string|Expected \"'''\"|Expected '\"\"\"'", "a text is not closed; its second quote is missing"),
    (r"Expected '=' after a key", "there must be a = between a setting and its value"),
    (r"Invalid value", "after the = there must be text in quotes, a number, true or false, a list or a table"),
    (r"Cannot declare .* twice|Cannot mutate|Cannot overwrite|Cannot redefine|Duplicate inline table key", "this setting or table is given twice"),
    (r"Unclosed array", "a list is not closed; its ] is missing, or a comma between two entries"),
    (r"Unclosed inline table", "a table in braces is not closed; its } is missing, or a comma between two entries"),
    (r"Expected newline or end of document", "there is something after the value; each setting stands on a line of its own"),
    (r"Invalid statement|Invalid initial character for a key part", "this is neither a setting, a [table] nor a # comment"),
    (r"Expected '\]+' at the end of a table declaration|Expected '\]+'", "the ] that closes a table's name is missing"),
    (r"Invalid date or datetime", "there is no such date"),
)  # fmt: skip
_AT = re.compile(r" \(at (?:line (\d+), column \d+|end of document)\)$")


def read_toml(text: str) -> tuple[dict[str, Any], int | None, str]:
    """The tree of a TOML text; or an empty one with the line (None: unknown) and a sentence of what is wrong."""
    try:
        return tomllib.loads(text), None, ""
    except RecursionError:
        return {}, None, "lists or tables stand too deep inside one another."
    except tomllib.TOMLDecodeError as error:
        return {}, *_explain(str(error), text)
    except ValueError:  # a number of thousands of digits
        return {}, None, "there is a number that is far too long."


def _explain(message: str, text: str) -> tuple[int, str]:
    at = _AT.search(message)
    line = int(at[1]) if at and at[1] else text.count("\n") + (not text.endswith("\n"))
    bare = _AT.sub("", message)
    for pattern, words in _WORDS:
        if re.match(pattern, bare):
            return line, f"{words}."
    return line, f"the file can't be read here: {bare[:1].lower()}{bare[1:]}."
