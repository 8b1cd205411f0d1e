"""Work and mate rolled together in simulation, and what is to be said of how they run."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from handlead.kinematics.gears.pair import (
    distance_with_backlash,
    distance_without_backlash,
    usual_least_backlash,
)
from handlead.kinematics.work.requirement import gear_of, gear_to_cut
from handlead.machines.job_files.job_file import Job
from handlead.machines.judging_teeth.pair_checks import judge_pair
from handlead.machines.setups.findings import Finding, worst_first
from handlead.machines.toml.errors import HandleadError

from .judging import not_rolled, running, separately, told_mate
from .members import RolledMember, as_cut, as_drawn
from .words import DRIVES, where

if TYPE_CHECKING:
    from handlead.kinematics.rolling.bearing import Bearing
    from handlead.kinematics.rolling.roll import Rolled
    from handlead.kinematics.rolling.waves import ErrorWave

#: How its parts of a turn come back, by the names of `waves`.
_WHOSE = {"first": "work", "second": "mate", "mesh": "teeth", "other": "other"}


class NotRolled(HandleadError, ValueError):
    """Two jobs that aren't a pair for this; the message says why."""


@dataclass(frozen=True, repr=False)
class PairRolled:
    """Work and mate rolled together; `rolled` is None where they can't be, and a finding says why.

    `distance_from` says where the centre distance comes from: "asked", "drawing", or which backlash it is for, "least
    backlash" where the drawing asks for one, else "usual backlash".
    """

    job: Job
    mate: Job | None
    members: tuple[RolledMember, RolledMember]
    distance: float | None
    distance_from: str
    film: float
    rolled: Rolled | None
    findings: tuple[Finding, ...]

    def __repr__(self) -> str:
        return f"<PairRolled of {self.job.title!r}: {self.verdict}, {len(self.findings)} findings>"

    @property
    def runs(self) -> bool:
        """Whether nothing found is an error."""
        return not any(finding.severity == "error" for finding in self.findings)

    @property
    def verdict(self) -> str:
        """The verdict in words."""
        return "run together" if self.runs else "don't run together"

    def waves(self, side: int) -> tuple[ErrorWave, ...]:
        """What comes back in the transmission error of one side."""
        from handlead.kinematics.rolling.waves import waves

        if self.rolled is None:
            return ()
        teeth = self.rolled.first.gear.teeth, self.rolled.second.gear.teeth
        return waves(1000 * self.rolled.sides[side].ahead, teeth)

    def bearing(self, side: int) -> Bearing | None:
        """Where one side bears, through a film of blue; None where nothing was rolled."""
        from handlead.kinematics.rolling.bearing import bearing

        return None if self.rolled is None else bearing(self.rolled.sides[side], self.film)

    def play(self) -> tuple[float, float] | None:
        """Least and most backlash over the cycle in mm, normal to the flanks; None where it isn't known."""
        import numpy as np

        if self.rolled is None or not np.isfinite(self.rolled.play).any():
            return None
        return float(np.nanmin(self.rolled.play)), float(np.nanmax(self.rolled.play))

    def as_json(self) -> dict[str, Any]:
        """The answer as one JSON object: lengths in mm, deviations in µm, shares of 1."""
        play = self.play()
        return {
            "job": self.job.path,
            "mate": self.mate.path if self.mate else None,
            "verdict": self.verdict,
            "centre_distance_mm": self.distance,
            "centre_distance_from": self.distance_from,
            "blue_um": self.film * 1000,
            "work": _member_json(self.members[0]),
            "mate_gear": _member_json(self.members[1]),
            "backlash_mm": None if play is None else {"least": play[0], "most": play[1]},
            "drives": [] if self.rolled is None else [self._drive_json(side) for side in DRIVES],
            "findings": [finding.as_json() for finding in self.findings],
            "errors": [],
        }

    def _drive_json(self, side: int) -> dict[str, Any]:
        assert self.rolled is not None
        found, error = self.bearing(side), self.rolled.sides[side].error_um
        assert found is not None
        return {
            "work_turns": DRIVES[side],
            "transmission_error_um": None if math.isnan(error) else error,
            "out_of_touch": self.rolled.sides[side].never_touching,
            "waves": [_wave_json(wave) for wave in self.waves(side)],
            "bearing": {
                "face": found.length,
                "height": found.height,
                "area": found.area,
                "thirds": dict(zip(("lower", "middle", "upper"), found.thirds, strict=True)),
                "where": where(found),
            },
        }


