"""What is set at the machine, in words: brackets, head, levers, which way all goes, where to start and stop, moves."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from handlead.kinematics.frame.words import POSITIVES, swing
from handlead.kinematics.links.mounted import LETTERS, ChangeGears, Dialled
from handlead.kinematics.train.setup import SetupMove
from handlead.kinematics.work.sizes import centres_at_depth
from handlead.machines.judging.result_checks import misread_levers
from handlead.machines.practice.cut_cycle import CutCycle, cut_cycle
from handlead.machines.proving.halves_checks import groove_of
from handlead.machines.proving.proof import Proof
from handlead.machines.setups.case import Case, feed_opened_by, reach_of_teeth
from handlead.machines.setups.clearing import how_to_draw_clear
from handlead.machines.setups.templates import engaged
from handlead.machines.toml.units import dial, surface_speed
from handlead.machines.toml.units import feed as feed_text
from handlead.viz.draw.head import dial_words
from handlead.viz.draw_brackets.bracket import idler_words
from handlead.viz.draw_brackets.bracket_layout import bracket_layout
from handlead.viz.look.shop import Shop

from .drawing_words import Rows, outside_words

#: Said of a bracket with nothing in it.
EMPTY = "EMPTY"

_BACK = "back to START"

FOR_BLANK = ", blank "

#: Gears on one stud that differ by no more teeth than this are easily swapped.
_LOOK_ALIKE = 3

MM_PER_FOOT = 304.8

#: A row, and whether somebody sets it.
_Row = tuple[str, str, bool]


@dataclass(frozen=True)
class BracketWords:
    """A bracket, the gears in it as people write them ("EMPTY" for none), its idlers or their absence, which
    gear goes on which shaft; `note` says where the idlers stand, and warns of gears on one stud that look alike."""

    name: str
    gears: str
    idler: str
    shafts: tuple[str, str]
    note: str

    @property
    def has_idler(self) -> bool:
        """Whether an idler stands in it."""
        return self.idler.startswith("+")


def bracket_words(link: ChangeGears, letters: str = LETTERS) -> BracketWords:
    """What is in a bracket of the train, its gears called by their `letters`."""
    mounted = link.mounted
    if mounted is None:
        return BracketWords(link.name, EMPTY, "", (link.from_part, link.to_part), "")
    if isinstance(mounted, Dialled):
        sign = "ENTERED, PLUS" if mounted.ratio > 0 else "ENTERED, MINUS"
        shafts = (f"from {link.from_part}", f"to {link.to_part}")
        return BracketWords(link.name, str(mounted), sign, shafts, f"= {float(mounted.ratio):.9g}; read it back")
    last = letters[len(mounted.gears) - 1]
    teeth = " and ".join(str(each) for each in mounted.idlers)
    notes = [_where_idlers(link, letters)] if mounted.idlers else []
    return BracketWords(
        link.name,
        mounted.pairs_text,
        f"+ IDLER {teeth}" if mounted.idlers else "NO IDLER",
        (f"{letters[0]} on {link.from_part}", f"{last} on {link.to_part}"),
        "; ".join([*notes, *_look_alike(mounted.gears, letters)]),
    )


def _where_idlers(link: ChangeGears, letters: str) -> str:
    assert link.mounted is not None
    try:
        return idler_words(bracket_layout(link.mounted, link.bracket, letters)).lower()
    except ValueError:
        return "where the idlers stand isn't known"


def _look_alike(gears: Sequence[int], letters: str) -> list[str]:
    """A word of warning about two gears on one stud that look alike."""
    stud = list(zip(letters[1:-1:2], gears[1:-1:2], letters[2::2], gears[2::2], strict=False))
    alike = [
        f"{b} {large} and {c} {small}" for b, large, c, small in stud if 0 < abs(large - small) <= _LOOK_ALIKE
    ]
    return [f"don't swap {', '.join(alike)}"] if alike else []


def head_words(proof: Proof) -> tuple[str, str, str]:
    """The angle for the vernier, which way the head swings as the set-up was proved, and where its right end goes."""
    case = proof.case
    angle, way = dial_words(case.swivel_deg)
    if not swing(case.swivel_deg):
        return angle, way, ""
    machine = case.job.machine
    scale = machine.head.words(case.swivel_deg)
    told = f"; on the scale: {scale.upper()}" if scale else ""
    return angle, way, f"right-hand end {machine.right_hand_end(case.swivel_deg).upper()}{told}"


def up_on_this_sheet(proof: Proof) -> str:
    """What is up on a drawing where the machine has its own word for it; "" where up is up."""
    word = proof.case.job.machine.way("axial", 1)
    return "" if word == "up" else word


def lever_rows(proof: Proof) -> list[_Row]:
    """Where every lever stands; below one whose plate names the other way of the slide, which way the slide goes."""
    misread, led = misread_levers(proof.case), [link.name for link in engaged(proof.case.train)]
    rows: list[_Row] = []
    for name, position in proof.case.job.machine.positions(proof.case.setup).items():
        rows.append((f"lever: {name}", position, True))
        moved = proof.case.job.machine.levers[name].positions[position]
        rows += [(f"template: {one}", "ITS 0 AT MID-FACE; take the depth there", True) for one in led if one in moved]
        if name in misread:
            rows.append(("! PLATE READS OTHERWISE: slide goes", _way(proof, "axial"), False))
    return rows


def running_rows(proof: Proof) -> list[_Row]:
    """Which way all goes, speed, feed, where to start and to stop, depth."""
    case = proof.case
    units, outcome, cycle = case.job.units, proof.computed.outcome, cut_cycle(case)
    rows: list[_Row] = []
    if cycle.hob_rpm:
        rows.append(("hob speed", f"{cycle.hob_rpm:.0f} rpm{_surface_speed(cycle, units)}", True))
    if outcome and outcome.sliding_feed:
        mode = f", {outcome.feed.value.upper()}" if outcome.feed else ""
        rows.append(("feed", f"{feed_text(outcome.sliding_feed, units)}{mode}", True))
        slide = outcome.feed_slide or "axial"
        rows.append((f"{slide} slide goes", _way(proof, slide), False))
    rows += [
        *_own_hob_way(case),
        ("hob's teeth at the work go", hob_way_words(proof), False),
        ("table turns, seen facing it", _way(proof, "table"), False),
    ]
    opened = feed_opened_by(case)
    rows += [(*row, False) for row in _counted(proof, opened)]
    rows += [(*row, True) for row in _stops(proof, cycle)]
    rows += [(*row, True) for row in _blank_of_wheel(case)]
    rows.append((_depth_label(case), _depth_said(case, cycle), True))
    rows += [(*row, True) for row in _centres(case)]
    return rows + [(*row, True) for row in _return(case, opened)]


def _blank_of_wheel(case: Case) -> Rows:
    """Which of a worm wheel's two blanks is meant, and what it is turned to: depth and touch depend on it."""
    if case.job.work.kind != "worm wheel":
        return []
    throat, units = case.sizes.throat, case.job.units
    if throat is None:
        return [("blank", f"PLAIN, not hollow: {outside_words(case)}")] if case.job.work.is_plain else []
    return [
        ("blank", "THROATED: turned hollow"),
        ("throat, radius of hollow", f"{dial(throat.diameter, units)}, {dial(throat.radius, units)}"),
        ("over the rim", dial(throat.rim_diameter, units)),
    ]


