"""Five hundred set-ups of the fly winch pinion: how far a gear in the wrong place takes the lead off.

Run it from a checkout, whole or cell by cell:  python scenarios/sweep.py
"""

# %% The set-up that is right, and what it cuts
from __future__ import annotations

from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

from handlead import machines

HERE = Path(__file__).parent
JOB = machines.read_job(HERE / "01-fly-winch-pair" / "pinion.toml")
BRACKET = "differential gears"


def outcome_with(gears: tuple[int, ...]) -> tuple[tuple[int, ...], float | None]:
    """The gears, and the lead in mm that they leave; None where the teeth are straight or none are cut."""
    outcome = machines.Case.of(JOB.with_gears(BRACKET, gears)).outcome
    return gears, outcome.lead_mm if outcome else None


# %% The first driver and the last driven gear taken wrong: those that look most like the right ones first
def variations(most: int = 500) -> list[tuple[int, ...]]:
    """Gears that somebody might take by mistake, at most so many sets, the right ones among them."""
    first, b, c, last = JOB.setup.change[BRACKET].gears if JOB.setup else (0, 0, 0, 0)
    owned = sorted({teeth for gear_set in JOB.machine.gear_sets for teeth in gear_set.teeth})
    sets: list[tuple[int, ...]] = [(a, b, c, d) for a in owned for d in owned]
    return sorted(sets, key=lambda gears: abs(gears[0] - first) + abs(gears[3] - last))[:most]


def main() -> None:
    """Sweep, tell the nearest misses, draw one, and look at a flank as an array."""
    import numpy as np
    from handlead import viz
    from handlead.viz.pictures.pictures import flanks_of

    with ProcessPoolExecutor() as pool:
        found = list(pool.map(outcome_with, variations(), chunksize=25))

    # %% Those that come nearest to the drawing's lead without being it
    wanted = JOB.work.lead_mm
    assert wanted is not None
    near = sorted((abs(lead / wanted - 1), gears, lead) for gears, lead in found if lead is not None)[:6]
    print(f"{len(found)} set-ups; the drawing's lead is {wanted:.3f} mm")
    for off, gears, lead in near:
        print(f"  {gears}  lead {lead:10.3f} mm, off by {off * 1e6:9.1f} parts in a million")

    # %% Draw the second best, and take its flank as an array: a row a length of roll, a column a height, mm
    case = machines.Case.of(JOB.with_gears(BRACKET, near[1][1]))
    figure = viz.plot_brackets(case).get_figure(root=True)
    assert figure is not None
    figure.savefig("sweep.png", dpi=120)
    flank = flanks_of(case)["counter-clockwise flank"].deviation
    marks = 1000 * float(np.nanmax(flank) - np.nanmin(flank))
    print(f"flank {flank.shape}: marks of {marks:.1f} µm; drawn in sweep.png")


if __name__ == "__main__":
    main()
