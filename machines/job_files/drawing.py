"""The work and the hob of a job file: what the drawing says, in the sizes that everything else is reckoned with."""

from __future__ import annotations

import math
from fractions import Fraction
from typing import Any

from handlead.kinematics.frame.words import Hand
from handlead.kinematics.gears.gear import MM_PER_INCH
from handlead.kinematics.links.link import PI
from handlead.kinematics.other_work.profiles import straight_spline
from handlead.kinematics.work.requirement import HobData, Work, gear_to_cut, keys_of
from handlead.kinematics.work.sizes import drawn_throat, sprocket_of
from handlead.machines.job_keys.work_keys import TOOTH_SIZES
from handlead.machines.tables.reading import Complaints
from handlead.machines.toml.errors import Disagreement, Missing, WrongValue
from handlead.machines.toml.places import quoted

#: Decimals kept, in modules of 1 mm or in degrees, where a conversion through the helix is irrational.
DECIMALS = 12

#: The keys of [work] that a worm wheel alone has.
THROAT_KEYS = ("blank", "throat_radius", "rim_diameter")

#: The keys of [work] that a straight-sided spline alone has.
SPLINE_KEYS = ("key_width", "minor_diameter", "form_diameter")

#: Keys that a straight-sided spline can't have: its sides are planes along the axis.
_NOT_OF_KEYS = (
    "helix_angle", "lead", "hand", "profile_shift", "thinning", "pressure_angle", "transverse_pressure_angle",
    "transverse_module", "transverse_diametral_pitch", "crown", "taper",
)  # fmt: skip


def works_of(values: dict[str, Any], complaints: Complaints) -> tuple[Work | None, Work | None]:
    """The work and its mate; None where they can't be made of what the file says."""
    given = values["work"]
    work = _work(given, "work", complaints)
    if work is None or "mate" not in values:
        return work, None
    if work.has_keys:
        message = "a straight-sided spline's mate is a hub, which no hob cuts ({also}). Leave the mate out"
        complaints.add(Disagreement, ("mate",), message, ("work", "key_width"))
        return None, None
    return work, _work(_mate_keys(given, values["mate"]), "mate", complaints)


def _mate_keys(work: dict[str, Any], mate: dict[str, Any]) -> dict[str, Any]:
    """The mate's keys: its own, and for the rest the work's, turned over where a pair turns them over.

    On parallel shafts the hands are unlike and the helix angles alike, so that the leads are as
    the teeth. A worm wheel's mate is its worm, of the same hand, and at right angles to it.
    """
    keys = dict(work)
    for group in (TOOTH_SIZES, ("helix_angle", "lead"), ("pressure_angle", "transverse_pressure_angle")):
        if any(key in mate for key in group):
            keys = {key: value for key, value in keys.items() if key not in group}
    if mate.get("teeth", work["teeth"]) != work["teeth"]:
        keys.pop("outside_diameter", None)
    if mate.get("kind", "sprocket") != "sprocket":
        keys.pop("roller_diameter", None)
    its_own = (*THROAT_KEYS, *SPLINE_KEYS, "crown", "taper", "bore")
    keys = {key: value for key, value in keys.items() if key not in its_own}
    if mate.get("kind") in ("spur", "spline", "sprocket"):
        keys = {key: value for key, value in keys.items() if key not in ("hand", "helix_angle", "lead")}
    if "hand" in keys and work["kind"] != "worm wheel":
        keys["hand"] = Hand[keys["hand"].upper()].other.word
    if "lead" in keys:
        keys["lead"] = keys["lead"] * Fraction(mate.get("teeth", work["teeth"]), work["teeth"])
    keys.update(mate)
    if mate.get("crossing_angle") and "hand" in keys and "hand" not in mate:
        keys["hand"] = work["hand"]  # most crossed pairs have like hands
    return _worm_keys(work, mate, keys) if work["kind"] == "worm wheel" and "kind" not in mate else keys


