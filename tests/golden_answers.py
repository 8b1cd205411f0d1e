"""What every command answers to every shipped order, as plain values that can be kept in a file and compared."""

from __future__ import annotations

import dataclasses
import datetime
import json
from collections.abc import Callable, Iterator
from enum import Enum
from fractions import Fraction
from pathlib import Path
from typing import Any

from handlead import machines

ROOT = Path(__file__).parents[1]
SCENARIOS = ROOT / "scenarios"
GOLDEN = Path(__file__).parent / "golden"

#: Digits kept of a decimal: the last ones differ from one processor's sine to another's.
DIGITS = 7

#: What is no more than this stands for nothing: it is what is left of two sines that should cancel.
NOTHING = 1e-9

#: The day that sheets are dated with.
DAY = datetime.date(2001, 2, 3)


def job_files() -> list[Path]:
    return sorted(
        path
        for path in SCENARIOS.glob("*/*.toml")
        if '"job/1"' in path.read_text("utf-8")
    )


def plain(value: Any) -> Any:
    """`value` as JSON has it: decimals rounded, fractions as strings, classes as their fields."""
    if isinstance(value, Enum):
        return value.name
    if isinstance(value, float):
        return float(f"{value:.{DIGITS}g}") if abs(value) > NOTHING else 0.0
    if isinstance(value, Fraction):
        return str(value)
    if isinstance(value, dict):
        return {str(key): plain(each) for key, each in value.items()}
    if isinstance(value, frozenset | set):
        return sorted(plain(each) for each in value)
    if isinstance(value, list | tuple):
        return [plain(each) for each in value]
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {field.name: plain(getattr(value, field.name)) for field in dataclasses.fields(value)}
    return value


def without_paths(answer: dict[str, Any]) -> dict[str, Any]:
    """The answer with its files named as they lie in their folder."""
    files = {key: answer[key] for key in ("job", "machine", "observations") if isinstance(answer.get(key), str)}
    return answer | {key: Path(name).name for key, name in files.items()}


def proved(path: Path) -> Any:
    job = machines.read_job(path)
    return without_paths(machines.prove(job).as_json()) if job.setup else None


def planned(path: Path) -> Any:
    """Right orders alone: those that are wrong have the same drawings."""
    if not path.parent.name.startswith(("0", "1")):
        return None
    return machines.plan(machines.read_job(path), top=2).as_json()


def traced(path: Path) -> Any:
    job = machines.read_job(path)
    return without_paths(machines.trace(job).as_json()) if job.seen and job.setup else None


def on_the_sheet(path: Path) -> Any:
    from handlead.viz.sheet_words.words import sheet_words

    job = machines.read_job(path)
    if not job.setup:
        return None
    words = plain(sheet_words(machines.prove(job), DAY))
    words.pop("machine", None)  # a digest of its file
    return words


def drawn(path: Path) -> Any:
    """Where everything stands in the drawings of a right order, and what is said there."""
    from handlead.machines.setups.case import Case
    from handlead.viz.draw_brackets.bracket_layout import bracket_layout
    from handlead.viz.draw_train.train_layout import lay_out
    from handlead.viz.pictures.pictures import swivel_of, witness_of

    job = machines.read_job(path)
    if not job.setup or not path.parent.name.startswith(("0", "1")):
        return None
    case = Case.of(job, job.setup)
    places = {
        "train": lay_out(case.solution),
        "head": swivel_of(case),
        "marks": witness_of(case),
        "brackets": {
            link.name: bracket_layout(link.mounted, link.bracket) for link in case.train.brackets if link.mounted
        },
    }
    return coarse(plain(places))


def coarse(value: Any) -> Any:
    """Millimetres of a drawing, with as many digits as anybody could see."""
    if isinstance(value, float):
        return round(value, 2)
    if isinstance(value, dict):
        return {key: coarse(each) for key, each in value.items()}
    return [coarse(each) for each in value] if isinstance(value, list) else value


def of_jobs(answer: Callable[[Path], Any]) -> dict[str, Callable[[], Any]]:
    def ask(path: Path) -> Callable[[], Any]:
        return lambda: answer(path)

    return {f"{path.parent.name}-{path.stem}": ask(path) for path in job_files()}


def constants() -> dict[str, Callable[[], Any]]:
    def ask(path: Path) -> Callable[[], Any]:
        return lambda: machines.constants(machines.read_machine(path)).as_json()

    return {name: ask(path) for name, path in machines.shipped_machines().items()}


def fitted() -> dict[str, Callable[[], Any]]:
    def ask(counted: Path) -> Callable[[], Any]:
        def answer() -> Any:
            (machine,) = (path for path in counted.parent.glob("*.toml") if "machine/1" in path.read_text("utf-8"))
            unfitted = machines.read_unfitted(machine)
            return without_paths(machines.fit(unfitted, machines.read_observations(counted, unfitted.machine)).as_json())

        return answer

    return {path.parent.name: ask(path) for path in sorted(SCENARIOS.glob("*/counted.toml"))}


#: Every kind of answer: its folder, and a question for each file in it.
KINDS: dict[str, dict[str, Callable[[], Any]]] = {
    "prove": of_jobs(proved),
    "plan": of_jobs(planned),
    "trace": of_jobs(traced),
    "sheet": of_jobs(on_the_sheet),
    "drawn": of_jobs(drawn),
    "constants": constants(),
    "fit": fitted(),
}


def questions() -> Iterator[tuple[str, str]]:
    yield from ((kind, name) for kind, asked in KINDS.items() for name in asked)


def answer(kind: str, name: str) -> str | None:
    """The answer as the text of a file; None where the order has none of this kind."""
    found = KINDS[kind][name]()
    return None if found is None else json.dumps(plain(found), indent=1, ensure_ascii=False, sort_keys=True) + "\n"


def write() -> None:
    """Renew every file. Look at what changed before it is kept."""
    for kind, name in questions():
        path, text = GOLDEN / kind / f"{name}.json", answer(kind, name)
        path.parent.mkdir(parents=True, exist_ok=True)
        if text is None:
            path.unlink(missing_ok=True)
        else:
            path.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    write()
