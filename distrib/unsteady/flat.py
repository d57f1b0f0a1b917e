"""Access to the rows of flat tables that lets the compiler use SIMD, and roots it can use there.

A table is an array (rows, n). `get(table, ROW, i)` and `put` name the row by its number in
`tables`; they tell the compiler that two rows never overlap, which it cannot see by itself, so
loops over i need no checks and become vector code. Nothing else may reach into the same rows in
the same loop. Indices are not checked and never count from the end.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, cast

import numpy as np
from llvmlite import ir
from numba.core import types
from numba.extending import intrinsic

from distrib.kernels import inline
from distrib.unsteady.tables import ROWS_OF, TABLE_STEP


def _emitted(function: Callable[..., Any]) -> Callable[..., Any]:
    """The intrinsic of a function that gives its signature and code generator."""
    return cast("Callable[..., Any]", intrinsic(prefer_literal=True)(function))


def _mark(module: Any, access: Any, row: int) -> None:
    """Say that this access touches `row` of its table and no other row of any table.

    For each binary digit of the row's running number there are two scopes; rows that differ in a
    digit are apart. That keeps the lists short that the compiler goes through for each pair.
    """
    number = sum(ROWS_OF[:row // TABLE_STEP]) + row % TABLE_STEP
    known = module.__dict__.setdefault("rows of distrib", {})
    if number not in known:
        scopes = []
        for bit in range(sum(ROWS_OF).bit_length()):
            domain = module.add_metadata([f"digit {bit}"])
            pair = [module.add_metadata([f"digit {bit} is {k}", domain]) for k in (0, 1)]
            scopes.append(pair if number >> bit & 1 else pair[::-1])
        known[number] = (module.add_metadata([own for _, own in scopes]),
                         module.add_metadata([other for other, _ in scopes]))
    own, other = known[number]
    access.set_metadata("alias.scope", own)
    access.set_metadata("noalias", other)


def _place(context: Any, builder: Any, signature: Any, values: Any) -> Any:
    """Pointer to element i of the row."""
    array = context.make_array(signature.args[0])(context, builder, values[0])
    pitch = builder.extract_value(array.shape, 1)
    row = signature.args[1].literal_value % TABLE_STEP
    index = context.cast(builder, values[2], signature.args[2], types.intp)
    at = builder.add(builder.mul(pitch, context.get_constant(types.intp, row)), index)
    return builder.gep(array.data, [at], inbounds=True)


@_emitted
def get(typing: Any, table: Any, row: Any, i: Any) -> Any:
    """table[row, i]."""
    def code(context: Any, builder: Any, signature: Any, values: Any) -> Any:
        access = builder.load(_place(context, builder, signature, values))
        _mark(builder.module, access, row.literal_value)
        return access

    return types.float64(table, row, i), code


@_emitted
def put(typing: Any, table: Any, row: Any, i: Any, value: Any) -> Any:
    """table[row, i] = value."""
    def code(context: Any, builder: Any, signature: Any, values: Any) -> Any:
        number = context.cast(builder, values[3], signature.args[3], types.float64)
        access = builder.store(number, _place(context, builder, signature, values))
        _mark(builder.module, access, row.literal_value)
        return context.get_dummy_value()

    return types.void(table, row, i, value), code


@_emitted
def wide(typing: Any) -> Any:
    """Ask for 512-bit vectors in the kernel that calls this, where the processor has them."""
    def code(context: Any, builder: Any, signature: Any, values: Any) -> Any:
        # llvmlite lists only attributes without a value; the set itself takes any
        set.add(builder.function.attributes, '"prefer-vector-width"="512"')
        return context.get_dummy_value()

    return types.void(), code


@_emitted
def _to_bits(typing: Any, x: Any) -> Any:
    def code(context: Any, builder: Any, signature: Any, values: Any) -> Any:
        return builder.bitcast(values[0], ir.IntType(64))

    return types.int64(types.float64), code


@_emitted
def _from_bits(typing: Any, x: Any) -> Any:
    def code(context: Any, builder: Any, signature: Any, values: Any) -> Any:
        return builder.bitcast(values[0], ir.DoubleType())

    return types.float64(types.int64), code


@inline
def seventh_root(x: float) -> Any:
    """x^(1/7) of a positive number, to round-off, without a call that stops vector code.

    A seventh of the bits gives the root within 4 %; each of three Halley steps takes the error e
    to 4 e^3.
    """
    bits = _to_bits(x)
    part = (bits >> 3) + (bits >> 6) + (bits >> 9) + (bits >> 12) + (bits >> 15) + (bits >> 18)
    y = _from_bits(part + 3948823640724209690)
    for _ in range(3):
        y3 = y * y * y
        y7 = y3 * y3 * y
        y = y - y * (y7 - x) / (4.0 * y7 + 3.0 * x)
    return y


@inline
def logarithm(x: float) -> Any:
    """Natural logarithm of a positive number, to 1e-13, without a call that stops vector code."""
    bits = _to_bits(x) - 4604544271217802189
    part = bits >> 52
    m = _from_bits(_to_bits(x) - (part << 52))
    z = (m - 1.0) / (m + 1.0)
    w = z * z
    series = 1.0 + w * (1.0 / 3.0 + w * (1.0 / 5.0 + w * (1.0 / 7.0 + w * (1.0 / 9.0 + w * (
        1.0 / 11.0 + w * (1.0 / 13.0 + w * (1.0 / 15.0 + w / 17.0)))))))
    return part * 0.6931471805599453 + 2.0 * z * series


@inline
def cosine(degrees: float) -> Any:
    """cos of any angle in degrees; absolute error below 1e-14 within +-1e3 degrees."""
    turn = degrees * (1.0 / 360.0)
    turn = abs(turn - np.floor(turn + 0.5))
    back = turn > 0.25
    x = (0.5 - turn if back else turn) * (2.0 * np.pi)
    x2 = x * x
    c = 1.0 + x2 * (-1.0 / 2.0 + x2 * (1.0 / 24.0 + x2 * (-1.0 / 720.0 + x2 * (
        1.0 / 40320.0 + x2 * (-1.0 / 3628800.0 + x2 * (1.0 / 479001600.0 + x2 * (
            -1.0 / 87178291200.0 + x2 * (1.0 / 20922789888000.0 + x2 * (
                -1.0 / 6402373705728000.0 + x2 / 2432902008176640000.0)))))))))
    return -c if back else c
