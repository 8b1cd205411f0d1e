"""By how much observations miss: each other where they contradict, and a plainer value than the one that fits."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from handlead.kinematics.frame.words import Sense
from handlead.kinematics.narrowing.conditions import Balance
from handlead.kinematics.narrowing.domains import Domain, Fractions
from handlead.kinematics.transfer.polynomials import evaluate, is_sign
from handlead.kinematics.unknowns.identification import Identified, identify
from handlead.machines.documents.observations_file import Counted
from handlead.machines.machine_files.unfitted import LENGTHS, Figure, figures, known_value, variables_of
from handlead.machines.toml.numbers import UNITS

from .counts import Fit, balances_of

#: A value is much plainer with a denominator so many times less.
_PLAINER = 4

#: A plainer value is looked for so near, as a part of the one that fits.
_NEAR = Fraction(3, 100)

#: It lies just outside where no count is further beyond its bounds than so many times their width.
_JUST_OUTSIDE = 1

_BRANCHES_PER_FIGURE = 1_000
_MOST_NAMED = 3


@dataclass(frozen=True)
class Plainer:
    """A much plainer `value` of a determined figure; `observation` shuts it out by only `outside` turns or mm."""

    figure: Figure
    value: Fraction
    observation: int
    outside: Fraction


def outside(seen: Counted, balance: Balance, values: Mapping[str, Fraction]) -> Fraction:
    """How far what was read lies beyond what these values of the unknowns give, in turns or mm; 0 where it fits."""
    (_, _, above), (_, _, below) = balance.terms
    # A way that nobody noted: either sign, of which the size is asked.
    signs = {name: Fraction(1) for name in balance.names if is_sign(name) and name not in values}
    rate = evaluate(above, {**signs, **values}) / evaluate(below, {**signs, **values})
    ends = [rate * each for each in seen.turned.bounds]
    if not seen.moved.is_signed:
        ends = [abs(end) for end in ends]
    low, high = seen.moved.bounds
    return max(Fraction(0), low - max(ends), min(ends) - high)


def plainer_values(fit: Fit) -> list[Plainer]:
    """For each determined number the plainest of the much plainer values that lie just outside what was stated."""
    found = (_plainer(fit, figure) for figure in fit.unfitted.figures)
    return [each for each in found if each is not None]


def _plainer(fit: Fit, figure: Figure) -> Plainer | None:
    units = fit.unfitted.machine.units
    # With the bounds that were stated: what somebody has seen to be impossible isn't proposed.
    value, domain = fit.identified.values.get(figure.number), fit.variables[0].get(figure.number)
    if value is None or not isinstance(domain, Fractions):
        return None
    scale = UNITS[units] if figure.sort in LENGTHS else Fraction(1)
    rank, below = domain.plainness(value)
    if rank == 0 or domain.units[rank][0] in UNITS.values():
        below = (value / scale).denominator
    near = domain.values(float(value * (1 - _NEAR)), float(value * (1 + _NEAR)))
    plain = [each for each in near if (each / scale).denominator * _PLAINER <= below]
    for candidate in figure.plainest_first(plain, units):
        worst = _worst(fit, figure, candidate)
        if worst is not None:
            return Plainer(figure, candidate, *worst)
    return None


def _worst(fit: Fit, figure: Figure, candidate: Fraction) -> tuple[int, Fraction] | None:
    """The observation that shuts a value out by most, and by how much; None where it isn't just outside."""
    values = {**fit.identified.values, figure.number: candidate}
    worst: tuple[int, Fraction] | None = None
    for number, balance in enumerate(fit.balances):
        if figure.number not in balance.names:
            continue
        seen = fit.observations.seen[number]
        if any(name not in values for name in balance.names if name in fit.variables[0]):
            return None
        if not isinstance(seen, Counted):
            if not balance.holds(values):
                return None
            continue
        beyond = outside(seen, balance, values)
        low, high = seen.moved.bounds
        if beyond > _JUST_OUTSIDE * (high - low):
            return None
        if beyond and (worst is None or beyond > worst[1]):
            worst = (number, beyond)
    return worst


