"""The rack of hobs: a file beside the jobs, from which a job takes its hob by name, or the one that suits.

A hob that was sharpened is smaller than new: its lead angle, and with it swivel, depth and marks, follow the
diameter that is there.
"""

from __future__ import annotations

import math
import os
from collections.abc import Mapping
from fractions import Fraction
from pathlib import Path
from typing import Any

from handlead.kinematics.frame.words import Hand
from handlead.kinematics.gears.gear import ISO_53, diametral_pitch_from_module
from handlead.kinematics.links.link import PI
from handlead.kinematics.work.hob_length import finishing_length
from handlead.kinematics.work.requirement import Work, gear_to_cut
from handlead.kinematics.work.sizes import outside_diameter
from handlead.machines.job_keys.work_keys import HOBS
from handlead.machines.machine_files.machine_links import module_of
from handlead.machines.tables.reading import Complaints, values_of
from handlead.machines.toml import places
from handlead.machines.toml.errors import Disagreement, FileFault, Missing, Unknown, WrongValue
from handlead.machines.toml.guesses import guess
from handlead.machines.toml.places import Document, quoted
from handlead.machines.toml.units import length

#: What the rack beside a job is called.
RACK = "hobs.toml"

#: Keys of a hob's size, of which one takes the place of the others.
_SIZES = ("module", "diametral_pitch", "pitch")

#: Decimals of a degree to which a lead angle that follows from grinding is held.
_DECIMALS = 9


def read_rack(path: str | os.PathLike[str], shown: str | None = None) -> dict[str, dict[str, Any]]:
    """The hobs of a rack by name, each by the keys of [hob], lengths in mm. Raises `FileFault`."""
    return _rack(places.read(path, shown or os.fspath(path)))


def read_rack_text(text: str, shown: str) -> dict[str, dict[str, Any]]:
    """As `read_rack`, of a rack's text. Raises `FileFault`."""
    return _rack(places.parse(text, shown))


def _rack(document: Document) -> dict[str, dict[str, Any]]:
    complaints = Complaints(document)
    values = values_of(document, HOBS, complaints)
    found: dict[str, dict[str, Any]] = {}
    for index, row in enumerate(values["hob"] if values else ()):
        if row["name"] in found:
            complaints.add(WrongValue, ("hob", index, "name"), f"another hob is called {quoted(row['name'])} already")
        found[row["name"]] = row
        _check_gashes(row, complaints, ("hob", index))
        _ground(row, complaints, ("hob", index))
    complaints.raise_any()
    return found


def rack_beside(folder: str | os.PathLike[str]) -> Path | None:
    """The rack's file in a folder; None where there is none."""
    path = Path(folder, RACK)
    try:
        return path if path.is_file() else None
    except (OSError, ValueError):
        return None


def check_hob_is_there(document: Document, beside: str, complaints: Complaints) -> None:
    """Complain of a job that has no hob, nor a rack beside it to take one from."""
    if document.get("hob") is None and document.get("format") in (None, "job/1") and rack_beside(beside) is None:
        complaints.add(Missing, ("hob",), '"hob" is missing. Write a table [hob] with what is marked on the hob')


def hob_of_job(
    values: Mapping[str, Any], document: Document, beside: str, work: Work, complaints: Complaints
) -> dict[str, Any]:
    """The hob by its keys: the job's own, over those of the rack where it names one there or gives none at all.

    What is wrong is complained of; then what comes back isn't to be used.
    """
    own = dict(values.get("hob", {}))
    rack = rack_beside(beside)
    if "hob" in values and "name" not in own:
        if work.has_keys and not any(key in own for key in _SIZES):
            own["module"] = work.module_n  # made for this very shaft, it has no other
        return _whole(own, complaints)
    if rack is None:
        if not any(key in own for key in _SIZES):
            message = (
                f"there is no rack {RACK} beside this job to take {quoted(own['name'])} from. "
                "Write it, or the hob's sizes"
            )
            complaints.add(Unknown, ("hob",), message)
            return {}
        return _whole(own, complaints)
    try:
        hobs = read_rack(rack)
    except FileFault as fault:
        complaints.raise_any(fault)
        raise
    if "hob" not in values:
        return _suiting(hobs, work, rack, complaints)
    return _named(own, hobs, rack, document, complaints)


def _named(
    own: dict[str, Any], hobs: dict[str, dict[str, Any]], rack: Path, document: Document, complaints: Complaints
) -> dict[str, Any]:
    name = own["name"]
    path = ("hob",) if isinstance(document.get("hob"), str) else ("hob", "name")
    if name not in hobs:
        complaints.add(Unknown, path, f"there is no hob {quoted(name)} in {rack}. {guess(name, hobs)}")
        return {}
    kept = dict(hobs[name])
    if any(key in own for key in _SIZES):
        kept = {key: value for key, value in kept.items() if key not in _SIZES}
    return _whole({**kept, **own}, complaints)


