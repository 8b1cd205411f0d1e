"""Exact and irrational ratios, and the fractions nearest to them."""

from __future__ import annotations

import math
import pickle
from fractions import Fraction

import pytest
import sympy
from handlead.kinematics.frame.exact import PI, Irrational, cosine, sine, square_root
from handlead.kinematics.search.ratios import (
    checked_target,
    compare,
    compare_errors,
    relative_error,
)
from hypothesis import given, settings
from hypothesis import strategies as st

F = Fraction
fractions = st.fractions(min_value=F(1, 50), max_value=50, max_denominator=2000)
angles = st.fractions(min_value=0, max_value=720, max_denominator=3600)


@given(angles, st.integers(8, 300))
@settings(deadline=None, max_examples=60)
def test_sines_are_enclosed_as_an_independent_library_gives_them(angle: F, bits: int) -> None:
    here = sine(angle)
    value = sympy.sin(sympy.Rational(angle.numerator, angle.denominator) * sympy.pi / 180).evalf(130)
    if isinstance(here, F):
        assert abs(value - sympy.Rational(here.numerator, here.denominator)) < F(1, 10**60)
        return
    low, high = here.bounds(bits)
    assert high - low <= F(1, 2**bits)
    as_fraction = F(str(value))
    assert low - F(1, 10**110) <= as_fraction <= high + F(1, 10**110)


@pytest.mark.parametrize("bits", [1, 20, 64, 500, 3000])
def test_pi_lies_within_its_bounds(bits: int) -> None:
    low, high = PI.bounds(bits)
    digits = F(str(sympy.pi.evalf(1000)))
    assert high - low <= F(1, 2**bits)
    assert low - F(1, 10**990) <= digits <= high + F(1, 10**990)


def test_sines_that_are_fractions_are_fractions() -> None:
    assert [sine(a) for a in (0, 30, 90, 150, 180, 210, 270, 390)] == [
        0,
        F(1, 2),
        1,
        F(1, 2),
        0,
        -F(1, 2),
        -1,
        F(1, 2),
    ]
    assert cosine(60) == F(1, 2)


@given(fractions, fractions, st.integers(1, 89))
@settings(deadline=None, max_examples=50)
def test_arithmetic_on_irrationals_agrees_with_floats(a: F, b: F, degrees: int) -> None:
    if degrees == 30:
        return
    s = math.sin(math.radians(degrees))
    for exact, plain in (
        (a * sine(degrees) / (PI * b), float(a) * s / (math.pi * float(b))),
        (b - sine(degrees) + a, float(b) - s + float(a)),
        (a / (sine(degrees) + b), float(a) / (s + float(b))),
        (-PI * a, -math.pi * float(a)),
        (abs(sine(-degrees) * b), s * float(b)),
    ):
        assert float(exact) == pytest.approx(plain, rel=1e-12, abs=1e-12)


def test_a_root_is_exact_where_it_can_be() -> None:
    assert square_root(F(9, 4)) == F(3, 2)
    root = square_root(2)
    assert isinstance(root, Irrational)
    low, high = root.bounds(200)
    assert low * low < 2 < high * high
    assert float(square_root(PI)) == pytest.approx(math.sqrt(math.pi))


@given(fractions, fractions, st.integers(1, 10**6))
@settings(deadline=None)
def test_two_errors_are_compared_however_close_they_are(first: F, second: F, nudge: int) -> None:
    """A target a hair to one side of the middle between two ratios is nearer to that one."""
    if first == second:
        return
    middle, hair = (first + second) / 2, (second - first) / (10**40 * nudge)
    assert compare_errors(first, second, middle) == 0
    assert compare_errors(first, second, middle + hair) == 1
    assert compare_errors(first, second, middle - hair) == -1
    beside = Irrational(
        lambda bits: (middle + hair - F(1, 2**bits), middle + hair + F(1, 2**bits)), "a hair beside"
    )
    assert compare_errors(first, second, beside) == 1


def test_a_number_that_cant_be_told_from_another_is_refused_not_guessed() -> None:
    half = Irrational(lambda bits: (F(1, 2) - F(1, 2**bits), F(1, 2) + F(1, 2**bits)), "a half in disguise")
    with pytest.raises(ArithmeticError, match="give it as a fraction"):
        compare(half, F(1, 2))
    assert compare(half, half) == 0


def test_bad_targets_are_refused_at_the_door() -> None:
    with pytest.raises(TypeError, match="a float has been rounded"):
        checked_target(1.5)  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="greater than 0"):
        checked_target(0)
    with pytest.raises(ValueError, match="greater than 0"):
        checked_target(-PI)  # type: ignore[arg-type]
    with pytest.raises(TypeError, match="whole number or a Fraction"):
        sine(15.0)  # type: ignore[arg-type]
    with pytest.raises(ZeroDivisionError):
        PI / 0


def test_errors_are_shown_to_full_accuracy() -> None:
    assert relative_error(F(355, 113), PI) == pytest.approx(8.4913679e-8, rel=1e-7)
    assert relative_error(F(3), F(3)) == 0


def test_irrationals_go_to_other_processes_and_come_back_the_same() -> None:
    number = 25 * sine(15) / (PI * 2) - square_root(2) / cosine(20)
    again = pickle.loads(pickle.dumps(number))
    assert isinstance(again, Irrational)
    low, high = number.bounds(300)
    assert again.bounds(300)[0] <= high and low <= again.bounds(300)[1]