def _return(case: Case, opened: tuple[str, str] | None) -> Rows:
    """How the slide comes back for another cut."""
    if case.outcome is None or case.outcome.feed_slide not in ("axial", "tangential"):
        return []
    first = _clear_first(case)
    if opened is None:
        return [(_BACK, f"{first}, then ONLY BY REVERSING THE DRIVE")]
    lever, position = opened
    stands = case.job.machine.positions(case.setup)[lever]
    return [(_BACK, f"{first}, then {lever} {position.upper()}, slide alone, {lever} {stands.upper()}")]


def _clear_first(case: Case) -> str:
    """What comes before a slide goes back: the hob drawn clear, and levers that were put over for that put back."""
    clearing = how_to_draw_clear(case)
    back = ", ".join(f"{lever} {position.upper()} again" for lever, position in clearing.stands.items())
    return f"HOB CLEAR FIRST, {clearing.how}{back and f', {back}'}"


def _depth_said(case: Case, cycle: CutCycle) -> str:
    if case.job.toothed is not None:
        return "BY ITS STOCK: SEE TAKING UP"
    depth = "BY CENTRES ALONE" if case.sizes.throat else _dialled(cycle, case.job.units)
    return depth or ("SEE THE DRAWING" if case.sizes.wanting else "NONE")


