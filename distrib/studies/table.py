"""Tables of studies: written row block by row block, whole or not at all."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from distrib.errors import InputError, Problem
from distrib.files import atomic

Kind = Literal["float", "int", "text", "bool"]
Block = Sequence[Sequence[Any]]
"""Rows of one block: a list per row, None where there is no figure."""


@dataclass(frozen=True)
class Column:
    """One column of a table. The unit belongs into the name (`air_kg_s`)."""

    name: str
    kind: Kind = "float"


def cell(value: Any, kind: Kind) -> str:
    """Text of one CSV cell: shortest text that reads back to the same number, "" for none."""
    if value is None or (isinstance(value, float) and value != value):
        return ""
    if kind == "float":
        return repr(float(value))
    if kind == "int":
        return str(int(value))
    if kind == "bool":
        return "true" if value else "false"
    return str(value)


def format_of(path: Path) -> Literal["csv", "parquet"]:
    """Format by the ending of the name. Raises InputError for any other ending."""
    ending = Path(path).suffix.lower()
    if ending == ".csv":
        return "csv"
    if ending == ".parquet":
        if not have_parquet():
            raise InputError([Problem(str(path), "a Parquet file, but pyarrow is not installed",
                                      ".csv, or .parquet with the extra `parquet`")])
        return "parquet"
    raise InputError([Problem(str(path), f"the ending {ending!r}", ".csv or .parquet")])


def have_parquet() -> bool:
    """Whether pyarrow can be imported."""
    import importlib.util

    return importlib.util.find_spec("pyarrow") is not None


def write_table(path: Path, columns: Sequence[Column], blocks: Iterable[Block]) -> None:
    """Write a table in the format of the name's ending; the old file stays until it is whole."""
    if format_of(path) == "csv":
        write_csv(path, columns, blocks)
    else:
        write_parquet(path, columns, blocks)


def write_csv(path: Path, columns: Sequence[Column], blocks: Iterable[Block]) -> None:
    """Write a CSV table (comma, \\n, UTF-8)."""
    kinds = [c.kind for c in columns]
    with atomic(path) as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow([c.name for c in columns])
        for block in blocks:
            writer.writerows(
                [cell(v, k) for v, k in zip(row, kinds, strict=True)] for row in block
            )


def write_parquet(path: Path, columns: Sequence[Column], blocks: Iterable[Block],
                  group: int = 65536) -> None:
    """Write a Parquet table in row groups of `group` rows (one row group is held in memory)."""
    import pyarrow as pa  # type: ignore[import-untyped,unused-ignore]
    import pyarrow.parquet as pq  # type: ignore[import-untyped,unused-ignore]

    types = {"float": pa.float64(), "int": pa.int64(), "text": pa.string(), "bool": pa.bool_()}
    schema = pa.schema([(c.name, types[c.kind]) for c in columns])

    def batch(rows: list[Sequence[Any]]) -> Any:
        data = []
        for j, column in enumerate(columns):
            values = [None if _none(row[j]) else _plain(row[j], column.kind) for row in rows]
            data.append(pa.array(values, type=types[column.kind]))
        return pa.table(data, schema=schema)

    with atomic(path, "wb") as file, pq.ParquetWriter(file, schema) as writer:
        rows: list[Sequence[Any]] = []
        for block in blocks:
            rows.extend(block)
            while len(rows) >= group:
                writer.write_table(batch(rows[:group]))
                del rows[:group]
        if rows:
            writer.write_table(batch(rows))


def _none(value: Any) -> bool:
    return value is None or (isinstance(value, float) and value != value)


def _plain(value: Any, kind: Kind) -> Any:
    return {"float": float, "int": int, "text": str, "bool": bool}[kind](value)


Table = Mapping[str, NDArray[Any]]
"""Columns by name; numbers as float64 (NaN for none), everything else as object texts."""


def read_table(path: Path) -> dict[str, NDArray[Any]]:
    """Read a table this module wrote: float64 columns, or text where a cell is no number."""
    if format_of(path) == "parquet":
        import pyarrow.parquet as pq

        table = pq.read_table(path)
        return {name: _column(table.column(name).to_pylist()) for name in table.column_names}
    with open(path, encoding="utf-8", newline="") as file:
        reader = csv.reader(file)
        names = next(reader, [])
        rows = list(reader)
    bad = [Problem(f"{path}:{i + 2}", f"{len(row)} cells", f"{len(names)} cells")
           for i, row in enumerate(rows) if len(row) != len(names)]
    if bad:
        raise InputError(bad)
    return {name: _column([row[j] for row in rows]) for j, name in enumerate(names)}


def _column(values: Sequence[Any]) -> NDArray[Any]:
    try:
        return np.array([np.nan if v is None or v == "" else float(v) for v in values],
                        dtype=np.float64)
    except ValueError:
        return np.array(["" if v is None else str(v) for v in values], dtype=object)
