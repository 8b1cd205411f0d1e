"""A plain hobbing machine written out from one line a link, and jobs on it, for checks against known figures.

Four turns of the hob make four turns of the differential's first sun a turn; the suns' sum is twice the carrier; a
worm of one start on 96 teeth turns the table; the feed train makes 1/48 of the worm shaft's turns, a tenth of that the
screw of 10 mm; the carrier gets 2/25 of the feed train's turns through the differential gears. Index constant 24, feed
twice the feed gears, differential gears 25 sin(beta) / (pi m k).
"""

from __future__ import annotations

from pathlib import Path

from handlead.machines.job_files.job_file import Job, read_job_text

MACHINE = """
format = "machine/1"
name = "Reference"
[shafts]
motor = ""
hob = ""
"first sun" = ""
"second sun" = ""
carrier = ""
"worm shaft" = ""
table = ""
"feed in" = ""
"feed out" = ""
"turned feed" = ""
screw = ""
stud = ""
"cage wheel" = ""
[slides]
"axial slide" = ""
[ends]
hob = { part = "hob", positive = "cutting up" }
table = { part = "table", positive = "counter-clockwise" }
axial = { part = "axial slide", positive = "up" }
[drives]
main = { shaft = "motor", rpm = 1000 }
[levers.differential]
normal = "out"
[levers.differential.positions]
in = { cage = "in", hold = "off" }
out = { cage = "out", hold = "on" }
[levers.feed]
normal = "up"
[levers.feed.positions]
up = { reverser = "up" }
down = { reverser = "down" }
[levers.range]
normal = "single"
[levers.range.positions]
single = { box = "single" }
double = { box = "double" }
[[link]]
name = "hob drive"
kind = "belt"
from = "motor"
to = "hob"
diameters = [1, 10]
[[link]]
name = "to the sum"
kind = "belt"
from = "hob"
to = "first sun"
diameters = [4, 1]
[[link]]
name = "sum"
kind = "differential"
suns = ["first sun", "second sun"]
carrier = "carrier"
[[link]]
name = "box"
kind = "selector"
from = "second sun"
to = "boxed sun"
ratios = { single = 1, double = 2 }
state = "single"
[[link]]
name = "index gears"
kind = "change gears"
from = "boxed sun"
to = "worm shaft"
[[link]]
name = "index worm"
kind = "worm gear"
from = "worm shaft"
to = "table"
starts = 1
teeth = 96
sense = "same"
[[link]]
name = "feed worm"
kind = "worm gear"
from = "worm shaft"
to = "feed in"
starts = 1
teeth = 48
sense = "same"
[[link]]
name = "feed gears"
kind = "change gears"
from = "feed in"
to = "feed out"
[[link]]
name = "reverser"
kind = "selector"
from = "feed out"
to = "turned feed"
ratios = { up = 1, down = -1 }
state = "up"
[[link]]
name = "screw worm"
kind = "worm gear"
from = "turned feed"
to = "screw"
starts = 1
teeth = 10
sense = "same"
[[link]]
name = "screw"
kind = "screw"
from = "screw"
to = "axial slide"
lead = 10
sense = "same"
[[link]]
name = "differential gears"
kind = "change gears"
from = "turned feed"
to = "stud"
[[link]]
name = "cage worm"
kind = "worm gear"
from = "stud"
to = "cage wheel"
starts = 2
teeth = 25
sense = "same"
[[link]]
name = "cage"
kind = "clutch"
from = "cage wheel"
to = "carrier"
[[link]]
name = "hold"
kind = "brake"
shaft = "carrier"
[[gear_set]]
name = "drawer"
teeth = [20, 20, 23, 24, 24, 25, 25, 30, 30, 33, 34, 35, 37, 40, 41, 43, 45, 47, 48, 50, 53, 55, 57, 58, 59, 60,
         61, 62, 65, 67, 70, 71, 73, 75, 79, 80, 80, 83, 85, 89, 90, 92, 95, 97, 98, 100]
""".replace('"worm shaft" = ""', '"boxed sun" = ""\n"worm shaft" = ""', 1)


def job_text(work: str, hob: str, setup: str, seen: str = "") -> str:
    """A job file on the reference machine."""
    return (
        f'format = "job/1"\nmachine = "reference.toml"\n[work]\n{work}\n[hob]\n{hob}\n[setup]\n{setup}\n'
        + (f"[seen]\n{seen}\n" if seen else "")
    )


def read(text: str, folder: Path) -> Job:
    """The job in the text, with the reference machine beside it in `folder`."""
    (folder / "reference.toml").write_text(MACHINE)
    return read_job_text(text, "job.toml", folder)


#: Sixty straight teeth of module 2, index 2/5.
SPUR = (
    'kind = "spur"\nteeth = 60\nmodule = 2',
    "module = 2\nlead_angle = 2",
    'swivel = { angle = 2, turn = "counter-clockwise" }\n[setup.change]\n'
    '"index gears" = { gears = [20, 25, 30, 60] }\n"feed gears" = { gears = [30, 30] }\n'
    '"differential gears" = { gears = [50, 50] }',
)

#: Forty teeth of module 3 at 12.5 degrees, right-handed: differential gears 30/70 · 71/53.
HELICAL = (
    'kind = "helical"\nteeth = 40\nmodule = 3\nhelix_angle = 12.5\nhand = "right"',
    "module = 3\nlead_angle = 2.371537",
    'swivel = { angle = "10d 8m", turn = "clockwise" }\n[setup.levers]\ndifferential = "in"\n[setup.change]\n'
    '"index gears" = { gears = [24, 50, 100, 80] }\n"feed gears" = { gears = [25, 25] }\n'
    '"differential gears" = { gears = [30, 70, 71, 53], idlers = [48] }',
)
