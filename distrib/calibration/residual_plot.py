"""Residuals of a fit as a small SVG: one bar per observation, in standard errors."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

ROW, LEFT, WIDTH, TOP = 18, 190, 420, 46


def residual_svg(labels: Sequence[str], residual: Sequence[float], title: str) -> str:
    """SVG text: bars from -4 to 4 standard errors, lines at 2; prints in black and white.

    `residual` (M,) is measured minus predicted over its standard error.
    """
    height = TOP + ROW * len(labels) + 34
    middle = LEFT + WIDTH / 2
    unit = WIDTH / 8
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{LEFT + WIDTH + 70}" height="{height}" '
        'font-family="sans-serif" font-size="12">',
        f'<rect width="100%" height="100%" fill="#fff"/><text x="8" y="18">{escape(title)}</text>',
        f'<text x="{middle}" y="36" text-anchor="middle">measured minus predicted, standard '
        "errors</text>",
    ]
    for k in (-4, -2, 0, 2, 4):
        x = middle + k * unit
        mark = "0" if k == 0 else f"{k:+d}"
        dash = "" if k == 0 else ' stroke-dasharray="3 3"'
        parts.append(f'<line x1="{x}" x2="{x}" y1="{TOP}" y2="{height - 24}" stroke="#555"{dash}/>'
                     f'<text x="{x}" y="{height - 8}" text-anchor="middle">{mark}</text>')
    for i, (label, value) in enumerate(zip(labels, residual, strict=True)):
        y = TOP + ROW * i
        shown = max(-4.0, min(4.0, float(value)))
        x = middle + min(shown, 0.0) * unit
        fill = "#000" if abs(value) > 2.0 else "#999"
        parts.append(
            f'<text x="{LEFT - 8}" y="{y + 13}" text-anchor="end">{escape(label)}</text>'
            f'<rect x="{x:.1f}" y="{y + 4}" width="{abs(shown) * unit:.1f}" height="{ROW - 8}" '
            f'fill="{fill}"/><text x="{LEFT + WIDTH + 8}" y="{y + 13}">{value:+.1f}</text>'
        )
    return "\n".join([*parts, "</svg>"]) + "\n"
