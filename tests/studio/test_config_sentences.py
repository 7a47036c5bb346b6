"""Config text -> every problem as a whole sentence. The table is the specification."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from hotfolder.colour.condition import PROFILES, SHIPPED, Spot
from hotfolder.config.reader import Studio, load_studio
from hotfolder.errors import ConfigError
from hotfolder.units import MM

Find = Callable[[str], list[str]]

TOP = 'plugins = ["steps"]\n'
ROUTE = '[routes.posters]\nwatch = "in"\npass = "pass"\nhold = "hold"\nchain = ["open_first"]\n'
KEYS = "trim, bleed, safe_margin, pages, least_ppi, condition, inks, client, title, copies, due, viewing_distance"


def chain(entry: str) -> str:
    return TOP + ROUTE.replace('["open_first"]', f'[\n  "open_first",\n  {entry},\n]')


#: name -> (config, problems without their common beginning "studio.toml, ")
TABLE: dict[str, tuple[str, list[str]]] = {
    "right": (TOP + ROUTE, []),
    "byte order mark": ("\ufeff" + TOP + ROUTE, []),
    "unknown top setting": (
        TOP + "wokers = 3\n" + ROUTE,
        [
            "line 2: there is no setting 'wokers'; did you mean 'workers'? "
            "The settings are spool, workers, rescan, events, reserve_mb, metrics, plugins, condition, keep, limits, conditions, routes."
        ],
    ),
    "half a worker": (TOP + "workers = 1.5\n" + ROUTE, ["line 2: 'workers' must be a whole number, not 1.5."]),
    "a number as text": (TOP + 'workers = "3"\n' + ROUTE, ["line 2: 'workers' must be a whole number, not '3'."]),
    "no worker": (TOP + "workers = 0\n" + ROUTE, ["line 2: 'workers' must be at least 1, not 0."]),
    "never": (
        TOP + "rescan = inf\n" + ROUTE,
        ["line 2: 'rescan' must be a number that can be measured, not nan or inf."],
    ),
    "unknown default condition": (
        TOP + 'condition = "coated_europ"\n' + ROUTE,
        [
            "line 2: there is no printing condition 'coated_europ'; did you mean 'coated_europe'? "
            "The printing conditions are coated_europe, coated_us, uncoated."
        ],
    ),
    "no plugin folder": (
        'plugins = ["steps", "stebs"]\n' + ROUTE.replace('"open_first"]', '"open_first", "stebs_step"]'),
        ["line 1: the plugin folder 'stebs' does not exist."],
    ),
    "limits as a number": (TOP + "limits = 3\n" + ROUTE, ["line 2: 'limits' must be a table, not 3."]),
    "limits": (
        TOP + "[limits]\nseconds = -1\nmemory = 1\n" + ROUTE,
        [
            "line 3, limits: 'seconds' must be more than 0, not -1.",
            "line 4, limits: there is no setting 'memory'; did you mean 'memory_mb'? "
            "Its settings are seconds, memory_mb, disk_mb, confine, programs.",
        ],
    ),
    "nothing": ("", ["there is no route; write a table [routes.NAME] with watch, pass and hold."]),
    "routes is text": ('routes = "in"\n', ["line 1: 'routes' must be a table, not 'in'."]),
    "a route is text": (TOP + '[routes]\nposters = "in"\n', ["line 3, route 'posters': there must be a table here, not 'in'."]),
    "a route's name": (
        TOP + ROUTE.replace("posters", '"../x"'),
        ["line 2, route '../x': the name must be made of letters, digits, - and _, at most 64 of them."],
    ),
    "no way out": (
        TOP + '[routes.posters]\nwatch = "in"\nchain = ["open_first"]\n',
        [
            "line 2, route 'posters': the setting 'pass' is missing; it must be given.",
            "line 2, route 'posters': the setting 'hold' is missing; it must be given.",
        ],
    ),
    "unknown route setting": (
        TOP + ROUTE + 'wach = "x"\n',
        [
            "line 7, route 'posters': there is no setting 'wach'; did you mean 'watch'? "
            "Its settings are watch, pass, hold, settle, patience, file_names, subfolders, ticket, chain."
        ],
    ),
    "watching a file": (
        TOP + ROUTE.replace('"in"', '"studio.toml"'),
        ["line 3, route 'posters': 'watch' must be a folder: 'studio.toml' is a file."],
    ),
    "no path": (
        TOP + ROUTE.replace('"in"', '""').replace('"hold"', '"a\\u0000b"'),
        [
            "line 3, route 'posters': 'watch' must be a folder: '' is no path.",
            "line 5, route 'posters': 'hold' must be a folder: 'a\\x00b' is no path.",
        ],
    ),
    "truth as a number": (TOP + ROUTE + "settle = true\n", ["line 7, route 'posters': 'settle' must be a number, not true."]),
    "a folder as a list": (
        TOP + ROUTE.replace('"in"', '["in"]'),
        ["line 3, route 'posters': 'watch' must be text in quotes, not a list."],
    ),
    "unknown pattern part": (
        TOP + ROUTE + 'file_names = ["{client}_{trimm}"]\n',
        [
            "line 7, route 'posters': 'file_names' can't be used: '{client}_{trimm}' has the part {trimm}, and there is "
            f"no part 'trimm'; did you mean 'trim'? The parts are {KEYS}."
        ],
    ),
    "a brace alone": (
        TOP + ROUTE + 'file_names = ["{client}_{trim"]\n',
        [
            "line 7, route 'posters': 'file_names' can't be used: '{client}_{trim' has a brace that is not closed; "
            "write each part as {name}."
        ],
    ),
    "a part twice": (
        TOP + ROUTE + 'file_names = ["{client}_{client}"]\n',
        ["line 7, route 'posters': 'file_names' can't be used: '{client}_{client}' has the part {client} twice."],
    ),
    "parts that touch": (
        TOP + ROUTE + 'subfolders = "{client}{title}"\n',
        [
            "line 7, route 'posters': 'subfolders' can't be used: '{client}{title}' has two parts with nothing between "
            "them; put a sign such as _ there."
        ],
    ),
    "a pattern without parts": (
        TOP + ROUTE + 'file_names = ["poster"]\n',
        [
            "line 7, route 'posters': 'file_names' can't be used: 'poster' has no part in braces, such as "
            "{client}_{title}_{trim}."
        ],
    ),
    "folders in a file name": (
        TOP + ROUTE + 'file_names = ["{client}/{title}"]\n',
        [
            "line 7, route 'posters': 'file_names' can't be used: '{client}/{title}' has a /; folders belong in "
            "'subfolders'."
        ],
    ),
    "empty chain": (
        TOP + ROUTE.replace('["open_first"]', "[]"),
        [
            "line 6, route 'posters': 'chain' is empty; name the steps in order, or leave it out for the built-in "
            "chain."
        ],
    ),
    "chain as text": (
        TOP + ROUTE.replace('["open_first"]', '"open_first"'),
        ["line 6, route 'posters': 'chain' must be a list in square brackets, not 'open_first'."],
    ),
    "unknown setting of a step": (
        chain('{ step = "look_boxes", tolerence = "1mm" }'),
        [
            "line 8, route 'posters', step 'look_boxes': there is no setting 'tolerence'; did you mean 'tolerance'? "
            "Its settings are tolerance, depth, corner."
        ],
    ),
    "setting of a step that has none": (
        chain('{ step = "look_colour", x = 1 }'),
        ["line 8, route 'posters', step 'look_colour': there is no setting 'x'; it has none."],
    ),
    "every setting of a step wrong": (
        chain('{ step = "look_boxes", tolerance = "3 feet", depth = 9, corner = "maybe" }'),
        [
            "line 8, route 'posters', step 'look_boxes': 'tolerance' can't be used: '3 feet' is not a length; write a "
            "number and its unit, such as 0.125in, 3mm or 9pt.",
            "line 8, route 'posters', step 'look_boxes': 'depth' must be at most 5, not 9.",
            "line 8, route 'posters', step 'look_boxes': 'corner' must be true or false, not 'maybe'.",
        ],
    ),
    "a length without its unit": (
        chain('{ step = "look_boxes", tolerance = 1 }'),
        [
            "line 8, route 'posters', step 'look_boxes': 'tolerance' can't be used: 1 is not a length; write it as "
            'text with its unit, such as "0.125in" or "3mm".'
        ],
    ),
    "entry without a step": (
        chain("{ tolerance = 1 }"),
        [
            "line 8, route 'posters', chain, entry 2: it must be a step's name, such as \"open_pdf\", or a table such "
            'as { step = "open_pdf" }.'
        ],
    ),
    "a plugin's own fault": (
        chain('"break_settings"'),
        [
            "line 8, route 'posters', step 'break_settings': its settings can't be checked: "
            "KeyError: 'a fault of the plugin'."
        ],
    ),
    "ticket": (
        TOP + ROUTE + '[routes.posters.ticket]\ntrimm = "A1"\ntrim = "A99"\npages = 0\ndue = "soon"\n'
        'condition = "uncoted"\n',
        [
            f"line 8, route 'posters', ticket: there is no ticket key 'trimm'; did you mean 'trim'? The ticket keys are {KEYS}.",
            "line 9, route 'posters', ticket: 'trim' can't be used: 'A99' is not a sheet size; write width x height "
            "and the unit, such as 24x36in or 610x914mm, or an ISO 216 name such as A1.",
            "line 10, route 'posters', ticket: 'pages' must be at least 1, not 0.",
            "line 11, route 'posters', ticket: 'due' must be a date such as 2026-11-25, not 'soon'.",
            "line 12, route 'posters', ticket: there is no printing condition 'uncoted'; did you mean 'uncoated'? "
            "The printing conditions are coated_europe, coated_us, uncoated.",
        ],
    ),
    "condition": (
        TOP + '[conditions.rag]\nprofile = "screen.icc"\nintent = "relativ"\nink_limit = 500\n' + ROUTE,
        [
            "line 3, condition 'rag': 'profile' can't be used: screen.icc is a profile of a screen, not of a printing "
            "press: ask the printer for the ICC profile of the press and paper.",
            "line 4, condition 'rag': 'intent' must be one of 'perceptual', 'relative', 'saturation', 'absolute', "
            "not 'relativ'; did you mean 'relative'?",
            "line 5, condition 'rag': 'ink_limit' must be at most 400, not 500.",
        ],
    ),
    "condition without a profile": (
        TOP + "[conditions.rag]\nink_limit = 300\n" + ROUTE,
        ["line 2, condition 'rag': the setting 'profile' is missing; it must be given."],
    ),
    "cut profile": (
        TOP + '[conditions.rag]\nprofile = "cut.icc"\nink_limit = 300\n' + ROUTE,
        [
            "line 3, condition 'rag': 'profile' can't be used: cut.icc is not a colour profile: the mark of an ICC "
            "file is missing."
        ],
    ),
    "rules of a condition": (
        TOP + '[conditions.rag]\nprofile = "matt.icc"\nink_limit = 280\nrich_black = [90, 80, 80, 100]\n'
        'rich_black_from = "50"\npicture_intent = "nice"\nblack_alone = "all"\nneutral_tolerance = 20\n'
        'cmyk = "convrt"\ncmyk_source = "screen.icc"\nspot_inks = "rename"\nover_limit = 1\n' + ROUTE,
        [
            "line 5, condition 'rag': 'rich_black' can't be used: its inks add up to 350 percent, and the ink limit is "
            "280.",
            "line 6, condition 'rag': 'rich_black_from' can't be used: '50' is not a length; write a number and its "
            "unit, such as 0.125in, 3mm or 9pt.",
            "line 7, condition 'rag': 'picture_intent' must be one of 'perceptual', 'relative', 'saturation', "
            "'absolute', not 'nice'.",
            "line 8, condition 'rag': 'black_alone' must be one of 'neutrals', 'black', 'nothing', not 'all'.",
            "line 9, condition 'rag': 'neutral_tolerance' must be at most 10, not 20.",
            "line 10, condition 'rag': 'cmyk' must be one of 'keep', 'convert', not 'convrt'; did you mean "
            "'convert'?",
            "line 11, condition 'rag': 'cmyk_source' can't be used: screen.icc is no profile of CMYK colours.",
            "line 12, condition 'rag': 'spot_inks' must be one of 'keep', 'cmyk', not 'rename'.",
            "line 13, condition 'rag': 'over_limit' must be one of 'report', 'separate', not 1.",
        ],
    ),
    **{
        f"rich black {recipe}": (
            TOP + f'[conditions.rag]\nprofile = "matt.icc"\nink_limit = 280\nrich_black = {recipe}\n' + ROUTE,
            [f"line 5, condition 'rag': 'rich_black' can't be used: {why}."],
        )
        for recipe, why in (
            ("[60, 40, 100]", "it must be four numbers, of cyan, magenta, yellow and black, not 3"),
            ("[60, 40, 40, 120]", "each ink must be from 0 to 100 percent"),
            ("[60, 40, 40, 20]", "a black needs at least 50 percent of black ink"),
        )
    },
    **{
        f"spot ink {spots}": (
            TOP + f'[conditions.rag]\nprofile = "matt.icc"\nink_limit = 280\nspots = {spots}\n' + ROUTE,
            [f"line 5, condition 'rag': 'spots' can't be used: {why}."],
        )
        for spots, why in (
            ('{ All = "cmyk" }', "'All' is no spot ink"),
            ('{ Gold = "drop" }', """'Gold' must be "keep", "cmyk" or { name = "its new name" }"""),
            ('{ Gold = { name = "" } }', """'Gold' must be "keep", "cmyk" or { name = "its new name" }"""),
            ('{ Gold = { name = "None" } }', "'Gold' can't be called None: that name has a meaning of its own in a PDF"),
            ('{ "Old Gold" = "keep", "old-gold" = "cmyk" }', "'old-gold' is the same ink as 'Old Gold'"),
        )
    },
    "a source without a use": (
        TOP + '[conditions.rag]\nprofile = "matt.icc"\nink_limit = 280\ncmyk_source = "matt.icc"\n' + ROUTE,
        [
            "line 5, condition 'rag': 'cmyk_source' has no use while 'cmyk' is 'keep'; write cmyk = \"convert\", or "
            "leave it out."
        ],
    ),
    "given twice": (TOP + ROUTE + 'hold = "b"\n', ["line 7: this setting or table is given twice."]),
    "text that is not closed": (
        TOP + '[routes.posters]\nwatch = "in\n',
        ["line 3: a text is not closed; its second quote is missing."],
    ),
    "a path with \\": (
        TOP + '[routes.posters]\nwatch = "C:\\Users"\n',
        [
            "line 3: a \\ inside double quotes is special; put the text in 'single quotes', or write paths with /."
        ],
    ),
    "no =": (TOP + "workers 3\n", ["line 2: there must be a = between a setting and its value."]),
    "no value": (
        TOP + "workers =\n",
        ["line 2: after the = there must be text in quotes, a number, true or false, a list or a table."],
    ),
    "a list that is not closed": (
        'plugins = ["steps" "more"]\n',
        ["line 1: a list is not closed; its ] is missing, or a comma between two entries."],
    ),
    "two on a line": (
        "workers = 2 rescan = 3\n",
        ["line 1: there is something after the value; each setting stands on a line of its own."],
    ),
    "not TOML at all": ("<config>\n", ["line 1: this is neither a setting, a [table] nor a # comment."]),
    "too deep": ("a = " + "[" * 100_000, ["lists or tables stand too deep inside one another."]),
}  # fmt: skip


@pytest.mark.parametrize("case", TABLE)
def test_config_and_its_problems(case: str, folder: Path, problems: Find) -> None:
    shutil.copy(PROFILES / "srgb.icc", folder / "screen.icc")
    shutil.copy(PROFILES / "tr006_coated_320.icc", folder / "matt.icc")
    (folder / "cut.icc").write_bytes((PROFILES / "srgb.icc").read_bytes()[40:])
    text, expected = TABLE[case]
    found = problems(text)
    wanted = [f"studio.toml{', ' if sentence.startswith('line') else ': '}{sentence}" for sentence in expected]
    assert found == wanted


def test_an_unknown_step_is_told_with_the_nearest_name_and_every_step(problems: Find) -> None:
    (sentence,) = problems(chain('"lok_boxes"'))
    start = "studio.toml, line 8, route 'posters', chain: there is no step 'lok_boxes'; did you mean 'look_boxes'? "
    assert sentence.startswith(start + "The steps are ")
    assert {"open_first", "look_boxes", "call_it"} <= set(sentence.removesuffix(".").replace(",", "").split())


def test_problems_of_plugins_come_with_all_others(folder: Path, problems: Find) -> None:
    (folder / "steps" / "little_steps.py").write_text("import no_such_library\n", encoding="utf-8")
    found = problems(TOP + "workers = 0\n" + ROUTE)
    assert found[0] == "studio.toml, line 2: 'workers' must be at least 1, not 0."
    path = folder / "steps" / "little_steps.py"
    assert found[1:] == [
        f"The plugin {path} could not be loaded: ModuleNotFoundError: No module named 'no_such_library'"
    ]


@pytest.mark.parametrize(
    ("make", "sentence"),
    [
        (lambda path: None, "There is no config file studio.toml; check its name and its folder."),
        (lambda path: path.mkdir(), "studio.toml is a folder; name the config file in it."),
        (
            lambda path: path.write_bytes(b"workers = 2\nspool = \"\xff\"\n"),
            "studio.toml, line 2: this is not UTF-8 text; save the file as UTF-8.",
        ),
    ],
)  # fmt: skip
def test_a_file_that_cannot_be_read(folder: Path, make: Callable[[Path], None], sentence: str) -> None:
    make(Path("studio.toml"))
    with pytest.raises(ConfigError) as caught:
        load_studio(Path("studio.toml"))
    assert caught.value.problems == [sentence]


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="whoever is root reads every file")
def test_a_file_that_may_not_be_read(folder: Path) -> None:
    Path("studio.toml").write_text(TOP, encoding="utf-8")
    Path("studio.toml").chmod(0)
    with pytest.raises(ConfigError, match=r"The config file studio\.toml can't be read: Permission denied\."):
        load_studio(Path("studio.toml"))


def test_what_a_right_config_adds_up_to(folder: Path, load: Callable[[str], Studio]) -> None:
    shutil.copy(PROFILES / "tr006_coated_320.icc", folder / "matt.icc")
    studio = load(
        TOP + 'spool = "work/spool"\nworkers = 3\nrescan = 5\ncondition = "matt"\n[limits]\nseconds = 60\n'
        '[conditions.matt]\nprofile = "matt.icc"\nink_limit = 280\nidentifier = "Harbour"\n'
        + ROUTE.replace('["open_first"]', '["open_first", { step = "look_boxes", tolerance = "2mm" }]')
        + 'settle = 10\npatience = 60\nfile_names = ["{client}_{trim}"]\nsubfolders = "{title}"\n'
        '[routes.posters.ticket]\ntrim = "A1"\ndue = 2026-12-04\n'
    )
    assert studio.folder == folder
    assert studio.spool == folder / "work" / "spool"
    assert (studio.workers, studio.rescan, studio.condition) == (3, 5.0, "matt")
    assert (studio.limits.seconds, studio.limits.memory_mb) == (60.0, 1500)
    assert set(studio.conditions) == {*SHIPPED, "matt"}
    matt = studio.conditions["matt"]
    assert (matt.title, matt.profile, matt.ink_limit) == ("matt", folder / "matt.icc", 280)
    assert (matt.identifier, matt.intent, matt.black_point_compensation) == ("Harbour", "relative", True)
    (route,) = studio.routes
    assert studio.route("posters") is route
    assert (route.watch, route.passed, route.hold) == (folder / "in", folder / "pass", folder / "hold")
    assert (route.settle, route.patience) == (10.0, 60.0)
    assert (route.file_names, route.subfolders) == (("{client}_{trim}",), "{title}")
    assert route.ticket["trim"] == "A1"
    assert [step.name for step in route.chain] == ["open_first", "look_boxes"]
    assert route.chain[1].settings.tolerance == 2 * MM


def test_the_rules_of_a_condition(folder: Path, load: Callable[[str], Studio]) -> None:
    shutil.copy(PROFILES / "tr006_coated_320.icc", folder / "matt.icc")
    shutil.copy(PROFILES / "fogra47l_uncoated_300.icc", folder / "old.icc")
    studio = load(
        TOP + '[conditions.matt]\nprofile = "matt.icc"\nink_limit = 280\npicture_intent = "perceptual"\n'
        'rich_black = [60, 40, 40, 100]\nrich_black_from = "2in"\ncmyk = "convert"\ncmyk_source = "old.icc"\n'
        '[conditions.matt.spots]\n"Old Gold" = "cmyk"\nSilver = { name = "Silver 1" }\n' + ROUTE
    )
    matt = studio.conditions["matt"]
    assert (matt.picture_intent, matt.picture_black_point_compensation) == ("perceptual", None)
    assert (matt.rich_black, matt.rich_black_from) == ((60, 40, 40, 100), 144)
    assert (matt.cmyk, matt.cmyk_source, matt.over_limit) == ("convert", folder / "old.icc", "report")
    assert matt.spot("OLD_GOLD") == Spot("cmyk")
    assert matt.spot("Silver") == Spot("rename", "Silver 1")
    assert matt.spot("Copper") == Spot("keep")


def test_paths_may_start_at_home(folder: Path, load: Callable[[str], Studio], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("HOME", str(folder / "home"))
    monkeypatch.setenv("USERPROFILE", str(folder / "home"))
    studio = load(TOP + ROUTE.replace('"in"', '"~/in"'))
    assert studio.routes[0].watch == folder / "home" / "in"
