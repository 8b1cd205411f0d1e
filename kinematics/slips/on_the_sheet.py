"""Slips in the office: a set-up worked out for another gear, machine or lever position than the one that is cut."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction

from handlead.kinematics.frame.words import Hand
from handlead.kinematics.links.mounted import Mounted
from handlead.kinematics.transfer.constants import Constants
from handlead.kinematics.transfer.roles import Role

from .standing import counted_words
from .study import Numbers, OtherRules, Places, Slip, Study


@dataclass(frozen=True)
class _OtherSheet:
    """The sheet that a set-up was worked out on: for what, in words, and how likely somebody takes it."""

    name: str
    detail: str
    likelihood: float = 1


def _sheet(
    study: Study,
    sheet: _OtherSheet,
    asked: Mapping[str, Fraction],
    exact: Iterable[str] = (),
    swivel: Fraction | None = None,
) -> Iterator[Slip]:
    """A set-up worked out for something else: its gears from the drawer, and its swivel."""
    asked = {bracket: ratio.limit_denominator(10**9) for bracket, ratio in asked.items()}
    changes = study.mounting(asked, exact)
    if changes is None or (not asked and swivel is None):
        return
    if swivel is not None:
        changes = {**changes, ("swivel",): swivel}
    gears = "; ".join(f"{Mounted(changes['gears', bracket]).pairs_text} in {bracket}" for bracket in asked)
    detail = f"{sheet.detail}{': ' if gears else ''}{gears}"
    yield Slip("set-up sheet", detail, {**changes, ("sheet",): sheet.name}, sheet.likelihood)


def _index_for(study: Study, teeth: int, rest: int = 1) -> dict[str, Fraction] | None:
    """Index gears (signed ratio) for another count, `rest` being the sign of the helix's part; None if untold."""
    work, real = study.bench.work, study.real_teeth
    bracket = study.filled(Role.INDEX)
    mounted = study.base.change.get(bracket or "")
    if bracket is None or mounted is None or real is None:
        return None
    if _differential(study) is not None:
        return {bracket: mounted.ratio * Fraction(work.teeth, teeth)} if study.is_plain else None
    wanted = teeth + rest * (real - work.teeth)
    return {bracket: mounted.ratio * real / wanted} if wanted > 0 else None


def _differential(study: Study) -> tuple[str, Mounted] | None:
    """The filled bracket that makes the helix, if one does."""
    bracket = study.filled(Role.DIFFERENTIAL)
    mounted = study.base.change.get(bracket) if bracket and study.bench.work.is_helical else None
    return (bracket, mounted) if bracket and mounted else None


def _teeth_power(study: Study) -> int:
    """The power of the count in the differential's rule."""
    rule = next((rule for rule in study.bench.constants.differentials if rule.constant is not None), None)
    return rule.teeth_power if rule else 1


def _with_helix_for(
    study: Study, asked: dict[str, Fraction], teeth: int, sign: int, lean: float = 1.0
) -> None:
    """Add what the helix asks for: differential gears, or feed gears where there is no differential.

    `lean` is the other angle's sine over the drawing's.
    """
    found, work = _differential(study), study.bench.work
    change = Fraction(lean) if lean != 1 else Fraction(1)
    if found is not None:
        bracket, mounted = found
        count = Fraction(teeth, work.teeth) ** (_teeth_power(study) - 1)
        asked[bracket] = mounted.ratio * change * count * sign
    elif change != 1 and work.is_helical and (feed := study.filled(Role.FEED)):
        mounted_feed = study.base.change.get(feed)
        assert mounted_feed is not None
        asked[feed] = mounted_feed.ratio / change


def _drawing_teeth(study: Study, numbers: Numbers) -> Iterator[Slip]:
    work = study.bench.work
    counts = {work.teeth + int(by): 1.0 for by in numbers["by"]}
    turned = int(str(work.teeth)[::-1])
    if turned != work.teeth and len(str(turned)) == len(str(work.teeth)):
        counts.setdefault(turned, 0.5)
    for teeth, likelihood in counts.items():
        asked = _index_for(study, teeth) if teeth > 3 else None
        if asked is not None:
            exact = list(asked)
            _with_helix_for(study, asked, teeth, 1)
            asked = {name: ratio for name, ratio in asked.items() if not _mounted_now(study, name, ratio)}
            sheet = _OtherSheet(f"{teeth} teeth", f"worked out for {teeth} teeth", likelihood)
            yield from _sheet(study, sheet, asked, exact)


