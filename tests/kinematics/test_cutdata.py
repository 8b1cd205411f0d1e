"""Starting values: within the table where the machine lets them, within the machine always."""

from __future__ import annotations

from dataclasses import replace

import pytest
from handlead.kinematics.frame.words import Hand
from handlead.kinematics.gears.gear import Gear
from handlead.kinematics.practice import cutdata, cycle, finish
from handlead.kinematics.practice.cutdata import (
    CutData,
    CuttingQuestion,
    FeedRow,
    HobRow,
    SpeedLimits,
    SpeedRow,
    StartsRow,
)
from hypothesis import given, settings
from hypothesis import strategies as st

lawful = settings(deadline=None)

# An invented table: round numbers, so that each step can be followed by head.
TABLE = CutData(
    speeds=(SpeedRow("soft", (30, 60), "table S"), SpeedRow("hard", (10, 20), "table S")),
    hobs=(HobRow("plain", (1, 1), "table H"), HobRow("coated", (1.5, 2), "table H")),
    feeds=(
        FeedRow("roughing", (2, 5), (1, 8), "table F"),
        FeedRow("finishing", (0.5, 2), (1, 8), "table F"),
        FeedRow("radial", (0.1, 0.4), (1, 8), "table F"),
    ),
    starts=(StartsRow(1, 1, "table N"), StartsRow(2, 1.5, "table N")),
)
JOB = CuttingQuestion(Gear(40, 2), "soft", "plain", 80)
rpms = st.floats(1, 500)
# A feed as large as the hob would leave ridges uncut, and is refused elsewhere.
feeds = st.floats(0.05, 30)


@st.composite
def limits(draw: st.DrawFn) -> SpeedLimits:
    def steps(values: st.SearchStrategy[float]) -> st.SearchStrategy[tuple[float, ...]]:
        return st.lists(values, min_size=1, max_size=8).map(lambda found: tuple(sorted(found)))

    def ends(values: st.SearchStrategy[float]) -> st.SearchStrategy[tuple[float, ...]]:
        return st.tuples(values, values).map(lambda two: (min(two), max(two)))

    rpms_range, feeds_range = draw(st.booleans()), draw(st.booleans())
    worm = draw(st.one_of(st.none(), st.floats(50, 1500)))
    return SpeedLimits(
        hob_rpms=draw(st.none() | (ends(rpms) if rpms_range else steps(rpms))),
        hob_rpms_are_range=rpms_range,
        feeds=draw(st.none() | (ends(feeds) if feeds_range else steps(feeds))),
        feeds_are_range=feeds_range,
        table_worm_rpm=worm,
        worm_turns_per_table_turn=draw(st.integers(24, 240)) if worm else None,
    )


jobs = st.builds(
    CuttingQuestion,
    gear=st.builds(Gear, st.integers(8, 200), st.floats(1, 8)),
    material=st.sampled_from(["soft", "hard"]),
    hob_material=st.sampled_from(["plain", "coated"]),
    hob_tip_diameter=st.floats(40, 160),
    starts=st.sampled_from([1, 2]),
    cut=st.sampled_from(["roughing", "finishing"]),
    mark_um=st.none() | st.floats(1, 50),
)


def given_by(values: tuple[float, ...] | None, is_range: bool, value: float) -> bool:
    if values is None:
        return True
    return values[0] <= value <= values[1] if is_range else value in values


@lawful
@given(jobs, limits())
def test_the_machine_can_always_do_what_is_proposed(job: CuttingQuestion, machine: SpeedLimits) -> None:
    found = cutdata.propose(TABLE, job, machine)
    assert given_by(machine.feeds, machine.feeds_are_range, found.feed)
    if found.hob_rpm is None:
        assert found.warnings and machine.table_worm_rpm is not None
        return
    assert given_by(machine.hob_rpms, machine.hob_rpms_are_range, found.hob_rpm)
    if machine.table_worm_rpm is not None:
        assert found.table_worm_rpm is not None
        assert found.table_worm_rpm <= machine.table_worm_rpm * (1 + 1e-8)


@lawful
@given(jobs, limits())
def test_beyond_the_table_or_the_mark_wanted_there_is_always_a_warning(job: CuttingQuestion, machine: SpeedLimits) -> None:
    found = cutdata.propose(TABLE, job, machine)
    highest = cutdata.speed_range(TABLE, job.material, job.hob_material)[1]
    too_fast = found.cutting_speed_m_min is not None and found.cutting_speed_m_min > highest * (1 + 1e-8)
    assert too_fast <= any(warning.startswith("hob speed") for warning in found.warnings)
    most = cutdata.feed_range(TABLE, job.cut, job.gear.module_n, job.starts)[1]
    assert found.mark_um is not None
    too_rough = job.mark_um is not None and found.mark_um > job.mark_um * (1 + 1e-8)
    warned = any(warning.startswith("feed:") for warning in found.warnings)
    assert (too_rough or found.feed > most * (1 + 1e-8)) <= warned


@lawful
@given(jobs, limits())
def test_every_proposal_is_a_starting_value_with_reasons_and_sources(job: CuttingQuestion, machine: SpeedLimits) -> None:
    found = cutdata.propose(TABLE, job, machine)
    assert found.standing == "starting value"
    sources = "; ".join(reason.source for reason in found.reasons)
    for source in ("table S", "table H", "table F", "table N"):
        assert source in sources


