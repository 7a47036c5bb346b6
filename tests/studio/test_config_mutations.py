"""Damaged configs: whatever stands in the file, the answer is a studio or sentences, never a fault of ours."""

from __future__ import annotations

import random
import re
from collections.abc import Callable
from pathlib import Path

import pytest

from hotfolder.config.reader import load_studio
from hotfolder.errors import ConfigError

GOOD = """\
plugins = ["steps"]
workers = 2
rescan = 10.5
condition = "uncoated"
spool = "spool"
[limits]
seconds = 60
memory_mb = 1000
[conditions.matt]
profile = "matt.icc"
ink_limit = 280
intent = "relative"
[routes.posters]
watch = "in"
pass = "pass"
hold = "hold"
settle = 3
file_names = ["{client}_{trim}", "{title}"]
subfolders = "{client}/{title}"
chain = [
  "open_first",
  { step = "look_boxes", tolerance = "1mm", depth = 2, corner = false },
  "turn_colour",
]
[routes.posters.ticket]
trim = "24x36in"
bleed = "3mm"
due = 2026-12-04
"""
ODD = [
    *'[]{}"=.,#\n\\',
    "nan", "-inf", "true", "9" * 500, "1e400", "1979-13-01", "'", '"""', "'''", "\x00", "\x7f", "\ud7ff", "\u202e",
    '"' + "x" * 3000 + '"', "{ a = 1 }", "[[1]]", "[routes]", "[[routes]]", "[conditions]\n", '"~nobody/x"',
    '"\\u0000"', "0x10", "07:32:00", "{}", "[]", '""', "-1", "step", "[routes.posters.chain]", "..", "😀",
]  # fmt: skip


def mutated(chance: random.Random) -> str:
    text = GOOD
    for _ in range(chance.randint(1, 3)):
        start = chance.randrange(len(text))
        end = start + chance.choice([0, 1, 1, 5, 30])
        values = list(re.finditer(r"(?<== ).*", text))
        match chance.randrange(4):
            case 0:
                text = text[:start] + text[end:]
            case 1:
                text = text[:start] + chance.choice(ODD) + text[end:]
            case 2 if values:
                value = chance.choice(values)
                text = text[: value.start()] + chance.choice(ODD) + text[value.end() :]
            case _:
                lines = text.splitlines(keepends=True)
                chance.shuffle(lines) if chance.random() < 0.2 else lines.insert(0, chance.choice(lines))
                text = "".join(lines)
    return text


def test_the_undamaged_one_loads(folder: Path, damaged: Callable[[str], list[str]]) -> None:
    assert damaged(GOOD) == ["studio.toml, line 10, condition 'matt': 'profile' can't be used: "
                             f"{folder / 'matt.icc'} cannot be read: No such file or directory."]  # fmt: skip


@pytest.fixture
def damaged(folder: Path) -> Callable[[str], list[str]]:
    def load(text: str) -> list[str]:
        Path("studio.toml").write_bytes(text.encode("utf-8"))
        with pytest.raises(ConfigError) as caught:  # the profile is missing in every one of them
            load_studio(Path("studio.toml"))
        return caught.value.problems

    return load


def test_three_hundred_damaged_ones(damaged: Callable[[str], list[str]]) -> None:
    chance = random.Random(20261125)
    for number in range(300):
        text = mutated(chance)
        problems = damaged(text)
        assert problems, f"{number}: {text}"
        for sentence in problems:
            assert sentence.startswith("studio.toml"), f"{number}: {sentence}"
            assert sentence.endswith((".", "?")), f"{number}: {sentence}"
            assert sentence.isprintable(), f"{number}: {sentence!r}"
            line = re.match(r"studio\.toml, line (\d+)", sentence)
            assert line is None or 1 <= int(line[1]) <= text.count("\n") + 1, f"{number}: {sentence}"
