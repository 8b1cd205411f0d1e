"""What a train does: rates, freedom, locks, loose parts, the flow of power, the two questions by hand."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from fractions import Fraction
from itertools import combinations

import nullspace
import pytest
import strategies
from handlead.kinematics.frame.words import Sense
from handlead.kinematics.links.link import Link, TwoPort
from handlead.kinematics.links.links import (
    Brake,
    Clutch,
    Differential,
    GearPair,
    Ratio,
    Screw,
    Selector,
    WormGear,
)
from handlead.kinematics.links.mounted import ChangeGears, Mounted
from handlead.kinematics.train.solution import (
    Solution,
    ask_by_hand,
    held_relations,
    hob_rates,
    link_relations,
    solve,
)
from handlead.kinematics.train.train import Drive, End, Train
from hypothesis import HealthCheck, assume, event, given, settings
from hypothesis import strategies as st

lawful = settings(deadline=None, max_examples=60)
few = settings(deadline=None, max_examples=30, suppress_health_check=[HealthCheck.too_slow])


def train_of(
    *links: Link,
    drives: dict[str, Drive] | None = None,
    slides: Iterable[str] = (),
    spare: Iterable[str] = (),
    **ends: str,
) -> Train:
    """A train of these links, whose parts are whatever they name; the drive is shaft "motor"."""
    parts = sorted({part for link in links for part in link.ports} | {*spare, "motor"})
    return Train(
        {part: "" for part in parts if part not in slides},
        dict.fromkeys(slides, ""),
        links,
        {name: End(part) for name, part in ends.items()},
        drives or {"main": Drive("motor")},
    )


def agrees_with_sympy(train: Train) -> None:
    for drive in train.drives:
        found, expected = solve(train, drive), nullspace.answer(train, drive)
        assert found.freedom == expected.freedom
        assert found.is_locked == expected.is_locked
        assert dict(found.rates) == expected.rates
        event("locked" if found.is_locked else "loose parts" if found.loose else "all driven")


# Rates, against sympy


@lawful
@given(strategies.trains())
def test_rates_and_freedom_are_those_of_the_exact_nullspace(train):
    agrees_with_sympy(train)


@few
@given(strategies.large_trains())
def test_rates_and_freedom_of_sixty_shafts_and_several_loops_are_those_of_the_exact_nullspace(train):
    agrees_with_sympy(train)


@few
@given(strategies.hobbers())
def test_rates_of_a_hobbing_machine_are_those_of_the_exact_nullspace(hobber):
    agrees_with_sympy(hobber.train)


@lawful
@given(strategies.trains())
def test_every_rate_is_an_exact_fraction_that_meets_every_relation(train):
    for drive in train.drives:
        solution = solve(train, drive)
        assert all(rate is None or isinstance(rate, Fraction) for rate in solution.rates.values())
        for _, relation in link_relations(train) + held_relations(train, drive):
            if all(solution.rates[part] is not None for part in relation):
                assert sum(value * solution.rates[part] for part, value in relation.items()) == 0


# The same machine in other words


def differences(one: Solution, other: Solution) -> dict[str, object]:
    return {
        part: (one.rates[part], other.rates[part])
        for part in one.train.parts
        if one.rates[part] != other.rates[part]
    }


def is_irreducible(train: Train, drive: str, names: Iterable[str]) -> bool:
    """Whether these relations lock the drive, and would no longer with any one of them left out."""
    chosen = dict(link_relations(train) + held_relations(train, drive))
    rows = [chosen[name] for name in names]
    shaft = train.drives[drive].shaft
    return locks(rows, shaft) and not any(
        locks(rows[:index] + rows[index + 1 :], shaft) for index in range(len(rows))
    )


@lawful
@given(strategies.trains(), st.data())
def test_the_order_in_which_links_and_parts_are_written_changes_nothing(train, data):
    again = data.draw(strategies.reordered(train))
    for drive in train.drives:
        one, other = solve(train, drive), solve(again, drive)
        assert not differences(one, other)
        assert one.freedom == other.freedom
        assert len(one.lock) == len(other.lock)
        assert set(one.loose) == set(other.loose)
        assert len(one.backdriven) == len(other.backdriven)
        if one.lock:
            assert is_irreducible(train, drive, other.lock)


@lawful
@given(strategies.trains(), st.data())
def test_calling_parts_by_other_names_changes_nothing(train, data):
    new = data.draw(st.permutations(range(len(train.parts))))
    names = {part: f"part {number}" for part, number in zip(train.parts, new, strict=True)}
    for drive in train.drives:
        one, other = solve(train, drive), solve(strategies.renamed(train, names), drive)
        assert {names[part]: rate for part, rate in one.rates.items()} == dict(other.rates)
        assert one.freedom == other.freedom
        assert set(one.lock) == set(other.lock)
        assert set(one.backdriven) == set(other.backdriven)


@lawful
@given(strategies.trains(), st.data())
def test_turning_round_a_parts_positive_turns_its_rate_alone(train, data):
    parts = strategies.stuck_together(train, data.draw(st.sampled_from(train.parts)))
    turned = strategies.flipped(train, parts)
    for drive in train.drives:
        one, other = solve(train, drive), solve(turned, drive)
        # Rates are per turn of the drive: with its own positive turned round, all else turns round.
        whole = -1 if train.drives[drive].shaft in parts else 1
        for part in train.parts:
            rate, sign = one.rates[part], whole * (-1 if part in parts else 1)
            assert other.rates[part] == (None if rate is None else sign * rate)
        for name in train.ends:
            rate = one.end_rate(name)
            assert other.end_rate(name) == (None if rate is None else whole * rate)
        assert (one.freedom, one.lock, one.backdriven) == (other.freedom, other.lock, other.backdriven)
        assert hob_rates(one) == hob_rates(other)


@lawful
@given(strategies.hobbers(), st.data())
def test_the_two_questions_do_not_depend_on_order_or_positives(hobber, data):
    train = hobber.train
    parts = strategies.stuck_together(train, data.draw(st.sampled_from(train.parts)))
    again = data.draw(strategies.reordered(strategies.flipped(train, parts)))
    assert ask_by_hand(again, "main") == ask_by_hand(train, "main")


# Locked trains


PRIME = (1 << 61) - 1


def locks(relations: Iterable[dict[str, Fraction]], shaft: str) -> bool:
    """Whether the relations hold `shaft` at 0, by elimination modulo a prime too large to matter."""
    pivots: list[tuple[str, dict[str, int]]] = []
    for relation in relations:
        row = {
            part: value.numerator * pow(value.denominator, -1, PRIME) % PRIME
            for part, value in relation.items()
        }
        for part, pivot in pivots:
            if row.get(part):
                row = less(row, row[part], pivot)
        row = {part: value for part, value in row.items() if value}
        if not row:
            continue
        part = next((part for part in row if part != shaft), shaft)
        if part == shaft:
            return True
        scale = pow(row[part], -1, PRIME)
        pivots.append((part, {key: value * scale % PRIME for key, value in row.items()}))
    return False


def less(row: dict[str, int], times: int, pivot: dict[str, int]) -> dict[str, int]:
    return {
        part: (row.get(part, 0) - times * pivot.get(part, 0)) % PRIME for part in row.keys() | pivot.keys()
    }


def shortest_by_trying(train: Train, drive: str) -> int:
    """Number of links in the shortest chain that locks, by trying every smaller set of links."""
    stated = [dict(relation) for _, relation in link_relations(train) + held_relations(train, drive)]
    shaft = train.drives[drive].shaft
    return next(
        size
        for size in range(1, len(stated) + 1)
        if any(locks(chosen, shaft) for chosen in combinations(stated, size))
    )


@settings(lawful, max_examples=100)
@given(strategies.trains(max_redundant=3))
def test_a_locking_chain_locks_by_itself_and_every_link_of_it_is_needed(train):
    for drive in train.drives:
        lock = solve(train, drive).lock
        event("locked" if lock else "free")
        if lock:
            assert len(set(lock)) == len(lock)
            assert is_irreducible(train, drive, lock)


@settings(lawful, max_examples=100)
@given(strategies.trains(max_shafts=7, max_redundant=4, max_brakes=2, max_drives=2))
def test_no_shorter_chain_than_the_one_named_locks_a_train(train):
    for drive in train.drives:
        lock = solve(train, drive).lock
        assume(lock)
        spare = len(link_relations(train)) + len(held_relations(train, drive)) - len(train.parts)
        event(f"redundant loops: {max(0, spare)}")
        assert len(lock) == shortest_by_trying(train, drive)


def test_two_brakes_and_a_ring_are_told_apart_by_length():
    train = train_of(
        Ratio("first", "motor", "a", Fraction(2)),
        Ratio("second", "a", "b", Fraction(2)),
        Ratio("third", "b", "motor", Fraction(2)),
        Ratio("fourth", "motor", "c", Fraction(3)),
        Brake("brake", "c"),
    )
    assert solve(train, "main").lock == ("fourth", "brake")


def test_a_clutch_and_a_brake_on_one_shaft_lock_it_from_the_drive_on():
    train = train_of(
        Brake("cage brake", "cage"),
        Ratio("elsewhere", "motor", "x", Fraction(1)),
        Clutch("cage clutch", "wheel", "cage"),
        GearPair("gears", "motor", "wheel", (20, 40)),
    )
    solution = solve(train, "main")
    assert solution.lock == ("gears", "cage clutch", "cage brake")
    assert solution.is_locked
    assert solution.rates["motor"] == 0
    assert solve(train.with_states({"cage brake": "off"}), "main").lock == ()
    assert solve(train.with_states({"cage clutch": "out"}), "main").rates["wheel"] == Fraction(-1, 2)


def test_two_clutches_of_a_gearbox_in_at_once_lock_it():
    train = train_of(
        GearPair("low pair", "motor", "low wheel", (20, 60)),
        GearPair("high pair", "motor", "high wheel", (40, 40)),
        Clutch("low clutch", "low wheel", "spindle"),
        Clutch("high clutch", "high wheel", "spindle"),
        hob="spindle",
    )
    assert set(solve(train, "main").lock) == {"low pair", "high pair", "low clutch", "high clutch"}
    low = solve(train.with_states({"high clutch": "out"}), "main")
    assert low.rates["spindle"] == Fraction(-1, 3)
    assert low.rates["high wheel"] == -1


def test_a_loop_whose_ratios_agree_turns():
    train = train_of(
        GearPair("one way", "motor", "spindle", (20, 60)),
        GearPair("first", "motor", "between", (20, 40)),
        GearPair("second", "between", "spindle", (20, 30), sense=Sense.SAME),
    )
    assert solve(train, "main").rates["spindle"] == Fraction(-1, 3)
    assert solve(train.replacing(GearPair("second", "between", "spindle", (20, 31))), "main").is_locked


@pytest.mark.parametrize("free", [True, False])
def test_a_drive_that_is_not_in_use_holds_the_train_unless_it_may_turn(free):
    train = train_of(
        Ratio("belt", "motor", "screw", Fraction(2)),
        Ratio("rapid belt", "rapid motor", "screw", Fraction(1)),
        drives={"main": Drive("motor"), "rapid": Drive("rapid motor", free_at_rest=free)},
    )
    solution = solve(train, "main")
    assert solution.is_locked is not free
    if free:
        assert solution.rates["rapid motor"] == 2
    else:
        assert solution.lock == ("belt", "rapid belt", "drive rapid at rest")


def test_an_unknown_drive_is_a_key_error():
    with pytest.raises(KeyError):
        solve(train_of(Ratio("belt", "motor", "a", Fraction(1))), "steam engine")


# Loose parts, levers, brackets


def reached_by(train: Train, drive: str) -> set[str]:
    """Parts that hang together with the drive's shaft, in a train of two-part links."""
    found, before = {train.drives[drive].shaft}, set[str]()
    while found != before:
        before = set(found)
        for link in train.links:
            if nullspace.row(link) and before.intersection(link.ports):
                found |= set(link.ports)
    return found


