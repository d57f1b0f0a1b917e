"""What a report is made of: plain frozen data, so that no page ever solves anything.

A section appears only where its data exist. The commands fill these from the models, the review
and the studies; tests fill them by hand.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

from distrib.results import FloatArray, Shares

if TYPE_CHECKING:
    from distrib.case.schema import Case
    from distrib.report.grid import Table

FindingVerdict = Literal["ok", "ask", "change", "missing"]


@dataclass(frozen=True)
class FindingRow:
    """One line of the reviewer's checklist, all in words except the severity.

    `applies` is false where the design has nothing that the rule checks; its verdict is then ok.
    """

    rule: str
    checks: str
    value: str
    limit: str
    verdict: FindingVerdict
    why: str
    origin: str
    to_do: str
    override: str = ""
    applies: bool = True


@dataclass(frozen=True)
class TrimRow:
    """Fuel trim of one cylinder in percent, + adds fuel; `note` says why it was held back."""

    cylinder: int
    needed_percent: float
    trim_percent: float
    note: str = ""


@dataclass(frozen=True)
class TrimSheet:
    """Trims of one case: the scheme in words, rows, and what must be true before use."""

    scheme: str
    measured: bool
    rows: tuple[TrimRow, ...]
    gates: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True)
class Sensitivity:
    """What a change of one input does to the spread (percent) and, where known, to lambda of the
    leanest cylinder, both ways. Inputs of one `group` stand together; "" is no group."""

    name: str
    change: str
    spread_low_percent: float
    spread_high_percent: float
    group: str = ""
    lambda_low: float | None = None
    lambda_high: float | None = None


@dataclass(frozen=True)
class SensitivityTable:
    """Sensitivities about one base spread (percent) and leanest lambda; `note` says how found."""

    model: str
    base_spread_percent: float
    rows: tuple[Sensitivity, ...]
    base_lambda: float | None = None
    note: str = ""


@dataclass(frozen=True)
class RpmSweep:
    """Deviation (P, N) percent and, where known, volumetric efficiency (P, N) over rpm (P,)."""

    model: str
    rpm: FloatArray
    deviation_percent: FloatArray
    volumetric_efficiency: FloatArray | None = None
    note: str = ""


@dataclass(frozen=True)
class ReportData:
    """Everything one case contributes to a report.

    `shares` holds one result per model, the one that decides the verdicts first; `point` the
    operating point (first axis of the results) that the page is about. `trims` belongs to the
    first of the shares, `reasons` are sentences that explain them. `lines` are the answer in words
    and `worst` every cylinder at its worst speed, as on the terminal.
    """

    case: Case
    shares: tuple[Shares, ...]
    point: int = 0
    findings: tuple[FindingRow, ...] | None = None
    trims: TrimSheet | None = None
    sensitivity: SensitivityTable | None = None
    rpm_sweep: tuple[RpmSweep, ...] = ()
    reasons: tuple[str, ...] = ()
    lines: tuple[str, ...] = ()
    worst: Table | None = None
    versions: Mapping[str, str] = field(default_factory=dict)
    date: str = ""
    case_hash: str = ""
