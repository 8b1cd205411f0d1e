"""Made-up machines with a job that is set up right, for tests and benchmarks that then do something wrong.

Everything is drawn from a `random.Random`, so that a seed, or hypothesis, gives the same one again. The
set-up is found from the relations of the frame and the nearest gears; each is proved before it is handed out.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from random import Random

from handlead.kinematics.brackets.drawer import Drawer
from handlead.kinematics.frame.words import Hand
from handlead.kinematics.links.mounted import Mounted
from handlead.kinematics.search.change_gears import nearest_sets
from handlead.kinematics.train.setup import Setup
from handlead.kinematics.transfer.constants import Constants, find_constants
from handlead.kinematics.work.requirement import HobData, Work, swivel_deg
from handlead.machines.job_files.job_file import Job
from handlead.machines.machine_files.machine_file import Machine, read_machine_text
from handlead.machines.setups.case import Case, cuts_wanted

#: Eighty gears, as a well-stocked drawer might hold them.
DRAWER = (
    20, 20, 21, 22, 23, 24, 24, 25, 25, 26, 27, 28, 29, 30, 30, 31, 32, 33, 34, 35, 36, 36, 37, 38, 39, 40, 40, 41, 42,
    43, 44, 45, 46, 47, 48, 48, 49, 50, 50, 51, 52, 53, 54, 55, 56, 57, 58, 59, 60, 60, 61, 62, 63, 64, 65, 66, 67, 68,
    69, 70, 71, 72, 73, 74, 75, 76, 77, 78, 79, 80, 81, 83, 85, 86, 89, 90, 92, 95, 97, 100,
)  # fmt: skip


def _pair(random: Random) -> str:
    return f"[{random.choice([20, 24, 30, 36])}, {random.choice([30, 36, 40, 48])}]"


def machine_text(random: Random) -> str:
    """A hobbing machine with index, feed and mostly differential train, a speed bracket, and levers."""
    summed = random.choice(["before index", "after index", "before index", "nowhere"])
    fed_from = random.choice(["feed out", "feed in"])
    wheel = random.choice([48, 60, 72, 80, 84, 90, 96, 120])

    def sense() -> str:
        return f'sense = "{random.choice(["same", "opposite"])}"'

    links = [
        ("speed gears", "change gears", "motor", "main shaft", "pairs = 1\nidlers = [0, 1]"),
        ("hob gears", "gear pair", "main shaft", "hob", f"teeth = {_pair(random)}"),
        ("index bevels", "bevel gears", "main shaft", "index input", f"teeth = {_pair(random)}\n{sense()}"),
        ("range box", "selector", "sum" if summed == "before index" else "index input", "range output",
         'ratios = { low = "1/2", high = 1 }\nstate = "low"'),
        ("index gears", "change gears", "range output", "index driven" if summed == "after index" else "worm shaft",
         "pairs = 2\nidlers = [0, 1]"),
        ("index worm", "worm gear", "worm shaft", "table", f"starts = 1\nteeth = {wheel}\n{sense()}"),
        ("feed worm", "worm gear", "worm shaft", "feed in",
         f"starts = {random.choice([1, 2, 4])}\nteeth = {random.choice([24, 30, 40])}\n{sense()}"),
        ("feed gears", "change gears", "feed in", "feed out", "pairs = [1, 2]\nidlers = [0, 1]"),
        ("feed reverser", "selector", "feed out", "slide screw",
         "ratios = { up = 1, down = -1, neutral = 0 }\nstate = \"up\""),
        ("slide screw", "screw", "slide screw", "axial slide",
         f"lead = {random.choice([6, 8, 10, 12])}\n{sense()}"),
    ]  # fmt: skip
    if summed != "nowhere":
        start = "slide screw" if fed_from == "feed out" else "feed in"
        suns = ("index input", "sum") if summed == "before index" else ("index driven", "worm shaft")
        links += [
            ("differential gears", "change gears", start, "stud", "pairs = 2\nidlers = [0, 1]"),
            ("differential worm", "worm gear", "stud", "wheel",
             f"starts = {random.choice([1, 2])}\nteeth = {random.choice([24, 25, 30])}\n{sense()}"),
            ("clutch", "clutch", "wheel", "carrier", ""),
            ("brake", "brake", "carrier", "", ""),
            ("differential", "differential", *suns, ""),
        ]  # fmt: skip
    parts = list(dict.fromkeys(p for _, _, a, b, _ in links for p in (a, b) if p and p != "axial slide"))
    lines = ['format = "machine/1"', 'name = "Made up"', "[shafts]", *(f'"{part}" = ""' for part in parts)]
    lines += ["[slides]", '"axial slide" = ""', "[ends]"]
    ends = {
        "hob": ("cutting up", "cutting down"),
        "table": ("clockwise", "counter-clockwise"),
        "axial": ("up", "down"),
    }
    for end, ways in ends.items():
        part = "axial slide" if end == "axial" else end
        lines.append(f'{end} = {{ part = "{part}", positive = "{random.choice(ways)}" }}')
    lines += ["[drives]", 'main = { shaft = "motor", rpm = 1000 }']
    lines += ["[levers.feed]", 'normal = "up"', "[levers.feed.positions]"]
    lines += [f'{state} = {{ "feed reverser" = "{state}" }}' for state in ("up", "down", "neutral")]
    lines += ["[levers.range]", 'normal = "low"', "[levers.range.positions]"]
    lines += [f'{state} = {{ "range box" = "{state}" }}' for state in ("low", "high")]
    if summed != "nowhere":
        lines += ["[levers.differential]", 'normal = "out"', "[levers.differential.positions]"]
        lines += ['in = { clutch = "in", brake = "off" }', 'out = { clutch = "out", brake = "on" }']
    for name, kind, start, end, rest in links:
        lines += ["[[link]]", f'name = "{name}"', f'kind = "{kind}"']
        if kind == "brake":
            lines.append(f'shaft = "{start}"')
        elif kind == "differential":
            lines += [f'suns = ["{start}", "{end}"]', 'carrier = "carrier"']
        else:
            lines += [f'from = "{start}"', f'to = "{end}"']
        lines.append(rest)
    lines += ["[[gear_set]]", 'name = "drawer"', f"teeth = {list(DRAWER)}"]
    return "\n".join(lines)


def right_job(random: Random) -> Job:
    """A job on a made-up machine whose set-up cuts what is wanted."""
    while True:
        machine = read_machine_text(machine_text(random))
        # Without a differential few counts go with the gears that there are.
        for _ in range(3 if "differential" in machine.levers else 60):
            job = _set_up(random, machine)
            if job is not None and (job.work.is_helical or random.random() < 0.5):
                return job


def gone_wrong(random: Random, job: Job) -> Setup:
    """The job's set-up with one thing otherwise: a gear, two gears exchanged, an idler, a lever, the head."""
    setup = job.setup
    assert setup is not None
    name = random.choice([bracket for bracket in setup.change if bracket != "speed gears"])
    how = random.choice(["gear", "gear", "swapped", "idler", "lever", "head", "mirrored"])
    mounted = setup.change[name]
    gears = list(mounted.gears)
    if how == "gear":
        place = random.randrange(len(gears))
        gears[place] = max(18, gears[place] + random.choice([-5, -2, -1, 1, 2, 3, 10]))
    elif how == "swapped":
        gears[0], gears[1] = gears[1], gears[0]
    elif how == "idler":
        mounted = Mounted(mounted.gears, () if mounted.idlers else (40,))
    elif how == "lever":
        lever = random.choice(sorted(job.machine.levers))
        place_of = random.choice(sorted(job.machine.levers[lever].positions))
        return replace(setup, levers={**setup.levers, lever: place_of})
    else:
        stands = setup.swivel_deg or Fraction(0)
        off = random.choice([-10, -5, -2, 1, 3, 10])
        return replace(setup, swivel_deg=-stands if how == "mirrored" else stands + off)
    return replace(setup, change={**setup.change, name: Mounted(tuple(gears), mounted.idlers)})


