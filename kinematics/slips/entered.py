"""Slips at a ratio that is entered instead of mounted: its sign, its way up, its figures."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from handlead.kinematics.links.mounted import Dialled

from .standing import Changes
from .study import Numbers, Slip, Study


def _boxes(study: Study) -> Iterator[tuple[str, Dialled]]:
    for name, mounted in study.base.change.items():
        if isinstance(mounted, Dialled):
            yield name, mounted


def _slip(name: str, meant: Dialled, ratio: Fraction, likelihood: float = 1.0) -> Slip:
    made = Dialled.of(ratio)
    changes: Changes = {("gears", name): made.gears, ("idlers", name): made.idlers}
    return Slip(name, f"{made} in place of {meant}", changes, likelihood)


def wrong_sign(study: Study, numbers: Numbers) -> Iterator[Slip]:
    """Entered with the other sign."""
    for name, meant in _boxes(study):
        yield _slip(name, meant, -meant.ratio)


def upside_down(study: Study, numbers: Numbers) -> Iterator[Slip]:
    """Numerator and denominator entered in each other's place."""
    for name, meant in _boxes(study):
        if meant.size != 1:
            yield _slip(name, meant, 1 / meant.ratio)


def wrong_figure(study: Study, numbers: Numbers) -> Iterator[Slip]:
    """One number with two neighbouring figures exchanged, one left out, one struck twice, or one beside it struck."""
    for name, meant in _boxes(study):
        link = study.bench.train.link(name)
        largest = getattr(link, "largest", 10**12)
        sign = 1 if meant.ratio > 0 else -1
        over, under = meant.gears
        seen = {meant.size}
        for wrong in _mistyped(over):
            seen |= _if_new(Fraction(wrong, under), seen, wrong <= largest)
        for wrong in _mistyped(under):
            seen |= _if_new(Fraction(over, wrong), seen, wrong <= largest)
        for size in sorted(seen - {meant.size}):
            yield _slip(name, meant, sign * size)


def _if_new(ratio: Fraction, seen: set[Fraction], goes_in: bool) -> set[Fraction]:
    return {ratio} if goes_in and ratio not in seen else set()


def _mistyped(number: int) -> set[int]:
    """What may stand there in place of a number."""
    text = str(number)
    wrong = {text[:at] + text[at + 1 :] for at in range(len(text))}
    wrong |= {text[:at] + text[at] + text[at:] for at in range(len(text))}
    wrong |= {text[:at] + text[at + 1] + text[at] + text[at + 2 :] for at in range(len(text) - 1)}
    for at, figure in enumerate(text):
        beside = (near for near in (int(figure) - 1, int(figure) + 1) if 0 <= near <= 9)
        wrong |= {text[:at] + str(near) + text[at + 1 :] for near in beside}
    return {int(one) for one in wrong if one and int(one) and one[0] != "0"} - {number}
