"""A sample file, read: what was measured on a gear in the hand; and the systems of teeth that it may have."""

from __future__ import annotations

import math
import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import Any

from handlead.kinematics.frame.words import Hand
from handlead.kinematics.gears.gear import MM_PER_INCH
from handlead.kinematics.gears.readings import Candidate, Identity, Sample, Taken, ToothSystem
from handlead.kinematics.gears.sample import gear_of, identify
from handlead.machines.job_files.job_file import Job, read_job_text
from handlead.machines.job_keys.seen_keys import BALLS, SPAN
from handlead.machines.keys.keys import MOST_TEETH
from handlead.machines.tables.observed import Observed, Reading
from handlead.machines.tables.reading import Complaints, rows, values_of
from handlead.machines.tables.tables import Key, OneOf, Rows, Table
from handlead.machines.tables.values import Angle, Length, Text, Whole
from handlead.machines.toml import numbers, places
from handlead.machines.toml.errors import Disagreement, HandleadError, WrongValue
from handlead.machines.toml.places import Document

from .tooth_systems import tooth_systems

#: How far a reading may be off where the file doesn't say, in mm and degrees (common practice of a shop that measures
#: with care: calipers, disc micrometer, protractor); a lead by this part of it.
USUAL = {"outside_diameter": 0.05, "root_diameter": 0.2, "depth": 0.15, "span": 0.02, "balls": 0.03, "lean": 0.5,
         "rubbing": 0.5, "centre_distance": 0.1}  # fmt: skip
USUAL_LEAD = 0.01

#: How much wear may have taken off tips and teeth, in modules as they seem from the outside (common practice).
WEAR = {"new": (0.0, 0.0), "worn": (0.08, 0.05), "badly worn": (0.25, 0.2)}

_SIZE = Length(0, above=True)
_OFF = Length(0)

RUBBING = Table(
    "rubbing",
    "The outside rolled over paper with ink: how far a tooth's trace runs across on so much along the axis.",
    (
        Key("along", _SIZE, "Along the axis.", True),
        Key("across", Length(0), "Across it, round the gear.", True),
    ),
)

TURNED = Table(
    "turned",
    "A pointer kept on a flank while slide and table are moved by hand: the lead from the table's turning.",
    (
        Key("travel", _SIZE, "Travel of the slide between two marks on the flank.", True),
        Key("angle", Angle(0, 36_000, above=True), "By how much the table turned meanwhile.", True),
    ),
)

SAMPLE_MATE = Table(
    "mate",
    "The gear that it runs with.",
    (
        Key("teeth", Whole(1, MOST_TEETH), "Its teeth.", True),
        Key("centre_distance", Observed(_SIZE, _OFF), "From shaft to shaft, where both are parallel."),
    ),
)

SAMPLE = Table(
    "sample file",
    "A gear in the hand: what can be measured on it, for `handlead sample` to find out what it is.",
    (
        Key("format", Text(("sample/1",)), "What the file is.", True, advice='Write format = "sample/1"'),
        Key("title", Text(), "What the gear is.", default="the file's name"),
        Key("units", Text(("mm", "in")), "What every length without a unit of its own is in.", default="mm"),
        Key("teeth", Whole(4, 1000), "Number of teeth.", True),
        Key("hand", Text(("right", "left", "none")), "Which way they lean, or none.", default="unknown"),
        Key("wear", Text(tuple(WEAR)), "How it looks.", default="worn"),
        Key("face_width", _SIZE, "Width of the face."),
        Key("outside_diameter", Observed(_SIZE, _OFF), "Over the tips; off by 0.05 mm unless `within` says."),
        Key("root_diameter", Observed(_SIZE, _OFF), "At the bottom of the spaces; off by 0.2 mm unless said."),
        Key("depth", Observed(_SIZE, _OFF), "From tip to root, with the outside; off by 0.15 mm unless said."),
        Key("lean", Observed(Angle(0, 80), Angle(0, 20)), "Their angle at the outside, from the axis; off by 0.5°."),
        Key("rubbing", RUBBING, RUBBING.meaning),
        Key("lead", Observed(_SIZE, _OFF), "Travel in which a tooth goes once round; off by 1 % unless said."),
        Key("turned", TURNED, TURNED.meaning),
        Key("span", Rows({"": SPAN}, "span"), SPAN.meaning + " Two that follow each other tell most."),
        Key("balls", Rows({"": BALLS}, "balls"), BALLS.meaning),
        Key("mate", SAMPLE_MATE, SAMPLE_MATE.meaning),
    ),
    (OneOf(("lean", "rubbing")), OneOf(("lead", "turned"))),
)  # fmt: skip


