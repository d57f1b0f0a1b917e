"""The page in headless Chromium: silent, asks for nothing, fits its window, prints whole."""

from __future__ import annotations

import dataclasses
import re
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import chrome
import designs
import fakes
import pytest

from distrib.report.html import report_html

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(chrome.CHROMIUM is None, reason="Chromium is absent"),
]

SCRIPT = "<script>document.title = 'run'</script><b>bold</b> & \"quoted\" 'title'"
LONG = "w" * 80
PAPERS = {"A4": (8.268, 11.693), "Letter": (8.5, 11.0)}


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Iterator[chrome.Page]:
    with chrome.browser(tmp_path_factory.mktemp("profile")) as opened:
        yield opened


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("pages")
    hostile = fakes.report(designs.case(title=SCRIPT, note=f"{SCRIPT} {LONG}", view=SCRIPT))
    finding = dataclasses.replace(fakes.findings()[0], value=LONG, to_do=f"{SCRIPT} {LONG}")
    hostile = dataclasses.replace(hostile, findings=(finding, *fakes.findings()[1:]))
    texts = {
        "one": report_html([fakes.report(designs.case())]),
        "two": report_html([fakes.report(designs.case()), fakes.report(designs.center_case())]),
        "v8": report_html([fakes.report(designs.v8_case())]),
        "bare": report_html([fakes.report(designs.case(), findings=None, trims=None,
                                          sensitivity=None, rpm_sweep=())]),
        "hostile": report_html([hostile]),
    }
    out = {"sample": Path(__file__).parents[2] / "reports" / "demo" / "inline5_report.html"}
    for name, text in texts.items():
        out[name] = folder / f"{name}.html"
        out[name].write_text(text, encoding="utf-8")
    return out


@pytest.mark.parametrize("width", [390, 1280])
@pytest.mark.parametrize("name", ["one", "two", "v8", "bare", "hostile", "sample"])
def test_page_is_silent_asks_for_nothing_and_fits(
    page: chrome.Page, files: dict[str, Path], name: str, width: int,
) -> None:
    page.open(files[name], width)
    assert page.ask("document.querySelectorAll('section').length") >= 5
    assert page.complaints() == []
    outside = [u for u in page.requests() if not u.startswith(("file:", "data:"))]
    assert outside == []
    assert len([u for u in page.requests() if u.startswith("file:")]) == 1
    assert page.ask("document.documentElement.scrollWidth") <= width
    wider = page.ask(
        "Array.from(document.querySelectorAll('body *')).filter(e => !e.closest('svg, .skip') &&"
        " !e.closest('.scroll, .picture') && e.getBoundingClientRect().right > innerWidth + 1)"
        ".map(e => e.tagName + '.' + e.className)")
    assert wider == []


def test_markup_in_a_title_is_shown_as_text(page: chrome.Page, files: dict[str, Path]) -> None:
    page.open(files["hostile"], 1280)
    assert page.ask("document.title") == SCRIPT
    assert page.ask("document.querySelector('h1').textContent") == SCRIPT
    assert page.ask("document.querySelectorAll('script, h1 b, td b').length") == 0
    assert page.ask("document.querySelector('svg title').textContent").endswith(SCRIPT)


def test_text_has_contrast_and_size(page: chrome.Page, files: dict[str, Path]) -> None:
    page.open(files["one"], 1280)
    smallest = page.ask(
        "Math.min(...Array.from(document.querySelectorAll('body *')).filter(e => !e.closest('svg')"
        " && e.textContent.trim()).map(e => parseFloat(getComputedStyle(e).fontSize)))")
    assert smallest >= 14.0
    pairs = page.ask(
        "Array.from(new Set(Array.from(document.querySelectorAll('p, td, th, li, a, .unit, .notes,"
        " .badge, .blanks div')).map(e => { let b = e; while (b && getComputedStyle(b)."
        "backgroundColor === 'rgba(0, 0, 0, 0)') b = b.parentElement; return getComputedStyle(e)"
        ".color + '|' + (b ? getComputedStyle(b).backgroundColor : 'rgb(255, 255, 255)'); })))")
    from distrib.report.palette import contrast

    def colour(text: str) -> str:
        numbers = text[text.index("(") + 1:text.index(")")].split(",")
        return "#" + "".join(f"{int(n):02X}" for n in numbers[:3])

    assert len(pairs) >= 4
    for pair in pairs:
        ink, ground = (colour(part) for part in pair.split("|"))
        assert contrast(ink, ground) >= 4.5, pair


