"""How sure a set-up is: what is loose in the machine drawn many times, through the exact train to the flanks.

Rates are exact; what is loose tells to the first order. Draws go in pieces of so many, each with a seed of its own, so
that the answer is the same whoever does which piece.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt
from handlead.kinematics.frame.frozen import freeze
from handlead.machines.blanks.flanks import Flanks
from handlead.machines.job_files.job_file import Job
from handlead.machines.setups.case import Case, cuts_wanted, helix_slope_um, no_slope_because
from handlead.machines.shop.crew import Crew, Piece, Result, each_done
from handlead.machines.toml.errors import HandleadError, NoSetup

from .draws import NO_CLASS, Draws, Floats, Model, classes_of, draw, traced_teeth, variances
from .flank_draws import draw_flanks
from .passages import flank_moments
from .waves import CutShape, LooseSource, sources

#: Draws in a piece of work, and those through the cut flank, which take a thousand times as long.
_PIECE, _FLANK_PIECE = 500, 4

#: What is told of a gear, in the order of the report; the class of each goes by these tolerances.
QUANTITIES: Mapping[str, tuple[str, ...]] = {
    "helix": ("helix_slope",),
    "profile": ("profile_slope",),
    "pitch": ("single_pitch", "cumulative_pitch"),
    "runout": ("runout",),
}


#: Told besides where a slide's way may be bowed; of waves over the face it says nothing.
_BOWED: Mapping[str, tuple[str, ...]] = {"helix form": ("helix_total", "helix_form")}


@dataclass(frozen=True)
class Contribution:
    """What one source adds to a quantity's variance: in µm², and as a share of all."""

    source: LooseSource
    variance: float
    share: float


@dataclass(frozen=True)
class Sureness:
    """One quantity: how many draws of all came to each class, the finest first, and what contributes, most first.

    `variance` is exact for the linear part, `drawn_variance` the same from the draws.
    """

    name: str
    classes: tuple[tuple[int, int], ...]
    contributions: tuple[Contribution, ...]
    variance: float
    drawn_variance: float
    median_um: float
    most_um: float

    @property
    def draws(self) -> int:
        """How many draws there were."""
        return sum(count for _, count in self.classes)

    def within(self, quality: int) -> float:
        """The share of draws that come to this class or a finer one."""
        return sum(count for one, count in self.classes if one <= quality) / self.draws

    def as_json(self) -> dict[str, Any]:
        """The quantity as plain values."""
        return {
            "quantity": self.name,
            "classes": [
                {"class": one if one < NO_CLASS else None, "draws": count} for one, count in self.classes
            ],
            "median_um": self.median_um,
            "in_95_of_100_um": self.most_um,
            "variance_um2": self.variance,
            "drawn_variance_um2": self.drawn_variance,
            "from": [
                {
                    "source": one.source.name,
                    "comes_from": one.source.comes_from,
                    "variance_um2": one.variance,
                    "share": one.share,
                }
                for one in self.contributions
            ],
        }


@dataclass(frozen=True, repr=False)
class HowSure:
    """A set-up drawn so many times: each quantity, all of them together, and how thick the teeth come.

    `on_flank` holds the classes of the draws that were cut in simulation too, by quantity; empty where none were.
    """

    job: Job
    model: Model
    seed: int
    quantities: tuple[Sureness, ...]
    together: tuple[tuple[int, int], ...]
    thickness: Sureness
    on_flank: Mapping[str, tuple[tuple[int, int], ...]]

    def __post_init__(self) -> None:
        freeze(self, "on_flank")

    def __repr__(self) -> str:
        return f"<HowSure of {self.job.title!r}: {self.draws} draws, {len(self.quantities)} quantities>"

    @property
    def draws(self) -> int:
        """How many draws there were."""
        return sum(count for _, count in self.together)

    def within(self, quality: int) -> float:
        """The share of draws in which all quantities come to this class or a finer one."""
        return sum(count for one, count in self.together if one <= quality) / self.draws

    @cached_property
    def worst(self) -> Sureness:
        """The quantity that keeps the class down: the one that is within the drawing's class least often."""
        asked = self.job.work.quality
        return min(self.quantities, key=lambda one: (one.within(asked), one.within(asked - 1), -one.most_um))

    def as_json(self) -> dict[str, Any]:
        """The study as one JSON object."""
        return {
            "job": self.job.path,
            "machine": self.job.machine.name,
            "draws": self.draws,
            "seed": self.seed,
            "class_asked_for": self.job.work.quality,
            "share_within": self.within(self.job.work.quality),
            "classes": _plain(self.together),
            "quantities": [one.as_json() for one in self.quantities],
            "thickness": {**self.thickness.as_json(), "classes": None},
            "on_the_cut_flank": {name: _plain(each) for name, each in self.on_flank.items()} or None,
        }


def _plain(classes: Sequence[tuple[int, int]]) -> list[dict[str, Any]]:
    return [{"class": one if one < NO_CLASS else None, "draws": count} for one, count in classes]


Progress = Callable[[float], None]


