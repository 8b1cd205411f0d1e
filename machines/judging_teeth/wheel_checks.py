"""What a proof says of worm wheels, and of hobs of several starts: depth by the centres, and threads that meet."""

from __future__ import annotations

import math
from collections.abc import Iterator

from handlead.kinematics.other_work.wormwheel import threads_met
from handlead.kinematics.work.sizes import centres_at_depth
from handlead.machines.setups.case import Case
from handlead.machines.setups.findings import Finding
from handlead.machines.toml.units import length


def check_set_by_centres(case: Case) -> Iterator[Finding]:
    """A throated wheel is met at the edges of its hollow first: no depth counts from there."""
    work, sizes, units = case.job.work, case.sizes, case.job.units
    if work.kind != "worm wheel" or work.is_plain or sizes.depth <= 0:
        return
    centres = centres_at_depth(work, case.job.hob)
    if sizes.throat is None or sizes.touch_before is None or centres is None:
        yield Finding(
            "set-by-centres",
            "note",
            "A throated worm wheel is set to depth by the centre distance, which isn't known without the hob's size.",
            'Give "diameter" or "outside_diameter" under [hob]; or, for a plain blank, blank = "plain" under [work].',
        )
        return
    early = sizes.touch_before - sizes.depth
    yield Finding(
        "set-by-centres",
        "note",
        f"The blank is taken as throated: the hob meets the edges of the hollow {length(early, units, 2)} before it "
        "would meet the bottom, and a depth counted from that touch would leave the teeth as much too shallow.",
        f"Set the hob's axis {length(centres, units, 2)} from the work's, and go by no touch. A blank turned plain is "
        'written blank = "plain" under [work].',
        {
            "centres_mm": centres,
            "early_mm": early,
            "throat_diameter_mm": sizes.throat.diameter,
            "throat_radius_mm": sizes.throat.radius,
            "rim_diameter_mm": sizes.throat.rim_diameter,
        },
    )


def check_threads(case: Case) -> Iterator[Finding]:
    """Starts and teeth that share a factor: every thread comes to the same spaces turn after turn."""
    work, hob = case.job.work, case.job.hob
    shared = math.gcd(work.teeth, hob.starts)
    if shared == 1:
        return
    met = threads_met(work.teeth, hob.starts)
    threads = "one and the same thread" if met == 1 else f"the same {met} threads"
    yield Finding(
        "threads-meet-same-spaces",
        "note",
        f"{work.teeth} teeth and {hob.starts} starts share the factor {shared}: each space is cut by {threads} of the "
        f"hob turn after turn, and what the threads differ by comes out as an error of pitch that repeats every "
        f"{shared} spaces.",
        "The wheel must have its worm's starts: have the hob measured from thread to thread before it finishes one."
        if work.kind == "worm wheel"
        else "Rough with it, and finish with a hob of one start, or of starts that share no factor with the teeth.",
        {"teeth": work.teeth, "starts": hob.starts, "shared": shared, "threads_met": met},
    )