@lawful
@given(strategies.tree_trains())
def test_in_a_train_without_loops_the_loose_parts_are_those_that_nothing_joins_to_the_drive(train):
    solution = solve(train, "drive 0")
    assert set(solution.loose) == set(train.parts) - reached_by(train, "drive 0")
    assert not solution.is_locked
    assert solution.freedom == 1 + len(train.parts) - len(
        reached_by(train, "drive 0")
    ) - len(  # every link off the drive's tree takes a motion away
        [
            link
            for link in train.links
            if nullspace.row(link) and not reached_by(train, "drive 0").intersection(link.ports)
        ]
    )


def test_an_empty_bracket_passes_nothing_and_gears_in_it_do():
    bracket = ChangeGears("index gears", "motor", "worm")
    train = train_of(bracket, WormGear("index worm", "worm", "table", 1, 40, Sense.SAME), table="table")
    empty = solve(train, "main")
    assert empty.loose == ("table", "worm")
    assert (empty.rates["motor"], empty.end_rate("table"), empty.freedom) == (1, None, 2)
    filled = solve(train.with_gears({"index gears": Mounted((20, 40, 30, 60), (55,))}), "main")
    assert filled.end_rate("table") == Fraction(-1, 160)
    assert solve(train.with_gears({"index gears": None}), "main").rates == empty.rates