def _suiting(
    hobs: dict[str, dict[str, Any]], work: Work, rack: Path, complaints: Complaints
) -> dict[str, Any]:
    """The hob of the rack that suits the work; none is complained of.

    Fewest starts first; then one long enough to finish the flanks; then of the work's own hand, right for straight
    teeth, so that the head swings least; then the longest. Common practice.
    """
    suits = [
        hob
        for hob in hobs.values()
        if abs(_module(hob) / work.module_n - 1) < Fraction(1, 10**6)
        and hob.get("pressure_angle", work.pressure_angle_deg) == work.pressure_angle_deg
    ]
    if not suits:
        in_pitch = f"{float(diametral_pitch_from_module(work.module_n)):.4g} DP"
        size = in_pitch if complaints.units == "in" else f"module {float(work.module_n):.4g}"
        words = f"{size} and {float(work.pressure_angle_deg):g}°"
        message = f'"hob" is missing, and {rack} has none of {words}. Write a table [hob], or add one to the rack'
        complaints.add(Missing, ("hob",), message)
        return {}
    hand = (work.hand or Hand.RIGHT).word

    def rank(hob: dict[str, Any]) -> tuple[Any, ...]:
        length = hob.get("length")
        short = length is not None and float(length) < _finishing(hob, work)
        return hob.get("starts", 1), short, hob.get("hand", "right") != hand, -(length or 0), hob["name"]

    best = min(suits, key=rank)
    return _whole(dict(best), complaints)


def _finishing(hob: dict[str, Any], work: Work) -> float:
    """Length of its threads that finishes the flanks, in mm; 0 for work where that isn't known."""
    if work.kind not in ("spur", "helical"):
        return 0.0
    return finishing_length(gear_to_cut(work), float(_addendum(hob)), outside_diameter(work))


def _whole(hob: dict[str, Any], complaints: Complaints) -> dict[str, Any]:
    """The hob as it is now; a size of its teeth must be there."""
    if not any(key in hob for key in _SIZES):
        message = '"module", "diametral_pitch" or "pitch" is missing. Give one of them'
        complaints.add(Missing, ("hob", "module"), message)
        return hob
    outside, reference = hob.get("outside_diameter"), hob.get("diameter")
    if outside is not None and reference is not None and outside <= reference:
        message = "the diameter over the tips isn't greater than the reference diameter ({also}). Measure both again"
        complaints.add(Disagreement, ("hob", "outside_diameter"), message, ("hob", "diameter"))
        return hob
    _check_gashes(hob, complaints, ("hob",))
    if not _ground(hob, complaints, ("hob",)):
        return hob
    return _as_ground(hob)


def _check_gashes(hob: Mapping[str, Any], complaints: Complaints, path: tuple[str | int, ...]) -> None:
    """Complain of errors of gashes that aren't one for each."""
    given, gashes = hob.get("gash_index"), hob.get("gashes")
    if given is None or len(given) == gashes:
        return
    if gashes is None:
        message = '"gashes" is missing. Errors of the gashes need their number'
        complaints.add(Missing, (*path, "gashes"), message)
    else:
        message = f"it has {len(given)} entries for {gashes} gashes. It must have one for each, 0 where a gash is right"
        complaints.add(WrongValue, (*path, "gash_index"), message)


def _ground(hob: Mapping[str, Any], complaints: Complaints, path: tuple[str | int, ...]) -> bool:
    """Whether the hob was ground back, by figures that can be."""
    if "ground_to" not in hob:
        return False
    new = hob.get("outside_diameter")
    if new is None:
        message = '"outside_diameter" is missing. A hob that was ground back is told by what it was new, and what it is'
        complaints.add(Missing, (*path, "outside_diameter"), message)
        return False
    least = new - 2 * _addendum(hob)
    if not least < hob["ground_to"] <= new:
        units = complaints.units
        low, high, there = (length(float(mm), units) for mm in (least, new, hob["ground_to"]))
        limits = f"more than {low} and no more than the {high} that it was new"
        message = f"a hob can't be ground to {there}: it must have {limits}"
        complaints.add(WrongValue, (*path, "ground_to"), message)
        return False
    return True


def _module(hob: Mapping[str, Any]) -> Fraction:
    module = module_of(hob)
    return Fraction(hob["pitch"]) / PI if module is None else Fraction(module)


def _addendum(hob: Mapping[str, Any]) -> Fraction:
    """Height of the hob's tips over its datum line in mm: what grinding takes off goes along the whole profile."""
    addendum = hob.get("addendum")
    if addendum is None:
        addendum = Fraction(str(ISO_53[hob.get("rack", "A")].dedendum))
    return Fraction(addendum) * _module(hob)


def _as_ground(hob: dict[str, Any]) -> dict[str, Any]:
    """The hob with its diameters and lead angle as they are now.

    Relieved teeth keep their height as they are ground; both diameters go down by as much, and the thread, whose lead
    stays, gets steeper: tan of its angle goes up as the reference diameter goes down. Source: own derivation.
    """
    off = hob["outside_diameter"] - hob["ground_to"]
    before = hob.get("diameter") or hob["outside_diameter"] - 2 * _addendum(hob)
    now = {**hob, "outside_diameter": hob["ground_to"], "diameter": before - off}
    if "lead_angle" in hob:
        tangent = math.tan(math.radians(hob["lead_angle"])) * float(before / (before - off))
        now["lead_angle"] = Fraction(round(math.degrees(math.atan(tangent)) * 10**_DECIMALS), 10**_DECIMALS)
    del now["ground_to"]
    return now