def plainer_words(fit: Fit, plainer: Plainer) -> str:
    """Such a value in words: ``link/slide screw/lead: 1/8 would be 0.0004 in outside what seen.toml:3 allows``."""
    units = fit.unfitted.machine.units
    far = _amount(fit, plainer.observation, plainer.outside)
    place = fit.observations.place(plainer.observation)
    fitting = fit.words(plainer.figure)
    return (
        f"{plainer.figure.key}: {fitting} fits, but the much plainer {plainer.figure.words(plainer.value, units)} "
        f"would be only {far} outside what {place} allows. Make that observation once more, over more turns"
    )


def _amount(fit: Fit, number: int, amount: Fraction) -> str:
    """Turns of the part watched, or its travel in the machine's units."""
    seen = fit.observations.seen[number]
    assert isinstance(seen, Counted)
    units = fit.unfitted.machine.units
    if seen.moved.part in fit.unfitted.machine.train.slides:
        return f"{float(amount / UNITS[units]):.4g} {units}"
    return f"{float(amount):.4g} turn{'' if amount == 1 else 's'}"


# ---------------------------------------------------------------- contradictions


def miss_words(fit: Fit, group: Sequence[int]) -> list[str]:
    """By how much observations that contradict each other miss, each by what the others of them tell."""
    said = []
    for number in group:
        seen = fit.observations.seen[number]
        others = [fit.balances[each] for each in group if each != number]
        known = _identify(*fit.variables, others).values
        wanted = {name for name in fit.balances[number].names if not name.startswith("±seen")}
        if isinstance(seen, Counted) and wanted <= known.keys():
            far = outside(seen, fit.balances[number], known)
            if far:
                beyond = _amount(fit, number, far)
                said.append(f"By the rest {fit.observations.place(number)} is {beyond} beyond its allowance")
    return said


def _identify(domains: Mapping[str, Domain], signs: Sequence[str], balances: Sequence[Balance]) -> Identified:
    return identify(domains, signs, balances, thorough=False, branches=_BRANCHES_PER_FIGURE)


def wrong_number_words(fit: Fit, group: Sequence[int]) -> str:
    """Which one number that the machine file gives, if it were another, would make these observations agree."""
    machine, unknown = fit.unfitted.machine, fit.unfitted.figures
    others = {number for each in fit.identified.conflicts if each != tuple(group) for number in each}
    named = []
    for figure in figures(machine):
        if figure in unknown:
            continue
        opened = balances_of(machine, fit.observations, (*unknown, figure))
        names = {name for name in (figure.number, figure.sign) if name}
        if not any(names.intersection(opened[number].names) for number in group):
            continue
        domains, signs = variables_of((*unknown, figure), machine.units)
        domains |= {name: domain for name, domain in fit.variables[0].items() if name in domains}
        kept = [balance for number, balance in enumerate(opened) if number not in others]
        found = _identify(domains, signs, kept)
        if found.examples and not found.conflicts:
            value = figure.value(found.values)
            words = "another value" if value is None else _value_words(figure, value, machine.units)
            before = _value_words(figure, known_value(machine, figure), machine.units)
            named.append(f"{figure.key} ({fit.unfitted.place(figure)}) {words} in place of {before}")
    if not named:
        return "No one number that the machine file gives, changed by itself, makes them agree"
    more = f", or one of {len(named) - _MOST_NAMED} more" if len(named) > _MOST_NAMED else ""
    return f"Or a number of the machine file is wrong; it would do: {'; or '.join(named[:_MOST_NAMED])}{more}"


def _value_words(figure: Figure, value: Fraction, units: str) -> str:
    return Sense(int(value)).word if figure.sort == "sense" else figure.words(value, units)
