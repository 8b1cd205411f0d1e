"""The numbers of a file, exactly: what may be written, and the fraction that it stands for.

Every number in a file passes through `exact`; lengths and angles add their units. Limits on
digits and exponents are checked on the text, before any arithmetic is done with it.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction

from .errors import HandleadError

#: Millimetres in a unit of length that a file may use; the inch has been exactly 25.4 mm since 1959.
UNITS: dict[str, Fraction] = {"mm": Fraction(1), "in": Fraction(127, 5)}

#: A number may have this many digits, and an exponent of this size, and no more.
MOST_DIGITS = 60
LARGEST_EXPONENT = 30

_LONGEST_TEXT = 2 * MOST_DIGITS + 20
_MOST_DECIMALS = 15
_DECIMAL = re.compile(r"([+-]?)(\d+)(?:\.(\d+))?(?:[eE]([+-]?\d+))?", re.ASCII)
_FRACTION = re.compile(r"([+-]?)(?:(\d+)\s+)?(\d+)\s*/\s*(\d+)", re.ASCII)
_WITH_UNIT = re.compile(r"(.*?[\d.])\s*([A-Za-z\"']+)")
_PARTS = re.compile(
    r"([+-]?)\s*(?:(\d+(?:\.\d+)?)\s*d)?\s*(?:(\d+(?:\.\d+)?)\s*m)?\s*(?:(\d+(?:\.\d+)?)\s*s)?"
)


class NumberFault(HandleadError, ValueError):
    """A text or value that is no number of the wanted kind; the message says what would be right."""


@dataclass(frozen=True, slots=True)
class Decimal:
    """A decimal as it stands in a file, before anything is made of it."""

    text: str


Written = object
"""A value as the TOML reader hands it over: int, `Decimal`, str, or something that is no number."""


def exact(written: Written) -> Fraction:
    """The number written, as a fraction: a whole number, a decimal, or a string such as ``"1 1/4"``.

    Raises `NumberFault`.

    >>> exact("1 1/4")
    Fraction(5, 4)
    >>> exact(Decimal("2.54"))
    Fraction(127, 50)
    """
    if isinstance(written, bool):
        raise NumberFault("it must be a number")
    if isinstance(written, int):
        return Fraction(_checked(written))
    if isinstance(written, Decimal):
        return _from_text(written.text.replace("_", ""))
    if isinstance(written, str):
        return _from_text(written.strip())
    raise NumberFault("it must be a number")


def whole(written: Written) -> int:
    """The whole number written. Raises `NumberFault` for anything else, fractions among them."""
    if isinstance(written, bool) or not isinstance(written, (int, Decimal, str)):
        raise NumberFault("it must be a whole number")
    value = exact(written)
    if value.denominator != 1:
        raise NumberFault("it must be a whole number")
    return value.numerator


def length(written: Written, units: str) -> Fraction:
    """The length written, in mm; a string may carry its own unit, a bare number is in `units`.

    Raises `NumberFault`.

    >>> length("1/4 in", "mm")
    Fraction(127, 20)
    """
    unit = units
    if isinstance(written, str) and (match := _WITH_UNIT.fullmatch(written.strip()[:_LONGEST_TEXT])):
        if match[2] not in UNITS:
            raise NumberFault(f'its unit "{match[2]}" is not known: write "mm" or "in"')
        written, unit = match[1], match[2]
    return exact(written) * UNITS[unit]


def angle(written: Written) -> Fraction:
    """The angle written, in degrees: a decimal, or degrees, minutes and seconds as ``"22d 42m 30s"``.

    Any of the three may be left out, and each may have decimals. Raises `NumberFault`.

    >>> angle("22d 30m")
    Fraction(45, 2)
    """
    if not isinstance(written, str) or not any(letter in written for letter in "dms"):
        return exact(written)
    match = _PARTS.fullmatch(written.strip()) if len(written) <= _LONGEST_TEXT else None
    if match is None:
        raise NumberFault('an angle is degrees, or degrees, minutes and seconds such as "22d 42m 30s"')
    sign, *parts = match.groups()
    total = Fraction(0)
    larger = False
    for part, size, name in zip(parts, (1, 60, 3600), ("degrees", "minutes", "seconds"), strict=True):
        value = _from_text(part) if part else Fraction(0)
        if larger and value >= 60:
            raise NumberFault(f"it has {part} {name}; they must be below 60")
        larger = larger or part is not None
        total += value / size
    return -total if sign == "-" else total


def written(value: Fraction | int) -> int | Decimal | str:
    """How to write `value` so that it is read again exactly: a whole number, a decimal, or a fraction in quotes.

    >>> written(Fraction(127, 50)), written(Fraction(2, 3))
    (Decimal(text='2.54'), '2/3')
    """
    value = Fraction(value)
    if value.denominator == 1:
        return value.numerator
    places = _decimal_places(value.denominator)
    if places is None or places > _MOST_DECIMALS:
        return f"{value.numerator}/{value.denominator}"
    digits = str(abs(value.numerator) * 10**places // value.denominator).rjust(places + 1, "0")
    return Decimal(f"{'-' if value < 0 else ''}{digits[:-places]}.{digits[-places:]}")


def written_length(value: Fraction, units: str) -> int | Decimal | str:
    """How to write a length in mm into a file in `units`: with its own unit where only that one gives a decimal.

    >>> written_length(Fraction(6), "in"), written_length(Fraction(127, 20), "in")
    ('6 mm', Decimal(text='0.25'))
    """
    here = written(value / UNITS[units])
    if not isinstance(here, str):
        return here
    for unit, size in UNITS.items():
        there = written(value / size)
        if not isinstance(there, str):
            return f"{there.text if isinstance(there, Decimal) else there} {unit}"
    return here


def written_angle(value: Fraction) -> int | Decimal | str:
    """How to write an angle in degrees: as a short decimal, or else in degrees, minutes and seconds if they fit.

    >>> written_angle(Fraction(45, 2)), written_angle(Fraction(68, 3))
    (Decimal(text='22.5'), '22d 40m')
    """
    decimal = written(value)
    if not isinstance(decimal, str) and (isinstance(decimal, int) or len(decimal.text) <= 8):
        return decimal
    minutes, rest = divmod(abs(value) * 3600, 60)
    seconds = written(rest)
    if isinstance(seconds, str):
        return decimal
    degrees, minutes = divmod(minutes, 60)
    parts = ((degrees, "d"), (minutes, "m"), (seconds.text if isinstance(seconds, Decimal) else seconds, "s"))
    text = ("-" if value < 0 else "") + " ".join(f"{part}{letter}" for part, letter in parts if part)
    return decimal if isinstance(decimal, Decimal) and len(decimal.text) < len(text) else text


def _decimal_places(denominator: int) -> int | None:
    """Decimals that a fraction with this denominator needs; None if they never end."""
    counts = []
    for prime in (2, 5):
        count = 0
        while denominator % prime == 0:
            denominator //= prime
            count += 1
        counts.append(count)
    return max(counts) if denominator == 1 else None


def _from_text(text: str) -> Fraction:
    if len(text) > _LONGEST_TEXT:
        raise NumberFault(f"it has {len(text)} characters; a number has at most {MOST_DIGITS} digits")
    if match := _DECIMAL.fullmatch(text):
        return _decimal(*match.groups(default=""))
    if match := _FRACTION.fullmatch(text):
        return _fraction(*match.groups(default=""))
    if text.lstrip("+-") in ("inf", "nan"):
        raise NumberFault("it must be a finite number")
    raise NumberFault('it must be a number such as 12, 2.5, "5/8" or "1 1/4"')


def _decimal(sign: str, before: str, after: str, exponent: str) -> Fraction:
    if len(before) + len(after) > MOST_DIGITS:
        raise NumberFault(f"it has {len(before) + len(after)} digits; {MOST_DIGITS} are the most")
    # Length first: the exponent itself may be a number that is too long to make.
    if len(exponent.lstrip("+-0")) > 2 or abs(int(exponent or 0)) > LARGEST_EXPONENT:
        raise NumberFault(f"its exponent is out of limits: from -{LARGEST_EXPONENT} to {LARGEST_EXPONENT}")
    value = int(before + after) * Fraction(10) ** (int(exponent or 0) - len(after))
    return -value if sign == "-" else value


def _fraction(sign: str, wholes: str, above: str, below: str) -> Fraction:
    if max(len(wholes), len(above), len(below)) > MOST_DIGITS:
        raise NumberFault(f"a fraction has at most {MOST_DIGITS} digits above and below its line")
    if not int(below):
        raise NumberFault("its denominator is 0")
    value = int(wholes or 0) + Fraction(int(above), int(below))
    return -value if sign == "-" else value


def _checked(value: int) -> int:
    if abs(value) >= 10**MOST_DIGITS:
        raise NumberFault(f"it has more than {MOST_DIGITS} digits")
    return value
