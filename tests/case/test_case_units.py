"""Quantities: factors against a published table, numerals, hints, round trips."""

from __future__ import annotations

import math
from fractions import Fraction

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from distrib.numerals import NumeralError, read_number, split_number
from distrib.units import (
    EXAMPLES,
    UNITS,
    UnitError,
    display,
    display_both,
    display_gauge,
    from_si,
    parse,
    to_si,
)

PRINTED_RTOL = 3e-7
"""Half a unit in the last of the seven printed digits, at worst."""

# NIST Special Publication 811 (2008), appendix B.8, "Factors for units listed alphabetically":
# factors to SI as printed, seven digits; exact ones are in bold there.
PRINTED = [
    ("length", "in", 2.54e-2),
    ("length", "ft", 3.048e-1),
    ("area", "in2", 6.4516e-4),
    ("volume", "in3", 1.638706e-5),
    ("volume", "cid", 1.638706e-5),
    ("pressure", "psi", 6.894757e3),
    ("pressure", "inHg", 3.386389e3),
    ("pressure", "mmHg", 1.333224e2),
    ("pressure", "inH2O", 2.490889e2),
    ("pressure", "mmH2O", 9.80665),
    ("pressure", "atm", 1.01325e5),
    ("pressure", "bar", 1e5),
    ("stress", "ksi", 6.894757e6),
    ("mass flow", "lb/min", 7.559873e-3),
    ("mass flow", "lb/h", 1.259979e-4),
    ("mass flow", "lb/s", 4.535924e-1),
    ("volume flow", "cfm", 4.719474e-4),
]


@pytest.mark.parametrize(("kind", "unit", "printed"), PRINTED)
def test_factor_as_printed(kind: str, unit: str, printed: float) -> None:
    assert to_si(1.0, kind, unit) == pytest.approx(printed, rel=PRINTED_RTOL)


def test_bench_depression() -> None:
    # 28 x 249.08891 Pa: conventional inch of water, 1000 kg/m^3 x 9.80665 m/s^2 x 25.4 mm.
    assert parse("28 inH2O", "depression").value == pytest.approx(28 * 0.0254 * 9806.65, rel=1e-8)


@pytest.mark.parametrize(
    ("text", "kelvin"),
    [
        ("0 degC", 273.15),
        ("32 degF", 273.15),
        ("212 F", 373.15),
        ("-40 °F", 233.15),
        ("300 K", 300),
    ],
)
def test_temperatures_by_definition(text: str, kelvin: float) -> None:
    assert parse(text, "temperature").value == pytest.approx(kelvin, abs=1e-9)


@pytest.mark.parametrize(
    ("text", "metres"),
    [
        ("82.5 mm", 0.0825),
        ("82,5 mm", 0.0825),
        ("0,125 in", 0.125 * 0.0254),
        ("2 7/8 in", 2.875 * 0.0254),
        ("2-7/8 in", 2.875 * 0.0254),
        ('2 7/8"', 2.875 * 0.0254),
        ('3/4"', 0.75 * 0.0254),
        ("2½ in", 2.5 * 0.0254),
        ("1.250,5 mm", 1.2505),
        ("1,250.5 mm", 1.2505),
        ("1.250 mm", 0.00125),
        ("1,2500 mm", 0.00125),
        ("1e-3 m", 0.001),
        ("−5 mm", -0.005),
        ("12 ft", 12 * 0.3048),
        ("3.5 CM", 0.035),
    ],
)
def test_lengths_as_people_write_them(text: str, metres: float) -> None:
    assert parse(text, "length").value == pytest.approx(metres, rel=1e-14)


@pytest.mark.parametrize(
    "text",
    [
        *("1,250 mm", "12,500 mm", "1 250 mm", "2 9/8 in", "1/0 in", "1.2.3 mm", "1,2,3 mm"),
        *("--5 mm", "5 - 3 mm", "7/8 mm", "82.5", "mm", "", " ", "82.5 mm 3", "nan mm", "inf mm"),
        *("1e999 m", "82.5 MMM", "82.5 psi", "8 2.5 mm", "1_000 mm", "0x10 mm"),
    ],
)
def test_what_is_not_clear_is_refused(text: str) -> None:
    with pytest.raises(UnitError) as caught:
        parse(text, "length")
    assert caught.value.hint
    assert caught.value.allowed


@pytest.mark.parametrize(
    ("text", "value", "reference"),
    [
        ("18 psi gauge", 18 * 6894.757293168, "gauge"),
        ("18 psig", 18 * 6894.757293168, "gauge"),
        ("1.3 bar boost", 1.3e5, "gauge"),
        ("5 inHg vacuum", -5 * 3386.38864, "gauge"),
        ("101.3 kPa abs", 101300.0, "absolute"),
        ("14.7 psia", 14.7 * 6894.757293168, "absolute"),
        ("1 bar(g)", 1e5, "gauge"),
        ("2,3 bar absolute", 2.3e5, "absolute"),
    ],
)
def test_pressures_keep_their_reference(text: str, value: float, reference: str) -> None:
    found = parse(text, "pressure")
    assert found.reference == reference
    assert found.value == pytest.approx(value, rel=1e-9)
    expected = value + (100e3 if reference == "gauge" else 0.0)
    assert found.absolute_pa(100e3) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("text", ["18 psi", "1 bar", "100 kPa", "14.7 psi", "29.92 inHg"])
