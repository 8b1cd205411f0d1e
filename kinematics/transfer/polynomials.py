"""Polynomials in named variables with exact coefficients; a variable may be a sign, whose powers count by two.

A variable is a name. One that begins with `SIGN` stands for +1 or -1; any other stands for a number above 0.
A number that may have either sign is a product of two.
"""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction

#: The first character of the name of a variable that is a sign.
SIGN = "±"

Powers = tuple[tuple[str, int], ...]
"""A product of powers of variables: names with their exponents, sorted by name, none of them 0."""

Polynomial = Mapping[Powers, Fraction]
"""Coefficients by product of powers; exponents may be negative."""

_ONE: Powers = ()


def is_sign(name: str) -> bool:
    """Whether the variable called `name` is a sign."""
    return name.startswith(SIGN)


def powers(exponents: Mapping[str, int]) -> Powers:
    """The product of powers with these exponents; those of signs count by two."""
    reduced = ((name, each % 2 if is_sign(name) else each) for name, each in exponents.items())
    return tuple(sorted((name, each) for name, each in reduced if each))


def times(first: Powers, second: Powers) -> Powers:
    """The product of two products of powers."""
    total = dict(first)
    for name, exponent in second:
        total[name] = total.get(name, 0) + exponent
    return powers(total)


def constant(value: Fraction | int) -> Polynomial:
    """The polynomial that is `value` throughout."""
    return {_ONE: Fraction(value)} if value else {}


def variable(name: str) -> Polynomial:
    """The polynomial that is the variable called `name`."""
    return {((name, 1),): Fraction(1)}


def add(first: Polynomial, second: Polynomial, factor: Fraction | int = 1) -> Polynomial:
    """`first` and `factor` times `second`."""
    total = dict(first)
    for term, coefficient in second.items():
        value = total.get(term, Fraction(0)) + factor * coefficient
        if value:
            total[term] = value
        else:
            total.pop(term, None)
    return total


def multiply(first: Polynomial, second: Polynomial) -> Polynomial:
    """The product of two polynomials."""
    total: Polynomial = {}
    for one, coefficient in first.items():
        total = add(total, {times(one, other): value for other, value in second.items()}, coefficient)
    return total


def evaluate(polynomial: Polynomial, values: Mapping[str, Fraction | int]) -> Fraction:
    """The value of the polynomial where the variables have these. Raises `KeyError` for one that is left out."""
    return sum(
        (coefficient * value_of(term, values) for term, coefficient in polynomial.items()), Fraction(0)
    )


def value_of(term: Powers, values: Mapping[str, Fraction | int]) -> Fraction:
    """The value of a product of powers. Raises `KeyError` for a variable without a value."""
    product = Fraction(1)
    for name, exponent in term:
        product *= Fraction(values[name]) ** exponent
    return product


def substitute(polynomial: Polynomial, values: Mapping[str, Fraction]) -> Polynomial:
    """The polynomial in the variables that are left when these have values."""
    total: Polynomial = {}
    for term, coefficient in polynomial.items():
        known = tuple((name, each) for name, each in term if name in values)
        rest = tuple((name, each) for name, each in term if name not in values)
        total = add(total, {rest: coefficient * value_of(known, values)})
    return total


def variables(polynomial: Polynomial) -> set[str]:
    """The variables that occur in the polynomial."""
    return {name for term in polynomial for name, _ in term}




def quotient(above: Polynomial, below: Polynomial) -> tuple[Fraction, Powers] | None:
    """The one term, coefficient and powers, by which `below` is to be multiplied to give `above`; None where none is.

    The variables must be numbers: of a product of such polynomials the greatest term is that of the greatest ones.
    """
    if not above or not below:
        return None
    names = sorted(variables(above) | variables(below))
    over, under = (max(each, key=lambda term: [dict(term).get(name, 0) for name in names]) for each in (above, below))
    factor = above[over] / below[under]
    term = times(over, tuple((name, -exponent) for name, exponent in under))
    return (factor, term) if multiply(below, {term: factor}) == above else None