def _worm_keys(work: dict[str, Any], mate: dict[str, Any], keys: dict[str, Any]) -> dict[str, Any]:
    keys["kind"] = "helical"
    if "lead" in mate or "helix_angle" in mate:
        return keys
    wheel = _shape(work)
    keys.pop("lead", None)
    keys["helix_angle"] = _limited(90 - (wheel.beta_deg if wheel else 0.0))
    return keys


def _shape(values: dict[str, Any]) -> Work | None:
    try:
        return _built(values)
    except ValueError:
        return None


def _work(values: dict[str, Any], table: str, complaints: Complaints) -> Work | None:
    before = bool(complaints)
    for fits in (_goes_with_the_kind, _keys_are_whole, _goes_with_the_blank, _is_led, _leans_whole):
        if not fits(values, table, complaints):
            return None
    try:
        work = _built(values)
        _check_keys(work)
        gear_to_cut(work)
        sprocket_of(work)
    except ValueError as fault:
        named = (key for key in _BLAMED if key in values and key.replace("_", " ") in str(fault))
        key = next(named, "")
        complaints.add(WrongValue, (table, key) if key else (table,), str(fault))
        return None
    return None if before else work


#: Keys that may make a work impossible, as what is wrong with it names them.
_BLAMED = (
    "lead", "profile_shift", "thinning", "roller_diameter", "key_width", "minor_diameter", "form_diameter", "module",
)  # fmt: skip


def _goes_with_the_kind(values: dict[str, Any], table: str, complaints: Complaints) -> bool:
    """Whether nothing is given that this kind of work doesn't have."""
    kind = values["kind"]
    lean = next((key for key in ("helix_angle", "lead", "hand") if values.get(key)), None)
    hollow = next((key for key in THROAT_KEYS if key in values), None)
    if kind == "spur" and lean:
        key, message = lean, f'{quoted(lean)} is given, but the kind is "spur" ({{also}}). Keep one of the two'
    elif kind != "sprocket" and "roller_diameter" in values:
        key = "roller_diameter"
        message = f'"{key}" is given, but the kind is {quoted(kind)} ({{also}}). Only sprockets have one'
    elif hollow and kind != "worm wheel":
        key = hollow
        message = f'"{hollow}" is given, but the kind is {quoted(kind)} ({{also}}). Only worm wheels have a hollow'
    else:
        return True
    complaints.add(Disagreement, (table, key), message, (table, "kind"))
    return False


def _goes_with_the_blank(values: dict[str, Any], table: str, complaints: Complaints) -> bool:
    """Whether no hollow is given for a blank that has none."""
    plain = next((key for key in THROAT_KEYS[1:] if key in values), None)
    if not plain or values.get("blank") != "plain":
        return True
    message = f'"{plain}" is given, but the blank is plain ({{also}}). Keep one of the two'
    complaints.add(Disagreement, (table, plain), message, (table, "blank"))
    return False


def _is_led(values: dict[str, Any], table: str, complaints: Complaints) -> bool:
    """Whether teeth that are crowned, tapered or thinned are those of a gear or spline."""
    kind = values["kind"]
    led = next((key for key in ("crown", "taper") if values.get(key)), None)
    if led and kind in ("sprocket", "worm wheel"):
        key = led
        message = f'"{led}" is given, but the kind is {quoted(kind)} ({{also}}). Only gears and splines have one'
    elif kind == "sprocket" and "thinning" in values:
        key = "thinning"
        message = 'only gears and splines run with backlash, but the kind is "sprocket" ({also}). Leave it out'
    else:
        return True
    complaints.add(Disagreement, (table, key), message, (table, "kind"))
    return False