def test_a_differential_with_one_open_side_drives_nothing():
    train = train_of(Differential("sum", ("motor", "out"), "carrier"), Brake("brake", "carrier"))
    assert solve(train, "main").rates == {"carrier": 0, "motor": 1, "out": -1}
    assert solve(train.with_states({"brake": "off"}), "main").loose == ("carrier", "out")


@lawful
@given(strategies.trains(), st.data())
def test_a_lever_puts_links_into_states_and_leaves_the_rest(train, data):
    moved = {}
    for link in train.links:
        if isinstance(link, Clutch | Brake):
            moved[link.name] = data.draw(st.sampled_from(link.states))
        elif isinstance(link, Selector):
            moved[link.name] = data.draw(st.sampled_from(sorted(link.ratios)))
    again = train.with_states(moved)
    assert {link.name for link in again.links} == {link.name for link in train.links}
    for link in again.links:
        assert link == (
            train.link(link.name).in_state(moved[link.name]) if link.name in moved else train.link(link.name)
        )
    agrees_with_sympy(again)
    back = again.with_states({name: train.link(name).state for name in moved})
    assert back == train


def test_a_selector_in_neutral_passes_nothing():
    box = Selector(
        "reverser", "motor", "screw", {"up": Fraction(1), "down": Fraction(-1), "neutral": Fraction(0)}, "up"
    )
    train = train_of(
        box, Screw("screw", "screw", "slide", Fraction(6), Sense.SAME), slides=["slide"], axial="slide"
    )
    assert solve(train, "main").end_rate("axial") == 6
    assert solve(train.with_states({"reverser": "down"}), "main").end_rate("axial") == -6
    assert solve(train.with_states({"reverser": "neutral"}), "main").loose == ("screw", "slide")
    with pytest.raises(ValueError, match="has no state 'sideways'"):
        train.with_states({"reverser": "sideways"})
    with pytest.raises(ValueError, match="has no states"):
        train.with_states({"screw": "in"})
    with pytest.raises(KeyError):
        train.with_states({"no such link": "in"})


