"""Sets of change gears where a bracket takes few: counted, and enumerated, from the bracket's side.

Widening a window about the ratio wanted finds nothing for long where hardly any set can be mounted.
There the rules of the bracket narrow the search instead: pairs are joined by their sums of teeth, and
counting the sets that the rules leave costs next to nothing compared with trying them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from handlead.kinematics.brackets.bracket_rules import GearRules
from handlead.kinematics.brackets.drawer import Drawer
from numpy.typing import NDArray

Ints: TypeAlias = NDArray[np.int64]


@dataclass(frozen=True)
class _Pairs:
    """Pairs of gears that one place in the train may take, by rising sum: driver, driven and sum."""

    driver: Ints
    driven: Ints
    sums: Ints


def _pairs(drawer: Drawer, rules: GearRules, place: int) -> _Pairs:
    """All pairs out of `drawer` for `place`, within the limits on its sum and on its gears."""
    teeth = np.array(drawer.teeth, dtype=np.int64)
    counts = np.array([n for _, n in drawer.owned])
    first, second = np.divmod(np.arange(len(teeth) ** 2), len(teeth))
    good = (first != second) | (counts[first] > 1)
    driver, driven = teeth[first], teeth[second]
    sums = driver + driven
    good &= (sums >= rules.sums_low[place]) & (sums <= rules.sums_high[place])
    for gear, most in rules.shaft_limits:
        if gear // 2 == place:
            good &= (driven if gear % 2 else driver) <= most
    driver, driven, sums = driver[good], driven[good], sums[good]
    order = np.argsort(sums, kind="stable")
    return _Pairs(driver[order], driven[order], sums[order])


def _room(rules: GearRules, place: int, gear: int) -> int | None:
    """The room that gear number `gear` wants within the sum of the pair at `place`; None: no limit."""
    return next((room for p, g, room in rules.passes if (p, g) == (place, gear)), None)


def _closes(rules: GearRules, *sums: Ints | int) -> NDArray[np.bool_] | bool:
    """Whether the chain spans the centres."""
    if rules.centres_low is None or rules.centres_high is None:
        return True
    whole = sum(sums[1:], start=sums[0])
    closes = whole >= rules.centres_high
    for one in sums:
        closes = closes & (2 * one <= whole + rules.centres_low)
    return closes


def allowed_orders(drawer: Drawer, alternatives: Sequence[GearRules], most: int) -> NDArray[np.int16] | None:
    """Every order a, b, c, d … that one of the `alternatives` allows, a row each; None: more than `most`.

    A gear that is owned once may stand in a row twice.
    """
    parts: list[NDArray[np.int16]] = []
    for rules in alternatives:
        rows = _allowed_by(drawer, rules, most)
        if rows is None:
            return None
        parts.append(rows)
    return parts[0] if len(parts) == 1 else np.unique(np.concatenate(parts), axis=0)


def _allowed_by(drawer: Drawer, rules: GearRules, most: int) -> NDArray[np.int16] | None:
    """Every order that `rules` allow; None: more than `most`."""
    places = [_pairs(drawer, rules, place) for place in range(rules.pairs)]
    if rules.pairs == 1:
        rows = np.stack([places[0].driver, places[0].driven], axis=1)
        return rows.astype(np.int16) if len(rows) <= most else None
    join = _join_two if rules.pairs == 2 else _join_three
    return join(places, rules, most)


def _join_two(places: list[_Pairs], rules: GearRules, most: int) -> NDArray[np.int16] | None:
    first, second = places
    if not len(first.sums) or not len(second.sums):
        return np.zeros((0, 4), dtype=np.int16)
    room_c, room_b = _room(rules, 0, 2), _room(rules, 1, 1)
    top = int(max(first.sums.max(), second.sums.max())) + 2
    # Pairs in the second place with sums up to s and drivers up to c, for all s and c.
    upto = np.zeros((top, top), dtype=np.int64)
    np.add.at(upto, (second.sums, second.driver), 1)
    upto = upto.cumsum(axis=0).cumsum(axis=1)
    low = np.zeros_like(first.sums) if room_b is None else first.driven + room_b
    high = np.full_like(first.sums, top - 1)
    if rules.centres_low is not None and rules.centres_high is not None:
        low = np.maximum(low, np.maximum(rules.centres_high - first.sums, first.sums - rules.centres_low))
        high = np.minimum(high, first.sums + rules.centres_low)
    low, high = np.clip(low, 1, top), np.clip(high, 0, top - 1)
    driver = np.full_like(first.sums, top - 1) if room_c is None else np.clip(first.sums - room_c, 0, top - 1)
    counts = np.maximum(upto[high, driver] - upto[low - 1, driver], 0) * (low <= high)
    if int(counts.sum()) > most:
        return None
    rows = []
    for i in np.flatnonzero(counts):
        begin, end = np.searchsorted(second.sums, [low[i], high[i] + 1])
        fits = begin + np.flatnonzero(second.driver[begin:end] <= driver[i])
        row = np.empty((len(fits), 4), dtype=np.int16)
        row[:, 0], row[:, 1] = first.driver[i], first.driven[i]
        row[:, 2], row[:, 3] = second.driver[fits], second.driven[fits]
        rows.append(row)
    return np.concatenate(rows) if rows else np.zeros((0, 4), dtype=np.int16)


def _join_three(places: list[_Pairs], rules: GearRules, most: int) -> NDArray[np.int16] | None:
    first, middle, last = places
    none = np.zeros((0, 6), dtype=np.int16)
    if not all(len(place.sums) for place in places):
        return none
    rooms = [_room(rules, *at) for at in ((0, 2), (1, 1), (1, 4), (2, 3))]
    room_c, room_b, room_e, room_d = (-(10**6) if room is None else room for room in rooms)
    top = int(max(place.sums.max() for place in places)) + 2
    every = np.arange(top)
    chosen: list[tuple[int, NDArray[np.bool_], NDArray[np.bool_]]] = []
    total = 0
    for sum_ in np.unique(middle.sums).tolist():
        here_first, here_last = first.driven <= sum_ - room_b, last.driver <= sum_ - room_e
        if not here_first.any() or not here_last.any():
            continue
        weights = np.bincount(first.sums[here_first], minlength=top)[:, None] * np.bincount(
            last.sums[here_last], minlength=top
        )
        weights = weights * _closes(rules, every[:, None], sum_, every[None, :])
        # Sets whose first and last sums are at least so and so great.
        from_on = weights[::-1, ::-1].cumsum(axis=0).cumsum(axis=1)[::-1, ::-1]
        from_on = np.pad(from_on, ((0, 1), (0, 1)))
        at = np.flatnonzero(middle.sums == sum_)
        counts = from_on[
            np.clip(middle.driver[at] + room_c, 0, top), np.clip(middle.driven[at] + room_d, 0, top)
        ]
        total += int(counts.sum())
        if total > most:
            return None
        chosen.extend((int(i), here_first, here_last) for i in at[counts > 0])
    rows = []
    for i, here_first, here_last in chosen:
        one = np.flatnonzero(here_first & (first.sums >= middle.driver[i] + room_c))
        three = np.flatnonzero(here_last & (last.sums >= middle.driven[i] + room_d))
        rows.append(_about(places, rules, i, one, three))
    return np.concatenate(rows) if rows else none


def _about(places: list[_Pairs], rules: GearRules, i: int, one: Ints, three: Ints) -> NDArray[np.int16]:
    """The sets that close about middle pair `i`, out of these first and these last pairs."""
    first, middle, last = places
    closes = _closes(rules, first.sums[one][:, None], int(middle.sums[i]), last.sums[three][None, :])
    left, right = np.nonzero(np.broadcast_to(closes, (len(one), len(three))))
    row = np.empty((len(left), 6), dtype=np.int16)
    row[:, 0], row[:, 1] = first.driver[one[left]], first.driven[one[left]]
    row[:, 2], row[:, 3] = middle.driver[i], middle.driven[i]
    row[:, 4], row[:, 5] = last.driver[three[right]], last.driven[three[right]]
    return row