def _leans_whole(values: dict[str, Any], table: str, complaints: Complaints) -> bool:
    """Whether teeth that lean have both an angle or a lead, and a hand."""
    kind, hand = values["kind"], values.get("hand")
    lean = values.get("helix_angle") or values.get("lead")
    if kind == "helical" and not lean:
        key, message = "helix_angle", '"helix_angle" or "lead" is missing. Helical work has one of them, above 0'
    elif lean and not hand:
        key, message = "hand", '"hand" is missing. Write "right" or "left", as the teeth lean'
    elif hand and not lean:
        worm = "; a worm wheel's helix angle is the lead angle of its worm" if kind == "worm wheel" else ""
        key = "helix_angle"
        message = f'"helix_angle" or "lead" is missing. A hand goes with one of them, above 0{worm}'
    else:
        return True
    complaints.add(Missing, (table, key), message)
    return False


def _keys_are_whole(values: dict[str, Any], table: str, complaints: Complaints) -> bool:
    """Whether a straight-sided spline has what it takes, and nothing that it can't have; complains of what isn't."""
    given = next((key for key in SPLINE_KEYS if key in values), None)
    if given is None:
        return True
    if values["kind"] != "spline":
        message = f'"{given}" is given, but the kind is {quoted(values["kind"])} ({{also}}). Only splines have keys'
        complaints.add(Disagreement, (table, given), message, (table, "kind"))
        return False
    whole = True
    for key in ("key_width", "minor_diameter", "outside_diameter"):
        if key not in values:
            whole = False
            message = f'"{key}" is missing. Keys are told by their width and the diameters at their foot and over them'
            complaints.add(Missing, (table, key), message)
    for key in _NOT_OF_KEYS:
        if key in values:
            whole = False
            message = f'"{key}" is given, but the spline has straight-sided keys ({{also}}). Leave it out'
            complaints.add(Disagreement, (table, key), message, (table, given))
    return whole


def _check_keys(work: Work) -> None:
    """Raises `ValueError` for keys that no shaft can have, or that no hob can roll on the circle that is given."""
    keys = keys_of(work)
    if keys is None:
        return
    rolling, least = work.teeth * float(work.module_n), keys.least_rolling_diameter
    if rolling < least:
        raise ValueError(
            f"module is {float(work.module_n):.6g}: a hob of it rolls on {rolling:.6g} mm, and the sides of these keys "
            f"come out straight to their tops only from {least:.6g} mm up. Leave it out, or give one from "
            f"{least / work.teeth:.6g} up"
        )
    # As deep as the minor diameter its thread must still have a flat.
    straight_spline(keys, rolling_diameter=rolling)
    low, high = float(work.minor_diameter or 0), float(work.outside_diameter or 0)
    if work.form_diameter is not None and not low < work.form_diameter < high:
        raise ValueError(
            f"form diameter is {float(work.form_diameter):g} mm; it must lie between the minor diameter of {low:g} mm "
            f"and the outside of {high:g} mm"
        )


def check_throat(work: Work, hob: HobData, complaints: Complaints) -> None:
    """A hollow that the drawing gives must go with wheel and worm."""
    given = [key for key in THROAT_KEYS[1:] if getattr(work, key) is not None]
    try:
        drawn_throat(work, hob)
    except ValueError as fault:
        for key in given[:1]:
            named = next((key for key in given if key.replace("_", " ") in str(fault)), key)
            complaints.add(WrongValue, ("work", named), str(fault))


def _built(values: dict[str, Any]) -> Work:
    cosine = _cosine(values)
    return Work(
        kind=values["kind"],
        teeth=values["teeth"],
        module_n=_module_n(values, cosine),
        pressure_angle_deg=_pressure_angle(values, cosine),
        hand=Hand[values["hand"].upper()] if "hand" in values else None,
        helix_angle_deg=values.get("helix_angle") if values.get("hand") else None,
        lead=values.get("lead"),
        face_width=values.get("face_width"),
        quality=values.get("quality", 8),
        profile_shift=values.get("profile_shift", Fraction(0)),
        outside_diameter=values.get("outside_diameter"),
        thinning=values.get("thinning", Fraction(0)),
        roller_diameter=values.get("roller_diameter"),
        is_plain=values.get("blank") == "plain",
        throat_radius=values.get("throat_radius"),
        rim_diameter=values.get("rim_diameter"),
        bore=values.get("bore"),
        crown=values.get("crown", Fraction(0)),
        taper=values.get("taper", Fraction(0)),
        key_width=values.get("key_width"),
        minor_diameter=values.get("minor_diameter"),
        form_diameter=values.get("form_diameter"),
    )


