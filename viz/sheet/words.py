"""What the set-up sheet says, block by block: the words are made here and read by tests, the pages only place them."""

from __future__ import annotations

import datetime
import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

from handlead.kinematics.cutting.touch import SCRATCH_DEPTH
from handlead.kinematics.frame.words import POSITIVES, angle_text, swing
from handlead.kinematics.gears import gear as gears
from handlead.kinematics.gears.sprocket import over_pins
from handlead.kinematics.law.light_cut import touch_of
from handlead.kinematics.practice.cycle import depth_left_by_span
from handlead.kinematics.train.links import ChangeGears, Dialled
from handlead.kinematics.train.setup import SetupMove
from handlead.kinematics.work.requirement import Work, gear_of
from handlead.kinematics.work.sizes import (
    centres_at_depth,
    hob_addendum,
    hob_tip_diameter,
    sizes_of,
    sprocket_of,
)
from handlead.machines.documents.job_file import Job
from handlead.machines.judging.result_checks import misread_levers
from handlead.machines.measuring.part_sizes import ball_text, part_sizes
from handlead.machines.practice.cut_cycle import CutCycle, cut_cycle
from handlead.machines.proving.proof import Proof
from handlead.machines.setups.case import (
    Case,
    face_width_mm,
    feed_opened_by,
    helix_slope_limit_um,
    helix_slope_um,
    reach_of_teeth,
)
from handlead.machines.setups.clearing import how_to_draw_clear
from handlead.machines.setups.findings import Finding
from handlead.machines.setups.templates import engaged
from handlead.machines.toml.places import quoted
from handlead.machines.toml.units import deviation, dial, height, length, surface_speed
from handlead.machines.toml.units import feed as feed_text
from handlead.viz.draw.bracket import LETTERS, bracket_layout, idler_words
from handlead.viz.draw.head import dial_words
from handlead.viz.draw.marks import lean_text, meets_edges, wanted_marks
from handlead.viz.look.shop import Shop

from .halves_words import halves_block
from .hand_check_words import hand_check_block
from .key_words import key_rows, keys_text
from .measure_words import first_lead_block, measures_block
from .pair_words import with_mate
from .steps import Block
from .toothed_words import toothed_block

#: Said where the gear cover is opened, where the head is swung, at the levers, where the hob cuts, and at the foot.
LOCK_OUT = (
    "Isolate and lock out the main switch before opening a gear cover; wait until all stands; turn by hand only.",
    "Every mesh full, slight backlash, washers on, tools out, guard shut. Then by hand, one person at the controls "
    "while another turns: one turn of the table, and the slide over its travel with the hob CLEAR.",
)
AT_THE_HEAD = ("Support the head BEFORE its bolts are loosened: its weight may swing it.",)
AT_THE_LEVERS = ("Levers and clutches only at STANDSTILL. A slide whose feed is open may sink: hold it first.",)
AT_THE_HOB = (
    "No gloves near a turning hob. Eyes protected; chips off with a hook, never by hand. Clamps clear over the whole "
    "travel, head swung. First cut light, and counted.",
)
BY_CENTRES = (
    "CENTRES alone set the depth: the hob meets the edges of the throat first, so that no touch tells how deep it is.",
)
TOUCHED = (
    "TOUCH at mid-face, dial to 0, out, to START from beyond. Blank not as said: depth ± half the difference.",
)
BETWEEN_CUTS = (
    "After every cut, the light one too: stop, draw the hob CLEAR, go back to START as said, set the depth.",
)
ABOVE_ALL = ("The machine's manual, local rules and qualified people come before this sheet.",)
CAUTIONS = LOCK_OUT + AT_THE_HEAD + AT_THE_LEVERS + AT_THE_HOB + TOUCHED + BETWEEN_CUTS + ABOVE_ALL


#: Said of a bracket with nothing in it.
EMPTY = "EMPTY"

_BACK = "back to START"

_FOR_BLANK = ", blank "


#: Gears on one stud that differ by no more teeth than this are easily swapped.
_LOOK_ALIKE = 3

MM_PER_FOOT = 304.8

