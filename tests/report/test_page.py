"""Page and PDF: one content, sections only with data, text never markup, same bytes every time."""

from __future__ import annotations

import dataclasses
import re
import shutil
import subprocess
from html.parser import HTMLParser
from pathlib import Path

import designs
import fakes
import numpy as np
import pytest

from distrib.report.cautions import in_order
from distrib.report.data import FindingRow, RpmSweep
from distrib.report.document import Grid, Heading
from distrib.report.html import report_html, tight
from distrib.report.pdf import PAPERS_IN, report_pdf
from distrib.report.pdftext import break_lines, column_widths, width_in
from distrib.report.sections import build_document
from distrib.report.sheets import bench_sheet
from distrib.report.tables import findings_table, idle_in_words, passed_table, share_table

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
    empty = dataclasses.replace(bare, shares=(), reasons=())
    names = {s.name for s in build_document([empty]).sections}
    assert {"shares", "why", "laws"} & names == set()
    assert "No model has been run" in report_html([empty])
    with pytest.raises(ValueError, match="at least one case"):
        build_document([])


def test_two_designs_are_compared_on_one_scale_and_may_be_alike() -> None:
    side, center = fakes.report(designs.case()), fakes.report(designs.center_case())
    text = report_html([side, center])
    assert "Cannot tell A: Inline five, side entry and B: Inline five, center entry apart" in text
    even = dataclasses.replace(center, shares=(fakes.shares(
        designs.center_case(), deviation=(-0.2, 0.1, 0.2, 0.0, -0.1), half=0.1),))
    assert "B: Inline five, center entry is the more even design" in report_html([side, even])
    spoken = report_html([side, center], comparison=["Side is more even with a chance of 7 %."])
    assert "Side is more even with a chance of 7 %." in words(spoken)
    assert "Cannot tell" not in spoken


def test_answer_names_the_leanest_first_and_says_it_in_words() -> None:
    text = words(report_html([fakes.report(designs.case())]))
    lead = re.search(r'<p class="lead">(.*?)</p>', text)
    assert lead is not None
    assert lead.group(1) == ("Lean, more air at equal fuel: cylinder 5 (387 mm from entry). "
                             "Rich, less air at equal fuel: cylinder 1 (43 mm from entry).")
    assert ("most air in cylinder 5 (+2.0 %, band +0.7 to +3.3 %), least air in cylinder 1 "
            "(-2.1 %, band -3.0 to -1.2 %)") in text
    assert "a rig shows the upper limit" in text


def test_a_worse_speed_is_said_beside_the_answer() -> None:
    case = designs.case()
    quiet = fakes.shares(case, deviation=(0.1, 0.0, -0.1, 0.0, 0.0), half=0.1)
    deviation = np.array([[0.2, -0.2, 0.0, 0.0, 0.0], [-1.0, -0.8, 2.8, -1.2, 0.2]])

    def lead(peak: float) -> str:
        rows = deviation * np.array([[1.0], [peak / 2.8]])
        sweep = RpmSweep("engine", np.array([6500.0, 4500.0]), rows)
        data = dataclasses.replace(fakes.report(case), shares=(quiet,), rpm_sweep=(sweep,))
        return words(report_html([data]))

    even = "Even within the limits: no cylinder stands out as lean or rich."
    more = "More at another speed: cylinder 3 {} % at 4500 rev/min (engine model), {}."
    assert f"{even} {more.format('+2.8', 'watch')}" in lead(2.8)
    assert f"{even} {more.format('+3.4', 'lean')}" in lead(3.4)
    assert "another speed" not in lead(1.4)


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
    quiet = fakes.shares(case, deviation=(0.1, 0.0, -0.1, 0.0, 0.0), half=0.1)
    data = dataclasses.replace(fakes.report(case), shares=(quiet,))
    text = words(report_html([data]))
    assert "Even within the limits: no cylinder stands out as lean or rich." in text
    assert "A prediction of even is no leave to lean out." in text


def test_rig_figures_alone_are_marked_as_such() -> None:
    case = designs.case()
    data = dataclasses.replace(fakes.report(case), shares=(fakes.shares(case, "bench"),))
    assert "figures of a steady rig, which overstates what an engine does" in report_html([data])


def test_point_without_solution_is_reported_in_words() -> None:
    case = designs.case()
    bad = dataclasses.replace(
        fakes.shares(case), converged=np.array([False]), reason=("runner 3: choked",),
        share=np.full((1, 5), np.nan), deviation_percent=np.full((1, 5), np.nan),
        spread_percent=np.array([np.nan]))
    data = fakes.report(case, trims=None, findings=None, sensitivity=None,
                        rpm_sweep=())
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
