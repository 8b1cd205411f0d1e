"""Second cuts made on the simulated blank, beside what is reckoned from the moves."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from handlead.machines.setups.findings import Finding
from handlead.machines.setups.imperfections import ripples_of
from handlead.machines.setups.moves import Missed, Moved

from .witness import setting_of

if TYPE_CHECKING:
    from handlead.kinematics.witness.second_cut import SecondCut

#: Reckoned and measured misses that differ by more than this part of a pitch don't agree. Own choice: twenty
#: times what measuring a light cut is out by.
_AGREE = 0.005


@dataclass(frozen=True)
class CutAgain:
    """A later cut on the blank: `missed` as reckoned, `measured` from the fields, None where no spaces can be told."""

    missed: Missed
    measured: SecondCut | None

    def as_json(self) -> dict[str, Any]:
        """What is added to its entry in the `register` object of a proof."""
        found = self.measured
        return {
            "measured_miss_pitch_low": None if found is None else found.low,
            "measured_miss_pitch_high": None if found is None else found.high,
        }


def cut_again(moved: Moved) -> tuple[CutAgain, ...]:
    """Every later cut along the work's axis whose miss can be reckoned, made on the blank and measured.

    Raises `NotCut` where the hob's size isn't known.
    """
    return tuple(
        CutAgain(missed, _measured(moved, missed)) for missed in moved.missed if missed.low is not None
    )


def _measured(moved: Moved, missed: Missed) -> SecondCut | None:
    from handlead.kinematics.witness.second_cut import measure_second_cut

    case = moved.case
    assert moved.first_cut is not None
    return measure_second_cut(
        moved.cutting(moved.first_cut),
        moved.cutting(missed.number - 1),
        setting_of(case),
        moved.common_heights(missed),
        ripples_of(case),
    )


def with_measured(register: dict[str, Any], cuts: tuple[CutAgain, ...]) -> dict[str, Any]:
    """The `register` object of a proof with what was measured beside what is reckoned of each later cut."""
    measured = {cut.missed.number: cut.as_json() for cut in cuts}
    return register | {"cuts": [told | measured.get(told["move"], {}) for told in register["cuts"]]}


def compare_cuts(cuts: tuple[CutAgain, ...]) -> Iterator[Finding]:
    """What stands on the blank after each later cut, and whether it is what was reckoned."""
    for cut in cuts:
        missed, found = cut.missed, cut.measured
        which = f"Move {missed.number}, {missed.name},"
        assert missed.low is not None
        assert missed.high is not None
        if found is None:
            yield Finding(
                "second-cut-not-measured",
                "note",
                f"{which} leaves no spaces on the simulated blank that can be told: what is said of it is reckoned "
                "from the moves alone.",
            )
        elif _disagree(found, missed):
            yield Finding(
                "witnesses-disagree",
                "error",
                f"{which} misses the spaces of the first cut by {float(missed.low):.4f} of a pitch as reckoned, by "
                f"{found.low:.4f} on the simulated blank.",
                "Trust neither: let the hob touch lightly at one place, and look where it meets the first cut.",
            )
        else:
            yield Finding(
                "second-cut-measured", "note", f"{which} {_stands(found)} on the simulated blank too."
            )


def _disagree(found: SecondCut, missed: Missed) -> bool:
    """Whether they differ at the lower end, whole pitches aside, or in what the cuts part by on the way up."""
    assert missed.low is not None
    assert missed.high is not None
    off, drift = found.low - float(missed.low), found.high - found.low - float(missed.high - missed.low)
    return abs(off - round(off)) > _AGREE or abs(drift) > _AGREE


def _stands(found: SecondCut) -> str:
    if max(abs(found.low), abs(found.high)) < _AGREE:
        return "falls into the spaces of the first cut"
    low = _way(found.low)
    if abs(found.high - found.low) < _AGREE:
        return f"leaves its spaces {low} of the first cut's"
    return f"leaves its spaces {low} of the first cut's at the lower end and {_way(found.high)} at the upper"


def _way(pitches: float) -> str:
    way = "counter-clockwise" if pitches > 0 else "clockwise"
    return f"{abs(pitches):.4f} of a pitch {way}"