# The flow of power


@lawful
@given(strategies.trains(), st.data())
def test_power_reaches_every_moving_part_once_from_parts_it_has_reached(train, data):
    drive = data.draw(st.sampled_from(sorted(train.drives)))
    solution = solve(train, drive)
    moving = {part for part, rate in solution.rates.items() if rate}
    targets = [step.target for step in solution.flow.steps]
    assert len(set(targets)) == len(targets)
    reachable = moving - {train.drives[drive].shaft} if not solution.is_locked else set()
    assert set(targets) <= reachable
    # Two differentials side by side can tie a part to the drive by way of shafts that nothing settles one by one: it
    # moves, but no path of driven parts leads there.
    loose = {part for part, rate in solution.rates.items() if rate is None}
    if not any(isinstance(link, Differential) and loose.intersection(link.ports) for link in train.links):
        assert set(targets) == reachable
    for step in solution.flow.steps:
        assert {*step.sources, step.target} == set(train.link(step.link).ports)
        assert step.link not in solution.backdriven or step.target == train.link(step.link).ports[0]
    backwards = {
        step.link
        for step in solution.flow.steps
        if train.link(step.link).self_locking and step.target == train.link(step.link).ports[0]
    }
    assert backwards == set(solution.backdriven)


def worms_met_from_the_wheel(train: Train, drive: str) -> set[str]:
    """In a train without loops: worm gears of which the walk from the drive comes to the wheel first."""
    found, walked = {train.drives[drive].shaft}, [train.drives[drive].shaft]
    backwards = set()
    while walked:
        part = walked.pop()
        for link in train.links:
            if part in link.ports and nullspace.row(link):
                assert isinstance(link, TwoPort)
                other = link.ports[1 - link.ports.index(part)]
                if other not in found:
                    found.add(other)
                    walked.append(other)
                    if isinstance(link, WormGear) and link.to_part == part:
                        backwards.add(link.name)
    return backwards