@lawful
@given(jobs)
def test_with_no_limits_known_the_lower_third_of_the_table_is_proposed(job: CuttingQuestion) -> None:
    found = cutdata.propose(TABLE, replace(job, mark_um=None))
    for value, (low, high) in (
        (found.cutting_speed_m_min, cutdata.speed_range(TABLE, job.material, job.hob_material)),
        (found.feed, cutdata.feed_range(TABLE, job.cut, job.gear.module_n, job.starts)),
    ):
        assert value == pytest.approx(low + (high - low) / 3)


def test_of_the_speeds_there_are_the_nearest_below_the_aim_is_taken() -> None:
    aim = cycle.hob_rpm(40, 80)
    assert 159 < aim < 160
    found = cutdata.propose(TABLE, JOB, SpeedLimits(hob_rpms=(90, 125, 150, 180)))
    assert found.hob_rpm == 150


def test_a_speed_within_the_table_is_better_than_one_below_it() -> None:
    # 80 rpm is 20 m/min, below the table; 180 rpm is 45 m/min, above the aim but within it.
    assert cutdata.propose(TABLE, JOB, SpeedLimits(hob_rpms=(80, 180))).hob_rpm == 180
    assert cutdata.propose(TABLE, JOB, SpeedLimits(hob_rpms=(80, 300))).hob_rpm == 80


def test_few_teeth_and_two_starts_give_way_to_the_table_worm() -> None:
    pinion = replace(JOB, gear=Gear(12, 2), starts=2)
    machine = SpeedLimits(hob_rpms=(20, 40, 80, 160), table_worm_rpm=800, worm_turns_per_table_turn=96)
    found = cutdata.propose(TABLE, pinion, machine)
    # 800 / 96 * 12 / 2 = 50 rpm at the hob.
    assert found.hob_rpm == 40 and found.table_worm_rpm == pytest.approx(640)
    assert any("table worm" in reason.text for reason in found.reasons)


def test_where_no_speed_spares_the_table_worm_none_is_proposed() -> None:
    machine = SpeedLimits(hob_rpms=(80, 160), table_worm_rpm=200, worm_turns_per_table_turn=96)
    found = cutdata.propose(TABLE, replace(JOB, gear=Gear(12, 2), starts=2), machine)
    assert found.hob_rpm is None and found.cutting_speed_m_min is None
    assert "Take a hob of fewer starts" in found.warnings[0]


def test_a_fine_mark_wanted_holds_the_feed_down() -> None:
    found = cutdata.propose(TABLE, replace(JOB, mark_um=1.0), SpeedLimits(feeds=(0.4, 0.8, 1.2)))
    assert finish.largest_feed(1, 80) == pytest.approx(0.967, abs=1e-3)
    assert found.feed == 0.8
    assert found.mark_um is not None and found.mark_um < 1


def test_a_mark_finer_than_the_machine_can_leave_is_said_to_be_so() -> None:
    found = cutdata.propose(TABLE, replace(JOB, mark_um=0.1), SpeedLimits(feeds=(0.5, 1)))
    assert found.feed == 0.5
    assert "machine's finest and leaves marks of" in found.warnings[0]


def test_two_starts_feed_less() -> None:
    one, two = (cutdata.propose(TABLE, replace(JOB, starts=starts)).feed for starts in (1, 2))
    assert two == pytest.approx(one / 1.5)


def test_helical_work_says_how_far_the_mark_can_be_trusted() -> None:
    helical = replace(JOB, gear=Gear(40, 2, 20, Hand.LEFT))
    assert "rough guide" in cutdata.propose(TABLE, helical).warnings[-1]
    assert cutdata.propose(TABLE, JOB).warnings == ()


def test_a_radial_cut_leaves_no_feed_mark() -> None:
    found = cutdata.propose(TABLE, replace(JOB, cut="radial"))
    assert found.mark_um is None and found.feed == pytest.approx(0.2)
    with pytest.raises(ValueError, match="a radial cut leaves none"):
        replace(JOB, cut="radial", mark_um=3)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"material": "sfot"}, "material is 'sfot'; the table holds 'soft', 'hard'"),
        ({"hob_material": "x"}, "hob material is 'x'; the table holds 'plain', 'coated'"),
        ({"gear": Gear(40, 0.5)}, r"module is 0\.5 mm; for finishing the table holds 1 to 8"),
        ({"starts": 3}, "starts are 3; the table holds 1, 2"),
        ({"cut": "planing"}, "cut is 'planing'; it must be one of roughing, finishing, radial"),
    ],
)
def test_what_the_table_lacks_is_refused_and_what_it_holds_is_named(
    change: dict[str, object], words: str
) -> None:
    with pytest.raises(ValueError, match=words):
        cutdata.propose(TABLE, replace(JOB, **change))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("keys", "words"),
    [
        ({"hob_rpms": ()}, "hob speeds are"),
        ({"feeds": (2, 1), "feeds_are_range": True}, "give at least one, or a range"),
        ({"hob_rpms": (0, 50)}, "hob speeds is 0; it must be a number above 0"),
        ({"table_worm_rpm": 300}, "worm turns per table turn are missing"),
    ],
)
def test_limits_that_make_no_sense_are_refused(keys: dict[str, object], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        SpeedLimits(**keys)  # type: ignore[arg-type]
