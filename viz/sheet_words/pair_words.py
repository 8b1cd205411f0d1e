"""What a sheet says of the pair: how work and mate stand and run together."""

from __future__ import annotations

from collections.abc import Iterator

from handlead.machines.judging_teeth.pair_checks import crossed_sizes, pair_sizes
from handlead.machines.setups.case import Case
from handlead.machines.toml.units import dial, length


def with_mate(case: Case) -> Iterator[tuple[str, str]]:
    """Rows for the drawing's box: bore, centres, working angle and backlash, or how the shafts cross."""
    job, units = case.job, case.job.units
    if job.work.bore is not None:
        yield "bore", dial(float(job.work.bore), units)
    try:
        pair = pair_sizes(job)
    except ValueError:
        pair = None
    if pair is not None:
        yield "centres  a", length(pair.running.centre_distance, units)
        yield "working angle  α_wt", f"{pair.running.working_pressure_angle_deg:.3f}°"
        drawn = pair.running.backlash
        yield "backlash  j_bn", "none as drawn" if abs(drawn) < 5e-4 else length(max(drawn, 0.0), units)
    crossed = crossed_sizes(job)
    if crossed is not None:
        yield "shafts cross at  Σ", f"{crossed.crossing_deg:g}°"
        yield "centres  a", length(crossed.centre_distance, units)
