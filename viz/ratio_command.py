"""``handlead plan --ratio``: change gears for a bare ratio, from a list of gears."""

from __future__ import annotations

import argparse
from fractions import Fraction


def _target(text: str) -> Fraction:
    from handlead.machines.numbers import NumberFault, exact

    try:
        return exact(text)
    except NumberFault as fault:
        raise ValueError(f"{text[:40]!r} isn't a ratio: {fault}") from None


def _gear(text: str) -> int:
    from handlead.machines.numbers import NumberFault, whole

    try:
        return whole(text)
    except NumberFault as fault:
        raise ValueError(f"{text[:40]!r} in --drawer isn't a gear's teeth: {fault}") from None


def run_ratio(options: argparse.Namespace) -> int:
    """Find the nearest sets and print them; returns the exit status."""
    from handlead.kinematics.change_gears import nearest_sets

    from .outlet import complain, print_json, tell

    try:
        target = _target(options.ratio)
        drawer = [_gear(teeth) for teeth in (options.drawer or "").replace(" ", ",").split(",") if teeth]
        found = nearest_sets(target, drawer, pairs=(options.pairs,), limit=options.top)
    except ValueError as fault:
        complain(f"plan --ratio: {fault}")
        return 2
    if options.json:
        print_json(
            {
                "ratio": str(target),
                "sets": [
                    {"gears": list(one.gears), "ratio": str(one.ratio), "error_ppm": one.error * 1e6}
                    for one in found.sets
                ],
            }
        )
    else:
        for one in found.sets:
            tell(f"{one!s:32} = {float(one.ratio):.9f}   {one.error * 1e6:+.4f} ppm")
        if not found.sets:
            tell("no set of these gears can be mounted")
    return 0 if found.sets else 1
