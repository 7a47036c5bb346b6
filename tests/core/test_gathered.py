"""A finding on several pages is said once, with its pages."""

import pytest

from hotfolder.finding import Box, Level
from hotfolder.gathered import Found, Gathered, listed
from hotfolder.testing import codes, make_job, make_pdf

# pages, how many the file has -> the sentence
SAID = [
    ([1], 1, "The page is grey."),
    ([2], 3, "Page 2 is grey."),
    ([1, 3], 3, "Page 1 is grey. The same on page 3."),
    ([1, 2, 3], 3, "Page 1 is grey. The same on pages 2 and 3."),
    (list(range(1, 11)), 10, "Page 1 is grey. The same on pages 2, 3, 4, 5, 6 and 4 more."),
]


@pytest.mark.parametrize(("pages", "count", "sentence"), SAID)
def test_what_is_said(tmp_path, pages, count, sentence):
    gathered = Gathered()
    for page in pages:
        gathered.add(Found("grey", "{page} is grey.", box=Box(page, 0, 9, 9)), page)
    job = make_job(tmp_path, make_pdf(tmp_path / "a.pdf"))
    gathered.report(job, count)
    (finding,) = job.findings
    assert finding.message == sentence
    assert (finding.page, finding.box) == (pages[0], Box(pages[0], 0, 9, 9))


def test_twice_on_a_page_counts_once_and_the_file_has_no_page(tmp_path):
    gathered = Gathered()
    for _ in range(2):
        gathered.add(Found("grey", "Something on {page} is grey."), 1)
    gathered.add(Found("odd", "The file is odd.", level=Level.NOTE, box=Box(0, 0, 1, 1)))
    assert gathered.held
    job = make_job(tmp_path, make_pdf(tmp_path / "a.pdf"))
    gathered.report(job, 1)
    assert codes(job) == ["hold grey", "note odd"]
    assert job.findings[0].message == "Something on the page is grey."
    assert (job.findings[1].page, job.findings[1].box) == (None, None)


@pytest.mark.parametrize(
    ("words", "expected"), [(["a"], "a"), (["a", "b"], "a and b"), (["a", "b", "c"], "a, b and c")]
)
def test_lists_in_words(words, expected):
    assert listed(words) == expected