@dataclass(frozen=True, repr=False)
class Named:
    """The system that a sample is taken to have, and the file of it: `identity` from `sample` and the shipped table."""

    title: str
    units: str
    hand: Hand | None
    identity: Identity
    document: Document = field(compare=False)

    def __repr__(self) -> str:
        return f"<Named of {self.title!r}: {len(self.fitting)} of {len(self.identity.candidates)} candidates fit>"

    @property
    def path(self) -> str:
        """The file, as complaints call it."""
        return self.document.file

    @property
    def fitting(self) -> tuple[Candidate, ...]:
        """The candidates with which every reading agrees."""
        return tuple(each for each in self.identity.candidates if each.fits)

    @property
    def is_one(self) -> bool:
        """Whether one system fits, surely, and no other."""
        return self.identity.is_sure

    def as_json(self) -> dict[str, Any]:
        """The answer as one JSON object: lengths in mm, angles in degrees."""
        following = self.identity.next_reading
        return {
            "sample": self.path,
            "verdict": "one fits" if self.is_one else "several fit" if self.fitting else "none fits",
            "candidates": [_candidate_json(each) for each in self.identity.candidates],
            "next_reading": following
            and {
                "what": following.what,
                "ball_mm": following.ball,
                "values": [{"system": each.system.name, "value": value} for each, value in following.values],
            },
        }


def _candidate_json(candidate: Candidate) -> dict[str, Any]:
    system = candidate.system
    return {
        "system": system.name,
        "module_mm": float(system.module),
        "diametral_pitch": None if system.diametral_pitch is None else float(system.diametral_pitch),
        "circular_pitch_in": None if system.circular_pitch_in is None else float(system.circular_pitch_in),
        "across_the_axis": system.transverse,
        "pressure_angle_deg": system.pressure_angle_deg,
        "addendum_modules": system.addendum,
        "helix_angle_deg": candidate.helix_angle_deg,
        "profile_shift": candidate.profile_shift,
        "measured_shift": candidate.measured_shift,
        "share": candidate.share,
        "fits": candidate.fits,
        "readings": [
            {"what": each.what, "ball_mm": each.ball, "taken": each.taken, "new": each.new, "off_allowances": each.off}
            for each in candidate.agreements
        ],
    }


def read_sample(path: str | os.PathLike[str], shown: str | None = None) -> Named:
    """The sample in the file at `path`, held against every published system. Raises `FileFault`."""
    return _named(places.read(path, shown or os.fspath(path)))


def read_sample_text(text: str, file: str = "sample.toml") -> Named:
    """The sample in `text`, called `file` in complaints. Raises `FileFault`."""
    return _named(places.parse(text, file))


def _named(document: Document) -> Named:
    complaints = Complaints(document)
    values = values_of(document, SAMPLE, complaints)
    if values is not None:
        _check(values, document, complaints)
    complaints.raise_any()
    assert values is not None
    sample = sample_of(values)
    if sample.readings < 1:
        complaints.add(WrongValue, (), "nothing but the count is in it. Measure the outside diameter, or a span")
        complaints.raise_any()
    hand = values.get("hand")
    title = values.get("title") or Path(document.file).stem
    units = values.get("units", "mm")
    return Named(title, units, Hand[hand.upper()] if hand in ("right", "left") else None,
                 identify(sample, tooth_systems()), document)  # fmt: skip


def _check(values: Mapping[str, Any], document: Document, complaints: Complaints) -> None:
    """Readings that can't all hold."""
    for key in ("lean", "rubbing", "lead", "turned"):
        leans = key in values and (key != "lean" or values[key].value > 0)
        if values.get("hand") == "none" and leans:
            message = f'"{key}" says that the teeth lean, but "hand" is "none" ({{also}}). Keep one of the two'
            complaints.add(Disagreement, (key,), message, ("hand",))
    if values.get("hand") in ("right", "left") and "lean" in values and not values["lean"].value:
        message = '"lean" says that the teeth are straight, and "hand" that they lean ({also}). Keep one of the two'
        complaints.add(Disagreement, ("lean",), message, ("hand",))
    outside, root = values.get("outside_diameter"), values.get("root_diameter")
    if outside is not None and root is not None and root.value >= outside.value:
        message = "the roots can't stand over the tips, which are measured at {also}. Measure both again"
        complaints.add(Disagreement, ("root_diameter",), message, ("outside_diameter",))
    for index, row in rows(document, "span"):
        count = row.get("teeth")
        if isinstance(count, int) and count > values["teeth"]:
            complaints.add(WrongValue, ("span", index, "teeth"), f"the gear has {values['teeth']} teeth in all")
    counts = [row["teeth"] for row in values.get("span", ())]
    for index, count in enumerate(counts):
        if count in counts[:index]:
            complaints.add(
                Disagreement, ("span", index, "teeth"),
                "this count was measured already ({also}). Keep the better one, or write their mean",
                ("span", counts.index(count), "teeth"),
            )  # fmt: skip
    if "depth" in values and "outside_diameter" not in values:
        complaints.add(WrongValue, ("depth",), "a depth counts from the tips. Write the outside_diameter as well")