Rows = list[tuple[str, str]]

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


@dataclass(frozen=True)
class SheetWords:
    """All that a sheet says: rows are pairs of what and how much.

    `told` names the rows of levers and running that nobody sets: they say what the machine then does. `faces` says
    which way the hob's cutting faces must look, `sense` what the light cut shows besides count and lean. `machine`
    stands for the machine's file: two sheets with the same one are for the same machine.
    """

    machine: str
    title: str
    summary: str
    verdict: str
    is_right: bool
    brackets: list[BracketWords]
    head: tuple[str, str, str]
    swivel_deg: float
    hob_line: str
    faces: str
    up: str
    levers: Rows
    running: Rows
    told: frozenset[str]
    moves: Rows
    light_depth: str
    first_cut: Rows
    sense: str
    seen: Rows
    blank: str
    work: Rows
    backlash: str
    hob: Rows
    flank: Rows
    errors: list[str]
    warnings: list[str]
    notes: list[str]
    blocks: list[Block]
    at_the_head: tuple[str, ...]
    at_the_levers: tuple[str, ...]
    at_the_hob: tuple[str, ...]
    source: str


def sheet_words(proof: Proof, today: datetime.date) -> SheetWords:
    """What the sheet for this proof says."""
    case = proof.case
    work, units = case.job.work, case.job.units
    levers, running = _levers(proof), _running(proof)
    return SheetWords(
        machine=case.job.machine.digest,
        title=case.job.title,
        summary=summary(work, units),
        verdict="AS WANTED" if proof.is_as_wanted else "NOT AS WANTED: DO NOT CUT",
        is_right=proof.is_as_wanted,
        brackets=[bracket_words(link) for link in case.train.brackets],
        head=head_words(proof),
        swivel_deg=case.swivel_deg,
        hob_line=_hob_line(case.job),
        faces=_faces(proof),
        up=up_on_this_sheet(proof),
        levers=[row[:2] for row in levers],
        running=[row[:2] for row in running],
        told=frozenset(what for what, _, is_set in (*levers, *running) if not is_set),
        moves=[_move(move, Shop.of(case)) for move in case.setup.moves],
        light_depth=dial(light_depth(case), units),
        first_cut=_first_cut(proof),
        sense=sense_words(case),
        seen=_seen(case, (proof.computed.outcome and proof.computed.outcome.feed_slide) or "axial"),
        blank=_blank(case),
        work=_work(case),
        backlash=_backlash(work, units),
        hob=_hob(case.job),
        flank=[*_flank(proof), *_time(proof)],
        errors=_findings(proof, "error"),
        warnings=_findings(proof, "warning"),
        notes=_findings(proof, "note"),
        blocks=[*halves_block(proof), *toothed_block(proof), *hand_check_block(proof), *first_lead_block(proof),
                *measures_block(proof)],
        at_the_head=AT_THE_HEAD,
        at_the_levers=AT_THE_LEVERS,
        at_the_hob=AT_THE_HOB + (BY_CENTRES if case.sizes.throat else TOUCHED) + BETWEEN_CUTS + ABOVE_ALL,
        source=_source(proof, today),
    )


def _blank(case: Case) -> str:
    """The blank in one line."""
    throat, units = case.sizes.throat, case.job.units
    size = f"{_outside(case)} × {_face(case.job.work, units)}"
    return f"throated blank {size}, rim {dial(throat.rim_diameter, units)}" if throat else f"blank {size}"


def _hob_line(job: Job) -> str:
    hob, units = job.hob, job.units
    starts = f"{hob.starts} start{'s' if hob.starts > 1 else ''}"
    if _is_sprocket(job.work):
        size = f"{_chain_pitch(hob.module_n, units)} pitch"
    elif job.work.has_keys:
        size = f"made for {job.work.teeth} keys {keys_text(job.work, units)}"
    else:
        size = f"{_pitch(hob.module_n, units)}, {float(hob.pressure_angle_deg):g}°"
    named = f", {quoted(hob.name)}" if hob.name else ""
    return f"HOB: {size}, {starts}, {hob.hand.word.upper()}{named}"


