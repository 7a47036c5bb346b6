"""Whole configs -> what is in each other's way, as sentences: problems stop the start, warnings are told."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from hotfolder.config.reader import Studio, lint, load_studio
from hotfolder.errors import ConfigError

TOP = 'plugins = ["steps"]\n'
NO_SEAL = "studio.toml, line 6, route 'a', chain: there is no step 'seal_pdf'; the result will not be a PDF/X-4 file."
NO_VERIFY = (
    "studio.toml, line 6, route 'a', chain: there is no step 'verify_result'; nothing would look at the finished "
    "file before it passes."
)


def route(name: str = "a", watch: str = "in", passed: str = "pass", hold: str = "hold", chain: str = "") -> str:
    steps = f'["open_first"{chain}]'
    return f'[routes.{name}]\nwatch = "{watch}"\npass = "{passed}"\nhold = "{hold}"\nchain = {steps}\n'


PROBLEMS: dict[str, tuple[str, list[str]]] = {
    "nothing": (TOP + route(), []),
    "two routes, folders apart": (TOP + route() + route("b", "in-b"), []),
    "one folder watched twice": (
        TOP + route() + route("b", "./x/../in"),
        ["line 8, route 'b': 'watch' is the same folder as 'watch' of route 'a'; one file would be taken by two routes."],
    ),
    "watched inside watched": (
        TOP + route(watch="in/deep/er") + route("b"),
        ["line 3, route 'a': 'watch' is inside 'watch' of route 'b'; one file would be taken by two routes."],
    ),
    "a name that only begins alike": (TOP + route() + route("b", "in-more"), []),
    "sent on into a watched folder": (
        TOP + route(chain=', { step = "hand_over", to = ["sent", "in/more", "file:///in"] }'),
        [
            "line 6, route 'a', step 'hand_over': the place 'in/more' is inside 'watch' of route 'a', so it would be "
            "taken for artwork."
        ],
    ),
    "sent on into the spool": (
        TOP + route(chain=', { step = "hand_over", to = ["spool/sent"] }'),
        [
            "line 6, route 'a', step 'hand_over': the place 'spool/sent' is inside 'spool'; the spool must be a folder "
            "of its own."
        ],
    ),
    "two steps that draw marks": (
        TOP + route(chain=', { step = "lay_out", columns = 2, rows = 2 }, "add_marks"'),
        [
            "line 6, route 'a', step 'add_marks': it would draw marks on sheets that have those of 'lay_out'; keep one "
            "of them."
        ],
    ),
    "pass inside watch": (
        TOP + route(passed="in/pass"),
        ["line 4, route 'a': 'pass' is inside 'watch' of route 'a', so it would be taken for artwork."],
    ),
    "hold of another route is watch": (
        TOP + route() + route("b", "in-b", hold="in"),
        ["line 10, route 'b': 'hold' is inside 'watch' of route 'a', so it would be taken for artwork."],
    ),
    "spool inside watch": (
        'spool = "in/spool"\n' + TOP + route(),
        ["line 1: 'spool' is inside 'watch' of route 'a', so it would be taken for artwork."],
    ),
    "everything inside watch": (
        TOP + route(watch="."),
        [
            "'spool' is inside 'watch' of route 'a', so it would be taken for artwork.",
            "the config file is inside 'watch' of route 'a', so it would be taken for artwork.",
            "line 1: the plugin folder is inside 'watch' of route 'a', so it would be taken for artwork.",
            "line 4, route 'a': 'pass' is inside 'watch' of route 'a', so it would be taken for artwork.",
            "line 5, route 'a': 'hold' is inside 'watch' of route 'a', so it would be taken for artwork.",
        ],
    ),
    "pass is hold": (
        TOP + route(hold="pass"),
        ["line 5, route 'a': 'hold' is the same folder as 'pass' of route 'a'; nobody could tell them apart."],
    ),
    "hold is another's pass": (
        TOP + route() + route("b", "in-b", "pass-b", hold="pass"),
        ["line 10, route 'b': 'hold' is the same folder as 'pass' of route 'a'; nobody could tell them apart."],
    ),
    "two routes share pass and hold": (TOP + route() + route("b", "in-b"), []),
    "watch inside spool": (
        'spool = "s"\n' + TOP + route(watch="s/in"),
        ["line 4, route 'a': 'watch' is inside 'spool'; the spool must be a folder of its own."],
    ),
    "spool inside pass": (
        'spool = "pass/s"\n' + TOP + route(),
        ["line 1: 'spool' is inside 'pass' of route 'a'; the spool must be a folder of its own."],
    ),
    "no opening step": (
        TOP + route().replace("open_first", "look_boxes"),
        ["line 6, route 'a', chain: no step opens the artwork, so every job would be held; begin with open_pdf."],
    ),
    "a step before an opening one": (
        TOP + route(chain=', "look_boxes", "open_second"'),
        [
            "line 6, route 'a', step 'look_boxes': it stands before 'open_second', so it would never see what "
            "'open_second' opens; put it after."
        ],
    ),
    "a change after the seal": (
        TOP + route(chain=',\n"seal_pdf",\n"look_boxes",\n"draw_marks",\n"verify_result",\n"call_it"'),
        ["line 9, route 'a', step 'draw_marks': it changes the artwork after 'seal_pdf' has finished it; put it before."],
    ),
    "the seal after verifying": (
        TOP + route(chain=',\n"verify_result",\n"seal_pdf"'),
        ["line 8, route 'a', step 'seal_pdf': it changes the artwork after 'verify_result' has looked at it; put it before."],
    ),
    "a change after verifying, no seal": (
        TOP + route(chain=',\n"verify_result",\n"draw_marks"'),
        [
            "line 8, route 'a', step 'draw_marks': it changes the artwork after 'verify_result' has looked at it; "
            "put it before."
        ],
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", PROBLEMS)
def test_problems(case: str, problems: Callable[[str], list[str]]) -> None:
    text, expected = PROBLEMS[case]
    wanted = [f"studio.toml{', ' if told.startswith('line') else ': '}{told}" for told in expected]
    assert problems(text) == wanted


WARNINGS: dict[str, tuple[str, list[str]]] = {
    "nothing": (', "look_colour", "seal_pdf", "verify_result", "call_it"', []),
    "no seal, no check of the result": ("", [NO_SEAL, NO_VERIFY]),
    "colour looked at before its conversion": (
        ', "look_colour", "turn_colour", "seal_pdf", "verify_result"',
        [
            "studio.toml, line 6, route 'a', step 'look_colour': it looks at the colour before 'turn_colour' changes "
            "it; put it after."
        ],
    ),
    "colour looked at after its conversion": (', "turn_colour", "look_colour", "seal_pdf", "verify_result"', []),
    "boxes looked at before they are mended": (
        ', "look_boxes", "mend_boxes", "seal_pdf", "verify_result"',
        [
            "studio.toml, line 6, route 'a', step 'look_boxes': it looks at the boxes before 'mend_boxes' changes it; "
            "put it after."
        ],
    ),
    "boxes looked at before marks are added, rightly": (
        ', "look_boxes", "draw_marks", "seal_pdf", "verify_result"',
        [],
    ),
    "twice the same": (
        ', "look_boxes", { step = "look_boxes", depth = 3 }, "seal_pdf", "verify_result"',
        ["studio.toml, line 6, route 'a', step 'look_boxes': it stands in the chain twice with the same settings."],
    ),
    "twice, with other settings": (
        ', "look_boxes", { step = "look_boxes", depth = 4 }, "seal_pdf", "verify_result"',
        [],
    ),
}


@pytest.mark.parametrize("case", WARNINGS)
def test_warnings(case: str, load: Callable[[str], Studio]) -> None:
    chain, expected = WARNINGS[case]
    found = lint(load(TOP + route(chain=chain)))
    assert found.problems == []
    assert found.warnings == expected


def test_hold_inside_pass_is_a_warning(load: Callable[[str], Studio]) -> None:
    found = lint(load(TOP + route(hold="pass/hold")))
    assert found.warnings[0] == (
        "studio.toml, line 5, route 'a': 'hold' is inside 'pass' of route 'a'; whoever fetches all that is there "
        "fetches held work too."
    )


def test_one_folder_by_two_names_through_a_link(folder: Path, problems: Callable[[str], list[str]]) -> None:
    (folder / "in").mkdir()
    (folder / "other").symlink_to("in")
    assert problems(TOP + route() + route("b", "other")) == [
        "studio.toml, line 8, route 'b': 'watch' is the same folder as 'watch' of route 'a'; one file would be taken "
        "by two routes."
    ]


def test_a_profile_inside_a_watched_folder(folder: Path, problems: Callable[[str], list[str]]) -> None:
    from hotfolder.colour.condition import DEFAULT, SHIPPED

    (folder / "in").mkdir()
    (folder / "in" / "p.icc").write_bytes(SHIPPED[DEFAULT].profile.read_bytes())
    assert problems(TOP + '[conditions.p]\nprofile = "in/p.icc"\nink_limit = 300\n' + route()) == [
        "studio.toml, line 3, condition 'p': 'profile' is inside 'watch' of route 'a', so it would be taken for "
        "artwork."
    ]


def test_lint_and_other_problems_come_together(folder: Path) -> None:
    Path("studio.toml").write_text("workers = 0\n" + TOP + route(hold="pass"), encoding="utf-8")
    with pytest.raises(ConfigError) as caught:
        load_studio(Path("studio.toml"))
    assert [sentence.partition(":")[0] for sentence in caught.value.problems] == [
        "studio.toml, line 1",
        "studio.toml, line 6, route 'a'",
    ]
