"""Numbers of a file: what may be written, exactly what it stands for, and what is refused at once."""

import decimal
from fractions import Fraction

import pytest
from handlead.machines.toml.numbers import (
    Decimal,
    NumberFault,
    angle,
    exact,
    length,
    whole,
    written,
    written_angle,
    written_length,
)
from hypothesis import given, settings
from hypothesis import strategies as st

fractions = st.builds(Fraction, st.integers(-(10**20), 10**20), st.integers(1, 10**12))


@pytest.mark.parametrize(
    ("text", "value"),
    [
        (12, Fraction(12)),
        (Decimal("2.54"), Fraction(254, 100)),
        (Decimal("1_000.5"), Fraction(2001, 2)),
        (Decimal("-0.0"), Fraction(0)),
        (Decimal("1e3"), Fraction(1000)),
        (Decimal("2.5E-2"), Fraction(1, 40)),
        ("5/8", Fraction(5, 8)),
        ("1 1/4", Fraction(5, 4)),
        ("-1 1/4", Fraction(-5, 4)),
        (" 3 / 7 ", Fraction(3, 7)),
        ("12", Fraction(12)),
        ("0.1", Fraction(1, 10)),
    ],
)
def test_a_number_is_read_exactly(text, value):
    assert exact(text) == value


@settings(deadline=None)
@given(st.from_regex(r"[+-]?[0-9]{1,20}\.[0-9]{1,20}([eE][+-]?[0-9])?", fullmatch=True))
def test_a_decimal_is_what_the_standard_library_makes_of_it(text):
    assert exact(Decimal(text)) == Fraction(decimal.Decimal(text))


@pytest.mark.parametrize(
    ("text", "units", "mm"),
    [
        (1, "in", Fraction(254, 10)),
        ("0.25 in", "mm", Fraction(635, 100)),
        ("1 1/4 in", "mm", Fraction(3175, 100)),
        ("6 mm", "in", Fraction(6)),
        ("6mm", "in", Fraction(6)),
        (6, "mm", Fraction(6)),
    ],
)
def test_an_inch_is_exactly_25_4_mm(text, units, mm):
    """Source: the inch of the yard and pound agreement of 1959, 25.4 mm (from memory)."""
    assert length(text, units) == mm


@pytest.mark.parametrize(
    ("text", "degrees"),
    [
        ("22d 42m 30s", Fraction(22) + Fraction(42, 60) + Fraction(30, 3600)),
        ("22d", Fraction(22)),
        ("30m", Fraction(1, 2)),
        ("90s", Fraction(1, 40)),
        ("2d 18.5m", Fraction(2) + Fraction(37, 120)),
        ("1d 0.5s", Fraction(7200 + 1, 7200)),
        ("-1d 30m", Fraction(-3, 2)),
        ("22d42m", Fraction(227, 10)),
        (Decimal("22.7"), Fraction(227, 10)),
        ("22.7", Fraction(227, 10)),
        ("90m", Fraction(3, 2)),
    ],
)
def test_an_angle_is_read_in_any_of_its_parts(text, degrees):
    assert angle(text) == degrees


@pytest.mark.parametrize(
    "text",
    [
        "", " ", "d", "1d 60m", "1d 2m 60s", "m", "12 d 3 x", "1s 2m", "5/0", "1/2/3", "one", "1,5", "0x10", "١٢٣",
        Decimal("inf"), Decimal("-inf"), Decimal("nan"), Decimal("1e10000000"), Decimal("1e-10000000"),
        Decimal("1" * 61), Decimal("0." + "1" * 60), "1e" + "9" * 5000, "9" * 10_000, "1/" + "9" * 100,
        10**60, -(10**60), True, None, [1], {},
    ],
)  # fmt: skip
def test_what_is_no_number_is_refused(text):
    for read in (exact, angle, whole, lambda it: length(it, "mm")):
        with pytest.raises(NumberFault):
            read(text)


def test_a_length_in_an_unknown_unit_is_refused_with_the_known_ones():
    with pytest.raises(NumberFault, match='"cm" is not known: write "mm" or "in"'):
        length("5 cm", "mm")


@pytest.mark.parametrize("text", [Decimal("2.5"), "5/8", Decimal("1e-2")])
def test_a_whole_number_has_no_fraction(text):
    with pytest.raises(NumberFault, match="whole number"):
        whole(text)


def test_a_whole_number_may_be_written_as_a_decimal():
    assert whole(Decimal("40.0")) == 40
    assert whole("8/2") == 4


@settings(deadline=None)
@given(fractions)
def test_a_number_that_is_written_reads_as_the_same_number(value):
    assert exact(written(value)) == value


@settings(deadline=None)
@given(fractions, st.sampled_from(["mm", "in"]))
def test_a_length_that_is_written_reads_as_the_same_length(value, units):
    assert length(written_length(value, units), units) == value


@settings(deadline=None)
@given(st.one_of(fractions, st.builds(Fraction, st.integers(-(10**7), 10**7), st.just(3600))))
def test_an_angle_that_is_written_reads_as_the_same_angle(value):
    assert angle(written_angle(value)) == value


@settings(deadline=None)
@given(st.text(max_size=200))
def test_any_text_is_a_number_or_is_refused(text):
    for read in (exact, angle, lambda it: length(it, "in")):
        try:
            assert isinstance(read(text), Fraction)
        except NumberFault as fault:
            assert str(fault)