def _is_sprocket(work: Work) -> bool:
    return work.kind == "sprocket"


def _chain_pitch(module_n: Fraction, units: str) -> str:
    return length(math.pi * float(module_n), units)


def _findings(proof: Proof, severity: str) -> list[str]:
    """All that was found of this severity, each with what to do about it."""
    return [_finding(finding) for finding in proof.findings if finding.severity == severity]


def _finding(finding: Finding) -> str:
    return f"{finding.severity}: {finding.message} {finding.remedy}".strip()


def _source(proof: Proof, today: datetime.date) -> str:
    job = proof.case.job
    digests = f"job {job.digest[:10]}, machine {job.machine.digest[:10]}"
    files = f"{_short(job.path)} on {job.machine.name} ({_short(job.machine.path)})"
    return f"{today.isoformat()}   {files}   digests: {digests}"


def _short(path: str) -> str:
    """A file with the folder that it lies in, cut to what a line has room for."""
    name = "/".join(Path(path).parts[-2:])
    return name if len(name) <= 60 else f"…{name[-59:]}"


def summary(work: Work, units: str) -> str:
    """The work in one line."""
    lean = hand_words(work)
    if work.is_helical:
        lean = f"{angle_text(work.beta_deg)} {lean}"
    return f"{work.teeth} teeth, {_size(work, units)}, {lean}"


def hand_words(work: Work) -> str:
    """The hand of the work in capitals, or that its teeth are straight."""
    return work.hand.word.upper() if work.is_helical and work.hand else "straight"


def _size(work: Work, units: str) -> str:
    if _is_sprocket(work):
        return f"sprocket, chain {_chain_pitch(work.module_n, units)}"
    if work.has_keys:
        return f"straight-sided {keys_text(work, units)}"
    return _pitch(work.module_n, units)


def _pitch(module_n: Fraction, units: str) -> str:
    if units == "in":
        return f"{float(gears.diametral_pitch_from_module(module_n)):.6g} DP"
    return f"module {float(module_n):.6g}"


def bracket_words(link: ChangeGears) -> BracketWords:
    """What is in a bracket of the train."""
    mounted = link.mounted
    if mounted is None:
        return BracketWords(link.name, EMPTY, "", (link.from_part, link.to_part), "")
    if isinstance(mounted, Dialled):
        sign = "ENTERED, PLUS" if mounted.ratio > 0 else "ENTERED, MINUS"
        shafts = (f"from {link.from_part}", f"to {link.to_part}")
        return BracketWords(link.name, str(mounted), sign, shafts, f"= {float(mounted.ratio):.9g}; read it back")
    last = LETTERS[len(mounted.gears) - 1]
    teeth = " and ".join(str(each) for each in mounted.idlers)
    notes = [_where_idlers(link)] if mounted.idlers else []
    return BracketWords(
        link.name,
        mounted.pairs_text,
        f"+ IDLER {teeth}" if mounted.idlers else "NO IDLER",
        (f"a on {link.from_part}", f"{last} on {link.to_part}"),
        "; ".join([*notes, *_look_alike(mounted.gears)]),
    )


def _where_idlers(link: ChangeGears) -> str:
    assert link.mounted is not None
    try:
        return idler_words(bracket_layout(link.mounted, link.bracket)).lower()
    except ValueError:
        return "where the idlers stand isn't known"


def _look_alike(gears: Sequence[int]) -> list[str]:
    """A word of warning about two gears on one stud that look alike."""
    stud = list(zip(LETTERS[1:-1:2], gears[1:-1:2], LETTERS[2::2], gears[2::2], strict=False))
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


def _levers(proof: Proof) -> list[_Row]:
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


