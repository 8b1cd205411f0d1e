"""The machine as geometry and exact numbers: no files, no pictures, no clock.

The names below are loaded when they are first asked for.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from .frame.door import opener

if TYPE_CHECKING:
    from handlead.kinematics.transfer.constants import Constants, find_constants

    from .brackets.bracket import Bracket
    from .brackets.drawer import Drawer
    from .cutting.field import cut_field, scratch_cut
    from .cutting.hob import Hob
    from .cutting.setting import Grid, Setting
    from .flank_cutting.flank_passages import FlankCut
    from .flank_cutting.flanks import cut_flank
    from .frame.blank import Blank, Field, FlankMap
    from .frame.motion import Motion, Position, Rates
    from .frame.words import Feed, Hand, Sense
    from .gauging.field import Gauged, gauge
    from .gauging.flanks import gauge_flank
    from .gears.gear import Gear, lead
    from .gears.tolerance import flank_tolerances
    from .law.outcome import Outcome, predict
    from .links.links import (
        Belt,
        BevelGears,
        Brake,
        Chain,
        Clutch,
        Differential,
        GearPair,
        Rack,
        Screw,
        Selector,
        WormGear,
    )
    from .links.mounted import ChangeGears, Mounted
    from .search.change_gears import nearest_sets
    from .train.path import follow
    from .train.setup import Change, Setup
    from .train.solution import Solution, hob_rates, solve
    from .train.train import Drive, End, Train
    from .work.requirement import HobData, Work, gear_of, swivel_deg, table_per_hob

__all__ = [
    "Belt",
    "BevelGears",
    "Blank",
    "Bracket",
    "Brake",
    "Chain",
    "Change",
    "ChangeGears",
    "Clutch",
    "Constants",
    "Differential",
    "Drawer",
    "Drive",
    "End",
    "Feed",
    "Field",
    "FlankCut",
    "FlankMap",
    "Gauged",
    "Gear",
    "GearPair",
    "Grid",
    "Hand",
    "Hob",
    "HobData",
    "Motion",
    "Mounted",
    "Outcome",
    "Position",
    "Rack",
    "Rates",
    "Screw",
    "Selector",
    "Sense",
    "Setting",
    "Setup",
    "Solution",
    "Train",
    "Work",
    "WormGear",
    "cut_field",
    "cut_flank",
    "find_constants",
    "flank_tolerances",
    "follow",
    "gauge",
    "gauge_flank",
    "gear_of",
    "hob_rates",
    "lead",
    "nearest_sets",
    "predict",
    "scratch_cut",
    "solve",
    "swivel_deg",
    "table_per_hob",
]

#: The module that each name comes from.
_HOMES = {
    ".frame.blank": (
        "Blank",
        "Field",
        "FlankMap",
    ),
    ".brackets.bracket": ("Bracket",),
    ".search.change_gears": ("nearest_sets",),
    ".transfer.constants": (
        "Constants",
        "find_constants",
    ),
    ".cutting.field": (
        "cut_field",
        "scratch_cut",
    ),
    ".brackets.drawer": ("Drawer",),
    ".flank_cutting.flanks": ("cut_flank",),
    ".gauging.flanks": ("gauge_flank",),
    ".flank_cutting.flank_passages": ("FlankCut",),
    ".gauging.field": (
        "Gauged",
        "gauge",
    ),
    ".gears.gear": (
        "Gear",
        "lead",
    ),
    ".cutting.hob": ("Hob",),
    ".links.links": (
        "Belt",
        "BevelGears",
        "Brake",
        "Chain",
        "Clutch",
        "Differential",
        "GearPair",
        "Rack",
        "Screw",
        "Selector",
        "WormGear",
    ),
    ".links.mounted": ("ChangeGears", "Mounted"),
    ".frame.motion": (
        "Motion",
        "Position",
        "Rates",
    ),
    ".law.outcome": (
        "Outcome",
        "predict",
    ),
    ".work.requirement": (
        "HobData",
        "Work",
        "gear_of",
        "swivel_deg",
        "table_per_hob",
    ),
    ".cutting.setting": (
        "Grid",
        "Setting",
    ),
    ".train.setup": (
        "Change",
        "Setup",
    ),
    ".train.solution": (
        "Solution",
        "hob_rates",
        "solve",
    ),
    ".gears.tolerance": ("flank_tolerances",),
    ".train.path": ("follow",),
    ".train.train": (
        "Drive",
        "End",
        "Train",
    ),
    ".frame.words": (
        "Feed",
        "Hand",
        "Sense",
    ),
}

if not TYPE_CHECKING:  # a checker that saw this would take any misspelt name for one that is there
    __getattr__ = opener(__name__, _HOMES)


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])