def study(
    job: Job, draws: int = 10_000, flank_draws: int = 0, *, seed: int = 1, executor: Executor | Crew | None = None,
    progress: Progress | None = None,
) -> HowSure:  # fmt: skip
    """Draw what is loose in the job's machine, and tell the shares of classes and what contributes most.

    `flank_draws` are cut in simulation and measured besides. Raises `NoSetup` for a job that is still to be
    planned, `NotCut` for work without involute flanks, `HandleadError` for a machine whose file tells nothing loose,
    `ValueError` for numbers of draws that can't be.
    """
    if draws < 2 or flank_draws < 0:
        raise ValueError(
            f"draws are {draws}, on the flank {flank_draws}; give 2 at least, and on the flank 0"
        )
    if job.setup is None:
        raise NoSetup(f"{job.path}: it has no [setup] yet; handlead plan --write puts one in")
    case = Case.of(job)
    model = model_of(case)
    pieces = [
        (model, seed, number, min(_PIECE, draws - at)) for number, at in enumerate(range(0, draws, _PIECE))
    ]
    flanks = [
        (case, model, seed, number, min(_FLANK_PIECE, flank_draws - at))
        for number, at in enumerate(range(0, flank_draws, _FLANK_PIECE))
    ]
    drawn = _in_order(draw, pieces, executor, None if flanks else progress)
    cut = _in_order(draw_flanks, flanks, executor, progress)
    on_flank = {
        name: _counted(np.array([each for classes in cut for each in classes[name]]))
        for name in (*QUANTITIES, "together")
        if flanks
    }
    return _told(job, model, seed, drawn, on_flank)


def _in_order(
    call: Callable[[Piece], Result], pieces: Sequence[Piece], executor: Executor | Crew | None,
    progress: Progress | None,
) -> list[Result]:  # fmt: skip
    """What comes of all pieces, in their order."""
    found: dict[int, Result] = {}
    for number, one in each_done(call, pieces, executor):
        found[number] = one
        if progress:
            progress(len(found) / len(pieces))
    return [found[number] for number in range(len(pieces))]


def model_of(case: Case) -> Model:
    """The gear of a set-up and what is loose for it."""
    machine = case.job.machine
    if not machine.looseness:
        raise HandleadError(
            f"{machine.path}: it says nothing of what is loose in {machine.name}. Write a [[looseness]] for each thing "
            "that is known only within bounds"
        )
    flanks = Flanks.of(case)
    if case.outcome is None or case.rates is None:
        raise HandleadError(f"{case.job.path}: this set-up cuts no gear: handlead prove says why")
    other = no_slope_because(case.job.work, case.outcome)
    if other and not cuts_wanted(case.job.work, case.outcome):
        raise HandleadError(
            f"{case.job.path}: this set-up cuts another gear than the drawing's ({other}), so there is nothing to be "
            "sure of: handlead prove says what to change"
        )
    shape = CutShape.of(flanks.gear, case.rates, flanks.setting.hob)
    off = math.radians(case.outcome.swivel_error_deg or 0.0)
    return Model(
        flanks.gear, shape, tuple(sources(case, shape)), helix_slope_um(case.job.work, case.outcome), off,
        flank_moments(flanks, traced_teeth(shape.teeth)),
    )  # fmt: skip


# ---------------------------------------------------------------- telling


def _told(
    job: Job,
    model: Model,
    seed: int,
    drawn: Sequence[Draws],
    on_flank: Mapping[str, tuple[tuple[int, int], ...]],
) -> HowSure:
    deviations = {
        name: np.concatenate([one.deviations[name] for one in drawn]) for name in drawn[0].deviations
    }
    linear = {name: np.concatenate([one.linear[name] for one in drawn]) for name in drawn[0].linear}
    told, classes = [], []
    bowed = _BOWED if any(one.bows for one in model.sources) else {}
    for name, parts in {**QUANTITIES, **bowed}.items():
        of_all = np.maximum.reduce([classes_of(model.gear, part, deviations[part]) for part in parts])
        classes.append(of_all)
        told.append(_sureness(model, name, of_all, deviations[parts[-1]], linear[name]))
    thick = linear["thickness"]
    thickness = _sureness(model, "thickness", np.zeros(len(thick), int), np.abs(thick), thick)
    return HowSure(job, model, seed, tuple(told), _counted(np.maximum.reduce(classes)), thickness, on_flank)


def _sureness(
    model: Model, name: str, classes: npt.NDArray[np.int64], sizes: Floats, linear: Floats
) -> Sureness:
    each = variances(model, name)
    total = sum(each)
    contributions = sorted(
        (
            Contribution(source, variance, variance / total)
            for source, variance in zip(model.sources, each, strict=True)
            if variance > 1e-12 * total
        ),
        key=lambda one: -one.variance,
    )
    return Sureness(
        name, _counted(classes), tuple(contributions), total, float(linear.var()), float(np.median(sizes)),
        float(np.quantile(sizes, 0.95)),
    )  # fmt: skip


def _counted(classes: npt.NDArray[np.int64]) -> tuple[tuple[int, int], ...]:
    found, counts = np.unique(classes, return_counts=True)
    return tuple((int(one), int(count)) for one, count in zip(found, counts, strict=True))