def _running(proof: Proof) -> list[_Row]:
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
        ("hob's teeth at the work go", _hob_way(proof), False),
        ("table turns, seen facing it", _way(proof, "table"), False),
    ]
    opened = feed_opened_by(case)
    rows += [(*row, False) for row in _counted(proof, opened)]
    rows += [(*row, True) for row in _stops(proof, cycle)]
    rows += [(*row, True) for row in _blank_of_wheel(case)]
    depth = "BY CENTRES ALONE" if case.sizes.throat else _dialled(cycle, units)
    depth = depth or ("SEE THE DRAWING" if case.sizes.wanting else "NONE")
    rows.append((_depth_label(case), depth, True))
    rows += [(*row, True) for row in _centres(case)]
    return rows + [(*row, True) for row in _return(case, opened)]


def _blank_of_wheel(case: Case) -> Rows:
    """Which of a worm wheel's two blanks is meant, and what it is turned to: depth and touch depend on it."""
    if case.job.work.kind != "worm wheel":
        return []
    throat, units = case.sizes.throat, case.job.units
    if throat is None:
        return [("blank", f"PLAIN, not hollow: {_outside(case)}")] if case.job.work.is_plain else []
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


def _depth_label(case: Case) -> str:
    """What is dialled in from the touch, and the blank that it holds for."""
    known = not case.sizes.wanting and case.sizes.depth > 0 and not case.sizes.throat
    return f"depth{_FOR_BLANK}{dial(case.sizes.outside_diameter, case.job.units)}" if known else "depth"


def _centres(case: Case) -> Rows:
    """A worm wheel's full depth as it can be measured: from the hob's axis to the work's."""
    centres = centres_at_depth(case.job.work, case.job.hob)
    if case.job.work.kind != "worm wheel" or centres is None:
        return []
    return [("full depth at hob-to-work centres", dial(centres, case.job.units))]


def _time(proof: Proof) -> Rows:
    time = cut_cycle(proof.case).time_min
    return [("cutting time", f"{time:.0f} min")] if time else []


def _surface_speed(cycle: CutCycle, units: str) -> str:
    speed = cycle.cutting_speed_m_min
    return f", {surface_speed(speed, units)}" if speed else ""


def _hob_way(proof: Proof) -> str:
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
    stroke = cycle.stroke
    return [
        (f"START, mid-hob before {sides[begin]}", f"{_clear(stroke.before, units)} or more"),
        (f"STOP, mid-hob past {sides[end]}", f"{_clear(stroke.after, units)} or more"),
    ]


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


def _faces(proof: Proof) -> str:
    """Which way the hob's cutting faces must look where they meet the work: the way that its teeth go there."""
    way = _hob_way(proof)
    return "" if way == "AT REST" else f"CUTTING FACES LOOK {way} at the work"


def sense_words(case: Case) -> str:
    """What the light cut must show besides count and lean, which say nothing about the sense of hob and table.

    The table must go as the hob's hand asks for, with the way that the hob runs: formats' frame, table = -h k/z hob.
    """
    rate = case.solution.end_rate("hob")
    if not rate:
        return ""
    hob = 1 if rate > 0 else -1
    table = case.job.machine.way("table", -case.job.hob.hand.value * hob).upper()
    teeth = case.job.machine.way("axial", hob).upper()
    return (
        f"The count alone proves nothing about sense. Look: table {table}, seen facing it; hob's teeth, cutting faces "
        f"leading, go {teeth} at the work."
    )


def _way(proof: Proof, end: str) -> str:
    """The way an end goes as the drive runs, in the machine's own word."""
    rate = proof.case.solution.end_rate(end)
    return proof.case.job.machine.way(end, 1 if rate > 0 else -1).upper() if rate else "AT REST"


def _move(move: SetupMove, shop: Shop) -> tuple[str, str]:
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


def light_depth(case: Case) -> float:
    """How deep the light first cut goes in mm: just in, or so deep that the touches of a coarse feed meet."""
    touch = touch_of(case.rates, case.job.work, case.job.hob, case.swivel_deg) if case.rates else None
    return math.ceil(100 * touch.depth - 1e-6) / 100 if touch else SCRATCH_DEPTH


