"""What the set-up sheet says, block by block: the words are made here and read by tests, the pages only place them."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

from handlead.kinematics import gear as gears
from handlead.kinematics.links import ChangeGears
from handlead.kinematics.requirement import HobData, Work, gear_of
from handlead.kinematics.words import POSITIVES, angle_text, direction
from handlead.machines.case import face_width_mm, helix_slope_limit_um, helix_slope_um
from handlead.machines.cut_cycle import cut_cycle
from handlead.machines.findings import Finding
from handlead.machines.job_file import SetupMove
from handlead.machines.mending import gears_text
from handlead.machines.proof import Proof

from .bracket_drawing import LETTERS
from .units import feed as feed_text
from .units import length
from .witness_drawing import lean_text, outside_diameter, wanted_marks

#: Said where the gear cover is opened, where the hob first touches, and at the foot.
LOCK_OUT = (
    "Isolate and lock out the main switch before opening a gear cover; wait until all stands; turn by hand only.",
    "Every mesh full, slight backlash, washers on, tools out, guard shut; then one cycle turned by hand.",
)
AT_THE_HOB = (
    "No gloves near a turning hob. Clamps clear over the whole travel, head swung. First cut light, and counted.",
)
ABOVE_ALL = ("The machine's manual, local rules and qualified people come before this sheet.",)
CAUTIONS = LOCK_OUT + AT_THE_HOB + ABOVE_ALL

#: Depth of the light first cut in mm (common practice: just deep enough to be seen).
LIGHT_CUT_MM = 0.05

#: A slope error beyond this many µm is said in millimetres.
_MICROMETRES_UP_TO = 1000

#: What is read, not set, among the rows of feed and depth.
READ_ONLY = ("cutting time", "slide still")

#: Most table turns that anybody would count through.
_MOST_TABLE_TURNS = 12

Rows = list[tuple[str, str]]


@dataclass(frozen=True)
class BracketWords:
    """A bracket, the gears in it as people write them ("EMPTY" for none), its idlers or their absence, and
    the shafts that it stands between."""

    name: str
    gears: str
    idler: str
    shafts: str


@dataclass(frozen=True)
class SheetWords:
    """All that a sheet says: rows are pairs of what and how much."""

    title: str
    summary: str
    verdict: str
    is_right: bool
    brackets: list[BracketWords]
    head: tuple[str, str]
    levers: Rows
    running: Rows
    moves: Rows
    first_cut: Rows
    seen: Rows
    work: Rows
    hob: Rows
    flank: Rows
    errors: list[str]
    notes: list[str]
    source: str


def sheet_words(proof: Proof, today: datetime.date) -> SheetWords:
    """What the sheet for this proof says."""
    case = proof.case
    work, units = case.job.work, case.job.units
    return SheetWords(
        title=case.job.title,
        summary=summary(work, units),
        verdict="AS WANTED" if proof.is_as_wanted else "NOT AS WANTED: DO NOT CUT",
        is_right=proof.is_as_wanted,
        brackets=[bracket_words(link) for link in case.train.brackets],
        head=head_words(proof),
        levers=list(case.job.machine.positions(case.setup).items()),
        running=_running(proof),
        moves=[_move(move, units) for move in case.setup.moves],
        first_cut=_first_cut(proof),
        seen=_seen(work, (proof.computed.outcome and proof.computed.outcome.feed_slide) or "axial"),
        work=_work(work, units),
        hob=_hob(case.job.hob, units),
        flank=_flank(proof),
        errors=[_finding(finding) for finding in proof.findings if finding.severity == "error"],
        notes=[_finding(finding) for finding in proof.findings if finding.severity != "error"],
        source=_source(proof, today),
    )


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
    if work.kind == "sprocket":
        return "sprocket"
    if units == "in":
        return f"{float(gears.diametral_pitch_from_module(work.module_n)):.6g} DP"
    return f"module {float(work.module_n):.6g}"


def bracket_words(link: ChangeGears) -> BracketWords:
    """What is in a bracket of the train."""
    mounted = link.mounted
    if mounted is None:
        return BracketWords(link.name, "EMPTY", "", f"from {link.from_part} to {link.to_part}")
    idlers = ", ".join(str(teeth) for teeth in mounted.idlers)
    plain = gears_text(mounted).split(" + idler")[0]
    last = LETTERS[len(mounted.gears) - 1]
    return BracketWords(
        link.name,
        plain,
        f"+ IDLER {idlers}" if idlers else "NO IDLER",
        f"a on {link.from_part}, {last} on {link.to_part}",
    )


def head_words(proof: Proof) -> tuple[str, str]:
    """The angle for the vernier, and which way the head swings, as the set-up was proved."""
    from .swivel_drawing import swivel_words

    return swivel_words(proof.case.swivel_deg)


def _running(proof: Proof) -> Rows:
    """Speed, feed, depth, travel and time; last, what a turn of the table counts by hand."""
    case = proof.case
    units, outcome = case.job.units, proof.computed.outcome
    cycle = cut_cycle(case)
    rows: Rows = []
    if cycle.hob_rpm:
        speed = f", {cycle.cutting_speed_m_min:.0f} m/min" if cycle.cutting_speed_m_min else ""
        rows.append(("hob speed", f"{cycle.hob_rpm:.0f} rpm{speed}"))
    if outcome and outcome.sliding_feed:
        mode = f", {outcome.feed.value.upper()}" if outcome.feed else ""
        rows.append(("feed", f"{feed_text(outcome.sliding_feed, units)}{mode}"))
        rows.append((f"{outcome.feed_slide} slide goes", _way(proof, outcome.feed_slide or "axial")))
    rows += [("hob is", _way(proof, "hob")), ("table turns", _way(proof, "table"))]
    depth = " + ".join(length(part, units, 2) for part in cycle.depths)
    rows.append(("depth from touch", depth))
    if cycle.travel:
        rows.append(("travel, run-in and run-out in it", length(cycle.travel, units, 1)))
    if cycle.time_min:
        rows.append(("cutting time", f"{cycle.time_min:.0f} min"))
    if proof.computed.table_per_hob:
        rows.append(_counted(abs(proof.computed.table_per_hob)))
    return rows


def _counted(table_per_hob: Fraction) -> tuple[str, str]:
    """What can be counted by hand before any cut: whole turns of table and hob where they aren't too many."""
    table, hob = table_per_hob.numerator, table_per_hob.denominator
    if table > _MOST_TABLE_TURNS:
        return "table turn, slide still", f"{float(1 / table_per_hob):.6g} hob turns"
    return f"{table} table turn{'s' if table > 1 else ''}, slide still", f"{hob} hob turns"


