"""A thousand orders on seven machines: time and memory over the run, which may be stopped and gone on with.

Run it as ``python tests/benchmarks/thousand.py FOLDER [ORDERS] [SEED] [WORKERS]``. The orders are made up, spur and
helical, in modules and in diametral pitches, and written into FOLDER as job files where they aren't there yet; the rows
are kept beside them, so that stopped and started again it goes on where it was. Printed for every hundred orders: the
processor time of a plan, the clock, and what memory the survey and its workers hold. Nothing is asserted.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path
from random import Random

from handlead import machines
from handlead.machines.shop.crew import processes
from handlead.machines.shop.kept import Kept
from handlead.machines.shop.pile import read_pile
from handlead.machines.shop.survey import CAN, survey

#: The machines of the run; two are level or measure in inches, one has no differential.
MACHINES = ("brinnock-20", "corvane-7", "dunscar-9", "ombrecht-l8", "pellarn-4", "tesmore-d2", "vaskerby-12")

#: Rows after which a line is printed.
_LINE = 100 * len(MACHINES)


def order(random: Random, number: int) -> str:
    """A job file for a drawing of chance."""
    if random.random() < 0.75:
        module = random.choice((1, 1.5, 2, 2.5, 3, 4))
        size, face, diameter = f"module = {module}", random.randint(10, 50), 40 + 12 * module
        units = "mm"
    else:
        pitch = random.choice((8, 10, 12, 16))
        size, face, diameter = f"diametral_pitch = {pitch}", random.choice((0.5, 0.75, 1, 1.5)), 2 + round(8 / pitch, 2)
        units = "in"
    lean = ""
    if random.random() < 0.5:
        lean = f'helix_angle = "{random.randint(8, 35)}d {random.choice((0, 0, 15, 30, 45))}m"\nhand = "{random.choice(("right", "left"))}"\n'
    return f"""format = "job/1"
title = "Order {number}"
units = "{units}"
machine = "{random.choice(MACHINES)}"

[work]
kind = "{"helical" if lean else "spur"}"
teeth = {random.randint(14, 110)}
{size}
{lean}face_width = {face}
quality = {random.choice((7, 8, 8, 9, 10))}

[hob]
{size}
starts = {random.choice((1, 1, 1, 2))}
hand = "{random.choice(("right", "right", "left"))}"
diameter = {diameter}
gashes = {random.choice((9, 10, 12))}
"""


def write_pile(folder: Path, orders: int, seed: int) -> None:
    """Write those job files that aren't there."""
    folder.mkdir(parents=True, exist_ok=True)
    random = Random(seed)
    for number in range(orders):
        text, file = order(random, number), folder / f"{number:04}.toml"
        if not file.exists():
            file.write_text(text, encoding="utf-8")


def held_mb(process: int | str = "self") -> list[int]:
    """What a process and each that it started hold in memory, in MB (Linux)."""
    status = Path(f"/proc/{process}/status").read_text()
    own = next((int(line.split()[1]) // 1024 for line in status.split("\n") if line.startswith("VmRSS")), 0)
    children = Path(f"/proc/{process}/task").glob("*/children")
    return [own, *(mb for each in children for child in each.read_text().split() for mb in held_mb(child))]


def main(folder: Path, orders: int = 1000, seed: int = 1, workers: int = 2) -> None:
    """Make the run."""
    write_pile(folder, orders, seed)
    jobs, unread = read_pile([folder], print)
    every = [machines.find_machine(name) for name in MACHINES]
    begun = last = time.perf_counter()
    with processes(workers) as crew, Kept(folder / "rows.kept") as kept:
        print(f"{len(jobs)} orders on {len(every)} machines, {len(kept)} rows are kept from before", flush=True)
        told = 0

        def progress(part: float) -> None:
            nonlocal told, last
            told += 1
            if told % _LINE == 0:
                now = time.perf_counter()
                each, mb = 1000 * (now - last) / _LINE, held_mb()
                print(f"{part:6.1%} after {now - begun:5.0f} s: {each:4.0f} ms a plan by the clock, held {mb} MB", flush=True)
                last = now

        found = survey(jobs, every, executor=crew, kept=kept, progress=progress, unread=unread)
    counts = {status: sum(row.status == status for row in found.rows) for status in {row.status for row in found.rows}}
    can = sum(row is not None and row.status == CAN for row in found.best.values())
    print(f"{len(found.rows)} plans: {counts}; {can} of {len(jobs)} orders can be cut; {told} rows looked at in this run")
    per = len(found.rows) // 10
    for at in range(0, per * 10, per):
        took = sorted(row.took_s for row in found.rows[at : at + per])
        print(f"  rows {at:5} on: {1000 * sum(took) / per:.0f} ms a plan at its worker, half within {1000 * took[per // 2]:.0f} ms")


if __name__ == "__main__":
    given = sys.argv[1:]
    main(Path(given[0]), *map(int, given[1:]))