def _wave_json(wave: ErrorWave) -> dict[str, Any]:
    return {
        "of": _WHOSE[wave.of],
        "per_work_turn": float(wave.per_first),
        "per_mate_turn": float(wave.per_second),
        "um": wave.um,
    }


def _member_json(member: RolledMember) -> dict[str, Any]:
    return {
        "as": "drawn" if member.found is None and member.gear is not None else "cut",
        "teeth": member.teeth,
        "hand": member.hand,
        "lead_mm": member.work.lead_mm if member.found is None else member.found.lead_mm,
        "lean_um": member.lean_um,
    }


def roll_pair(
    job: Job, mate: Job | None = None, *, distance: Fraction | None = None, film: float | None = None
) -> PairRolled:
    """Cut both members in simulation and roll them; without a mate's job, on the drawing's own mate, free of error.

    `distance` is the centre distance in mm, `film` the thickness of the blue. Raises `NotRolled` for what is no
    pair of gears on parallel shafts, `NoSetup` and `FileFault` for jobs without a set-up.
    """
    from handlead.kinematics.rolling.bearing import FILM
    from handlead.kinematics.rolling.roll import roll

    film = FILM if film is None else film
    pair = _as_a_pair(job, mate)
    centres, whence = _distance(pair, mate, distance)
    judged = list(
        judge_pair(
            replace(pair, centre_distance=None if centres is None else Fraction(centres))
            if not whence.endswith("backlash")
            else pair
        )
    )
    if any(finding.severity == "error" for finding in judged) or centres is None:
        drawn = RolledMember(pair.work), RolledMember(pair.mate)  # type: ignore[arg-type]
        return PairRolled(job, mate, drawn, centres, whence, film, None, worst_first(judged))
    assert pair.mate is not None
    members = as_cut(job), as_cut(mate) if mate else as_drawn(pair.mate)
    found = [*judged, *told_mate(job, mate), *separately(members)]
    rolled: Rolled | None = None
    if not any(finding.code == "not-rolled" for finding in found):
        assert members[0].gear is not None and members[1].gear is not None
        try:
            rolled = roll(members[0].gear, members[1].gear, centres)
        except ValueError as why:
            found.append(not_rolled(f"they can't be brought together: {why}"))
    result = PairRolled(job, mate, members, centres, whence, film, rolled, ())
    return replace(result, findings=worst_first([*found, *running(result)]))


def _as_a_pair(job: Job, mate: Job | None) -> Job:
    """The job with the mate that it is rolled with. Raises `NotRolled`."""
    pair = job if mate is None else replace(job, mate=mate.work)
    if pair.mate is None:
        raise NotRolled(f"{job.path}: no mate: name the mate's job as well, or describe it under [mate]")
    for name, work in ((job.path, pair.work), (mate.path if mate else f"{job.path}: [mate]", pair.mate)):
        if work.kind not in ("spur", "helical"):
            raise NotRolled(f"{name}: a {work.kind} isn't rolled; only spur and helical gears are")
    if job.crossing_angle_deg:
        raise NotRolled(
            f"{job.path}: the shafts cross at {float(job.crossing_angle_deg):g}°: such a pair touches at a point, "
            "and only pairs on parallel shafts are rolled; prove tells of its angles"
        )
    return pair


def _distance(pair: Job, mate: Job | None, asked: Fraction | None) -> tuple[float | None, str]:
    """The centre distance and where it comes from; None where the drawn teeth have none."""
    if asked is not None:
        return float(asked), "asked"
    given = pair.centre_distance or (mate.centre_distance if mate else None)
    if given is not None:
        return float(given), "drawing"
    assert pair.mate is not None
    try:
        if pair.work.thinning or pair.mate.thinning:
            return distance_without_backlash(gear_of(pair.work), gear_of(pair.mate)), "drawing"
        first, second = gear_to_cut(pair.work), gear_to_cut(pair.mate)
        asked = pair.least_backlash
        least = usual_least_backlash(distance_without_backlash(first, second), first.module_n)
        whence = "usual backlash" if asked is None else "least backlash"
        return distance_with_backlash(first, second, least if asked is None else float(asked)), whence
    except ValueError:
        return None, "drawing"