@lawful
@given(strategies.tree_trains())
def test_a_worm_is_driven_backwards_where_the_drive_lies_on_its_wheels_side(train):
    expected = worms_met_from_the_wheel(train, "drive 0")
    event("some" if expected else "none")
    assert set(solve(train, "drive 0").backdriven) == expected


@lawful
@given(strategies.hobbers())
def test_a_hobbing_machine_runs_with_no_worm_driven_backwards(hobber):
    solution = solve(hobber.train, "main")
    assert not solution.is_locked
    assert solution.backdriven == ()


def row_of_loops(count: int) -> Train:
    """Differentials one after another, each with its carrier driven back from its own output."""
    links: list[Link] = []
    for index in range(count):
        start, out, cage = (f"m{index}" if index else "motor"), f"q{index}", f"c{index}"
        links += [
            Differential(f"sum {index}", (start, out), cage),
            Ratio(f"back {index}", out, cage, Fraction(1, 3)),
            Ratio(f"on {index}", out, f"m{index + 1}", Fraction(3, 2)),
        ]
    return train_of(*links, WormGear("worm", "spare", f"m{count}", 1, 30, Sense.SAME))


def test_sixty_loops_in_a_row_are_followed_to_the_worm_at_their_end():
    """Each loop could turn either way about: trying all ways of all of them would never end."""
    train = row_of_loops(60)
    solution = solve(train, "main")
    assert dict(solution.rates) == nullspace.answer(train, "main").rates
    assert solution.backdriven == ("worm",)
    assert len(solution.flow.steps) == len(train.parts) - 1


@pytest.mark.parametrize("first", [("a", "b"), ("b", "a")])
def test_loops_that_close_only_through_each_other_spare_the_worm_in_them(first):
    """No output of one differential alone closes a loop; with a and c as outputs all runs forward."""
    train = train_of(
        Differential("one", ("motor", first[0]), first[1]),
        Differential("two", ("motor", "c"), "d"),
        Differential("three", ("a", "c"), "worm shaft", Fraction(-3)),
        WormGear("worm", "worm shaft", "b", 1, 30, Sense.SAME),
        Differential("four", ("a", "c"), "d", Fraction(-2, 5)),
    )
    solution = solve(train, "main")
    assert dict(solution.rates) == nullspace.answer(train, "main").rates
    assert all(solution.rates.values())
    assert solution.backdriven == ()
    assert {step.target for step in solution.flow.steps} == set(train.parts) - {"motor"}


