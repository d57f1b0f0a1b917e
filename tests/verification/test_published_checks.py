"""Every published check of every topic, and the promises about the list itself."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from functools import lru_cache

import pytest

from distrib.errors import InputError
from distrib.verification.published import Published, Row, run_check
from distrib.verification.run import all_checks, report, sources, summary, topics, verify

CHECKS = all_checks()


@lru_cache(maxsize=1)
def _rows() -> tuple[Row, ...]:
    """Every check run once for all tests of this file."""
    return tuple(run_check(check) for check in CHECKS)


def _row(check: Published) -> Row:
    return _rows()[CHECKS.index(check)]


@pytest.mark.parametrize("check", CHECKS, ids=lambda c: c.id)
def test_check(check: Published) -> None:
    row = _row(check)
    assert row.passed, f"{check.printed} expected, {row.got} got, {row.tolerance}: {row.reason}"


def test_there_are_enough_checks_and_sources() -> None:
    assert len(CHECKS) >= 150
    assert len(sources(CHECKS)) >= 20
    measured = [c for c in CHECKS if c.kind == "measured"]
    assert len(measured) >= 12


def test_every_check_can_fail() -> None:
    """Numbers moved out of their tolerance turn every row red."""
    for row in _rows():
        check = row.check
        out = [2.002 * (check.atol + check.rtol * abs(v)) / (1.0 - check.rtol) + 1e-9
               for v in check.printed]
        moved = tuple(v + math.copysign(d, v) for v, d in zip(check.printed, out, strict=True))
        fixed = replace(check, printed=moved, compute=lambda row=row: row.got)
        assert not run_check(fixed).passed, check.id


def test_failures_and_errors_are_rows_not_crashes() -> None:
    def broken() -> float:
        raise ZeroDivisionError("no flow")

    base = {"source": "s", "locator": "l", "why": "digits", "topic": "t", "kind": "closed form",
            "atol": 0.1}
    raised = run_check(Published("a", printed=(1.0,), compute=broken, **base))  # type: ignore[arg-type]
    assert not raised.passed and "no flow" in raised.reason
    count = run_check(Published("b", printed=(1.0, 2.0), compute=lambda: 1.0, **base))  # type: ignore[arg-type]
    assert not count.passed and "1 numbers for 2" in count.reason
    nan = run_check(Published("c", printed=(1.0,), compute=lambda: float("nan"), **base))  # type: ignore[arg-type]
    assert not nan.passed


@pytest.mark.parametrize("changes,message", [
    ({"why": " "}, "reason"), ({"atol": 0.0}, "tolerance"), ({"printed": ()}, "printed")])
def test_a_check_needs_reason_tolerance_and_number(changes: dict[str, object],
                                                   message: str) -> None:
    inputs: dict[str, object] = {
        "id": "x", "source": "s", "locator": "l", "printed": (1.0,), "why": "digits",
        "compute": lambda: 1.0, "topic": "t", "kind": "published", "atol": 0.1}
    with pytest.raises(ValueError, match=message):
        Published(**(inputs | changes))  # type: ignore[arg-type]


def test_topic_filter_and_nearest_name() -> None:
    rows = verify("friction")
    assert rows and {row.check.topic for row in rows} == {"friction"}
    with pytest.raises(InputError, match="friction"):
        verify("fricton")


def test_report_page_names_every_check_and_source() -> None:
    rows = _rows()
    page = report(rows)
    assert summary(rows) in page
    for row in rows:
        assert f"| {row.check.id} |" in page
    for topic in topics(CHECKS):
        assert f"## {topic}" in page
    assert "Default branch law: composite" in page


def test_records_are_plain_json() -> None:
    from distrib.verification.run import as_records

    text = json.dumps(as_records(verify("takeoff")), allow_nan=False)
    assert "Rohde" in text