def work_and_hob(random: Random) -> tuple[Work, HobData]:
    """A gear, spur or helical, and a hob for it."""
    module = Fraction(random.choice(["1.5", "2", "2.5", "3", "4"]))
    hand = random.choice([None, Hand.RIGHT, Hand.LEFT, Hand.RIGHT, Hand.LEFT])
    angle = Fraction(random.randint(8 * 4, 32 * 4), 4)
    kind = "spur" if hand is None else "helical"
    work = Work(
        kind, random.randint(17, 90), module, hand=hand, helix_angle_deg=None if hand is None else angle,
        face_width=Fraction(25),
    )  # fmt: skip
    starts = random.choice([1, 1, 1, 2])
    diameter = Fraction(30) * module
    gamma = math.degrees(math.asin(starts * float(module) / float(diameter)))
    return work, HobData(module, starts, random.choice(list(Hand)), Fraction(f"{gamma:.4f}"), diameter)


@dataclass
class _Drawer:
    left: list[int]

    def take(self, ratio: Fraction, pairs: Sequence[int], *, exact: bool) -> Mounted | None:
        try:
            found = nearest_sets(
                abs(ratio),
                Drawer.of(self.left),
                pairs=pairs,
                idlers=(0, 1),
                turns_over=ratio < 0,
                limit=1,
                exact=exact,
            ).sets
        except ValueError:
            return None
        if not found:
            return None
        mounted = found[0].mounted
        for teeth in (*mounted.gears, *mounted.idlers):
            self.left.remove(teeth)
        return mounted


