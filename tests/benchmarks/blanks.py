"""Blanks of random machines, right and wrong, cut lightly and measured: what both witnesses make of them.

Run with ``python tests/benchmarks/blanks.py [CASES [SEED]]``. Every third set-up is right; in the others a gear, two
gears, an idler, a lever or the head is otherwise. Printed are false disagreements, right set-ups whose blank comes
out unclean or otherwise than computed, and how often the marks that stand out are those worked out from the rates.
Then the blank of each is held against rates that it wasn't cut at: every such contradiction ought to be told.
"""

from __future__ import annotations

import sys
from collections import Counter
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from random import Random

sys.path.insert(0, str(Path(__file__).parents[1]))

from handlead.machines.blanks.two_witnesses import compare, marks_of_case
from handlead.machines.proving.proof import Proof, prove_case
from handlead.machines.setups.case import Case
from made_up import gone_wrong, right_job

#: What a right set-up must never be told.
UNCLEAN = {
    "witnesses-disagree",
    "witnesses-differ",
    "teeth-not-clean",
    "light-cut-marks",
    "gash-marks",
    "not-cut",
}


def proof_of(seed: int) -> tuple[Proof, bool]:
    """A made-up set-up proved on its simulated blank, and whether it is right: every third is."""
    random = Random(seed)
    job = right_job(random)
    right = seed % 3 == 0
    setup = job.setup if right else gone_wrong(random, job)
    assert setup is not None
    return prove_case(Case.of(replace(job, setup=setup), setup), cut="scratch"), right


def lied_to(proof: Proof, random: Random) -> bool | None:
    """Whether rates a trifle off those that the blank was cut at are told; None where there is nothing to tell."""
    case, cut = proof.case, proof.cut
    if cut is None or cut.gauged.teeth is None or cut.gauged.real_teeth is None or case.rates is None:
        return None
    other = Case.of(case.job, case.setup)
    off = Fraction(random.choice([-1, 1]) * random.randint(4, 40), 100) / cut.gauged.teeth
    other.__dict__["rates"] = replace(case.rates, table=case.rates.table * (1 + off))
    return "witnesses-disagree" in {finding.code for finding in compare(other, cut)}


def main() -> None:
    cases = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 0
    told: Counter[str] = Counter()
    count: Counter[str] = Counter()
    for number in range(seed, seed + cases):
        proof, right = proof_of(number)
        codes = {finding.code for finding in proof.findings}
        told.update(codes & UNCLEAN)
        count["right"] += right
        count["right but unclean"] += right and bool(codes & UNCLEAN)
        if codes & {"witnesses-disagree"} or (right and codes & UNCLEAN):
            print("  seed", number, sorted(codes & UNCLEAN))
        marks = marks_of_case(proof.case)
        if marks and proof.cut and proof.cut.light_marks is not None:
            seen = {proof.cut.light_marks, *proof.cut.gauged.patterns}
            count["marks"] += 1
            count["marks first"] += marks.count == proof.cut.light_marks
            count["marks among those near"] += bool(seen & {marks.count, *marks.others})
        lie = lied_to(proof, Random(number))
        count["lies"] += lie is not None
        count["lies told"] += bool(lie)
        if lie is False:
            print("  seed", number, "rates a trifle off went unnoticed")
    print(f"{cases} blanks from seed {seed}: {dict(told)}")
    print(f"  false disagreements:            {told['witnesses-disagree']}")
    print(f"  right set-ups called unclean:   {count['right but unclean']} of {count['right']}")
    print(f"  true disagreements told:        {count['lies told']} of {count['lies']}")
    print(
        f"  marks as worked out from rates: {count['marks first']} of {count['marks']}, "
        f"among those nearly as strong {count['marks among those near']}"
    )


if __name__ == "__main__":
    main()
