"""The law of generation: what gear the rates would cut. Computed from rates, hob and swivel alone.

With z teeth, k starts, hob hand h, work hand H, lead L, normal module m and helix angle b, a
steady cut satisfies, per turn of the hob and signed in the frame,

    table = -h k/z - H axial/L + tangential cos(b) / (pi m z)

Source: the first two terms are the index and the helix as every hobbing handbook has them
(J. Edgar, "Hobs and Gear Hobbing", 1914, for k/z); the third is the shift of the hob as a rack.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Iterable
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Protocol

from handlead.kinematics.frame.motion import Rates
from handlead.kinematics.frame.words import Feed, Hand


class HobFacts(Protocol):
    """What of the hob enters the law: `gamma_deg` is its lead angle, None where nobody knows it."""

    @property
    def starts(self) -> int:
        """Number of threads."""

    @property
    def hand(self) -> Hand:
        """Hand of the threads."""

    @property
    def module_n(self) -> Fraction:
        """Normal module in mm."""

    @property
    def gamma_deg(self) -> float | None:
        """Lead angle in degrees, if known."""


#: A lean that comes of the head's angle alone is none below this, in degrees: a vernier is read to minutes.
STRAIGHT_DEG = 1 / 60


@dataclass(frozen=True)
class Outcome:
    """The gear that a set-up would cut, and how.

    `real_teeth` is starts over the table's turns per hob turn, feed running; exact, seldom whole.
    `teeth` is the whole count that it stands for, None where none can be generated. `lead` is the
    exact lead in mm as far as it is rational, `lead_mm` as a number; both None for spur work.
    `swivel_error_deg` is the swivel that is set less the one that this gear would need.
    `sliding_feed` is the size of the feed of `feed_slide` in mm per table turn. `is_steady` says
    that the spaces of successive table turns fall into each other. Where no helix angle of this module goes
    with so short a lead they don't: hand and lead stand all the same, being the rates' own, and
    `helix_angle_deg` is None (with the tangential slide running too, all three are None). `tied_teeth` is another
    count that the swivel suits just as well. `tangential_error` is the relative error of the table's turning
    with the tangential slide.
    """

    feed_slide: str | None
    sliding_feed: Fraction | None
    feed: Feed | None
    real_teeth: Fraction | None = None
    runs_against_hob: bool = False
    teeth: int | None = None
    hand: Hand | None = None
    lead: Fraction | None = None
    lead_mm: float | None = None
    helix_angle_deg: float | None = None
    swivel_error_deg: float | None = None
    is_steady: bool = False
    tangential_error: float | None = None
    tied_teeth: int | None = None


def predict(rates: Rates, hob: HobFacts, swivel_deg: float) -> Outcome:
    """The gear that these rates would cut with this hob, its head swivelled by `swivel_deg`.

    Where the table's ratio isn't starts over a whole number, the count is the whole number whose
    implied helix lies nearest to the one that the swivel suits, and the rest of the ratio is the lead.
    Of two counts that lie equally near the lower is told, and the other as tied.
    """
    fed = Outcome(*_feed_of(rates), _mode(rates))
    if rates.table * hob.hand.value >= 0:
        return replace(fed, runs_against_hob=rates.table != 0)
    fed = replace(fed, real_teeth=-hob.hand.value * hob.starts / rates.table)
    suited = hob.hand.value * (hob.gamma_deg or 0.0) - swivel_deg
    if rates.axial:
        return _with_axial_feed(fed, rates, hob, swivel_deg, suited)
    return _without_axial_feed(fed, rates, hob, swivel_deg, suited)


def predict_of_kind(kind: str, rates: Rates, hob: HobFacts, swivel_deg: float) -> Outcome:
    """As `predict`, for this kind of work: a worm wheel without a feed is fed in by hand, and leans as ever."""
    if kind != "worm wheel" or rates.axial or rates.tangential or rates.radial:
        return predict(rates, hob, swivel_deg)
    by_hand = predict(replace(rates, radial=Fraction(-1)), hob, swivel_deg)
    return replace(by_hand, feed_slide=None, sliding_feed=Fraction(0))


def _feed_of(rates: Rates) -> tuple[str | None, Fraction | None]:
    """The slide that feeds and its feed per table turn, the axial one first."""
    for name in ("axial", "tangential", "radial"):
        rate: Fraction = getattr(rates, name)
        if rate:
            return name, abs(rate / rates.table) if rates.table else None
    return None, Fraction(0)


def _mode(rates: Rates) -> Feed | None:
    """Climb where the slide moves against the way in which the hob's teeth pass the work."""
    if not rates.axial:
        return None
    return Feed.CLIMB if rates.axial < 0 else Feed.CONVENTIONAL


