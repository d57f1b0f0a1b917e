"""Page and PDF: one content, sections only with data, text never markup, same bytes every time."""

from __future__ import annotations

import dataclasses
import re
import shutil
import subprocess
from html.parser import HTMLParser
from pathlib import Path

import designs
import fake_engine
import fakes
import numpy as np
import pytest

from distrib.answer.speeds import SCAN_RPM
from distrib.report.answer_words import first_lines, worst_table
from distrib.report.cautions import in_order
from distrib.report.data import FindingRow
from distrib.report.document import Grid, Heading
from distrib.report.glance import NO_ENGINE_FIGURE, NOT_COMPARED, RIG
from distrib.report.html import report_html, tight
from distrib.report.pdf import PAPERS_IN, report_pdf
from distrib.report.pdftext import break_lines, column_widths, width_in
from distrib.report.sections import build_document
from distrib.report.sheets import bench_sheet
from distrib.report.tables import (
    RIG_NOTE,
    findings_table,
    idle_in_words,
    passed_table,
    share_table,
)

HOSTILE = "<script>alert('x')</script><img src=x onerror=y> & \"two\""


class Reader(HTMLParser):
    """Collects what the checks below ask about."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.ids: list[str] = []
        self.targets: list[str] = []
        self.headings: list[int] = []
        self.addresses: list[str] = []
        self.open: list[str] = []
        self.svgs = self.named_svgs = self.tables = self.captions = 0
        self.heads_without_scope = self.unnamed = 0
        self.language: str | None = None
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        found = dict(attrs)
        self.tags.append(tag)
        if tag == "html":
            self.language = found.get("lang")
        if found.get("id"):
            self.ids.append(str(found["id"]))
        for name in ("href", "src", "action"):
            value = found.get(name)
            if value is not None:
                (self.targets if value.startswith("#") else self.addresses).append(value)
        for names in ("aria-labelledby",):
            self.targets += [f"#{n}" for n in str(found.get(names) or "").split()]
        if re.fullmatch(r"h[1-6]", tag):
            self.headings.append(int(tag[1]))
        if tag == "svg":
            self.svgs += 1
            self.named_svgs += found.get("role") == "img" and "aria-labelledby" in found
        self.tables += tag == "table" and found.get("class") != "facts"
        self.unnamed += tag == "table" and found.get("class") == "facts" and (
            "aria-labelledby" not in found)
        self.captions += tag == "caption"
        self.heads_without_scope += tag == "th" and "scope" not in found


def words(text: str) -> str:
    """A page with its unbreakable spaces as plain ones."""
    return text.replace("\u00a0", " ")


@pytest.fixture(scope="module")
def two() -> str:
    return report_html([fakes.report(designs.case()), fakes.report(designs.center_case())])


def test_page_stands_alone(two: str) -> None:
    page = Reader(two)
    assert set(page.addresses) <= {"data:,"}
    assert "script" not in page.tags and "iframe" not in page.tags and "img" not in page.tags
    assert not re.search(r"https?://(?!www\.w3\.org/)", two)
    assert "@import" not in two and not re.search(r"url\((?!#)", two)


def test_page_is_sound_for_readers_who_do_not_see_it(two: str) -> None:
    page = Reader(two)
    assert '<html lang="en">' in two
    assert len(page.ids) == len(set(page.ids))
    assert {t[1:] for t in page.targets} <= set(page.ids)
    assert page.headings[0] == 1 and page.headings.count(1) == 1
    assert all(b - a <= 1 for a, b in zip(page.headings, page.headings[1:], strict=False))
    assert page.svgs == page.named_svgs > 10
    assert page.tables == page.captions > 8
    assert "<caption></caption>" not in two and 'aria-label=""' not in two
    assert page.heads_without_scope == page.unnamed == 0
    assert page.language == "en"


def test_same_data_give_the_same_bytes_and_only_the_date_differs() -> None:
    data = fakes.report(designs.case())
    assert report_html([data]) == report_html([data])
    other = report_html([dataclasses.replace(data, date="2026-09-09")])
    assert other != report_html([data])
    assert other.replace("2026-09-09", data.date) == report_html([data])


def test_sections_appear_only_with_their_data() -> None:
    full = {s.name for s in build_document([fakes.report(designs.case())]).sections}
    assert {"glance", "drawing", "shares", "why", "rpm", "sensitivity", "trims", "review",
            "assumptions", "laws", "cautions", "versions", "shop-sheet",
            "bench-sheet", "tuner-sheet", "reviewer-sheet"} == full
    bare = fakes.report(designs.case(), findings=None, trims=None, sensitivity=None,
                        rpm_sweep=())
    names = {s.name for s in build_document([bare]).sections}
    assert full - names == {"rpm", "sensitivity", "trims", "review", "tuner-sheet",
                            "reviewer-sheet"}
    empty = dataclasses.replace(bare, shares=(), reasons=(), lines=(), worst=None)
    names = {s.name for s in build_document([empty]).sections}
    assert {"shares", "why", "laws"} & names == set()
    assert "No model has been run" in report_html([empty])
    with pytest.raises(ValueError, match="at least one case"):
        build_document([])


def test_designs_are_compared_by_the_sentences_given_and_never_by_bands_alone() -> None:
    side, center = fakes.report(designs.case()), fakes.report(designs.center_case())
    spoken = words(report_html([side, center], comparison=["Side is more even (chance 7 %)."]))
    assert '<p class="lead">Side is more even (chance 7 %).</p>' in spoken
    assert NOT_COMPARED not in spoken
    silent = words(report_html([side, center]))
    assert NOT_COMPARED in silent and "more even" not in silent and "Cannot tell" not in silent
    assert NOT_COMPARED not in words(report_html([side]))


def test_answer_on_the_page_is_that_of_the_terminal() -> None:
    case = designs.case()
    found = fakes.answer(case)
    text = words(report_html([fakes.report(case, found)]))
    lines = first_lines(found)
    assert re.search(r'<p class="lead">(.*?)</p>', text)[1] == lines[0]  # type: ignore[index]
    assert lines[0].startswith("Cylinder 5 runs lean near 6500 rpm: +2.0 % air (90 % band ")
    for line in lines[1:]:
        assert f"<p>{line}</p>" in text
    shown = re.findall(r"<tr>(.*?)</tr>", text, re.DOTALL)
    cells = [tuple(" ".join(c.split()) for c in re.findall(r"<t[hd][^>]*>([^<]*)", row))
             for row in shown]
    for row in worst_table(found).rows:
        assert tuple(" ".join(c.split()) for c in row) in cells, row


def test_answer_is_about_the_worst_speed_not_about_one_of_the_list() -> None:
    """Even at the listed speeds, lean between them."""
    case = designs.case().model_copy(update={"conditions": designs.case().conditions.model_copy(
        update={"rpm": (3000.0, 4500.0, 6500.0)})})
    found = fake_engine.answered(case, fake_engine.hill({3: 3.4}, 5500.0, 300.0))
    text = words(report_html([fakes.report(case, found)]))
    lead = re.search(r'<p class="lead">(.*?)</p>', text)
    assert lead is not None
    assert lead.group(1).startswith("Cylinder 3 runs lean near 5500 rpm: +3.4 % air")
    speeds = [float(n) for n in re.findall(r"engine model, (\d+) rev/min", text)]
    assert min(abs(n - 5500.0) for n in speeds) <= 0.5 * SCAN_RPM


def test_why_says_which_way_regain_and_losses_push() -> None:
    text = report_html([fakes.report(designs.case())])
    assert "<li>Plenum main: regain wins, more air away from the entry.</li>" in text


def test_bench_sheet_says_what_the_rig_should_show() -> None:
    case = designs.case()
    data = fakes.report(case)
    expected = data.shares[1].deviation_percent[0]
    sheet = bench_sheet(data, "A")
    table = next(b.table for b in sheet.blocks if isinstance(b, Grid))
    column = [c.name for c in table.columns].index("expected, all open")
    assert [float(r[column]) for r in table.rows] == pytest.approx(list(expected), abs=0.05)
    assert "bench model" in table.note_text() and all(r[-1] == "" for r in table.rows)
    without = bench_sheet(dataclasses.replace(data, shares=data.shares[:1]), "A")
    assert "expected" not in " ".join(
        c.name for b in without.blocks if isinstance(b, Grid) for c in b.table.columns)


def test_checks_with_nothing_to_check_are_named_apart_from_the_passed() -> None:
    idle = FindingRow("baffle", "Baffle in the stream", "does not apply: no baffle", "", "ok", "",
                      "computed", "", applies=False)
    findings = (*fakes.findings(), idle)
    assert "Baffle in the stream" not in str(passed_table(findings).rows)
    assert idle_in_words(findings) == "Does not apply: Baffle in the stream (no baffle)."
    assert idle_in_words(fakes.findings()) == ""
    assert findings_table(findings).notes == ("1 change, 1 missing, 1 ask, 1 ok, 1 do not apply",)
    text = words(report_html([fakes.report(designs.case(), findings=findings)]))
    assert "Does not apply: Baffle in the stream (no baffle)." in text


def test_doubts_are_sentences_and_thin_laws_stand_in_one_line() -> None:
    said = ("thin evidence (own estimate): b, a", "A caution.", "a doubt",
            "thin evidence (own estimate): a, c")
    assert in_order(said) == (
        "A caution.", "A doubt.",
        "Laws on thin evidence (own estimate): b, a, c. Measure before you lean on them.")


def test_all_even_is_said_with_the_warning_not_to_lean_out() -> None:
    case = designs.case()
    quiet = fake_engine.answered(case, fake_engine.hill({1: 0.1}, 6500.0), 0.05)
    data = fakes.report(case, dataclasses.replace(quiet, verdict=np.full_like(
        quiet.verdict, "even"), worst=tuple(dataclasses.replace(w, verdict="even")
                                            for w in quiet.worst)))
    text = words(report_html([data]))
    assert "No cylinder stands out as lean: the most is cylinder 1 near 6500 rpm" in text
    assert "Measure all the same." in text
    assert "An even prediction does not make it safe to lean out." in text


def test_rig_figures_alone_are_marked_as_such_and_give_no_verdict() -> None:
    case = designs.case()
    data = fakes.report(case, lines=(), worst=None, trims=None, rpm_sweep=())
    text = words(report_html([dataclasses.replace(data, shares=data.shares[1:])]))
    assert f'<p class="lead">{NO_ENGINE_FIGURE}</p>' in text
    assert f"; {RIG}." in text and RIG_NOTE.lower() in text.lower()
    assert "most air in cylinder 5 (+8.4 %" in text
    for said in ("lean: more air", "rich: less air", "letter of the verdict", "% lean"):
        assert said not in text


def test_point_without_solution_is_reported_in_words() -> None:
    case = designs.case()
    bad = dataclasses.replace(
        fakes.shares(case), converged=np.array([False]), reason=("runner 3: choked",),
        share=np.full((1, 5), np.nan), deviation_percent=np.full((1, 5), np.nan),
        spread_percent=np.array([np.nan]))
    data = fakes.report(case, trims=None, findings=None, sensitivity=None, rpm_sweep=(), lines=(),
                        worst=None)
    text = report_html([dataclasses.replace(data, shares=(bad,))])
    assert "No solution at this point: runner 3: choked" in text
    assert "nan" not in re.sub(r"<svg.*?</svg>", "", text, flags=re.DOTALL).lower().split()


@pytest.mark.parametrize("field", ["title", "note", "view"])
def test_markup_in_the_case_is_text(field: str) -> None:
    text = report_html([fakes.report(designs.case(**{field: HOSTILE}))])
    page = Reader(text)
    assert "script" not in page.tags and "img" not in page.tags
    assert "<script>alert" not in text
    assert "&lt;script&gt;alert" in text


def test_figures_keep_their_units_and_long_words_may_break() -> None:
    assert str(tight("43 mm (1.69 in)")) == "43\u00a0mm (1.69\u00a0in)"
    assert str(tight("<b> & 5 %")) == "&lt;b&gt; &amp; 5\u00a0%"
    long = "<" * 30
    assert str(tight(long)) == "&lt;" * 20 + "<wbr>" + "&lt;" * 10


@pytest.mark.parametrize("paper", list(PAPERS_IN))
def test_pdf_has_its_size_and_the_same_bytes(paper: str, tmp_path: Path) -> None:
    data = fakes.report(designs.case())
    made = report_pdf([data], paper=paper)
    assert made == report_pdf([data], paper=paper)
    width, height = (72 * side for side in PAPERS_IN[paper])
    boxes = re.findall(rb"/MediaBox \[ ?0 0 ([\d.]+) ([\d.]+) ?\]", made)
    assert boxes and all(float(w) == pytest.approx(width, abs=0.1)
                         and float(h) == pytest.approx(height, abs=0.1) for w, h in boxes)
    if shutil.which("pdftotext") is None:
        return
    file = tmp_path / "report.pdf"
    file.write_bytes(made)
    text = subprocess.run(["pdftotext", "-bbox", str(file), "-"], capture_output=True, text=True,
                          check=True).stdout
    rights = [float(x) for x in re.findall(r'xMax="([\d.]+)"', text)]
    bottoms = [float(x) for x in re.findall(r'yMax="([\d.]+)"', text)]
    assert len(rights) > 500
    assert max(rights) <= width - 0.55 * 72 and max(bottoms) <= height - 0.3 * 72
    found = set(re.findall(r">([^<]+)</word>", text))
    assert {"Shop", "Tuner", "Reviewer", "lean", "Estimate,", "signature"} <= found


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="poppler is absent")
def test_pdf_keeps_headings_with_what_follows_and_short_tables_whole(tmp_path: Path) -> None:
    file = tmp_path / "report.pdf"
    file.write_bytes(report_pdf([fakes.report(designs.case()), fakes.report(designs.v8_case())]))
    text = subprocess.run(["pdftotext", "-layout", str(file), "-"], capture_output=True, text=True,
                          check=True).stdout
    pages = [[line.strip() for line in page.splitlines() if line.strip()]
             for page in text.split("\f")]
    document = build_document([fakes.report(designs.case()), fakes.report(designs.v8_case())])
    titles = {s.title for s in document.sections}
    heads = {b.text for s in document.sections for b in s.blocks if isinstance(b, Heading)}
    for page in pages:
        # the last line of a page is its foot
        assert not {*page[-3:-1]} & (titles | heads), page[-3:]
    captions = [b.table for s in document.sections for b in s.blocks
                if isinstance(b, Grid) and b.table.title.startswith("Deviation by model")]
    assert len(captions) == 2
    for page in pages:
        begun = [i for i, line in enumerate(page) if line.startswith("Deviation by model")]
        for i in begun:
            assert any(line.startswith("spread") for line in page[i:i + 14])


def test_pdf_lines_and_columns_fit_the_room_they_get() -> None:
    text = "The quick brown fox " * 12 + "w" * 120
    for room in (0.8, 2.0, 7.0):
        lines = break_lines(text, 9.0, room)
        assert max(width_in(line, 9.0) for line in lines) <= room + 1e-3
        assert "".join(lines).replace(" ", "") == text.replace(" ", "")
    case = designs.case()
    table = share_table(case, fakes.shares(case))
    for room in (3.0, 5.0, 7.0):
        assert sum(column_widths(table, 8.0, room)) <= room + 1e-9
