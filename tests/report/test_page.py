"""The report: complete, self-contained, and harmless whatever names, tickets and findings say."""

from __future__ import annotations

import base64
import datetime as dt
import hashlib
import re
from html.parser import HTMLParser
from io import BytesIO
from itertools import pairwise
from pathlib import Path
from typing import Any

import pikepdf
import pytest
from PIL import Image

from hotfolder.colour.condition import DEFAULT, SHIPPED
from hotfolder.finding import Box, Finding, Level, Outcome
from hotfolder.record import Ended, JobRecord, StepRecord
from hotfolder.report import page, words
from hotfolder.report.page import write_report
from hotfolder.testing import make_pdf
from hotfolder.ticket import Ticket

ARRIVED = dt.datetime(2026, 11, 25, 14, 22, 57, tzinfo=dt.timezone(dt.timedelta(hours=1)))
VOID = {"meta", "img", "path", "rect", "circle", "br"}


class Page(HTMLParser):
    """A report read back: every tag with its attributes, all text, and whether the tags close in order."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self.open: list[str] = []
        self.feed(text)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        if tag not in VOID:
            assert self.open.pop() == tag

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        if "style" not in self.open:
            self.words.append(data)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.words).split())

    def all(self, tag: str) -> list[dict[str, str | None]]:
        return [attributes for name, attributes in self.tags if name == tag]


def finding(level: Level = Level.HOLD, message: str = "Something is wrong.", **more: Any) -> Finding:
    return Finding(code="code", level=level, message=message, **more)


def record(outcome: Outcome | None = Outcome.HOLD, **more: Any) -> JobRecord:
    facts: dict[str, Any] = {
        "job": "20261125-142257-7f3a9c",
        "file": "quaymarket_jazznight_24x36in.pdf",
        "route": "posters",
        "arrived": ARRIVED,
        "finished": ARRIVED + dt.timedelta(seconds=2),
        "outcome": outcome,
        "kind": "pdf",
        "bytes": 1_834_221,
        "digest": "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08",
        "condition": "Coated paper, Europe (FOGRA39)",
    }
    return JobRecord(**{**facts, **more})


def report(path: Path, job: JobRecord, working: Path | None = None, **paths: Any) -> str:
    given = {"original": None, "opened": working, "condition": SHIPPED[DEFAULT], **paths}
    write_report(job, path / "report.html", working=working, **given)
    return (path / "report.html").read_text(encoding="utf-8")


# ---- what stands in it


def test_a_held_job_says_what_is_wrong_and_what_to_do(tmp_path: Path) -> None:
    findings = [
        finding(Level.NOTE, "Some text is tiny."),
        finding(
            message="A picture is too coarse.",
            measured="72 pixels per inch",
            required="150 pixels per inch",
            page=1,
            box=Box(100, 100, 300, 300),
            mend="Use the original picture.",
        ),
        finding(Level.MENDED, "The trim was set."),
    ]
    read = Page(report(tmp_path, record(findings=findings), make_pdf(tmp_path / "a.pdf")))
    assert "Held: 1 thing to mend" in read.text
    for sentence in ("72 pixels per inch", "150 pixels per inch", "What to do Use the original picture.", "Page 1"):
        assert sentence in read.text
    # What holds the job comes first and is number 1, on the picture too.
    cards = [tag["id"] for tag in read.all("li") if (tag.get("class") or "") == "card"]
    assert cards == ["point-1", "point-2", "point-3"]
    order = [read.text.rindex(found.message) for found in (findings[1], findings[0], findings[2])]
    assert order == sorted(order)
    assert "number 1 on the picture of the sheet" in read.text


def test_a_step_s_own_pictures_stand_once_with_its_finding(tmp_path: Path) -> None:
    mended = [finding(Level.MENDED, f"Side {side} was made.", step="make_bleed") for side in (1, 2)]
    views = {
        ("make_bleed", "code"): [("Before", Image.new("RGB", (900, 300))), ("After", Image.new("CMYK", (30, 40)))],
        ("other_step", "code"): [("Elsewhere", Image.new("RGB", (9, 9)))],
    }
    read = Page(report(tmp_path, record(findings=mended), make_pdf(tmp_path / "a.pdf"), views=views))
    shown = [tag for tag in read.all("img") if tag.get("class") == "view"]
    assert [(tag["alt"], tag["width"], tag["height"]) for tag in shown] == [
        ("Before", "600", "200"),
        ("After", "30", "40"),
    ]


def test_a_passed_job_says_so_and_what_was_done(tmp_path: Path) -> None:
    steps = [
        StepRecord(step="check_geometry", ended=Ended.DONE, told=["The trim is as ordered."]),
        StepRecord(step="convert_colour", ended=Ended.DONE, changed=True, told=["Three colours went to CMYK."]),
        StepRecord(step="open_picture", ended=Ended.SKIPPED, told=["The artwork is open already."]),
    ]
    job = record(Outcome.PASS, steps=steps, result_digest="ab" * 32)
    read = Page(report(tmp_path, job, make_pdf(tmp_path / "a.pdf")))
    assert "Passed: ready for the printer" in read.text
    checked, changed = read.text.index("What was checked"), read.text.index("What was changed")
    assert checked < read.text.index("Check geometry The trim is as ordered.") < changed
    assert changed < read.text.index("Convert colour Three colours went to CMYK.")
    assert "Open picture" not in read.text
    assert "ab" * 32 in read.text


@pytest.mark.parametrize("outcome", [Outcome.PASS, Outcome.HOLD, None])
def test_every_report_has_digest_times_and_the_caution(tmp_path: Path, outcome: Outcome | None) -> None:
    read = Page(report(tmp_path, record(outcome)))
    assert "The printer’s own specification and a signed proof decide, not this report." in read.text
    assert "The printer’s own profile for press and paper is the right one" in read.text
    assert "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08" in read.text
    assert words.show_time(ARRIVED) in read.text
    assert read.all("time")[0]["datetime"] == "2026-11-25T14:22:57+01:00"


def test_the_ticket_tells_where_each_line_came_from(tmp_path: Path) -> None:
    ticket = Ticket.model_validate({"trim": "A1", "bleed": "3mm", "client": "Quay Market", "due": dt.date(2026, 12, 4)})
    origins = {"trim": "the file name", "bleed": "route 'posters'", "client": "a.ticket.toml, line 3"}
    read = Page(report(tmp_path, record(ticket=ticket, origins=origins)))
    for line in (
        "Finished size (trim) A1, 594 × 841 mm (23.39 × 33.11 in) the file name",
        "Bleed 3 mm (0.118 in) route 'posters'",
        "Client Quay Market a.ticket.toml, line 3",
        "Safe margin 12.7 mm (0.5 in) hotfolder's own default",
        "Due 4 December 2026",
    ):
        assert line in read.text
    assert "Viewing distance" not in read.text


def test_faults_and_unfinished_steps_are_told(tmp_path: Path) -> None:
    steps = [
        StepRecord(step="check_fonts", ended=Ended.FAULT, trace="Traceback: secret"),
        StepRecord(step="check_document", ended=Ended.HELD, told=["It is locked."]),
        StepRecord(step="add_marks", ended=Ended.SKIPPED, told=["Not done: the job is held, and this step would ..."]),
    ]
    read = Page(report(tmp_path, record(steps=steps)))
    assert "Check fonts Could not finish. This is a fault in hotfolder" in read.text
    assert "Check document It is locked. Stopped here" in read.text
    assert "Not done, because the file is held: Add marks." in read.text
    assert "Traceback" not in read.text


# ---- harmless and self-contained

HOSTILE = [
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "'; } </style><script>alert(1)</script>",
    "{{ 7*7 }}{% raw %}",
    "</title></head><body onload=alert(1)>",
    "javascript:alert(1)//",
    "line\nbreak\rand\0null \x1b[2J",
    "undecodable \udce9\udcff",
    "gnp.\u202efdp turned \u2066 round",
    "x" * 5000,
    "☂ 🎷 👩‍🎨 日本 عربى",
]


@pytest.mark.parametrize("text", HOSTILE)
def test_hostile_text_stays_text(tmp_path: Path, text: str) -> None:
    found = finding(message=text, measured=text, required=text, mend=text)
    job = record(
        file=text,
        condition=text,
        findings=[found],
        route=text,
        steps=[StepRecord(step="check_fonts", ended=Ended.DONE, told=[text])],
        ticket=Ticket.model_validate({"client": text.encode(errors="replace").decode()[:200]}),
        origins={"client": text},
    )
    html = report(tmp_path, job)
    read = Page(html)
    assert [tag for tag, _ in read.tags if tag in ("script", "iframe", "object", "link", "form", "base")] == []
    assert [name for _, attributes in read.tags for name in attributes if name.startswith("on")] == []
    assert read.all("img") == []
    assert len(read.all("body")) == len(read.all("style")) == len(read.all("title")) == 1
    shown = " ".join(words.clean(text).split())
    assert read.text.count(shown) >= 6
    assert not re.search("[\0\x1b\u202e\u2066\udc80-\udfff]", html)


def test_nothing_is_fetched_and_no_script_may_run(tmp_path: Path) -> None:
    found = finding(page=1, box=Box(100, 100, 300, 300))
    html = report(tmp_path, record(findings=[found]), make_pdf(tmp_path / "a.pdf"))
    read = Page(html)
    for _, attributes in read.tags:
        for name, value in attributes.items():
            if name in ("src", "href", "srcset", "action", "poster", "data"):
                assert (value or "").startswith(("data:image/jpeg;base64,", "#point-"))
            assert name != "style"
    assert "http:" not in html
    assert "https:" not in html
    assert "@import" not in html
    assert "url(" not in html
    policy = (
        next(tag for tag in read.all("meta") if tag.get("http-equiv") == "Content-Security-Policy")["content"] or ""
    )
    style = re.search("<style>(.*?)</style>", html, re.DOTALL)
    assert style is not None
    digest = base64.b64encode(hashlib.sha256(style[1].encode()).digest()).decode()
    assert f"style-src 'sha256-{digest}'" in policy
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy


def test_the_page_is_built_for_everyone(tmp_path: Path) -> None:
    found = finding(page=1, box=Box(100, 100, 300, 300))
    read = Page(report(tmp_path, record(findings=[found]), make_pdf(tmp_path / "a.pdf")))
    assert read.all("html")[0]["lang"] == "en"
    assert len(read.all("main")) == len(read.all("h1")) == 1
    levels = [int(tag[1]) for tag, _ in read.tags if re.fullmatch("h[1-6]", tag)]
    assert levels[0] == 1
    assert all(after - before <= 1 for before, after in pairwise(levels))
    pictures = read.all("img")
    assert len(pictures) == 2
    assert all(picture["alt"] and picture["width"] and picture["height"] for picture in pictures)
    names = {tag["id"] for tag in (attributes for _, attributes in read.tags) if "id" in tag}
    pointed = {(tag.get("aria-labelledby") or tag.get("href") or "").lstrip("#") for _, tag in read.tags} - {""}
    assert len(pointed) > 5
    assert pointed <= names


def luminance(colour: str) -> float:
    """Relative luminance, WCAG 2.2."""
    parts = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize("mode", ["light", "dark"])
@pytest.mark.parametrize("outcome", ["pass", "hold", "open"])
def test_colours_have_contrast(mode: str, outcome: str) -> None:
    # WCAG 2.2, 1.4.3 (AA): 4.5 to 1 for text.
    style = (Path(page.__file__).parent / "report.css").read_text(encoding="utf-8")
    light, dark = style.split("@media (prefers-color-scheme: dark)")[:2]
    colours: dict[str, str] = {}
    for part in (light, dark.split("\n* {")[0]) if mode == "dark" else (light,):
        for selector, body in re.findall(r"(:root|body\.\w+) \{([^}]*)\}", part):
            if selector in (":root", f"body.{outcome}"):
                colours |= dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6})", body))
    for text, ground in (
        ("ink", "paper"),
        ("ink", "card"),
        ("soft", "paper"),
        ("soft", "card"),
        ("soft", "desk"),
        ("tone", "paper"),
        ("ink", "tone-soft"),
    ):
        assert contrast(colours[text], colours[ground]) >= 4.5, (text, ground)
    assert contrast("#ffffff", colours["place"]) >= 4.5


# ---- pictures


def pictures(html: str) -> list[Image.Image]:
    found = [tag["src"] or "" for tag in Page(html).all("img")]
    return [Image.open(BytesIO(base64.b64decode(uri.partition(",")[2]))) for uri in found]


def test_forty_findings_stay_one_handy_file(tmp_path: Path) -> None:
    found = [
        finding(list(Level)[n % 3], f"Point {n}.", page=1, box=Box(20 + n * 15, 30 + n * 20, 60 + n * 15, 70 + n * 20))
        for n in range(40)
    ]
    html = report(tmp_path, record(findings=found), make_pdf(tmp_path / "a.pdf"))
    read = Page(html)
    assert all(f"Point {n}." in read.text for n in range(40))
    assert len(html) < 1_500_000
    assert len(pictures(html)) == 25
    assert "Only the first 24 places are shown in pictures of their own." in read.text


def test_cmyk_is_shown_as_the_condition_prints_it(tmp_path: Path) -> None:
    # Solid cyan of FOGRA39L is Lab 55 -37 -50 (ISO 12647-2:2004), in sRGB about 0 147 211 (from memory of the
    # published preview values); a naive conversion would show 0 255 255.
    pdf = make_pdf(tmp_path / "cyan.pdf", content=b"1 0 0 0 k -999 -999 9999 9999 re f")
    html = report(tmp_path, record(Outcome.PASS), pdf)
    red, green, blue = pictures(html)[0].convert("RGB").getpixel((500, 700))  # type: ignore[misc]
    assert red < 60
    assert 120 < green < 185
    assert 190 < blue < 245
    assert "approximate" not in Page(html).text


def test_without_a_condition_the_report_says_that_colours_are_approximate(tmp_path: Path) -> None:
    html = report(tmp_path, record(), make_pdf(tmp_path / "a.pdf"), condition=None)
    assert "Colours in the pictures are approximate" in Page(html).text
    assert len(pictures(html)) == 1


def test_pages_with_findings_are_shown(tmp_path: Path) -> None:
    pdf = make_pdf(tmp_path / "book.pdf", trim_mm=(60, 90), pages=30)
    found = [finding(page=n, box=Box(50, 50, 60, 60)) for n in (7, 3, 0, 31, -2, 9, 11, 12)]
    html = report(tmp_path, record(findings=found), pdf)
    assert "Shown here: pages 1, 3, 7, 9 of 30." in Page(html).text
    assert len(pictures(html)) == 4 + 6


@pytest.mark.parametrize(
    "box",
    [
        Box(float("nan"), 0, 1, 1),
        Box(0, 0, float("inf"), 1),
        Box(9, 9, 0, 0),
        Box(-1e30, -1e30, 1e30, 1e30),
        Box(1e8, 1e8, 2e8, 2e8),
        Box(5, 5, 5, 5),
    ],
)
def test_nonsense_places_do_no_harm(tmp_path: Path, box: Box) -> None:
    job = record(findings=[finding(page=1, box=box)])
    html = report(tmp_path, job, make_pdf(tmp_path / "a.pdf"))
    assert "Something is wrong." in Page(html).text
    assert len(pictures(html)) >= 1


@pytest.mark.parametrize("content", [b"", b"%PDF-1.7\n", b"not a pdf at all", b"\xff\xd8\xff\xe0 cut short"])
def test_what_cannot_be_opened_is_told_in_words(tmp_path: Path, content: bytes) -> None:
    broken = tmp_path / "broken.pdf"
    broken.write_bytes(content)
    for paths in ({"working": broken}, {"original": broken}):
        html = report(tmp_path, record(findings=[finding(page=1, box=Box(0, 0, 9, 9))]), **paths)
        assert "There is no picture of the" in Page(html).text
        assert pictures(html) == []
        assert "Something is wrong." in Page(html).text


def test_a_locked_file_is_told_in_words(tmp_path: Path) -> None:
    locked = tmp_path / "locked.pdf"
    with pikepdf.open(make_pdf(tmp_path / "a.pdf")) as pdf:
        pdf.save(locked, encryption=pikepdf.Encryption(owner="o", user="u"))
    html = report(tmp_path, record(), locked)
    assert "There is no picture of the sheet, because a password protects the file." in Page(html).text


def test_real_files_of_every_kind_have_a_report(tmp_path: Path) -> None:
    corpus = Path(__file__).parents[2].parent / "shared" / "corpus" / "stress"
    files = sorted(corpus.glob("qpdf__*.pdf")) + sorted(corpus.glob("veraPDF*.pdf"))
    if not files:
        pytest.skip("the corpus of difficult files is not beside this clone")
    for file in files:
        html = report(tmp_path, record(file=file.name, findings=[finding(page=1, box=Box(9, 9, 99, 99))]), file)
        read = Page(html)
        assert "Something is wrong." in read.text, file.name
        assert read.all("img") or "There is no picture of the sheet" in read.text, file.name


def test_a_job_without_any_file_has_a_whole_report(tmp_path: Path) -> None:
    html = report(tmp_path, record(findings=[finding(message="It took too long.")]), condition=None)
    assert "There is no picture of the sheet." in Page(html).text
    assert "Nothing could be checked." in Page(html).text


def test_an_original_no_step_opened_is_still_shown(tmp_path: Path) -> None:
    art = tmp_path / "art.jpg"
    turned = Image.Exif()
    turned[0x0112] = 6  # Exif 2.32, Orientation: to be turned 90 degrees clockwise
    Image.new("RGB", (3000, 2000), (200, 30, 30)).save(art, exif=turned)
    html = report(tmp_path, record(kind="jpeg"), original=art)
    shown = pictures(html)[0]
    assert shown.size == (933, 1400)
    assert "shown as it arrived" in Page(html).text


def test_a_picture_of_too_many_pixels_is_not_decoded(tmp_path: Path) -> None:
    bomb = tmp_path / "bomb.png"
    # ISO 15948: a header that declares 40 000 x 40 000 pixels, and no data.
    header = b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR" + (40_000).to_bytes(4) * 2 + b"\x08\x02\0\0\0"
    bomb.write_bytes(header + b"\x1c\x14\xf4\x66" + b"\0\0\0\0IEND\xaeB`\x82")
    html = report(tmp_path, record(kind="png"), original=bomb)
    assert pictures(html) == []
    assert "There is no picture of the artwork" in Page(html).text


def test_no_other_program_is_started_for_a_picture(tmp_path: Path) -> None:
    """Pillow hands EPS to Ghostscript where that is installed; elsewhere this holds by itself."""
    art = tmp_path / "art.eps"
    Image.new("RGB", (40, 30), (200, 30, 30)).save(art, "EPS")
    html = report(tmp_path, record(), original=art)
    assert pictures(html) == []
    assert "There is no picture of the artwork" in Page(html).text


# ---- words


@pytest.mark.parametrize(
    ("name", "shown"),
    [("check_geometry", "Check geometry"), ("open_pdf", "Open PDF"), ("seal_pdf", "Seal PDF"), ("", ""), ("x", "X")],
)
def test_step_names_in_words(name: str, shown: str) -> None:
    assert words.step_name(name) == shown


@pytest.mark.parametrize(
    ("outcome", "levels", "headline"),
    [
        (Outcome.PASS, [], "Passed: ready for the printer"),
        (Outcome.PASS, [Level.NOTE], "Passed: ready for the printer"),
        (Outcome.HOLD, [Level.HOLD], "Held: 1 thing to mend"),
        (Outcome.HOLD, [Level.HOLD, Level.NOTE, Level.HOLD], "Held: 2 things to mend"),
        (Outcome.HOLD, [], "Held: a person must look at it"),
        (None, [], "Not finished"),
    ],
)
def test_the_outcome_in_one_line(outcome: Outcome | None, levels: list[Level], headline: str) -> None:
    assert words.verdict(record(outcome, findings=[finding(level) for level in levels])).headline == headline
