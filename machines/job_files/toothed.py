"""Work that is toothed already, as its job has it: worn and cut again, gashed, or cut before the gears were out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from handlead.kinematics.work.requirement import Work
from handlead.machines.job_keys.toothed_keys import CLEANED, FLANKS
from handlead.machines.tables.reading import Complaints
from handlead.machines.toml.errors import Disagreement

#: How truly the hob is set into a space by feel, marking and a dial, in mm along the reference circle (own judgement).
USUAL_WITHIN = Fraction(1, 20)


@dataclass(frozen=True)
class Toothed:
    """A blank with teeth on it, all lengths in mm.

    `stock` is what is left to cut off each flank where it isn't worn, normal to it; None: from the last [[measured]].
    `worn` is how deep the flank that looks `worn_flank` is worn. `clean` says which flanks the new cut must take in.
    `lead` is that of the teeth there, `set_within` how truly the hob is set into their spaces, along the reference
    circle.
    """

    because: str
    stock: Fraction | None = None
    worn: Fraction = Fraction(0)
    worn_flank: str | None = None
    clean: str = "both"
    lead: Fraction | None = None
    set_within: Fraction = USUAL_WITHIN


def toothed_of(values: Mapping[str, Any], work: Work, complaints: Complaints) -> Toothed | None:
    """What [toothed] says; None where the job has none. What doesn't go together is complained of."""
    given = values.get("toothed")
    if given is None:
        return None
    if work.kind not in ("spur", "helical"):
        message = 'only spur and helical gears are taken up so ({also}). Leave it out'
        complaints.add(Disagreement, ("toothed",), message, ("work", "kind"))
    if ("worn" in given) != ("worn_flank" in given):
        message = f'"worn" and "worn_flank" go together. Write both: worn = 0.2, worn_flank = "{FLANKS[0]}"'
        key = "worn" if "worn" in given else "worn_flank"
        complaints.add(Disagreement, ("toothed", key), message)
    if "lead" in given and not work.is_helical:
        message = "straight teeth have no lead ({also}). Leave it out"
        complaints.add(Disagreement, ("toothed", "lead"), message, ("work", "kind"))
    return Toothed(
        because=given["because"],
        stock=given.get("stock"),
        worn=given.get("worn", Fraction(0)),
        worn_flank=given.get("worn_flank"),
        clean=given.get("clean", CLEANED[0]),
        lead=given.get("lead"),
        set_within=given.get("set_within", USUAL_WITHIN),
    )


def toothed_values(toothed: Toothed) -> dict[str, Any]:
    """The same by the keys of [toothed]."""
    return {
        "because": toothed.because,
        "stock": toothed.stock,
        "worn": toothed.worn or None,
        "worn_flank": toothed.worn_flank,
        "clean": None if toothed.clean == CLEANED[0] else toothed.clean,
        "lead": toothed.lead,
        "set_within": None if toothed.set_within == USUAL_WITHIN else toothed.set_within,
    }