def with_worm_turned_round(train: Train, name: str) -> Train:
    """The train with this worm gear built in the wrong way: wheel where the worm was."""
    worm = train.link(name)
    assert isinstance(worm, WormGear)
    return train.replacing(replace(worm, from_part=worm.to_part, to_part=worm.from_part))


@lawful
@given(strategies.hobbers(), st.sampled_from(["table worm", "feed worm", "differential worm"]))
def test_a_worm_built_in_the_wrong_way_round_is_reported_alone(hobber, name):
    assume(any(link.name == name for link in hobber.train.links))
    train = with_worm_turned_round(hobber.train, name)
    solution = solve(train, "main")
    assume(not solution.is_locked)
    moves = solution.rates[train.link(name).ports[0]]
    event(f"{name} {'moves' if moves else 'stands'}")
    # A loop through the differential can turn the other way: then another worm takes the blame.
    expected = 1 if moves else 0
    assert len(solution.backdriven) == expected
    assert solution.backdriven == ((name,) if moves else ()) or hobber.differential_in


def test_a_rapid_motor_on_the_slide_screw_drives_the_feed_worm_backwards_with_the_feed_in():
    train = train_of(
        WormGear("feed worm", "motor", "feed wheel", 1, 30, Sense.SAME),
        Clutch("feed clutch", "feed wheel", "screw"),
        Ratio("rapid belt", "rapid motor", "screw", Fraction(3)),
        drives={"main": Drive("motor", free_at_rest=True), "rapid": Drive("rapid motor", free_at_rest=True)},
    )
    assert solve(train, "rapid").backdriven == ("feed worm",)
    assert solve(train, "main").backdriven == ()
    assert solve(train.with_states({"feed clutch": "out"}), "rapid").backdriven == ()


# The two questions


def table_per_hob_by_finger(hobber: strategies.Hobber) -> Fraction:
    """Ratio after ratio from the hob back to the main shaft and on to the table, carrier held."""
    names = ["index drive", "range", "index gears", "table worm"]
    sign = hobber.train.ends["hob"].sign * hobber.train.ends["table"].sign
    return sign * held_sum(hobber) * hobber.ratio(*names) / hobber.ratio("hob gears")


def held_sum(hobber: strategies.Hobber) -> Fraction:
    differential = next((link for link in hobber.train.links if isinstance(link, Differential)), None)
    return differential.sun_ratio if differential else Fraction(1)


def table_per_slide_by_finger(hobber: strategies.Hobber, end: str) -> Fraction:
    """Back from the slide through its screw to the feed train, on to the carrier, and to the table."""
    if not hobber.differential_in:
        return Fraction(0)
    back = hobber.ratio(f"{end} lead screw")
    if hobber.differential_fed_by == "table":
        back *= hobber.ratio("feed gears", "feed bevels")
    carrier = hobber.ratio("differential gears", "differential worm") / back
    on = ["table worm"] if hobber.summed == "after index" else ["range", "index gears", "table worm"]
    sign = hobber.train.ends[end].sign * hobber.train.ends["table"].sign
    return sign * carrier * (1 - held_sum(hobber)) * hobber.ratio(*on)


@settings(lawful, max_examples=120)
@given(strategies.hobbers())
def test_the_two_questions_are_answered_as_a_finger_along_the_train_would(hobber):
    answer = ask_by_hand(hobber.train, "main")
    moved, other = ("tangential", "axial") if hobber.tangential else ("axial", "tangential")
    assert answer.table_per_hob == table_per_hob_by_finger(hobber)
    assert getattr(answer, f"table_per_{moved}") == table_per_slide_by_finger(hobber, moved)
    # The other slide's clutch is out: it moves without the table.
    assert getattr(answer, f"table_per_{other}") == 0
    assert answer.opened and set(answer.opened) <= {"feed worm", "feed gears", "feed bevels"}


