"""The machine as geometry and exact numbers: no files, no pictures, no clock.

The names below are loaded when they are first asked for.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from .door import opener

if TYPE_CHECKING:
    from .blank import Blank, Field, FlankMap
    from .bracket import Bracket
    from .change_gears import nearest_sets
    from .constants import Constants, find_constants
    from .cutting import cut_field, scratch_cut
    from .drawer import Drawer
    from .flank_cutting import cut_flank
    from .flank_gauging import gauge_flank
    from .flank_passages import FlankCut
    from .gauging import Gauged, gauge
    from .gear import Gear, lead
    from .hob import Hob
    from .links import (
        Belt,
        BevelGears,
        Brake,
        Chain,
        ChangeGears,
        Clutch,
        Differential,
        GearPair,
        Mounted,
        Rack,
        Screw,
        Selector,
        WormGear,
    )
    from .motion import Motion, Position, Rates
    from .outcome import Outcome, predict
    from .requirement import HobData, Work, gear_of, swivel_deg, table_per_hob
    from .setting import Grid, Setting
    from .solution import Solution, hob_rates, solve
    from .tolerance import flank_tolerances
    from .tracing import follow
    from .train import Drive, End, Train
    from .words import Feed, Hand, Sense

__all__ = [
    "Belt",
    "BevelGears",
    "Blank",
    "Bracket",
    "Brake",
    "Chain",
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
    ".blank": (
        "Blank",
        "Field",
        "FlankMap",
    ),
    ".bracket": ("Bracket",),
    ".change_gears": ("nearest_sets",),
    ".constants": (
        "Constants",
        "find_constants",
    ),
    ".cutting": (
        "cut_field",
        "scratch_cut",
    ),
    ".drawer": ("Drawer",),
    ".flank_cutting": ("cut_flank",),
    ".flank_gauging": ("gauge_flank",),
    ".flank_passages": ("FlankCut",),
    ".gauging": (
        "Gauged",
        "gauge",
    ),
    ".gear": (
        "Gear",
        "lead",
    ),
    ".hob": ("Hob",),
    ".links": (
        "Belt",
        "BevelGears",
        "Brake",
        "Chain",
        "ChangeGears",
        "Clutch",
        "Differential",
        "GearPair",
        "Mounted",
        "Rack",
        "Screw",
        "Selector",
        "WormGear",
    ),
    ".motion": (
        "Motion",
        "Position",
        "Rates",
    ),
    ".outcome": (
        "Outcome",
        "predict",
    ),
    ".requirement": (
        "HobData",
        "Work",
        "gear_of",
        "swivel_deg",
        "table_per_hob",
    ),
    ".setting": (
        "Grid",
        "Setting",
    ),
    ".solution": (
        "Solution",
        "hob_rates",
        "solve",
    ),
    ".tolerance": ("flank_tolerances",),
    ".tracing": ("follow",),
    ".train": (
        "Drive",
        "End",
        "Train",
    ),
    ".words": (
        "Feed",
        "Hand",
        "Sense",
    ),
}

if not TYPE_CHECKING:  # a checker that saw this would take any misspelt name for one that is there
    __getattr__ = opener(__name__, _HOMES)


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])
