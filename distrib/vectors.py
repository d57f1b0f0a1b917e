"""Moves of one row of LANES numbers, each a vector load and store of its own.

A plain loop over lanes that reads one array and writes another costs more in checks whether the
two overlap than in arithmetic, because the compiler cannot know that rows are either the same or
apart. These intrinsics load every row before they store one, so no check is needed. Arrays are
one-dimensional, contiguous float64; places are numbers of elements, not rows.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final, cast

from llvmlite import ir
from numba.core import cgutils, types
from numba.extending import intrinsic

LANES: Final = 16
"""Cases per block. Two 512-bit or four 256-bit registers a row; the working set fits the cache."""

_ROW: Final = ir.VectorType(ir.DoubleType(), LANES)
_CONTRACT: Final = ("contract",)
"""The liberty that all kernels take: a product and a sum may become one operation."""
Row = Any


class Rows:
    """Access to the rows of the arguments of one call while its code is written."""

    def __init__(self, context: Any, builder: Any, signature: Any, arguments: Any) -> None:
        self.context, self.builder = context, builder
        self.types, self.values = signature.args, arguments

    def place(self, array: int) -> Any:
        """Pointer to the row of argument `array`, whose place is the argument behind it."""
        kind = self.types[array]
        utils: Any = cgutils
        data = utils.create_struct_proxy(kind)(self.context, self.builder, self.values[array])
        index = self.context.cast(self.builder, self.values[array + 1], self.types[array + 1],
                                  types.intp)
        return self.builder.bitcast(self.builder.gep(data.data, [index]), _ROW.as_pointer())

    def load(self, array: int) -> Row:
        """The row of argument `array`."""
        return self.builder.load(self.place(array), align=8)

    def store(self, array: int, row: Row) -> None:
        """Write the row of argument `array`."""
        self.builder.store(row, self.place(array), align=8)

    def number(self, argument: int) -> Row:
        """A number in every lane."""
        value = self.context.cast(self.builder, self.values[argument], self.types[argument],
                                  types.float64)
        start = self.builder.insert_element(ir.Constant(_ROW, ir.Undefined), value,
                                            ir.Constant(ir.IntType(32), 0))
        zeros = ir.Constant(ir.VectorType(ir.IntType(32), LANES), [0] * LANES)
        return self.builder.shuffle_vector(start, ir.Constant(_ROW, ir.Undefined), zeros)

    def times(self, a: Row, b: Row) -> Row:
        """Product of two rows."""
        return self.builder.fmul(a, b, flags=_CONTRACT)

    def plus(self, a: Row, b: Row) -> Row:
        """Sum of two rows."""
        return self.builder.fadd(a, b, flags=_CONTRACT)


def _emitted(function: Callable[..., Any]) -> Callable[..., Any]:
    """The intrinsic of a function that gives its signature and code generator."""
    return cast("Callable[..., Any]", intrinsic(function))


def _made(emit: Callable[[Rows], None], arguments: tuple[Any, ...]) -> Any:
    """Signature and code generator of an intrinsic without a result."""
    def code(context: Any, builder: Any, signature: Any, values: Any) -> Any:
        emit(Rows(context, builder, signature, values))
        return context.get_dummy_value()

    return types.void(*arguments), code


@_emitted
def copy(typing: Any, to: Any, i: Any, source: Any, j: Any) -> Any:
    """to[i] = source[j]."""
    return _made(lambda r: r.store(0, r.load(2)), (to, i, source, j))


@_emitted
def add(typing: Any, to: Any, i: Any, a: Any, j: Any, factor: Any) -> Any:
    """to[i] += factor a[j], the factor one number."""
    return _made(lambda r: r.store(0, r.plus(r.load(0), r.times(r.load(2), r.number(4)))),
                 (to, i, a, j, factor))


@_emitted
def add_product(typing: Any, to: Any, i: Any, a: Any, j: Any, b: Any, k: Any, factor: Any) -> Any:
    """to[i] += factor a[j] b[k], the factor one number."""
    def emit(r: Rows) -> None:
        product = r.times(r.load(2), r.load(4))
        r.store(0, r.plus(r.load(0), r.times(product, r.number(6))))

    return _made(emit, (to, i, a, j, b, k, factor))


@_emitted
def multiply(typing: Any, to: Any, i: Any, a: Any, j: Any, b: Any, k: Any) -> Any:
    """to[i] = a[j] b[k]."""
    return _made(lambda r: r.store(0, r.times(r.load(2), r.load(4))), (to, i, a, j, b, k))


@_emitted
def invert(typing: Any, to: Any, i: Any) -> Any:
    """to[i] = 1/to[i]."""
    def emit(r: Rows) -> None:
        one = ir.Constant(_ROW, [1.0] * LANES)
        r.store(0, r.builder.fdiv(one, r.load(0)))

    return _made(emit, (to, i))


@_emitted
def raise_to(typing: Any, to: Any, i: Any, a: Any, j: Any, most: Any) -> Any:
    """to[i] = the larger of to[i] and |a[j]|, where |a[j]| counts as `most` unless it is less."""
    def emit(r: Rows) -> None:
        build, limit = r.builder, r.number(4)
        row, before = r.load(2), r.load(0)
        negative = build.fcmp_ordered("<", row, ir.Constant(_ROW, [0.0] * LANES))
        size = build.select(negative, build.fneg(row), row)
        bounded = build.select(build.fcmp_ordered("<", size, limit), size, limit)
        r.store(0, build.select(build.fcmp_ordered(">", bounded, before), bounded, before))

    return _made(emit, (to, i, a, j, most))