def sample_of(values: Mapping[str, Any]) -> Sample:
    """The readings of a file with their allowances, the usual ones where it gives none."""
    teeth, hand = values["teeth"], values.get("hand")
    outside = values.get("outside_diameter")
    tips, flanks = WEAR[values.get("wear", "worn")]
    apparent = _apparent_module(values)

    def taken(key: str, reading: Reading | None, worn: float = 0.0) -> Taken | None:
        if reading is None:
            return None
        within = USUAL[key] if reading.within is None else float(reading.within)
        return Taken(float(reading.value), max(within, 1e-6), worn * apparent)

    lean = taken("lean", values.get("lean"))
    if "rubbing" in values:
        across, along = (float(values["rubbing"][key]) for key in ("across", "along"))
        lean = Taken(math.degrees(math.atan2(across, along)), USUAL["rubbing"])
    mate = values.get("mate", {})
    return Sample(
        teeth=teeth,
        leans=_leans(hand, lean),
        hand=Hand[hand.upper()] if hand in ("right", "left") else None,
        face_width=float(values["face_width"]) if "face_width" in values else None,
        outside=taken("outside_diameter", outside, tips),
        root=_root(values, taken),
        spans=tuple(
            (row["teeth"], _sure(taken("span", row["length"], flanks))) for row in values.get("span", ())
        ),
        balls=tuple(
            # What wear takes off the flanks lets balls sink by more than twice as much.
            (float(row["diameter"]), _sure(taken("balls", row["over"], 2.5 * flanks)))
            for row in values.get("balls", ())
        ),
        lean=lean if lean is None or lean.value else None,
        lead=_lead(values),
        mate_teeth=mate.get("teeth"),
        centre_distance=taken("centre_distance", mate.get("centre_distance")),
        in_inches=values.get("units") == "in",
    )


def _apparent_module(values: Mapping[str, Any]) -> float:
    """The module in mm as it seems from the first size that there is: wear goes by the size of the teeth."""
    teeth = values["teeth"]
    if "outside_diameter" in values:
        return float(values["outside_diameter"].value) / float(teeth + 2)
    if values.get("span"):
        row = values["span"][0]
        return float(row["length"].value) / (math.pi * (float(row["teeth"]) - 0.5))
    if values.get("balls"):
        return float(values["balls"][0]["over"].value) / float(teeth + 2)
    mate = values.get("mate", {})
    if "centre_distance" in mate:
        return 2 * float(mate["centre_distance"].value) / float(teeth + mate["teeth"])
    return 1.0


def _sure(taken: Taken | None) -> Taken:
    assert taken is not None
    return taken


def _leans(hand: str | None, lean: Taken | None) -> bool | None:
    if hand is not None:
        return hand != "none"
    return None if lean is None else lean.value > 0


def _root(values: Mapping[str, Any], taken: Any) -> Taken | None:
    """The root circle, as measured or from the depth; cut deeper for backlash it is smaller, as if it were worn."""
    if "root_diameter" in values:
        found: Taken | None = taken("root_diameter", values["root_diameter"], 0.1)
        return found
    if "depth" not in values:
        return None
    depth = taken("depth", values["depth"])
    return Taken(float(values["outside_diameter"].value) - 2 * depth.value, 2 * depth.within, 0.1)


def _lead(values: Mapping[str, Any]) -> Taken | None:
    if "turned" in values:
        lead = float(values["turned"]["travel"]) * 360 / float(values["turned"]["angle"])
        return Taken(lead, USUAL_LEAD * lead)
    reading = values.get("lead")
    if reading is None:
        return None
    value = float(reading.value)
    return Taken(value, USUAL_LEAD * value if reading.within is None else max(float(reading.within), 1e-6))


