"""The checks that were made at the machine, read from a job: each by the words in which it was asked for."""

from __future__ import annotations

from collections.abc import Sequence

from handlead.kinematics.slips.faults import Fault
from handlead.kinematics.slips.study import Study
from handlead.kinematics.suspects.inspections import (
    GEAR_LOOKS,
    NONE_OF_THESE,
    NOT_SURE,
    Check,
    SetUpShown,
)
from handlead.kinematics.suspects.suspects import Answer, Tryout, mark_turns
from handlead.machines.job_files.job_file import Job
from handlead.machines.tables.reading import Complaints
from handlead.machines.toml.errors import Unknown, WrongValue
from handlead.machines.toml.guesses import guess
from handlead.machines.toml.places import Path_, quoted


def counted_again(answers: Sequence[Answer]) -> int | None:
    """The number that came out when the teeth were counted again; None where nobody did."""
    counts = [answer.found.strip() for answer in answers if answer.check.looks_at == "count"]
    return next((int(count) for count in reversed(counts) if count.isdigit()), None)


def read_answers(
    job: Job, checks: Sequence[Check], study: Study, faults: Sequence[Fault]
) -> tuple[Answer, ...]:
    """The checks that were made, by the words in which they were asked for; each answer one that can be read."""
    assert job.seen is not None
    complaints = Complaints(job.document)
    by_words = {_squeezed(check.do): check for check in checks}
    scenes = study.once("scenes", faults, lambda: _scenes(study, faults)) if job.seen.checks else []
    answers = []
    for number, made in enumerate(job.seen.checks):
        check = by_words.get(_squeezed(made.do))
        path: Path_ = ("seen", "check", number)
        if check is None:
            complaints.add(
                Unknown, (*path, "do"), f"no check is called {quoted(made.do)}. {_guess(made.do, checks)}"
            )
            continue
        known = dict.fromkeys(check.outcome(scene) for scene in scenes)
        if check.can_read(made.found, known):
            answers.append(Answer(check, made.found))
        else:
            complaints.add(WrongValue, (*path, "found"), _unread(made.found, check, list(known)))
    complaints.raise_any()
    return tuple(answers)


def _scenes(study: Study, faults: Sequence[Fault]) -> list[SetUpShown]:
    """What there is to be found at the machine: as it was meant, and after each fault."""
    trial, scenes = Tryout(study, mark_turns(study)), []
    for changes in ({}, *(fault.changes for fault in faults)):
        standing = study.base.changed(changes)
        running = study.bench.running(standing)
        if running is not None:
            scenes.append(trial.suspect((), standing, running, 0.0, 0.0).scene)
    return scenes


def _unread(found: str, check: Check, known: Sequence[str]) -> str:
    """What is wrong with an answer that can't be read, and what would be right."""
    if check.looks_at in GEAR_LOOKS:
        return f'{quoted(found)} isn\'t gears. Write the stamps from the driving shaft on, "24 44 36 40", or "empty"'
    answers = ", ".join(quoted(answer) for answer in known[:6])
    return (
        f"{quoted(found)} is no answer to this check. {guess(found, known)} Answers look like {answers}; "
        f"or write {quoted(NONE_OF_THESE[0])}, or {quoted(NOT_SURE[0])}"
    )


def _guess(said: str, checks: Sequence[Check]) -> str:
    import difflib

    near = difflib.get_close_matches(said.lower(), [check.do for check in checks], n=1, cutoff=0.3)
    return f"Did you mean {quoted(near[0])}?" if near else guess(said, [check.do for check in checks])


def _squeezed(text: str) -> str:
    return " ".join(text.casefold().split())