def _first_cut(proof: Proof) -> Rows:
    work = proof.case.job.work
    marks = wanted_marks(work)
    lean = f"to the {marks.hand.word.upper()} going up" if marks.hand else "straight along the axis"
    rows: Rows = [("count", f"{marks.count} marks"), ("marks lean", lean)]
    if marks.hand:
        where = "" if work.kind == "worm wheel" else "at the outside"
        rows.append((where, f"by {lean_text(marks.lean_deg)}"))
    if work.kind == "worm wheel":
        where = "at the throat's edges" if meets_edges(work, proof.case.job.hob) else "at mid-face"
        rows.append((where, "short touches"))
    return rows


def _seen(case: Case, slide: str) -> Rows:
    """What to write down: keys of [seen] with what may stand there."""
    work, machine = case.job.work, case.job.machine
    ways = " / ".join(machine.way(slide, sign) for sign in POSITIVES[slide].values())
    rows: Rows = [("teeth", ""), ("hand", "right / left / none")]
    # A worm wheel's marks are too short to take a lead from.
    if work.is_helical and work.kind != "worm wheel":
        rows += [("lead", ""), ("outside_helix_angle", "by protractor, outside")]
    turned = [("table_turned", "clockwise / counter-clockwise"), ("slide_moved", ways)]
    return [*rows, *turned, ("hob_turns", "to 1 table turn, feed IN")]


# ---------------------------------------------------------------- the drawing, the hob, the flank


def _work(case: Case) -> Rows:
    """The drawing, and the sizes that follow from it."""
    work, units = case.job.work, case.job.units
    if _is_sprocket(work):
        return _sprocket(case)
    if work.has_keys:
        return key_rows(case)
    pitch = ("diametral pitch", f"{float(gears.diametral_pitch_from_module(work.module_n)):.6g}")
    rows: Rows = [
        ("teeth  z", str(work.teeth)),
        *([] if work.kind in ("spur", "helical") else [("kind", work.kind)]),
        pitch if units == "in" else ("module  m_n", f"{float(work.module_n):.6g} mm"),
        ("pressure angle  α_n", f"{float(work.pressure_angle_deg):g}°"),
        ("hand", hand_words(work)),
    ]
    if work.is_helical:
        rows.append(("helix angle  β", f"{work.beta_deg:.4f}°"))
        rows.append(("lead  p_z", length(work.lead_mm or 0.0, units)))
    rows += [
        ("ref. diameter  d", length(gear_of(work).reference_diameter, units)),
        (f"{'throat' if case.sizes.throat else 'outside'} diameter  d_a", _outside(case)),
        *[
            (name, length(float(value), units))
            for name, value in (("crown  C_β", work.crown), ("taper", work.taper))
            if value
        ],
        *_throat(case),
        ("face width  b", _face(work, units)),
        ("class, ISO 1328-1", str(work.quality)),
    ]
    if not case.sizes.wanting and case.sizes.depth > 0:
        rows.append(("whole depth  h", dial(case.sizes.depth, units)))
    return rows + list(_measures(case)) + list(with_mate(case))


def _throat(case: Case) -> Rows:
    """What a throated worm wheel's blank is turned to besides its throat; "(taken)" where the drawing doesn't say."""
    throat, work, units = case.sizes.throat, case.job.work, case.job.units
    if throat is None:
        return []
    radius, rim = ("" if given else " (taken)" for given in (work.throat_radius, work.rim_diameter))
    return [
        ("throat radius  r_t", f"{dial(throat.radius, units)}{radius}"),
        ("rim diameter  d_e", f"{dial(throat.rim_diameter, units)}{rim}"),
    ]


def _outside(case: Case) -> str:
    size = part_sizes(case).outside_diameter
    return "see the drawing" if size is None else dial(size, case.job.units)


