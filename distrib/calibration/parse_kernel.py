"""Compiled text-to-number kernel of the table reader.

A logger file is bytes, a delimiter and numbers; this kernel turns a block of whole lines into
columns of doubles and notes every cell it could not read, with its place. Numbers of up to 15
digits are rounded exactly (integer mantissa below 2^53, one division or multiplication by a power
of ten up to 22, which is exact); longer ones and far exponents are right to about 15 digits.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from distrib.kernels import inline, kernel

BAD_CELL, BAD_WIDTH = 0, 1
_POWERS = 10.0 ** np.arange(23)
_LARGEST = 1e30
"""As `layout.LARGEST`."""


@inline
def _scaled(mantissa: Any, exponent: Any, powers: Any) -> Any:
    value = float(mantissa)
    while exponent > 22:
        value *= 1e22
        exponent -= 22
        if value > 1e300:
            return np.inf
    while exponent < -22:
        value /= 1e22
        exponent += 22
        if value == 0.0:
            return 0.0
    return value * powers[exponent] if exponent >= 0 else value / powers[-exponent]


@inline
def _number(
    buf: Any, start: Any, stop: Any, decimal: Any, thousands: Any, powers: Any
) -> Any:
    """(1, value) for a number, (0, 0) for anything else and for numbers beyond 1e30; the cell must
    not be empty. `thousands` parts groups of exactly three digits; 0 for none."""
    i = start
    sign = 1.0
    if buf[i] == 45:
        sign = -1.0
        i += 1
    elif buf[i] == 43:
        i += 1
    mantissa = np.int64(0)
    digits = 0
    exponent = 0
    any_digit = False
    seen_point = False
    group = 0  # digits since the last mark of thousands
    marked = False
    while i < stop:
        c = buf[i]
        if 48 <= c <= 57:
            any_digit = True
            group += 1
            if digits < 18:
                mantissa = mantissa * 10 + (c - 48)
                if mantissa > 0:
                    digits += 1
                if seen_point:
                    exponent -= 1
            elif not seen_point:
                exponent += 1
        elif c == decimal and not seen_point:
            if marked and group != 3:
                return 0, 0.0
            marked = False
            seen_point = True
        elif thousands != 0 and c == thousands and not seen_point:
            if group == 0 or group > 3 or (marked and group != 3):
                return 0, 0.0
            marked = True
            group = 0
        else:
            break
        i += 1
    if not any_digit or (marked and group != 3):
        return 0, 0.0
    if i < stop and (buf[i] == 101 or buf[i] == 69):
        i += 1
        esign = 1
        if i < stop and (buf[i] == 45 or buf[i] == 43):
            if buf[i] == 45:
                esign = -1
            i += 1
        if i >= stop:
            return 0, 0.0
        e = 0
        while i < stop and 48 <= buf[i] <= 57:
            if e < 100000:
                e = e * 10 + (buf[i] - 48)
            i += 1
        exponent += esign * e
    if i != stop:
        return 0, 0.0
    value = _scaled(mantissa, exponent, powers)
    if not value <= _LARGEST:
        return 0, 0.0
    return 1, sign * value


@inline
def _clock(buf: Any, start: Any, stop: Any, decimal: Any, powers: Any) -> Any:
    """(1, seconds) of a time of day such as 14:05:07.25 or 5:07.2, after a date or not."""
    first = start
    for k in range(start, stop):
        if buf[k] == 32 or buf[k] == 84:  # a blank or a T ends the date
            first = k + 1
    total = 0.0
    parts = 0
    while first < stop:
        end = first
        while end < stop and buf[end] != 58:
            end += 1
        if end == first or buf[first] == 45 or buf[first] == 43 or parts == 3:
            return 0, 0.0
        ok, value = _number(buf, first, end, decimal, 0, powers)
        if ok == 0 or (parts > 0 and value >= 60.0):
            return 0, 0.0
        total = 60.0 * total + value
        parts += 1
        first = end + 1
        if end == stop - 1:
            return 0, 0.0  # nothing after the last colon
    if parts < 2:
        return 0, 0.0
    return 1, total


@kernel
def parse_block(
    buf: Any,
    size: int,
    delimiter: int,
    decimal: int,
    thousands: int,
    clock: int,
    width: int,
    target: Any,
    out: Any,
    line_of_row: Any,
    row: int,
    line: int,
    bad: Any,
    n_bad: int,
) -> Any:
    """Read whole lines of `buf[:size]` into `out[:, row:]`.

    `target[j]` is the row of `out` that column j of the file fills, or -1. Empty cells become NaN.
    `thousands` marks groups of digits, 0 for none; column `clock` holds times of day, -1 for none.
    `bad` (M, 5) int64 takes kind, line number, column, first and last byte of each unreadable cell
    or line of wrong width (column then holds the cells counted). A line of wrong width is skipped.
    Stops at a full `out` or `bad`. Returns (row, line, bytes used, n_bad).
    """
    powers = _POWERS
    rows = out.shape[1]
    i = 0
    used = 0
    while i < size and row < rows and n_bad < bad.shape[0] - width:
        line += 1
        first_bad = n_bad
        column = 0
        blank = True
        start_of_line = i
        done = False
        while not done:
            a = i
            while a < size and (buf[a] == 32 or (buf[a] == 9 and delimiter != 9)):
                a += 1
            quoted = a < size and buf[a] == 34
            if quoted:
                a += 1
                i = a
                while i < size and buf[i] != 34 and buf[i] != 10:
                    i += 1
                b = i
                if i < size and buf[i] == 34:
                    i += 1
                while i < size and buf[i] != delimiter and buf[i] != 10:
                    i += 1
            else:
                i = a
                while i < size and buf[i] != delimiter and buf[i] != 10:
                    i += 1
                b = i
            while b > a and (buf[b - 1] == 32 or buf[b - 1] == 13 or buf[b - 1] == 9):
                b -= 1
            if b > a or quoted:
                blank = False
            if column < width and target[column] >= 0:
                value = np.nan
                if b > a:
                    if column == clock:
                        ok, value = _clock(buf, a, b, decimal, powers)
                    else:
                        ok, value = _number(buf, a, b, decimal, thousands, powers)
                    if ok == 0:
                        value = np.nan
                        bad[n_bad, 0] = 0
                        bad[n_bad, 1] = line
                        bad[n_bad, 2] = column
                        bad[n_bad, 3] = a
                        bad[n_bad, 4] = b
                        n_bad += 1
                out[target[column], row] = value
            column += 1
            if i >= size or buf[i] == 10:
                done = True
            i += 1
        used = min(i, size)
        if blank and column == 1:
            n_bad = first_bad
            continue
        if column == width + 1 and b == a:
            column = width  # one trailing delimiter closes the line
        if column != width:
            n_bad = first_bad
            bad[n_bad, 0] = 1
            bad[n_bad, 1] = line
            bad[n_bad, 2] = column
            bad[n_bad, 3] = start_of_line
            bad[n_bad, 4] = used
            n_bad += 1
            continue
        line_of_row[row] = line
        row += 1
    return row, line, used, n_bad