@settings(lawful, max_examples=120)
@given(strategies.hobbers())
def test_while_running_the_table_does_what_the_two_questions_add_up_to(hobber):
    solution, answer = solve(hobber.train, "main"), ask_by_hand(hobber.train, "main")
    rates = hob_rates(solution)
    if rates is None:
        assert solution.is_locked
        return
    assert rates.table == (
        answer.table_per_hob
        + answer.table_per_axial * rates.axial
        + answer.table_per_tangential * rates.tangential
    )


@settings(lawful, max_examples=150)
@given(strategies.trains(max_drives=2, max_redundant=0))
def test_on_any_train_the_answers_add_up_to_what_the_table_does(train):
    assume("axial" in train.ends)
    for drive in train.drives:
        answer, rates = ask_by_hand(train, drive), hob_rates(solve(train, drive))
        moving = {name for name in ("axial", "tangential", "radial") if rates and getattr(rates, name)}
        if rates is None or answer.table_per_hob is None or "radial" in moving:
            continue
        if answer.table_per_axial is None or (answer.table_per_tangential is None and "tangential" in moving):
            continue
        event(f"parted at {len(answer.opened)}, slides moving {len(moving)}")
        assert rates.table == (
            answer.table_per_hob
            + answer.table_per_axial * rates.axial
            + (answer.table_per_tangential or 0) * rates.tangential
        )


@settings(lawful, max_examples=150)
@given(strategies.trains(max_drives=2, max_redundant=0))
def test_the_answers_are_those_of_sympy_for_the_train_with_its_feed_parted(train):
    assume("table" in train.ends)
    for drive in train.drives:
        answer = ask_by_hand(train, drive)
        parted = train.without(*answer.opened)
        for name, found in [
            ("hob", answer.table_per_hob),
            ("axial", answer.table_per_axial),
            ("tangential", answer.table_per_tangential),
        ]:
            expected = table_per_by_sympy(parted, drive, name)
            event(f"{name}: {'no answer' if expected is None else 'answered'}")
            assert found == expected


def table_per_by_sympy(train: Train, drive: str, name: str) -> Fraction | None:
    """Table per unit of one end, in the frame; None where what is held still doesn't settle it.

    For the hob every slide is held; for a slide the hob, the slides listed before it, and those
    after it that don't hang on it.
    """
    if name not in train.ends:
        return None
    end, table = train.ends[name], train.ends["table"]
    at, to = train.parts.index(end.part), train.parts.index(table.part)
    held = list(nullspace.held_parts(train, drive))
    earlier = True
    for key in ("hob", "axial", "tangential", "radial"):
        earlier = earlier and key != name
        if key == name or key not in train.ends:
            continue
        trial = [*held, train.ends[key].part]
        if earlier or name == "hob" or any(line[at] for line in nullspace.motions(train, tuple(trial))):
            held = trial
    basis = nullspace.motions(train, tuple(held))
    ratios = {line[to] / line[at] for line in basis if line[at]}
    if any(line[to] for line in basis if not line[at]) or len(ratios) != 1:
        return None
    return ratios.pop() * end.sign * table.sign


def test_the_bevel_differential_of_a_hobber_adds_half_turns():
    """Side gears and carrier: s1 + s2 = 2 c; own derivation from Willis's rule, checked independently."""

    def driven(first: Fraction, second: Fraction) -> Fraction:
        train = train_of(
            Ratio("to first", "motor", "first", first),
            Ratio("to second", "motor", "second", second),
            Differential("sum", ("first", "second"), "carrier"),
        )
        rate = solve(train, "main").rates["carrier"]
        assert rate is not None
        return rate

    assert driven(Fraction(3), Fraction(5)) == 4
    assert driven(Fraction(3), Fraction(-3)) == 0
    assert driven(Fraction(7, 2), Fraction(7, 2)) == Fraction(7, 2)