def _sprocket(case: Case) -> Rows:
    """A sprocket's sizes; where the chain's rollers aren't known, only those that don't depend on them."""
    work, units = case.job.work, case.job.units
    rows: Rows = [
        ("teeth  z", str(work.teeth)),
        ("kind", work.kind),
        ("chain pitch  p", _chain_pitch(work.module_n, units)),
        ("face width  b", _face(work, units)),
    ]
    sprocket = sprocket_of(work)
    if sprocket is None:
        return [*rows, ("sizes of the teeth", "see the drawing")]
    least, greatest = sprocket.tip_diameters
    return [
        *rows,
        ("roller  d_1", dial(sprocket.roller_diameter, units)),
        ("pitch diameter  d", length(sprocket.pitch_diameter, units)),
        ("outside diameter  d_a", _outside(case)),
        ("ISO 606  d_a", f"{dial(least, units).split()[0]} to {dial(greatest, units)}"),
        ("root diameter  d_f", dial(sprocket.root_diameter, units)),
        (f"pins {dial(sprocket.roller_diameter, units)}  M_R", dial(over_pins(sprocket), units)),
    ]


def _backlash(work: Work, units: str) -> str:
    if _is_sprocket(work) or work.has_keys:
        return ""
    return f"teeth {length(float(work.thinning), units)} thinner" if work.thinning else "no backlash taken off"


def _face(work: Work, units: str) -> str:
    return dial(face_width_mm(work), units) + ("" if work.face_width else " (taken)")


def _measures(case: Case) -> Iterator[tuple[str, str]]:
    """Span and size over balls, where the work has an involute that can be measured so."""
    sizes, units = part_sizes(case), case.job.units
    if sizes.span:
        yield f"span, {sizes.span.teeth} teeth  W_{sizes.span.teeth}", length(sizes.span.size, units)
        yield _deeper(case.job.work, units)
    if sizes.balls:
        yield f"balls {ball_text(sizes.balls.ball, units)}  M_dK", length(sizes.balls.size, units)


def _deeper(work: Work, units: str) -> tuple[str, str]:
    """How much further to go in for a span that is too much."""
    over = float(gears.MM_PER_INCH) / 1000 if units == "in" else 0.1
    left = depth_left_by_span(over, float(work.pressure_angle_deg))
    digits = 3 if units == "in" else 2
    return f"each {length(over, units, digits - 1)} over", f"go {length(left, units, digits)} deeper"


def _hob(job: Job) -> Rows:
    hob, units = job.hob, job.units
    pitch = float(gears.diametral_pitch_from_module(hob.module_n))
    size = ("diametral pitch", f"{pitch:.6g}") if units == "in" else ("module", f"{float(hob.module_n):.6g} mm")
    if job.work.has_keys:
        size = ("pitch", _chain_pitch(hob.module_n, units))
    rows: Rows = [
        ("pitch", _chain_pitch(hob.module_n, units)) if _is_sprocket(job.work) else size,
        ("starts, hand", f"{hob.starts}, {hob.hand.word.upper()}"),
    ]
    if hob.gamma_deg is not None:
        rows.append(("lead angle  γ", angle_text(hob.gamma_deg)))
    if not _is_sprocket(job.work):
        if not job.work.has_keys:
            rows.append(("pressure angle", f"{float(hob.pressure_angle_deg):g}°"))
        if "addendum" not in sizes_of(job.work, hob).wanting:
            rows.append(("addendum  h_a0", dial(hob_addendum(job.work, hob), units)))
    tip = hob_tip_diameter(job.work, hob)
    if tip is not None:
        rows.append(("over the tips", dial(tip, units)))
    elif hob.diameter is not None:
        rows.append(("ref. diameter", dial(float(hob.diameter), units)))
    if hob.gashes is not None:
        rows.append(("gashes", str(hob.gashes)))
    return rows


def _flank(proof: Proof) -> Rows:
    work, outcome, units = proof.case.job.work, proof.computed.outcome, proof.case.job.units
    rows: Rows = []
    if outcome and outcome.teeth:
        rows.append(
            ("teeth", f"{outcome.teeth}, {outcome.hand.word.upper() if outcome.hand else 'straight'}")
        )
    if outcome and outcome.teeth == work.teeth and outcome.is_steady and work.kind != "worm wheel":
        lead = "none, straight" if outcome.lead_mm is None else length(outcome.lead_mm, units)
        rows.append(("lead", lead))
        slope, limit = helix_slope_um(work, outcome), helix_slope_limit_um(work)
        rows.append(("helix slope error", deviation(slope, units)))
        rows.append((f"class {work.quality} allows", f"±{height(limit, units) if units == 'in' else f'{limit:g} µm'}"))
    flanks = proof.cut.flanks if proof.cut else None
    if proof.cut and flanks:
        if proof.cut.marks_are_apart:
            rows.append(("feed marks", height(flanks.feed_mark_um, units)))
            rows.append(("facets", height(flanks.facet_um, units)))
        else:
            rows.append(("marks, whole height", height(flanks.ripple_um, units)))
        reached = f"class {flanks.quality} at best" if flanks.quality else "coarser than any"
        rows.append(("simulated flank", reached))
    return rows