def _with_axial_feed(fed: Outcome, rates: Rates, hob: HobFacts, swivel: float, suited: float) -> Outcome:
    assert fed.real_teeth is not None
    teeth, *tied = _nearest_counts(rates, hob, fed.real_teeth, suited)
    fed = replace(fed, tied_teeth=tied[0] if tied else None)
    beta = _helix(rates, hob, teeth, suited)
    if beta is None:
        # No helix fits: the spaces of one table turn don't run into those of the one before. How they lie
        # against them is told all the same, but for the tangential slide's share, which has an angle in it.
        hand, exact, lead = (None, None, None) if rates.tangential else _lead_of_rates(rates, hob, teeth)
        return replace(fed, teeth=teeth, hand=hand, lead=exact, lead_mm=lead)
    hand, exact, lead = _lean(rates, hob, teeth, beta)
    return replace(
        fed, teeth=teeth, hand=hand, lead=exact, lead_mm=lead, helix_angle_deg=abs(beta),
        swivel_error_deg=_swivel_error(hob, swivel, beta), is_steady=True,
    )  # fmt: skip


def _lean(
    rates: Rates, hob: HobFacts, teeth: int, beta: float
) -> tuple[Hand | None, Fraction | None, float | None]:
    """Hand and lead, exact where no tangential slide puts an irrational share into the table's turning."""
    if rates.tangential:
        return (
            (Hand(1 if beta > 0 else -1), None, abs(_lead(hob, teeth, beta))) if beta else (None, None, None)
        )
    return _lead_of_rates(rates, hob, teeth)


def _lead_of_rates(
    rates: Rates, hob: HobFacts, teeth: int
) -> tuple[Hand | None, Fraction | None, float | None]:
    """Hand and exact lead of so many teeth from table and axial slide alone."""
    rest = rates.table + Fraction(hob.hand.value * hob.starts, teeth)
    if not rest:
        return None, None, None
    exact = abs(rates.axial / rest)
    return Hand(-1 if rest / rates.axial > 0 else 1), exact, _float(exact)


def _without_axial_feed(fed: Outcome, rates: Rates, hob: HobFacts, swivel: float, suited: float) -> Outcome:
    """Radial or tangential work: the teeth lean as the hob's own axis makes them, the rest is the count."""
    shift = math.cos(math.radians(suited)) / (math.pi * float(hob.module_n))
    whole = (rates.tangential * Fraction(shift) - hob.hand.value * hob.starts) / rates.table
    teeth = max(1, round(whole))
    error = None
    if rates.tangential:
        error = _float(_rest(rates, hob, teeth) / rates.tangential / Fraction(shift) - 1)
    straight = abs(suited) < STRAIGHT_DEG or fed.feed_slide is None
    hand = None if straight else Hand(1 if suited > 0 else -1)
    return replace(
        fed, teeth=teeth, hand=hand, helix_angle_deg=abs(suited) if hand else 0.0,
        swivel_error_deg=_swivel_error(hob, swivel, suited),
        is_steady=bool(rates.tangential) or fed.real_teeth == teeth, tangential_error=error,
    )  # fmt: skip


def _swivel_error(hob: HobFacts, swivel: float, signed_beta: float) -> float | None:
    if hob.gamma_deg is None:
        return None
    return swivel - (hob.hand.value * hob.gamma_deg - signed_beta)


