"""The fast table reader against Python's own float and csv, at every block boundary."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from distrib.calibration import reader
from distrib.calibration.layout import find_layout, split_line
from distrib.calibration.reader import Numerals, Table, read_table
from distrib.errors import InputError


def _read(path: Path, text: str, names: list[str], decimal: str = ".") -> Table:
    path.write_text(text, encoding="utf-8")
    return read_table(find_layout(path, names, units_row=False), names, Numerals(decimal))


NUMBER = st.one_of(
    st.floats(-1e9, 1e9).map(lambda v: f"{v:.6f}"),
    st.integers(-10**10, 10**10).map(lambda v: f"{v * 1e-4:.4g}"),
    st.integers(-10**14, 10**14).map(str),
    st.floats(1e-12, 1e20).map(lambda v: f"{v:.9e}"),
    st.sampled_from(["0", "-0", "+1", ".5", "5.", "1e3", "1E-3", "00012.50", "-.25"]),
)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(NUMBER, NUMBER), min_size=1, max_size=40))
def test_numbers_of_fifteen_digits_are_exact(
    tmp_path_factory: pytest.TempPathFactory, rows: list[tuple[str, str]]
) -> None:
    path = tmp_path_factory.mktemp("reader") / "t.csv"
    table = _read(path, "a,b\n" + "".join(f"{x},{y}\n" for x, y in rows), ["a", "b"])
    expected = np.array([[float(x) for x, _ in rows], [float(y) for _, y in rows]])
    assert np.array_equal(table.data, expected)


@settings(max_examples=40, deadline=None)
@given(st.lists(st.floats(allow_nan=False, allow_infinity=False, min_value=-1e30,
                          max_value=1e30).filter(lambda v: v == 0 or abs(v) > 1e-200),
                min_size=1, max_size=30))
def test_long_numbers_are_right_to_the_last_places(
    tmp_path_factory: pytest.TempPathFactory, values: list[float]
) -> None:
    path = tmp_path_factory.mktemp("reader") / "t.csv"
    got = _read(path, "a\n" + "".join(f"{v!r}\n" for v in values), ["a"]).data[0]
    # 17 digits and far exponents: up to 18 digits kept, then a handful of rounded products
    assert np.allclose(got, values, rtol=1e-14, atol=0.0)


@pytest.mark.parametrize("block", [64, 77, 128, 1000])
def test_blocks_do_not_show(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, block: int
) -> None:
    rows = [f"{k},{k * 0.5:.3f},{'x' * (k % 5)},{-k}" for k in range(500)]
    text = "a,b,c,d\n" + "\n".join(rows) + "\n"
    monkeypatch.setattr(reader, "BLOCK_BYTES", block)
    table = _read(tmp_path / "t.csv", text, ["a", "b", "d"])
    k = np.arange(500)
    assert np.array_equal(table.data, [k, k * 0.5, -k])
    assert np.array_equal(table.line, k + 2)


def test_quotes_blank_lines_and_trailing_delimiters(tmp_path: Path) -> None:
    text = 'a,"b, with comma",c\n1,"2",3\n\n 4 ,"5", 6 ,\n7,,n/a\n'
    table = _read(tmp_path / "t.csv", text, ["a", "b, with comma", "c"])
    assert np.array_equal(table.data, [[1, 4, 7], [2, 5, np.nan], [3, 6, np.nan]], equal_nan=True)
    assert table.line.tolist() == [2, 4, 5]
    assert any("1 cells hold a text for no value (first on line 5)" in n for n in table.notes)


def test_faults_in_a_later_block_keep_their_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(reader, "BLOCK_BYTES", 100)
    lines = [f"{k},{k}" for k in range(300)]
    lines[200] = "200,oops"
    lines[250] = "250"
    with pytest.raises(InputError) as caught:
        _read(tmp_path / "t.csv", "a,b\n" + "\n".join(lines) + "\n", ["a", "b"])
    assert [p.line for p in caught.value.problems] == [202, 252]
    assert '"oops"' in str(caught.value.problems[0])


def test_decimal_sign_must_differ_from_the_delimiter(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="other than the delimiter"):
        _read(tmp_path / "t.csv", "a,b\n1,2\n", ["a", "b"], ",")


def test_unknown_column_is_a_key_error(tmp_path: Path) -> None:
    table = _read(tmp_path / "t.csv", "a,b\n1,2\n", ["a"])
    assert table.column("a").tolist() == [1.0]
    with pytest.raises(KeyError):
        table.column("b")


def test_split_line_follows_quotes() -> None:
    assert split_line('a,"b,c", d ,""\r\n', ",") == ["a", "b,c", "d", ""]
    assert split_line('28";x', ";") == ['28"', "x"]