def _depth_label(case: Case) -> str:
    """What is dialled in from the touch, and the blank that it holds for."""
    known = not case.sizes.wanting and case.sizes.depth > 0 and not case.sizes.throat
    return f"depth{FOR_BLANK}{dial(case.sizes.outside_diameter, case.job.units)}" if known else "depth"


def _centres(case: Case) -> Rows:
    """A worm wheel's full depth as it can be measured: from the hob's axis to the work's."""
    centres = centres_at_depth(case.job.work, case.job.hob)
    if case.job.work.kind != "worm wheel" or centres is None:
        return []
    return [("full depth at hob-to-work centres", dial(centres, case.job.units))]


def _surface_speed(cycle: CutCycle, units: str) -> str:
    speed = cycle.cutting_speed_m_min
    return f", {surface_speed(speed, units)}" if speed else ""


def hob_way_words(proof: Proof) -> str:
    """Which way the hob's teeth pass the work, in the machine's word for that way along the work."""
    rate = proof.case.solution.end_rate("hob")
    return proof.case.job.machine.way("axial", 1 if rate > 0 else -1).upper() if rate else "AT REST"


def _own_hob_way(case: Case) -> list[_Row]:
    """Which way the hob turns in the machine's own word for it, where it has one."""
    rate, machine = case.solution.end_rate("hob"), case.job.machine
    own = machine.way("hob", 1 if rate and rate > 0 else -1)
    return [("hob", own.upper(), False)] if rate and own not in POSITIVES["hob"] else []


def _stops(proof: Proof, cycle: CutCycle) -> Rows:
    """Where the cut begins, at the nearest, and where it ends."""
    outcome = proof.computed.outcome
    if outcome is None or outcome.feed_slide is None:
        return []
    if outcome.feed_slide == "axial":
        return _axial_stops(proof, cycle)
    if proof.case.job.work.kind != "worm wheel" or proof.case.sizes.depth <= 0:
        return []
    stops = _infeed_stops() if outcome.feed_slide == "radial" else _tangential_stops(proof.case)
    return [("hob's axis at mid-face", "axial slide CLAMPED"), *stops]


def _infeed_stops() -> Rows:
    return [("START, hob", "CLEAR of the work"), ("STOP, at full depth", "after 1 MORE TABLE TURN")]


def _tangential_stops(case: Case) -> Rows:
    """Where the leading end of the hob, and its first tooth of full height, stand from the middle of the work."""
    rate = case.solution.end_rate("tangential")
    if not rate:
        return []
    away = _clear(reach_of_teeth(case), case.job.units)
    before, after = (case.job.machine.way("tangential", -sign if rate > 0 else sign).upper() for sign in (1, -1))
    return [
        ("START, hob's entering end from mid-work", f"{away} {before} or more"),
        ("STOP, first full tooth from mid-work", f"{away} {after} or more"),
    ]


