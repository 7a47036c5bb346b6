"""The chain: order, findings, holds, faults, and steps that do what they did not declare."""

from __future__ import annotations

import errno
from pathlib import Path

import pikepdf
import pytest

from hotfolder.plugin import Hold, Job, Opener, Part, Step
from hotfolder.testing import codes, make_job, make_pdf, run_steps


class LookOnly(Step):
    name = "look_only"

    def run(self, job: Job) -> None:
        job.note("looked", "Looked.")
        job.tell("All is in order.")


class FindWrong(Step):
    name = "find_wrong"

    def run(self, job: Job) -> None:
        job.hold("wrong", "Something is wrong.")


class RaiseHold(Step):
    name = "raise_hold"

    def run(self, job: Job) -> None:
        raise Hold("stop", "Can't go on.", mend="Look.", page=2)


class Break(Step):
    name = "break_down"

    def run(self, job: Job) -> None:
        raise ZeroDivisionError("by a poster")


class TurnPage(Step):
    name = "turn_page"
    changes = frozenset({Part.BOXES})

    def run(self, job: Job) -> None:
        with job.edit() as pdf:
            pdf.pages[0].rotate(90, relative=True)


class TurnSecretly(TurnPage):
    name = "turn_secretly"
    changes: frozenset[Part] = frozenset()


class TurnAnyway(TurnPage):
    name = "turn_anyway"
    mends = True


class TurnOrTell(TurnPage):
    name = "turn_or_tell"

    def foretell(self, job: Job) -> None:
        job.hold("would_not_turn", "The page could not be turned either.")


class OpenNothing(Opener):
    name = "open_nothing"

    @classmethod
    def recognises(cls, head: bytes) -> str:
        return "poem" if head.startswith(b"Roses") else ""


CASES: list[tuple[list[type[Step]], list[str], list[str]]] = [
    # steps, findings, how each step ended
    ([LookOnly, TurnPage], ["note looked"], ["done", "done"]),
    ([FindWrong, LookOnly, TurnPage, TurnAnyway], ["hold wrong", "note looked"], ["done", "done", "skipped", "done"]),
    ([FindWrong, TurnOrTell], ["hold wrong", "hold would_not_turn"], ["done", "skipped"]),
    ([TurnOrTell], [], ["done"]),
    ([RaiseHold, LookOnly], ["hold stop", "note looked"], ["held", "done"]),
    ([Break, LookOnly], ["hold fault", "note looked"], ["fault", "done"]),
    ([TurnSecretly], ["hold undeclared_change"], ["done"]),
]


@pytest.mark.parametrize(("steps", "findings", "ended"), CASES)
def test_chain(tmp_path: Path, steps: list[type[Step]], findings: list[str], ended: list[str]) -> None:
    job = make_job(tmp_path, make_pdf(tmp_path / "poster.pdf"))
    records = run_steps(job, *(step() for step in steps))
    assert codes(job) == findings
    assert [str(record.ended) for record in records] == ended


def test_the_original_is_not_written_to(tmp_path: Path) -> None:
    path = make_pdf(tmp_path / "poster.pdf")
    before = path.read_bytes()
    job = make_job(tmp_path, path)
    (record,) = run_steps(job, TurnPage())
    assert record.changed
    assert path.read_bytes() == before
    with pikepdf.open(job.artwork) as pdf:
        assert pdf.pages[0].Rotate == 90


def test_an_unknown_kind_of_file_is_held_in_words(tmp_path: Path) -> None:
    path = tmp_path / "poem.txt"
    path.write_text("Violets are blue")
    job = make_job(tmp_path, path, opened=False)
    records = run_steps(job, OpenNothing(), LookOnly())
    assert codes(job) == ["hold unknown_kind"]
    assert [str(record.ended) for record in records] == ["skipped", "skipped"]


@pytest.mark.parametrize(
    ("name", "content", "code", "words"),
    [
        ("poem.pdf", b"Violets are blue", "unknown_kind", "it is named .pdf, but its content is something else"),
        ("poem.JPG", b"Violets are blue", "unknown_kind", "it is named .jpg, but its content is something else"),
        ("poem.docx", b"PK", "unknown_kind", "hotfolder can't open this kind of file."),
        ("poem.pdf", b"", "empty_file", "The file is empty"),
    ],
)
def test_what_is_said_of_a_file_that_nobody_opens(
    tmp_path: Path, name: str, content: bytes, code: str, words: str
) -> None:
    path = tmp_path / name
    path.write_bytes(content)
    job = make_job(tmp_path, path, opened=False)
    run_steps(job, OpenNothing())
    (finding,) = job.findings
    assert (finding.code, words in finding.message) == (code, True)


