"""The checks at the machine, and which of them tells most suspects apart for the time it takes."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from handlead.kinematics.links.mounted import ChangeGears, SetRatio

from .inspections import LOOKS, NONE_OF_THESE, Check, SetUpShown
from .suspects import Suspect


@dataclass(frozen=True)
class Split:
    """What a check may show, and the suspects (by their place in the list, from 0) that are left then."""

    outcome: str
    suspects: tuple[int, ...]
    weight: float


@dataclass(frozen=True)
class NextCheck:
    """The check that tells most for the time it takes; `bits` is what it tells on the average."""

    check: Check
    splits: tuple[Split, ...]
    bits: float


def next_check(suspects: Sequence[Suspect], checks: Iterable[Check]) -> NextCheck | None:
    """The check that splits the suspects best for its minutes; None where none of them tells any apart.

    What is gained is the mean information of the answer, in bits, as the weights stand.
    Source: C. E. Shannon, "A Mathematical Theory of Communication", 1948 (from memory).
    """
    best: NextCheck | None = None
    for check in checks:
        splits = _splits(suspects, check)
        if len(splits) < 2:
            continue
        found = _worth(check, splits)
        if best is None or found.bits / found.check.minutes > best.bits / best.check.minutes:
            best = found
    return best


def _splits(suspects: Sequence[Suspect], check: Check) -> list[Split]:
    """What the check may show, with the suspects that are left then; one that may show either stands with both."""
    total = sum(suspect.weight for suspect in suspects) or 1.0
    outcomes = [check.outcomes(suspect.scene) for suspect in suspects]
    stands = check.together(each for either in outcomes for each in either)
    by_outcome: dict[str, list[tuple[int, float]]] = {}
    for number, either in enumerate(outcomes):
        for outcome in either:
            share = suspects[number].weight / total / len(either)
            by_outcome.setdefault(stands[outcome], []).append((number, share))
    return [
        Split(outcome, tuple(dict.fromkeys(number for number, _ in those)), sum(share for _, share in those))
        for outcome, those in by_outcome.items()
    ]


def _worth(check: Check, splits: list[Split]) -> NextCheck:
    bits = -sum(split.weight * math.log2(split.weight) for split in splits if split.weight > 0)
    splits.sort(key=lambda split: (-split.weight, split.outcome))
    return NextCheck(check, tuple(splits), bits)


def own_checks(suspect: Suspect, checks: Sequence[Check], meant: SetUpShown) -> tuple[Check, ...]:
    """The checks that would find the suspect's faults themselves: those that could refute it."""
    as_written = suspect.standing.key == meant.standing.key
    own = []
    for fault in suspect.faults:
        for check in checks:
            there = check.looks_at == fault.kind.check and (not check.where or check.where in fault.where)
            if there and (as_written or check.outcome(suspect.scene) != check.outcome(meant)):
                own.append(check)
                break
    return tuple(dict.fromkeys(own))


def refuting_check(
    suspects: Sequence[Suspect], unknown: float, checks: Sequence[Check], made: Iterable[Check], meant: SetUpShown
) -> NextCheck | None:
    """The next look at the likeliest suspect itself, which may speak against it; None where all were taken."""
    taken = set(made)
    for check in own_checks(suspects[0], checks, meant) if suspects else ():
        if check not in taken:
            splits = [replace(split, weight=split.weight * (1 - unknown)) for split in _splits(suspects, check)]
            return _worth(check, [*splits, Split(NONE_OF_THESE[0], (), unknown)])
    return None


def all_checks(
    rows: Iterable[tuple[str, str, float]], brackets: Mapping[str, ChangeGears], levers: Iterable[str], turns: int
) -> tuple[Check, ...]:
    """The checks of the table at every place where they can be made.

    A row is what is looked at, what to do (with ``{where}`` and ``{turns}`` in it), and the minutes.
    Raises `ValueError` for a look that isn't known.
    """
    places: Mapping[str, Sequence[str]] = {
        "bracket": [name for name, link in brackets.items() if not isinstance(link, SetRatio)],
        "box": [name for name, link in brackets.items() if isinstance(link, SetRatio)],
        "lever": list(levers),
        "": [""],
    }
    checks = []
    for looks_at, do, minutes in rows:
        if looks_at not in LOOKS:
            raise ValueError(f"looks_at is {looks_at!r}; it must be one of {', '.join(LOOKS)}")
        for where in places[LOOKS[looks_at].at]:
            checks.append(Check(looks_at, where, do.format(where=where, turns=turns), minutes))
    return tuple(checks)
