"""Everything that a proof looks at, one check a function, each yielding findings in words of the trade.

Judging only: a remedy given here says what can be said without having tried anything. What to do at the machine is
found by `correction`, and tried there.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

from handlead.machines.judging_teeth.key_checks import check_keys, check_standard
from handlead.machines.judging_teeth.pair_checks import check_pair, check_teeth
from handlead.machines.judging_teeth.relief_checks import check_relief, check_template_reach
from handlead.machines.judging_teeth.taking_up import check_toothed
from handlead.machines.judging_teeth.wheel_checks import check_set_by_centres, check_threads
from handlead.machines.setups.case import (
    Case,
)
from handlead.machines.setups.findings import Finding

from .blank_checks import (
    check_blank,
    check_hob_sizes,
    check_hob_suits,
    check_worm_wheel_feed,
    check_worm_wheel_lean,
)
from .cutting_speed import check_cutting_speed
from .gear_checks import check_brackets, check_differential, check_entered, check_gears_owned, check_mounting
from .hob_checks import check_hob_length
from .limit_checks import check_limits, check_machine_takes
from .result_checks import (
    check_count,
    check_feed_size,
    check_feed_way,
    check_hand_and_lead,
    check_lever_words,
    check_sense,
    check_swivel,
)
from .train_checks import check_driven, check_lock, check_worms

Check = Callable[[Case], Iterator[Finding]]

#: What hangs on the set-up, in the order in which a person would look.
SET_UP_CHECKS: tuple[Check, ...] = (
    check_lock,
    check_worms,
    check_driven,
    check_worm_wheel_feed,
    check_sense,
    check_count,
    check_hand_and_lead,
    check_differential,
    check_swivel,
    check_gears_owned,
    check_brackets,
    check_mounting,
    check_entered,
    check_limits,
    check_cutting_speed,
    check_feed_size,
    check_feed_way,
    check_lever_words,
    check_relief,
    check_template_reach,
)

#: What hangs on drawing, hob and machine alone: no lever and no gear helps.
JOB_CHECKS: tuple[Check, ...] = (
    check_worm_wheel_lean,
    check_set_by_centres,
    check_threads,
    check_hob_suits,
    check_hob_sizes,
    check_blank,
    check_machine_takes,
    check_teeth,
    check_pair,
    check_hob_length,
    check_standard,
    check_keys,
    check_toothed,
)

#: Every check.
CHECKS: tuple[Check, ...] = (*SET_UP_CHECKS, *JOB_CHECKS)


def judge_set_up(case: Case) -> Iterator[Finding]:
    """What levers, gears and head leave to be found, judged alone: nothing is tried."""
    return (finding for check in SET_UP_CHECKS for finding in check(case))