class OpenBadly(OpenNothing):
    name = "open_badly"

    @classmethod
    def recognises(cls, head: bytes) -> str:
        raise IndexError("in the head")


def test_a_fault_while_recognising_is_a_fault_of_that_step(tmp_path: Path) -> None:
    job = make_job(tmp_path, make_pdf(tmp_path / "poster.pdf"), opened=False)
    (record,) = run_steps(job, OpenBadly())
    assert (codes(job), str(record.ended)) == (["hold fault"], "fault")


class FillDisk(Step):
    name = "fill_disk"

    def run(self, job: Job) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")


def test_a_full_disk_is_not_the_artworks_fault(tmp_path: Path) -> None:
    job = make_job(tmp_path, make_pdf(tmp_path / "poster.pdf"))
    with pytest.raises(OSError, match="No space left"):
        run_steps(job, FillDisk())


class LookMeanwhile(Step):
    name = "look_meanwhile"

    def run(self, job: Job) -> None:
        def look() -> None:
            raise Hold("found_late", "Found late.")

        job.meanwhile(look)
        job.meanwhile(lambda: None)
        job.meanwhile(lambda: [][0])  # type: ignore[misc]


def test_what_a_check_finds_meanwhile_counts_before_the_outcome(tmp_path: Path) -> None:
    job = make_job(tmp_path, make_pdf(tmp_path / "poster.pdf"))
    run_steps(job, LookMeanwhile(), LookOnly())
    assert codes(job) == ["note looked", "hold found_late", "hold fault"]
    assert {finding.step for finding in job.findings} == {"look_only", "look_meanwhile"}


def test_a_fault_keeps_its_traceback(tmp_path: Path) -> None:
    job = make_job(tmp_path, make_pdf(tmp_path / "poster.pdf"))
    (record,) = run_steps(job, Break())
    assert record.trace is not None
    assert "by a poster" in record.trace


def test_a_failed_edit_leaves_the_working_pdf_as_it_was(tmp_path: Path) -> None:
    job = make_job(tmp_path, make_pdf(tmp_path / "poster.pdf"))
    before = job.artwork
    with pytest.raises(RuntimeError), job.edit() as pdf:
        pdf.pages[0].rotate(90, relative=True)
        raise RuntimeError
    assert job.artwork == before


def test_what_steps_look_for_is_found_once_for_each_version_of_the_artwork(tmp_path: Path) -> None:
    job = make_job(tmp_path, make_pdf(tmp_path / "a.pdf"))
    looked: list[int] = []

    def look() -> int:
        looked.append(job.version)
        return len(looked)

    assert [job.once("pages", look), job.once("pages", look), job.once("other", look)] == [1, 1, 2]
    run_steps(job, TurnPage())
    assert job.once("pages", look) == 3


def test_the_artwork_is_opened_for_drawing_once_for_each_version(tmp_path: Path) -> None:
    job = make_job(tmp_path, make_pdf(tmp_path / "a.pdf"))
    pages = job.pages()
    assert job.pages() is pages
    assert job.pages(colours=False) is pages
    run_steps(job, TurnPage())
    assert job.pages() is not pages
    assert job.pages(colours=False) is job.pages()
    assert job.pages().rotate(1) == 90
    job.close()


def test_where_only_colours_changed_shapes_are_drawn_from_the_file_before(tmp_path: Path) -> None:
    job = make_job(tmp_path, make_pdf(tmp_path / "a.pdf", content=b"1 0 0 rg 0 0 9999 9999 re f"))
    before = job.pages()
    for colour in (b"0 1 0", b"0 0 1"):
        with job.edit(shapes=False) as pdf:
            pdf.pages[0].Contents = pdf.make_stream(colour + b" rg 0 0 9999 9999 re f")
    assert job.pages(colours=False) is before
    assert before.render(1, 10).picture.getpixel((5, 5)) == (255, 0, 0)
    assert job.pages().render(1, 10).picture.getpixel((5, 5)) == (0, 0, 255)
    run_steps(job, TurnPage())
    assert job.pages(colours=False) is job.pages()
    job.close()


def test_shapes_are_not_drawn_from_a_file_that_lacks_an_earlier_step_s_change(tmp_path: Path) -> None:
    job = make_job(tmp_path, make_pdf(tmp_path / "a.pdf"))
    with job.edit() as pdf:
        pdf.pages[0].rotate(90, relative=True)
    with job.edit(shapes=False) as pdf:
        pdf.pages[0].Contents = pdf.make_stream(b"1 g 0 0 99 99 re f")
    assert job.pages(colours=False).rotate(1) == 90
    job.close()