def _cosine(values: dict[str, Any]) -> float | None:
    """Cosine of the helix angle, as far as it is known without the normal module; None for straight teeth."""
    if values.get("helix_angle"):
        return math.cos(math.radians(values["helix_angle"]))
    transverse = _transverse_module(values)
    if "lead" in values and transverse is not None:
        # tan β = π·m_t·z / L at the reference cylinder
        return math.cos(math.atan(math.pi * float(transverse) * values["teeth"] / float(values["lead"])))
    if "lead" in values:
        sine = math.pi * float(_module_n(values, None)) * values["teeth"] / float(values["lead"])
        return math.sqrt(1 - sine * sine) if sine < 1 else None
    return None


def _transverse_module(values: dict[str, Any]) -> Fraction | None:
    if "transverse_diametral_pitch" in values:
        return MM_PER_INCH / Fraction(values["transverse_diametral_pitch"])
    module: Fraction | None = values.get("transverse_module")
    return module


def _module_n(values: dict[str, Any], cosine: float | None) -> Fraction:
    """Normal module in mm; from a transverse one on a helix it holds `DECIMALS` decimals, else it is exact.

    A circular pitch is divided by π to forty decimals.
    """
    if "diametral_pitch" in values:
        return MM_PER_INCH / Fraction(values["diametral_pitch"])
    if "pitch" in values:
        return Fraction(values["pitch"]) / PI
    transverse = _transverse_module(values)
    if transverse is None and "module" not in values and "key_width" in values:
        return Fraction(Fraction(values["outside_diameter"]) / values["teeth"])
    if transverse is None:
        return Fraction(values["module"])
    return Fraction(transverse) if cosine is None else _limited(float(transverse) * cosine)


def _pressure_angle(values: dict[str, Any], cosine: float | None) -> Fraction:
    """Normal pressure angle in degrees; from a transverse one on a helix it holds `DECIMALS` decimals."""
    if "transverse_pressure_angle" not in values:
        return Fraction(values.get("pressure_angle", 20))
    transverse = Fraction(values["transverse_pressure_angle"])
    if cosine is None:
        return transverse
    return _limited(math.degrees(math.atan(math.tan(math.radians(transverse)) * cosine)))


def _limited(value: float) -> Fraction:
    return Fraction(f"{value:.{DECIMALS}f}")


def hob_data_of(values: dict[str, Any], work: Work) -> HobData:
    """The hob of its table, for this work."""
    return HobData(
        module_n=_module_n(values, None),
        starts=values.get("starts", 1),
        hand=Hand[values.get("hand", "right").upper()],
        lead_angle_deg=values.get("lead_angle"),
        diameter=values.get("diameter"),
        outside_diameter=values.get("outside_diameter"),
        gashes=values.get("gashes"),
        pressure_angle_deg=values.get("pressure_angle", work.pressure_angle_deg),
        rack=values.get("rack", "A"),
        addendum=values.get("addendum", _height_for_keys(work)),
        dedendum=values.get("dedendum"),
        tip_radius=values.get("tip_radius"),
        length=values.get("length"),
        name=values.get("name", ""),
        gash_index=tuple(values.get("gash_index", ())),
        relief_angle_deg=values.get("relief_angle", _USUAL_RELIEF_DEG),
        thread_error=values.get("thread_error", Fraction(0)),
    )


#: Angle at which the tips of a hob fall away behind its faces, where its file doesn't give it (common practice).
_USUAL_RELIEF_DEG = Fraction(10)


def _height_for_keys(work: Work) -> Fraction | None:
    """Height in modules of the tips of a hob for these keys over the circle that it rolls on; None without keys."""
    if not work.has_keys or work.minor_diameter is None:
        return None
    return Fraction(work.teeth - work.minor_diameter / work.module_n) / 2