def test_a_pressure_without_reference_is_refused(text: str) -> None:
    with pytest.raises(UnitError) as caught:
        parse(text, "pressure")
    assert f"{text} gauge" in caught.value.hint
    assert f"{text} absolute" in caught.value.hint


@pytest.mark.parametrize("text", ["28 inH2O gauge", "7 kPa absolute", "2 inHg vacuum"])
def test_a_depression_takes_no_reference(text: str) -> None:
    with pytest.raises(UnitError, match="difference"):
        parse(text, "depression")


def test_injector_flow_by_volume_and_by_mass() -> None:
    volume, mass = parse("1000 cc/min", "injector flow"), parse("95 lb/h", "injector flow")
    assert (volume.kind, mass.kind) == ("volume flow", "mass flow")
    assert volume.value == pytest.approx(1e-3 / 60, rel=1e-12)
    assert mass.value == pytest.approx(95 * 0.45359237 / 3600, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "kind", "near"),
    [
        ("5 nm", "length", "mm"),
        ("5 kpb gauge", "pressure", "kPa"),
        ("5 lb/hour", "mass flow", "lb/h"),
    ],
)
def test_nearest_unit(text: str, kind: str, near: str) -> None:
    with pytest.raises(UnitError, match=f"nearest: {near}$"):
        parse(text, kind)


def test_a_unit_of_another_kind_is_named() -> None:
    with pytest.raises(UnitError, match="cfm is a unit of volume flow, not of mass flow"):
        parse("210 cfm", "mass flow")


def test_millipascal_is_not_megapascal() -> None:
    with pytest.raises(UnitError, match="unknown unit mPa"):
        parse("1 mPa gauge", "pressure")


ALL_UNITS = [(kind, unit) for kind, units in UNITS.items() for unit in units]
NUMBERS = st.floats(-1e6, 1e6, allow_nan=False).filter(lambda x: x == 0 or abs(x) > 1e-6)


@given(st.sampled_from(ALL_UNITS), NUMBERS)
def test_round_trip_of_every_unit(kind_unit: tuple[str, str], number: float) -> None:
    kind, unit = kind_unit
    word = " absolute" if kind == "pressure" else ""
    value = parse(f"{number!r} {unit}{word}", kind).value
    back = from_si(value, kind, unit)
    # temperatures pass through an offset of 273.15 or 459.67, which costs digits near zero
    slack = 1e-10 if kind == "temperature" else 0.0
    assert math.isclose(back, number, rel_tol=1e-12, abs_tol=slack)


@given(st.integers(0, 99999), st.integers(0, 99999), st.sampled_from([1, 2, 4, 5]))
def test_a_decimal_comma_reads_like_a_point(whole: int, part: int, digits: int) -> None:
    tail = f"{part:05d}"[:digits]
    assert read_number(f"{whole},{tail}") == read_number(f"{whole}.{tail}")


@given(st.integers(1, 999), st.integers(0, 999))
def test_three_digits_after_one_comma_are_refused(whole: int, part: int) -> None:
    with pytest.raises(NumeralError, match="two things"):
        read_number(f"{whole},{part:03d}")


@given(st.integers(0, 40), st.integers(1, 63), st.sampled_from([2, 4, 8, 16, 32, 64]))
def test_inch_fractions_are_exact(whole: int, top: int, bottom: int) -> None:
    assume(top < bottom)
    exact = float(whole + Fraction(top, bottom))
    assert read_number(f"{whole} {top}/{bottom}") == exact
    assert read_number(f"{whole}-{top}/{bottom}") == exact


@given(st.text(max_size=12), st.sampled_from(sorted(EXAMPLES)))
def test_any_text_is_read_or_refused_with_a_hint(text: str, kind: str) -> None:
    found, hint = None, ""
    try:
        found = parse(text, kind)
    except UnitError as error:
        hint = error.hint
    assert (found is None) == bool(hint)
    if found is not None:
        assert math.isfinite(found.value)
        assert split_number(text)[0]


def test_both_unit_systems_side_by_side() -> None:
    assert display_both(0.0825, "length") == "82.5 mm (3.248 in)"
    assert display(101325.0, "pressure", "imperial") == "14.70 psi abs"
    assert display(0.25, "mass flow", "imperial") == "33.07 lb/min"
    assert display(318.15, "temperature", "imperial") == "113.0 degF"
    assert display_gauge(231325.0, 101325.0) == "130.0 kPa gauge"
    assert display_gauge(225430.6, 101325.0, "imperial") == "18.00 psi gauge"
