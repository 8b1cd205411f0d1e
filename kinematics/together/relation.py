"""An equation between the ratios of several brackets, each of them in it to the first power."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

import numpy as np
from handlead.kinematics.frame.exact import Ratio
from handlead.kinematics.search.ratios import relative_error
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Relation:
    """An equation between ratios: the sum over `terms` of coefficient times the ratios named is 0.

    A term is the set of bracket names whose ratios are multiplied, the empty set being a constant, so
    that each ratio stands to the first power. `stiffness`, of the same form, gives what an error of 1
    (not relative) in the last ratio costs, in the same coin as the weights; left out, the cost is the relative error.
    With `per`, of the same form again, it costs what the sum of the terms then is, divided by that: true whatever the
    ratios, where a stiffness is true near those that it was taken at.

    >>> Relation({frozenset(): Fraction(-24), frozenset({"index"}): Fraction(37)}).solved_for("index", {})
    Fraction(24, 37)
    """

    terms: Mapping[frozenset[str], Ratio]
    stiffness: Mapping[frozenset[str], Ratio] | None = None
    per: Mapping[frozenset[str], Ratio] | None = None

    def solved_for(self, name: str, ratios: Mapping[str, Fraction]) -> Ratio | None:
        """What bracket `name` must give with the others as they are; None where nothing or anything would do."""
        given: Ratio = Fraction(0)
        wanted: Ratio = Fraction(0)
        for names, coefficient in self.terms.items():
            product = math.prod((ratios[one] for one in names if one != name), start=Fraction(1))
            if name in names:
                wanted = wanted + coefficient * product
            else:
                given = given + coefficient * product
        if _is_zero(wanted):
            return None
        return -given / wanted

    def cost(self, name: str, ratios: Mapping[str, Fraction], wanted: Ratio) -> float:
        """What the ratio of `name` costs where `wanted` is what it should be."""
        off = abs(relative_error(ratios[name], wanted))
        if self.stiffness is None:
            return off
        stiff: Ratio = Fraction(0)
        for names, coefficient in self.stiffness.items():
            stiff = stiff + coefficient * math.prod((ratios[one] for one in names), start=Fraction(1))
        return off * abs(float(wanted)) * abs(float(stiff))


    def slopes(self, ratios: Mapping[str, Floats], last: str, wanted: Floats) -> Floats:
        """What an error of 1 in the ratio of `last` costs about `wanted`, near enough to sieve with."""
        with np.errstate(divide="ignore", invalid="ignore"):
            if self.per is not None:
                divisor, _ = summed(self.terms, ratios, last, True)
                per, _ = summed(self.per, {**ratios, last: wanted}, "", False)
                return np.asarray(np.abs(divisor / per))
            if self.stiffness is not None:
                return np.asarray(np.abs(summed(self.stiffness, ratios, "", False)[0]))
            return np.asarray(1 / np.abs(wanted))


def _is_zero(number: Ratio) -> bool:
    return isinstance(number, Fraction) and number == 0


def summed(
    terms: Mapping[frozenset[str], Ratio], ratios: Mapping[str, Floats], last: str, with_last: bool
) -> tuple[Any, Any]:
    """The terms that hold the last ratio, or those that don't, without it: their sum and the sum of their sizes."""
    total: Any = 0.0
    size: Any = 0.0
    shape = next(iter(ratios.values())).shape
    for names, coefficient in terms.items():
        if (last in names) == with_last:
            term: Any = np.full(shape, float(coefficient))
            for name in names - {last}:
                term = term * ratios[name]
            total, size = total + term, size + np.abs(term)
    return total + np.zeros(shape), size + np.zeros(shape)