def _mounted_now(study: Study, bracket: str, ratio: Fraction) -> bool:
    mounted = study.base.change.get(bracket)
    return mounted is not None and mounted.ratio == ratio


def _drawing_helix(study: Study, numbers: Numbers) -> Iterator[Slip]:
    work = study.bench.work
    if not work.is_helical:
        return
    beta = work.beta_deg
    angles = {beta + float(by): 1 / abs(float(by)) for by in numbers["by"]}
    # The angle from the other side: what a worm's drawing calls the lead angle.
    angles[90 - beta] = 0.5
    for angle, likelihood in angles.items():
        if 0.5 < angle < 80 and abs(angle - beta) > 1e-6:
            asked: dict[str, Fraction] = {}
            lean = math.sin(math.radians(angle)) / math.sin(math.radians(beta))
            _with_helix_for(study, asked, work.teeth, 1, lean)
            sheet = _OtherSheet(f"{angle:.6g}° helix", f"worked out for {angle:.6g}°", likelihood)
            if asked:
                yield from _sheet(study, sheet, asked, swivel=_swivel_for(study, angle, 1))


def _swivel_for(study: Study, angle: float, sign: int) -> Fraction:
    """The swivel for another helix angle, with the work's hand or (`sign` -1) the other one, to the minute."""
    hand = study.bench.work.hand.value if study.bench.work.hand else 0
    hob = study.base.hob
    return Fraction(round(60 * (hob.hand.value * (hob.gamma_deg or 0) - sign * hand * angle)), 60)


def _drawing_hand(study: Study, numbers: Numbers) -> Iterator[Slip]:
    work = study.bench.work
    if work.is_helical and work.hand:
        yield from _for_other_gear(study, work.teeth, work.hand.other, f"the {work.hand.other.word} hand")


def _mate(study: Study, numbers: Numbers) -> Iterator[Slip]:
    work, mate = study.bench.work, study.bench.mate
    if mate is not None and (mate.teeth, mate.hand) != (work.teeth, work.hand):
        yield from _for_other_gear(study, mate.teeth, mate.hand, f"the mate, {mate.teeth} teeth")


def _mate_bracket(study: Study, numbers: Numbers) -> Iterator[Slip]:
    """The other member's gears left in one bracket, the rest being this member's."""
    mate = study.bench.mate
    if mate is None:
        return
    for bracket, ratio in _asked_for(study, mate.teeth, mate.hand).items():
        exact = [bracket] if bracket == study.filled(Role.INDEX) else []
        changes = study.mounting({bracket: ratio}, exact)
        mounted = study.base.change.get(bracket)
        if changes is None or mounted is None:
            continue
        same_gears = Mounted(mounted.gears, changes[("idlers", bracket)])
        if same_gears.ratio == ratio:
            # Only the sense is another: whoever changes members leaves the gears and forgets the idler.
            changes = {("idlers", bracket): same_gears.idlers}
        now = Mounted(changes.get(("gears", bracket), mounted.gears), changes[("idlers", bracket)])
        detail = f"{counted_words(now)}, as the mate of {mate.teeth} teeth has it"
        yield Slip(bracket, detail, changes)


def _asked_for(study: Study, teeth: int, hand: Hand | None) -> dict[str, Fraction]:
    """The signed ratios that another gear of this pair asks for, where they aren't mounted already."""
    work = study.bench.work
    turned_over = -1 if hand is not None and hand is not work.hand else 1
    asked: dict[str, Fraction] = {}
    if teeth != work.teeth or (turned_over < 0 and _differential(study) is None):
        asked |= _index_for(study, teeth, turned_over) or {}
    _with_helix_for(study, asked, teeth, turned_over)
    return {name: ratio for name, ratio in asked.items() if not _mounted_now(study, name, ratio)}