def test_tables_of_words_need_no_scrolling_on_a_telephone(
    page: chrome.Page, files: dict[str, Path],
) -> None:
    page.open(files["hostile"], 390)
    assert page.ask("document.querySelectorAll('.words').length") >= 4
    assert page.ask("Array.from(document.querySelectorAll('.words')).filter(e => e.scrollWidth >"
                    " e.clientWidth + 1).map(e => e.getAttribute('aria-label'))") == []
    named = page.ask("getComputedStyle(document.querySelector('.words td:not(:empty)'), '::before')"
                     ".content")
    assert named == '"check: "' or 'attr(data-name)' in named
    roles = page.ask("Array.from(document.querySelectorAll('.words tr, .words th, .words td'))"
                     ".filter(e => !e.getAttribute('role')).length")
    assert roles == 0


def test_keyboard_reaches_what_scrolls(page: chrome.Page, files: dict[str, Path]) -> None:
    page.open(files["one"], 390)
    unreachable = page.ask(
        "Array.from(document.querySelectorAll('*')).filter(e => e.scrollWidth > e.clientWidth + 1"
        " && ['auto', 'scroll'].includes(getComputedStyle(e).overflowX) && e.tabIndex < 0)"
        ".map(e => e.className)")
    assert unreachable == []


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="poppler is absent")
@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("name", ["one", "two", "v8", "hostile", "sample"])
def test_prints_without_clipping(
    page: chrome.Page, files: dict[str, Path], tmp_path: Path, name: str, paper: str,
) -> None:
    page.open(files[name], 1280)
    width, height = PAPERS[paper]
    target = tmp_path / "print.pdf"
    target.write_bytes(page.print_pdf(width, height))
    boxes = subprocess.run(["pdftotext", "-bbox", str(target), "-"], capture_output=True,
                           text=True, check=True).stdout
    sizes = re.findall(r'<page width="([\d.]+)" height="([\d.]+)"', boxes)
    assert {round(float(w) / 72, 1) for w, _ in sizes} == {round(width, 1)}
    margin = 15.0 / 25.4 * 72.0
    rights = [float(x) for x in re.findall(r'xMax="([\d.]+)"', boxes)]
    assert len(rights) > 300
    assert max(rights) <= width * 72.0 - margin + 2.0
    text = subprocess.run(["pdftotext", "-layout", str(target), "-"], capture_output=True,
                          text=True, check=True).stdout
    squeezed = re.sub(r"\s+", "", text)
    cells = page.ask("Array.from(document.querySelectorAll('td, th, caption')).map(e =>"
                     " e.textContent)")
    lost = [c for c in cells if not _words_in(c, squeezed)]
    assert lost == []
    pages = text.split("\f")
    for title in page.ask("Array.from(document.querySelectorAll('.sheet h2')).map(e =>"
                          " e.textContent)"):
        first = [p.strip() for p in pages if re.sub(r"\s+", "", p).startswith(
            re.sub(r"\s+", "", title))]
        assert len(first) == 1, f"{title} does not begin a page"


def _words_in(cell: str, squeezed: str) -> bool:
    """Whether every word of a table cell is on paper; lines may break long and hyphened words."""
    return all(word[:12] in squeezed for word in re.findall(r"\w+", cell))
