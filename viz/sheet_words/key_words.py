"""The words of a sheet for straight-sided keys: what the drawing has, what a hob leaves, what is measured."""

from __future__ import annotations

from handlead.kinematics.work.requirement import Work
from handlead.machines.measuring.part_sizes import part_sizes
from handlead.machines.setups.case import Case, face_width_mm
from handlead.machines.toml.units import dial, length

Rows = list[tuple[str, str]]


def keys_text(work: Work, units: str) -> str:
    """The keys as they are spoken of: minor by outside diameter by width."""
    sizes = (work.minor_diameter, work.outside_diameter, work.key_width)
    shown = (length(float(size), units, 3 if units == "in" else 2) for size in sizes if size is not None)
    return " × ".join(one.removesuffix(f" {units}") for one in shown) + f" {units}"


def key_rows(case: Case) -> Rows:
    """The drawing of a straight-sided spline, and the sizes that follow from it."""
    work, units = case.job.work, case.job.units
    if work.key_width is None or work.minor_diameter is None or work.outside_diameter is None:
        return []
    sizes = part_sizes(case)
    taken = "" if work.face_width else " (taken)"
    rows: Rows = [
        ("keys  z", str(work.teeth)),
        ("kind", "spline, straight-sided"),
        ("outside diameter  d_a", dial(float(work.outside_diameter), units)),
        ("minor diameter", dial(float(work.minor_diameter), units)),
        ("face width  b", dial(face_width_mm(work), units) + taken),
        ("micrometer over a key", dial(float(work.key_width), units)),
        ("hob rolls on", length(work.teeth * float(work.module_n), units)),
    ]
    if sizes.keys_straight_from is not None:
        rows.append(("sides straight down to", dial(sizes.keys_straight_from, units)))
    if sizes.depth is not None:
        rows.append(("whole depth  h", dial(sizes.depth, units)))
    return rows
