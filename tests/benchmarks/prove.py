"""Processor time of the whole command, against an interpreter that does nothing and one that imports an array library.

Run with ``python tests/benchmarks/prove.py [JOB]``.
"""

import os
import shutil
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path

RUNS = 7
ROOT = Path(__file__).parents[2]


def processor_seconds(command: list[str]) -> float:
    """Median user and system time of the command over some runs, after a warm-up."""
    times = []
    for _ in range(RUNS + 1):
        before = os.times()
        subprocess.run(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, check=False)
        after = os.times()
        times.append(after.children_user - before.children_user + after.children_system - before.children_system)
    return statistics.median(times[1:])


def main() -> None:
    job = Path(sys.argv[1]) if len(sys.argv) > 1 else ROOT / "scenarios" / "01-fly-winch-pair" / "pinion.toml"
    program = [sys.executable, "-m", "handlead.viz"]
    plain = processor_seconds([sys.executable, "-c", "pass"])
    array = processor_seconds([sys.executable, "-c", "import numpy"])
    rows = {
        "python -c pass": plain,
        "python -c 'import numpy'": array,
        "handlead --help": processor_seconds([*program, "--help"]),
        "handlead prove --no-cut": processor_seconds([*program, "prove", "--no-cut", str(job)]),
        "handlead prove": processor_seconds([*program, "prove", str(job)]),
    }
    with tempfile.TemporaryDirectory() as folder:
        copies = [Path(folder, f"job-{number}.toml") for number in range(1000)]
        for copy in copies:
            shutil.copy(job, copy)
        for machine in job.parent.glob("*.toml"):
            if machine.name != job.name:
                shutil.copy(machine, folder)
        before = os.times()
        command = [*program, "prove", "--no-cut", "--json", *map(str, copies)]
        subprocess.run(command, stdout=subprocess.DEVNULL, check=False)
        after = os.times()
        rows["1,000 jobs in one call"] = (
            after.children_user - before.children_user + after.children_system - before.children_system
        )
    print(f"processor time, median of {RUNS} runs, job {job}")
    for name, seconds in rows.items():
        print(f"{name:28} {seconds:7.3f} s   {seconds / array:6.2f} x import numpy")


if __name__ == "__main__":
    main()