def _set_up(random: Random, machine: Machine) -> Job | None:
    work, hob = work_and_hob(random)
    levers = {"range": random.choice(["low", "high"]), "feed": random.choice(["up", "down"])}
    if "differential" in machine.levers:
        levers["differential"] = "in" if work.is_helical else "out"
    train = machine.train.with_states(machine.states({**machine.normal_positions, **levers}))
    constants = find_constants(train, "main")
    change = _change(random, constants, work, hob)
    if change is None:
        return None
    swivel = Fraction(round(60 * swivel_deg(work, hob)), 60)
    setup = Setup("main", swivel, None, levers, change)
    job = Job("made up", "made up", machine, work, hob, setup=setup, document=machine.document)
    case = Case.of(job, setup)
    return job if cuts_wanted(work, case.outcome) else None


def _change(random: Random, rules: Constants, work: Work, hob: HobData) -> Mapping[str, Mounted] | None:
    if rules.index is None or len(rules.feeds) != 1:
        return None
    drawer, change = _Drawer(list(DRAWER)), {}
    index = rules.index.ratio(hob.hand, hob.starts, work.teeth)
    feed = Fraction(random.choice(["1", "1.5", "2", "2.4"]))
    rule, way = rules.feeds[0], 1
    hand = work.hand.value if work.hand else 0
    if work.is_helical and not rules.differentials:
        # Without a differential an axial pitch takes a whole number of table turns, and the index runs a trifle off.
        pitch = math.pi * float(work.module_n) / math.sin(math.radians(work.beta_deg))
        turns = random.randint(math.ceil(pitch / 2.5), math.ceil(pitch))
        way = random.choice([1, -1])
        index *= Fraction(work.teeth * turns, work.teeth * turns - hob.hand.value * hand * way)
        feed = Fraction(pitch / turns)
    wanted = [
        ("index gears", index, True),
        ("feed gears", _feed_ratio(rule.constant, feed, index, rules, way), False),
    ]
    if work.is_helical and rules.differentials:
        found = rules.differentials[0]
        if found.constant is None:
            return None
    mounted = {}
    for name, ratio, exact in wanted:
        mounted[name] = drawer.take(ratio, (2,), exact=exact)
        if mounted[name] is None:
            return None
        change[name] = mounted[name]
    if work.is_helical and rules.differentials:
        real_feed = abs(change["feed gears"].ratio * rule.constant)
        size = Fraction(found.constant) * Fraction(work.teeth) ** found.teeth_power
        size *= Fraction(hob.starts) ** found.starts_power * real_feed**found.feed_power
        lead = work.lead_mm
        assert lead is not None
        assert work.hand is not None
        ratio = size / Fraction(lead) * found.senses[hob.hand, work.hand, way]
        change["differential gears"] = drawer.take(ratio.limit_denominator(10**9), (2,), exact=False)
    speed = drawer.take(random.choice([1, -1]) * Fraction(random.choice([2, 3, 4, 5]), 6), (1,), exact=False)
    change["speed gears"] = speed
    return change if all(change.values()) else None  # type: ignore[return-value]


def _feed_ratio(constant: Fraction, feed: Fraction, index: Fraction, rules: Constants, way: int) -> Fraction:
    """Feed gears for a feed that goes up (`way` 1) while the hob cuts up."""
    assert rules.index is not None
    table = index / rules.index.constant
    return (way * feed * (1 if table > 0 else -1) / constant).limit_denominator(10**9)
