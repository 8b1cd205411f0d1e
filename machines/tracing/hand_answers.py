"""What was found at the sheet's hand checks, for `trace`: each is an answer that faults agree with or don't."""

from __future__ import annotations

from fractions import Fraction

from handlead.kinematics.frame.words import POSITIVES
from handlead.kinematics.slips.study import Study
from handlead.kinematics.suspects.by_hand import TurnByHand, TurnedByHand
from handlead.kinematics.suspects.suspects import Answer
from handlead.machines.job_files.job_file import Job
from handlead.machines.job_keys.hand_keys import HAND_KEYS, USUAL
from handlead.machines.measuring.hand_checks import HandCheck
from handlead.machines.proving.proof import Proof
from handlead.machines.tables.reading import Complaints
from handlead.machines.toml.errors import WrongValue

#: What each check counts in.
_UNITS = {"index_check": "degrees", "slide_check": "teeth", "feed_check": "mm"}


def answers_by_hand(job: Job, study: Study, proof: Proof) -> tuple[Answer, ...]:
    """What [seen] has of the checks of the set-up as it is written.

    Raises `FileFault` for a check that this set-up doesn't have.
    """
    made = {key: found for key in HAND_KEYS if (found := getattr(job.seen, key)) is not None}
    if not made:
        return ()  # what could be checked costs more to work out than all else that the proof says
    complaints = Complaints(job.document)
    by_key = {check.key: check for check in proof.hand_checks}
    answers = []
    for key, found in made.items():
        if key not in by_key:
            message = "the sheet of this set-up has no such check, so nothing can be told from it. Leave it out"
            complaints.add(WrongValue, ("seen", key), message)
            continue
        way = getattr(job.seen, f"{key}_way")
        check = _as_check(job, study, by_key[key])
        answers.append(Answer(check, f"{float(found)!r} {way}" if way else repr(float(found))))
    complaints.raise_any()
    return tuple(answers)


def _as_check(job: Job, study: Study, check: HandCheck) -> TurnedByHand:
    assert job.seen is not None
    key = check.key
    per_turn = {"degrees": Fraction(360), "teeth": Fraction(check.teeth), "mm": Fraction(1)}[_UNITS[key]]
    turn = TurnByHand(
        turned=check.turn,
        amount=check.amount * POSITIVES[check.turn][check.way],
        watched=check.moves,
        unit=_UNITS[key],
        units_to_one=per_turn,
        parted=check.feed_parted,
        levers=check.levers,
    )
    within = Fraction(job.seen.within.get(key, USUAL[key]))
    return TurnedByHand("by hand", key, f"{key}: {HAND_KEYS[key]}", 2.0, turn=turn, bench=study.bench, within=within)