def _axial_stops(proof: Proof, cycle: CutCycle) -> Rows:
    """Where the middle of the hob stands when an axial cut begins, at the nearest, and where it ends."""
    rate = proof.case.solution.end_rate("axial")
    if not rate:
        return []
    if not cycle.stroke:
        return [("START and STOP", "hob CLEAR of the work")]
    machine, units = proof.case.job.machine, proof.case.job.units
    sides = {"upper": "upper face", "lower": "lower face"}
    if up_on_this_sheet(proof):
        sides = {"upper": f"face {machine.way('axial', 1)}", "lower": f"face {machine.way('axial', -1)}"}
    begin, end = ("lower", "upper") if rate > 0 else ("upper", "lower")
    stroke, groove = cycle.stroke, groove_of(proof.case)
    before, after = f"{_clear(stroke.before, units)} or more", f"{_clear(stroke.after, units)} or more"
    # Beyond the groove lies the other half: on that side more is as wrong as less.
    if groove is not None and groove.feeds_into:
        after = f"{dial(stroke.after, units)}, {dial(max(groove.stop_past, 0.0), units)} AT MOST"
    elif groove is not None:
        before = f"{dial(stroke.before, units)}, NO MORE"
    return [(f"START, mid-hob before {sides[begin]}", before), (f"STOP, mid-hob past {sides[end]}", after)]


def _clear(mm: float, units: str) -> str:
    """A distance that is to be kept at least, rounded up to whole mm or twentieths of an inch."""
    if units == "in":
        return f"{math.ceil(mm / MM_PER_FOOT * 12 * 20 + 1e-9) / 20:.2f} in"
    return f"{max(1, math.ceil(mm - 1e-9))} mm"


def _dialled(cycle: CutCycle, units: str) -> str:
    """The depth of every cut as the dial stands, counted from touch; "" where it isn't known, or there is none."""
    depths = [dial(depth, units) for depth in itertools.accumulate(cycle.depths)]
    if not depths:
        return ""
    if len(depths) == 1:
        return f"{depths[0]}, ONE CUT"
    *first, last = depths
    return f"{len(depths)} CUTS: {', '.join(depth.split()[0] for depth in first)}, then {last}"


def _counted(proof: Proof, opened: tuple[str, str] | None) -> Rows:
    """What can be counted by hand before any cut, and how the levers stand for it; nothing where nobody could."""
    rows: Rows = []
    engaged = proof.computed.table_per_hob_feeding
    for check in proof.hand_checks:
        if not check.is_whole_turn:
            continue
        by_lever = ": ".join(opened).upper() if opened else "feed open"
        how = by_lever if check.feed_parted else "all in, hob clear"
        whole, part = divmod(check.amount, 1)
        turns = f"{whole} {part}" if part else f"{whole}"
        rows.append((f"HAND CHECK, {how}", f"{turns} hob turns = 1 table turn"))
        if engaged and 1 / abs(engaged) != check.amount:
            # The key asks for what is counted with all engaged, and this is another figure.
            rows.append(("not for hob_turns in [seen]:", "that is with the feed in"))
    return rows


def _way(proof: Proof, end: str) -> str:
    """The way an end goes as the drive runs, in the machine's own word."""
    rate = proof.case.solution.end_rate(end)
    return proof.case.job.machine.way(end, 1 if rate > 0 else -1).upper() if rate else "AT REST"


def move_row(move: SetupMove, shop: Shop) -> tuple[str, str]:
    """A move of the set-up: its name, and from where to where, with what is put over for it."""
    parts = [f"lever {name}: {position}" for name, position in move.levers.items()]
    parts += [f"begin with {_stand(end, place, shop, 'at')}" for end, place in move.start.items()]
    if move.place is not None:
        parts.append(_stand(move.end, move.place, shop, "to"))
    elif move.turns is not None:
        parts.append(f"{float(move.turns):g} turns of the {move.end}")
    if move.by_hand:
        parts.append("BY HAND")
    if move.drive:
        parts.append(f"by {move.drive}")
    if move.backwards:
        parts.append("DRIVE BACKWARDS")
    return move.name, ", ".join(parts)


def _stand(end: str, place: Fraction, shop: Shop, joined: str) -> str:
    """Where the hob stands for a slide's place, or goes."""
    told = dial(abs(float(place)), shop.units)
    who = "mid-hob" if end == "axial" else f"{end} slide"
    return f"{who} {joined} {shop.placed(end, told, (place > 0) - (place < 0))}"