def _way(proof: Proof, end: str) -> str:
    """The way an end goes as the drive runs."""
    rate = proof.case.solution.end_rate(end)
    return direction(end, 1 if rate > 0 else -1).upper() if rate else "AT REST"


def _move(move: SetupMove, units: str) -> tuple[str, str]:
    """A move of the set-up: its name, and from where to where, with what is put over for it."""
    parts = [f"lever {name}: {position}" for name, position in move.levers.items()]
    parts += [f"start with {end} at {length(float(place), units, 2)}" for end, place in move.start.items()]
    if move.place is not None:
        parts.append(f"{move.end} to {length(float(move.place), units, 2)}")
    elif move.turns is not None:
        parts.append(f"{float(move.turns):g} turns of the {move.end}")
    if move.drive:
        parts.append(f"by {move.drive}")
    if move.backwards:
        parts.append("DRIVE BACKWARDS")
    return move.name, ", ".join(parts)


def _first_cut(proof: Proof) -> Rows:
    work = proof.case.job.work
    marks = wanted_marks(work)
    lean = f"to the {marks.hand.word.upper()} going up" if marks.hand else "straight along the axis"
    rows: Rows = [("count", f"{marks.count} marks"), ("they lean", lean)]
    if marks.hand:
        rows.append(("at the outside by", lean_text(marks.lean_deg)))
    return rows


def _seen(work: Work, slide: str) -> Rows:
    """What to write down: keys of [seen] with what may stand there."""
    ways = " / ".join(POSITIVES[slide])
    rows: Rows = [("teeth", ""), ("hand", "right / left / none")]
    if work.is_helical:
        rows.append(("lead", ""))
    return [*rows, ("table_turned", "clockwise / counter-clockwise"), ("slide_moved", ways)]


# ---------------------------------------------------------------- the drawing, the hob, the flank


def _work(work: Work, units: str) -> Rows:
    gear = gear_of(work)
    rows: Rows = [("teeth  z", str(work.teeth)), ("kind", work.kind)]
    if units == "in":
        rows.append(("diametral pitch", f"{float(gears.diametral_pitch_from_module(work.module_n)):.6g}"))
    rows += [
        ("module  m_n", f"{float(work.module_n):.6g} mm"),
        ("pressure angle  α_n", f"{float(work.pressure_angle_deg):g}°"),
        ("hand", hand_words(work)),
    ]
    if work.is_helical:
        rows.append(("helix angle  β", f"{work.beta_deg:.4f}°"))
        rows.append(("lead  p_z", length(work.lead_mm or 0.0, units)))
    rows += [
        ("ref. diameter  d", length(gear.reference_diameter, units)),
        ("outside diameter  d_a", length(outside_diameter(work), units, 2)),
        ("face width  b", length(face_width_mm(work), units, 2) + ("" if work.face_width else " (taken)")),
        ("class, ISO 1328-1", str(work.quality)),
        ("whole depth  h", length(gear.whole_depth, units, 2)),
    ]
    return rows + list(_measures(work, units))