# ---------------------------------------------------------------- a job of it


class NoSuchCandidate(HandleadError, ValueError):
    """The sample has no candidate of that number, or no hand is known for it."""


def job_text_of(named: Named, number: int, machine: str) -> str:
    """The text of a job file for the candidate of this number, from 1, with a hob of its system.

    Raises `NoSuchCandidate`.
    """
    import tomlkit

    candidates = named.identity.candidates
    if not 1 <= number <= len(candidates):
        raise NoSuchCandidate(f"there is no candidate {number}: there are {len(candidates)}")
    chosen = candidates[number - 1]
    if chosen.helix_angle_deg and named.hand is None:
        raise NoSuchCandidate('the teeth lean, and nobody said which way. Write hand = "right" or "left" in the sample')
    document = tomlkit.document()
    document.add(tomlkit.comment(f"From the sample {Path(named.path).name}: {chosen.system.name}."))
    document.add(tomlkit.comment("Helix angle and hob are to be confirmed before anything is cut."))
    document.update({"format": "job/1", "title": named.title, "units": named.units, "machine": machine})
    document["work"] = _work(named, chosen)
    # Normal to a tooth that is counted across the axis the angle is an odd one, and without a key just the work's.
    angle = {} if chosen.system.transverse else {"pressure_angle": _round(chosen.system.pressure_angle_deg, 6)}
    document["hob"] = _size(chosen.system, normal_at=chosen.helix_angle_deg) | angle | {
        "addendum": _round(chosen.system.dedendum / _cosine(chosen), 6),
    }
    return tomlkit.dumps(document)


def job_of(named: Named, number: int, machine: str, file: str, beside: str = "") -> Job:
    """The job that `job_text_of` writes, read as any other. Raises `FileFault` where it can't be used."""
    return read_job_text(job_text_of(named, number, machine), file, beside)


def _work(named: Named, chosen: Candidate) -> dict[str, Any]:
    leans, scale = bool(chosen.helix_angle_deg), MM_PER_INCH if named.units == "in" else Fraction(1)
    work: dict[str, Any] = {"kind": "helical" if leans else "spur", "teeth": named.identity.sample.teeth}
    work |= _size(chosen.system)
    work["transverse_pressure_angle" if chosen.system.transverse else "pressure_angle"] = _round(
        chosen.system.pressure_angle_deg, 6
    )
    if leans:
        assert named.hand is not None
        work |= {"helix_angle": _round(chosen.helix_angle_deg, 3), "hand": named.hand.word}
    face = named.identity.sample.face_width
    if face is not None:
        work["face_width"] = _round(face / float(scale), 5)
    if chosen.profile_shift:
        work["profile_shift"] = _round(chosen.profile_shift, 3)
    if chosen.system.addendum != 1 or chosen.system.transverse:
        # A job's blank is that of a full-depth tooth, normal to it, unless it says otherwise.
        made = gear_of(chosen.system, named.identity.sample.teeth, chosen.helix_angle_deg, chosen.profile_shift)
        work["outside_diameter"] = _round(made.tip_diameter / float(scale), 4)
    return work


def _size(system: ToothSystem, normal_at: float | None = None) -> dict[str, Any]:
    """The size of the teeth as a file has it; of a hob, normal to the teeth of a gear that leans so much."""
    if system.transverse and normal_at is not None:
        return {"module": _round(float(system.module) * math.cos(math.radians(normal_at)), 9)}
    prefix = "transverse_" if system.transverse else ""
    if system.circular_pitch_in is not None:
        # There is no key for a pitch across the axis.
        if prefix:
            return {f"{prefix}module": _round(float(system.module), 9)}
        return {"pitch": f"{Fraction(system.circular_pitch_in)} in"}
    if system.diametral_pitch is not None:
        return {f"{prefix}diametral_pitch": _number(system.diametral_pitch)}
    return {f"{prefix}module": _number(system.module)}


def _cosine(chosen: Candidate) -> float:
    """Of the helix, where the system counts across the axis, to bring its sizes normal to the tooth."""
    return math.cos(math.radians(chosen.helix_angle_deg)) if chosen.system.transverse else 1.0


def _round(value: float, digits: int) -> Any:
    rounded = round(value, digits)
    return int(rounded) if rounded == int(rounded) else rounded


def _number(value: Fraction) -> Any:
    written = numbers.written(value)
    return written if isinstance(written, int | str) else float(value)