def _for_other_gear(study: Study, teeth: int, hand: Hand | None, sheet: str) -> Iterator[Slip]:
    work = study.bench.work
    turned_over = -1 if hand is not None and hand is not work.hand else 1
    if (teeth != work.teeth or (turned_over < 0 and _differential(study) is None)) and (
        _index_for(study, teeth, turned_over) is None
    ):
        return
    asked = _asked_for(study, teeth, hand)
    index = study.filled(Role.INDEX)
    exact = [index] if index in asked and index is not None else []
    other = _OtherSheet(sheet, f"worked out for {sheet}")
    yield from _sheet(study, other, asked, exact, _swivel_for(study, work.beta_deg, turned_over))


def _transverse(study: Study, numbers: Numbers) -> Iterator[Slip]:
    work = study.bench.work
    if not work.is_helical:
        return
    cosine = math.cos(math.radians(work.beta_deg))
    for lean, taken in (
        (cosine, "the normal module taken for transverse"),
        (1 / cosine, "the transverse module taken for normal"),
    ):
        asked: dict[str, Fraction] = {}
        # The lead goes with the normal module that was reckoned with: m cos b in place of m, or m / cos b.
        _with_helix_for(study, asked, work.teeth, 1, 1 / lean)
        yield from _sheet(study, _OtherSheet(taken, f"worked out with {taken}"), asked)


def _range_constant(study: Study, numbers: Numbers) -> Iterator[Slip]:
    for sheet in study.bench.ranges:
        yield from _by_rules(study, sheet)


def _other_machine(study: Study, numbers: Numbers) -> Iterator[Slip]:
    for sheet in study.bench.others:
        yield from _by_rules(study, sheet)


def _by_rules(study: Study, sheet: OtherRules) -> Iterator[Slip]:
    """The gears worked out by other rules, in size; their senses are as this machine's plate says."""
    ours, theirs = study.bench.constants, sheet.constants
    asked: dict[str, Fraction] = {}
    if ours.index is None or theirs.index is None:
        return
    index = study.base.change.get(ours.index.bracket)
    if index is not None and abs(ours.index.constant) != abs(theirs.index.constant):
        asked[ours.index.bracket] = index.ratio * abs(theirs.index.constant / ours.index.constant)
    exact = list(asked)
    found = _differential(study)
    if found is not None and (change := _differential_change(study, theirs)) not in (None, 1):
        assert change is not None
        asked[found[0]] = found[1].ratio * change
    if asked:
        other = _OtherSheet(sheet.name, f"worked out by the rules of {sheet.name}")
        yield from _sheet(study, other, asked, exact)


def _differential_change(study: Study, theirs: Constants) -> Fraction | None:
    """Their differential gears over ours, for the same gear."""
    rules = [
        next(
            (rule for rule in constants.differentials if rule.constant is not None and rule.slide == "axial"),
            None,
        )
        for constants in (study.bench.constants, theirs)
    ]
    ours, others = rules
    outcome = study.outcome
    if ours is None or others is None or outcome is None or ours.constant is None or others.constant is None:
        return None
    values = (study.bench.work.teeth, study.base.hob.starts, outcome.sliding_feed or 1)
    powers = zip(
        values,
        (ours.teeth_power, ours.starts_power, ours.feed_power),
        (others.teeth_power, others.starts_power, others.feed_power),
        strict=True,
    )
    change = others.constant / ours.constant
    for value, our_power, their_power in powers:
        change *= Fraction(value) ** (their_power - our_power)
    return change


#: What a set-up was worked out for instead, by its name in the table of faults.
ON_THE_SHEET: Mapping[str, Places] = {
    "range constant": _range_constant,
    "other machine": _other_machine,
    "drawing teeth": _drawing_teeth,
    "drawing helix": _drawing_helix,
    "drawing hand": _drawing_hand,
    "mate": _mate,
    "mate bracket": _mate_bracket,
    "transverse module": _transverse,
}