def _measures(work: Work, units: str) -> Iterator[tuple[str, str]]:
    """Span and size over balls, where the work has an involute that can be measured so."""
    if work.kind in ("sprocket", "worm wheel"):
        return
    gear = gear_of(work)
    try:
        count = gears.span_teeth(gear)
        yield f"span, {count} teeth  W_{count}", length(gears.span(gear, count), units)
    except ValueError:
        pass
    try:
        ball = gears.default_ball(gear)
        yield f"balls {length(ball, units, 2)}  M_dK", length(gears.over_balls(gear, ball), units)
    except ValueError:
        pass


def _hob(hob: HobData, units: str) -> Rows:
    pitch = float(gears.diametral_pitch_from_module(hob.module_n))
    rows: Rows = [
        ("diametral pitch", f"{pitch:.6g}") if units == "in" else ("module", f"{float(hob.module_n):.6g} mm"),
        ("starts", str(hob.starts)),
        ("hand", hob.hand.word.upper()),
    ]
    if hob.gamma_deg is not None:
        rows.append(("lead angle  γ", angle_text(hob.gamma_deg)))
    if hob.diameter is not None:
        rows.append(("ref. diameter", length(float(hob.diameter), units, 2)))
    if hob.gashes is not None:
        rows.append(("gashes", str(hob.gashes)))
    return rows


def _flank(proof: Proof) -> Rows:
    work, outcome, units = proof.case.job.work, proof.computed.outcome, proof.case.job.units
    rows: Rows = []
    if outcome and outcome.teeth:
        rows.append(("teeth", str(outcome.teeth)))
        rows.append(("hand", outcome.hand.word.upper() if outcome.hand else "straight"))
    if outcome and outcome.teeth == work.teeth and outcome.is_steady and work.kind != "worm wheel":
        lead = "none, straight" if outcome.lead_mm is None else length(outcome.lead_mm, units)
        rows.append(("lead", lead))
        slope, limit = helix_slope_um(work, outcome), helix_slope_limit_um(work)
        small = abs(slope) < _MICROMETRES_UP_TO
        # Adding nothing turns a rounded -0.0 into 0.0.
        rows.append(
            ("helix slope error", f"{round(slope, 1) + 0:+.1f} µm" if small else f"{slope / 1000:+.1f} mm")
        )
        rows.append((f"class {work.quality} takes", f"±{limit:g} µm"))
    flanks = proof.cut.flanks if proof.cut else None
    if flanks:
        rows.append(("feed marks", f"{flanks.feed_mark_um:.1f} µm"))
        rows.append(("facets", f"{flanks.facet_um:.1f} µm"))
        rows.append(("simulated flank", f"class {flanks.quality}" if flanks.quality else "coarser than any"))
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
    """The gears of every bracket, for each member."""
    return tuple(
        Line(brackets[0].name, tuple(f"{bracket.gears}   {bracket.idler}".strip() for bracket in brackets))
        for brackets in zip(*(words.brackets for words in sheets), strict=True)
    )


def head_line(sheets: Sequence[SheetWords]) -> Line:
    """The swing of the head for each member."""
    return Line("head, seen from behind the hob", tuple(" ".join(words.head) for words in sheets))


def other_lines(sheets: Sequence[SheetWords]) -> tuple[Line, ...]:
    """Levers, feed, depth and first cut for each member; "" where one has no such thing."""
    lines = []
    for name, block in (("lever: ", "levers"), ("", "running"), ("", "first_cut")):
        rows = [dict(getattr(words, block)) for words in sheets]
        for what in dict.fromkeys(what for row in rows for what in row):
            each = tuple(row.get(what, "") for row in rows)
            lines.append(Line(f"{name}{what}", each, block != "first_cut" and not what.endswith(READ_ONLY)))
    return tuple(lines)


def shares_gears(sheets: Sequence[SheetWords]) -> bool:
    """Whether some bracket stays as it is for all of several members on one machine."""
    machines = {tuple(bracket.name for bracket in words.brackets) for words in sheets}
    if len(sheets) < 2 or len(machines) != 1:
        return False
    brackets = zip(*(words.brackets for words in sheets), strict=True)
    return any(len(set(each)) == 1 and each[0].gears != "EMPTY" for each in brackets)