def _lead(hob: HobFacts, teeth: int, beta_deg: float) -> float:
    return _float(teeth * Fraction(math.pi * float(hob.module_n) / math.sin(math.radians(beta_deg))))


def _helix(rates: Rates, hob: HobFacts, teeth: int, suited: float) -> float | None:
    """Signed helix angle in degrees that the rates imply for this count; None if no angle fits.

    Solves axial sin(b) - tangential cos(b) = -pi m (table z + h k) for b between -90 and 90 degrees.
    With a tangential slide two angles may fit: then the one nearer to `suited` counts.
    """
    scale = max(abs(rates.axial), abs(rates.tangential))
    axial, tangential = float(rates.axial / scale), float(rates.tangential / scale)
    upward = 1 if rates.axial > 0 else -1
    term = -math.pi * float(hob.module_n) * _float(_rest(rates, hob, teeth) / scale)
    sine = upward * term / math.hypot(axial, tangential)
    if abs(sine) >= 1:
        return None
    first, phase = math.asin(sine), math.atan2(upward * tangential, abs(axial))
    roots = (first + phase, math.pi - first + phase, -math.pi - first + phase)
    fitting = [math.degrees(root) for root in roots if abs(root) < math.pi / 2]
    return min(fitting, key=lambda beta: abs(beta - suited), default=None)


def _rest(rates: Rates, hob: HobFacts, teeth: int) -> Fraction:
    """Teeth by which the table runs ahead in a turn of the hob, over what the starts ask of it."""
    return rates.table * teeth + hob.hand.value * hob.starts


def _float(value: Fraction) -> float:
    """`value` as a float; the largest there is for what lies beyond."""
    try:
        return float(value)
    except OverflowError:
        return sys.float_info.max if value > 0 else -sys.float_info.max


#: Helix angles that lie within this of the one that the swivel suits, in degrees, lie equally near.
_TIED_DEG = 1e-9

#: As much for counts that allow no helix, in teeth.
_TIED_TEETH = Fraction(1, 10**9)


def _nearest_counts(rates: Rates, hob: HobFacts, real: Fraction, suited: float) -> list[int]:
    """The whole count whose helix lies nearest to `suited` degrees, and one that ties with it.

    With no hob angle known it is the one nearest to `real`, and ties aren't looked for. Counts that allow no
    helix come last, the one first whose sine lies nearest to that of `suited`, though it be beyond 1.
    """
    if hob.gamma_deg is None:
        return [max(1, round(real))]
    beta, pitch = math.radians(suited), math.pi * float(hob.module_n)
    lean = rates.axial * Fraction(math.sin(beta) / pitch) - rates.tangential * Fraction(
        math.cos(beta) / pitch
    )
    ideal = -(hob.hand.value * hob.starts + lean) / rates.table
    counts = list(_around(ideal, real))
    off = {teeth: _distance(rates, hob, teeth, suited) for teeth in counts}
    leaning = {teeth: apart for teeth, apart in off.items() if apart is not None}
    if not leaning:
        strays = {teeth: abs((_rest(rates, hob, teeth) + lean) / rates.table) for teeth in counts}
        nearest = min(strays.values())
        return [teeth for teeth, stray in strays.items() if stray - nearest <= _TIED_TEETH]
    least = min(leaning.values())
    return [teeth for teeth, apart in leaning.items() if apart - least <= _TIED_DEG]


def _around(ideal: Fraction, real: Fraction) -> Iterable[int]:
    counts = {math.floor(ideal), math.ceil(ideal), math.floor(real), math.ceil(real)}
    return sorted({max(1, count) for count in counts})


def _distance(rates: Rates, hob: HobFacts, teeth: int, suited: float) -> float | None:
    """How far the count's helix lies from `suited`, in degrees; None for a count that allows none."""
    beta = _helix(rates, hob, teeth, suited)
    return None if beta is None else abs(beta - suited)
