"""The factor table against TRADE's printed values, and numbers as logs write them."""

from fractions import Fraction

import pytest

from forecast.physics.units import FACTORS, SPELLINGS, convert, length_unit, number


@pytest.mark.parametrize(
    ("value", "unit", "to", "expected"),
    [
        (1.0, "in", "mm", 25.4),
        (1.0, "mil", "um", 25.4),
        (125.0, "mil", "mm", 3.175),
        (1.0, "cm", "mm", 10.0),
        (1.0, "m", "mm", 1000.0),
        (1.0, "mm", "um", 1000.0),
        (1.0, "in3 min/(ft lbf h)", "mm3/(N m)", 201.44130240306833),
        (1e-10, "in3 min/(ft lbf h)", "mm3/(N m)", 0.020144130240306833e-6),
        (1e-6, "mm3/(N m)", "in3 min/(ft lbf h)", 49.642252510812206e-10),
        (1.0, "mm3/(N m)", "m2/N", 1e-9),
        (1.0, "psi", "MPa", 6894.757293168361e-6),
        (1.0, "ft/min", "m/s", 0.00508),
        (1.0, "psi ft/min", "MPa m/s", 3.5025367049295276e-5),
        (1.0, "MPa m/s", "psi ft/min", 28550.73577366323),
        (6000.0, "N/cm2 m/min", "MPa m/s", 1.0),
        (1.0, "kgf/cm2", "MPa", 0.0980665),
    ],
)
def test_the_printed_factors(value, unit, to, expected):
    assert convert(value, unit, to) == pytest.approx(expected, rel=1e-14)


def test_units_of_different_quantities_do_not_convert():
    with pytest.raises(ValueError, match=r"cannot convert 'in' to 'MPa'"):
        convert(1.0, "in", "MPa")


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("0.5", Fraction(1, 2)),
        (" 1/8 ", Fraction(1, 8)),
        ("1 1/2", Fraction(3, 2)),
        ("-1/64", Fraction(-1, 64)),
        ("1e-3", Fraction(1, 1000)),
        (".5", Fraction(1, 2)),
        ("5.", Fraction(5)),
    ],
)
def test_numbers_as_logs_write_them(text, expected):
    assert number(text) == expected


@pytest.mark.parametrize(
    "text", ["", "0,5", "1,234.5", "1_000", "nan", "inf", "1/0", "0x10", "٣", "1e999999"]
)
def test_what_is_no_number(text):
    with pytest.raises(ValueError, match="is not a number"):
        number(text)


def test_an_eighth_of_an_inch_is_exact():
    assert number("1/8") * FACTORS["length"]["in"] == Fraction("3.175")


def test_every_spelling_means_a_unit_of_length():
    assert set(SPELLINGS.values()) == set(FACTORS["length"])
    assert length_unit("INCH") == "in"
    assert length_unit('"') == "in"
    assert length_unit("furlong") is None