# ---------------------------------------------------------------- several members


@dataclass(frozen=True)
class Line:
    """One thing for every member: set at the machine, or only read (`is_set` False)."""

    what: str
    each: tuple[str, ...]
    is_set: bool = True

    @property
    def alike(self) -> bool:
        """Whether it stays as it is from member to member."""
        return len(set(self.each)) == 1


def bracket_lines(sheets: Sequence[SheetWords]) -> tuple[Line, ...]:
    """The gears of every bracket, for each member; for a later one, that gears stay where only an idler changes."""
    return tuple(
        Line(brackets[0].name, (_fitted(brackets[0]), *map(_changed, itertools.pairwise(brackets))))
        if len(set(brackets)) > 1
        else Line(brackets[0].name, tuple(map(_fitted, brackets)))
        for brackets in zip(*(words.brackets for words in sheets), strict=True)
    )


def _fitted(bracket: BracketWords) -> str:
    return f"{bracket.gears}   {bracket.idler}".strip()


def _changed(pair: tuple[BracketWords, BracketWords]) -> str:
    before, bracket = pair
    if bracket == before:
        return "as before"
    if bracket.gears != before.gears:
        return _fitted(bracket)
    if not bracket.has_idler:
        return "GEARS STAY: TAKE OUT THE IDLER, SWING THE STUD IN"
    return (
        f"GEARS STAY: SWING THE STUD, {'CHANGE TO' if before.has_idler else 'PUT IN'} {bracket.note.upper()}"
    )


def head_line(sheets: Sequence[SheetWords]) -> Line:
    """The swing of the head for each member."""
    each = [", ".join(filter(None, words.head)) for words in sheets]
    for number, (before, words) in enumerate(itertools.pairwise(sheets), start=1):
        if words.swivel_deg != before.swivel_deg:
            swung = angle_text(abs(words.swivel_deg - before.swivel_deg), "′")
            each[number] += f"; in all {swung} from before"
    return Line("head, seen from behind the hob", tuple(each))


def other_lines(sheets: Sequence[SheetWords]) -> tuple[Line, ...]:
    """Hob, levers, feed, depth and first cut for each member; "" where one has no such thing."""
    lines = [Line("hob", tuple(words.hob_line.removeprefix("HOB: ") for words in sheets))]
    faces = tuple(words.faces.removeprefix("CUTTING FACES LOOK ") for words in sheets)
    if any(faces):
        lines.append(Line("hob's cutting faces look", faces))
    for block in ("levers", "running"):
        # The blank that a depth holds for stands over each member's column.
        rows = [
            {what.partition(_FOR_BLANK)[0]: much for what, much in getattr(words, block)} for words in sheets
        ]
        for what in dict.fromkeys(what for row in rows for what in row):
            each = tuple(row.get(what, "") for row in rows)
            lines.append(Line(what, each, not any(what in words.told for words in sheets)))
    marks = (", ".join(much.removeprefix("to the ") for _, much in words.first_cut) for words in sheets)
    return (*lines, Line("light first cut", tuple(marks), False))


def shares_gears(sheets: Sequence[SheetWords]) -> bool:
    """Whether several members are for one machine, and some bracket stays as it is for all of them."""
    if len(sheets) < 2 or len({words.machine for words in sheets}) != 1:
        return False
    brackets = zip(*(words.brackets for words in sheets), strict=True)
    return any(len(set(each)) == 1 and each[0].gears != EMPTY for each in brackets)
