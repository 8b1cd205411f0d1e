"""Laws that hold for every gear, whatever its numbers."""

from __future__ import annotations

import math
from fractions import Fraction

import pytest
from handlead.kinematics.frame.words import Hand
from handlead.kinematics.gears import gear as geometry
from handlead.kinematics.gears import head, measures
from handlead.kinematics.gears import pair as pairs
from handlead.kinematics.gears.gear import Gear
from hypothesis import assume, given, settings
from hypothesis import strategies as st

lawful = settings(deadline=None)
hands = st.sampled_from(Hand)
modules = st.floats(0.2, 30)
helix_angles = st.floats(0.5, 60)
lead_angles = st.floats(0.1, 20)


@st.composite
def gears(draw: st.DrawFn, helical: bool | None = None) -> Gear:
    helical = draw(st.booleans()) if helical is None else helical
    return Gear(
        teeth=draw(st.integers(12, 300)),
        module_n=draw(modules),
        helix_angle_deg=draw(st.floats(0.5, 45)) if helical else 0,
        hand=draw(hands) if helical else None,
        pressure_angle_n_deg=draw(st.sampled_from([14.5, 20.0, 25.0])),
        profile_shift=draw(st.floats(-0.2, 0.6)),
    )


# ---------------------------------------------------------------- round trips


@lawful
@given(st.floats(0, 89))
def test_the_inverse_involute_gives_the_angle_back(angle: float) -> None:
    assert geometry.inverse_involute(geometry.involute(angle)) == pytest.approx(angle, rel=1e-9, abs=1e-12)


@lawful
@given(st.floats(1e-12, 50))
def test_the_involute_gives_the_value_back(value: float) -> None:
    assert geometry.involute(geometry.inverse_involute(value)) == pytest.approx(value, rel=1e-9)


@pytest.mark.parametrize("angle", [1e-4, 0.01, 1, 5.7, 5.72, 20, 60])
def test_the_involute_keeps_its_digits_at_small_angles(angle: float) -> None:
    # mpmath, a general-purpose library, to 50 digits.
    mpmath = pytest.importorskip("mpmath")
    with mpmath.workdps(50):
        a = mpmath.mpf(math.radians(angle))
        wanted = float(mpmath.tan(a) - a)
    assert geometry.involute(angle) == pytest.approx(wanted, rel=1e-11)


@lawful
@given(modules, st.integers(1, 400), helix_angles)
def test_the_lead_gives_the_helix_angle_back(module: float, teeth: int, helix_angle: float) -> None:
    lead = geometry.lead(module, teeth, helix_angle)
    diameter = teeth * geometry.transverse_module(module, helix_angle)
    assert geometry.helix_angle_at(diameter, lead) == pytest.approx(helix_angle, rel=1e-9)


@given(st.fractions(Fraction(1, 100), 100))
def test_module_and_diametral_pitch_turn_into_each_other_exactly(pitch: Fraction) -> None:
    assert geometry.diametral_pitch_from_module(Fraction(254, 10) / pitch) == pitch


@lawful
@given(helix_angles, st.floats(10, 40))
def test_normal_and_transverse_angles_turn_into_each_other(helix_angle: float, pressure_angle: float) -> None:
    angle = geometry.transverse_pressure_angle_deg(pressure_angle, helix_angle)
    assert geometry.normal_pressure_angle_deg(angle, helix_angle) == pytest.approx(pressure_angle)


# ---------------------------------------------------------------- the head


@lawful
@given(hands, lead_angles, hands, helix_angles)
def test_the_mirror_image_of_a_job_swings_the_head_the_other_way(
    hob: Hand, lead_angle: float, work: Hand, helix_angle: float
) -> None:
    swivel = head.swivel_deg(hob, lead_angle, work, helix_angle)
    assert head.swivel_deg(hob.other, lead_angle, work.other, helix_angle) == -swivel


@lawful
@given(hands, lead_angles, hands, helix_angles)
def test_the_swivel_lays_the_thread_along_the_tooth(
    hob: Hand, lead_angle: float, work: Hand, helix_angle: float
) -> None:
    # Tangents in the plane that hob and work touch in, as (Y, Z), from each helix by itself: a
    # right-hand thread about Y climbs to +Y as it passes the work upwards; a right-hand tooth
    # about Z turns counter-clockwise, to +Y on the hob's side, as it climbs.
    gamma, beta = math.radians(lead_angle), math.radians(helix_angle)
    y, z = hob.value * math.sin(gamma), math.cos(gamma)
    eta = math.radians(head.swivel_deg(hob, lead_angle, work, helix_angle))
    thread = (y * math.cos(eta) - z * math.sin(eta), y * math.sin(eta) + z * math.cos(eta))
    tooth = (work.value * math.sin(beta), math.cos(beta))
    assert thread == pytest.approx(tooth, abs=1e-12)


def test_for_spur_work_a_right_hand_hob_swings_counter_clockwise_by_its_lead_angle() -> None:
    assert head.swivel_deg(Hand.RIGHT, 2.5, None, 0) == 2.5
    assert head.swivel_deg(Hand.LEFT, 2.5, None, 0) == -2.5


# ---------------------------------------------------------------- sizes


@lawful
@given(gears())
def test_circles_lie_in_order_and_depths_add_up(work: Gear) -> None:
    assert work.root_diameter < work.reference_diameter + 2 * work.profile_shift * work.module_n
    assert work.base_diameter < work.reference_diameter
    assert work.tip_diameter - work.root_diameter == pytest.approx(2 * work.whole_depth)
    assert work.addendum + work.dedendum == pytest.approx(work.whole_depth)


@lawful
@given(gears(helical=False))
def test_a_spur_gear_has_no_lead(work: Gear) -> None:
    assert work.lead is None and work.axial_pitch is None
    assert work.base_helix_angle_deg == 0
    assert work.virtual_teeth == work.teeth


@lawful
@given(gears(helical=True))
def test_a_mirrored_gear_differs_in_nothing_but_its_hand(work: Gear) -> None:
    assert work.hand is not None
    other = Gear(
        work.teeth,
        work.module_n,
        work.helix_angle_deg,
        work.hand.other,
        work.pressure_angle_n_deg,
        work.profile_shift,
    )
    for name in ("lead", "tip_diameter", "root_diameter", "base_helix_angle_deg", "normal_thickness"):
        assert getattr(other, name) == getattr(work, name)


@lawful
@given(gears())
def test_one_tooth_more_in_the_span_adds_a_base_pitch(work: Gear) -> None:
    few = measures.span_teeth(work)
    assume(few < work.teeth)
    more = measures.span(work, few + 1) - measures.span(work, few)
    assert more == pytest.approx(work.normal_base_pitch, rel=1e-9)


@lawful
@given(gears())
def test_the_proposed_span_touches_between_base_and_tip(work: Gear) -> None:
    spanned = measures.span_teeth(work)
    touched = measures.span_contact_diameter(work, spanned)
    assert work.base_diameter < touched
    if work.teeth > 20:
        assert touched < work.tip_diameter


@lawful
@given(gears())
def test_the_span_agrees_with_the_tooth_thickness_at_the_base(work: Gear) -> None:
    # Along the base circle, k-1 pitches and one tooth make up the span: the string property.
    at_base = geometry.thickness_at(work, work.base_diameter)
    pitch = math.pi * work.base_diameter / work.teeth
    along = math.cos(math.radians(work.base_helix_angle_deg))
    assert measures.span(work, 3) == pytest.approx((2 * pitch + at_base) * along, rel=1e-9)


def test_a_narrow_helical_gear_cannot_be_spanned_and_an_unknown_width_is_not_guessed() -> None:
    narrow = Gear(60, 2, 30, Hand.RIGHT, face_width=15)
    spanned = measures.span_teeth(narrow)
    assert measures.span_least_face_width(narrow, spanned) > 15
    assert measures.span_fits(narrow, spanned) is False
    assert measures.span_fits(Gear(60, 2, 30, Hand.RIGHT, face_width=60), spanned) is True
    assert measures.span_fits(Gear(60, 2, 30, Hand.RIGHT), spanned) is None
    assert measures.span_fits(Gear(60, 2), measures.span_teeth(Gear(60, 2))) is True


def test_a_narrow_face_is_spanned_over_fewer_teeth_so_that_the_anvils_find_rest() -> None:
    # z 74, m 3, 22°: W_9 = 79.135 mm needs 79.135 sin 20.61° = 27.9 mm of face and a little to rest on; by hand.
    narrow = Gear(74, 3, 22, Hand.LEFT, face_width=32)
    assert measures.span_teeth(narrow) == 11
    assert measures.measurable_span(narrow) == 9
    assert measures.span(narrow, 9) == pytest.approx(79.135, abs=1e-3)
    assert measures.measurable_span(Gear(74, 3, 22, Hand.LEFT, face_width=60)) == 11
    assert measures.measurable_span(Gear(74, 3, 22, Hand.LEFT)) == 11
    assert measures.measurable_span(Gear(74, 3, 22, Hand.LEFT, face_width=8)) is None
    assert measures.measurable_span(Gear(60, 2, face_width=5)) == measures.span_teeth(Gear(60, 2))


def test_inch_balls_come_in_thirty_seconds() -> None:
    work = Gear(35, Fraction(254, 80), 15, Hand.LEFT)
    # 7/32 in: 5.556 mm, next to the ideal; a 0.217 in ball is none that can be bought.
    assert measures.default_ball(work, inch=True) == pytest.approx(7 / 32 * 25.4, rel=1e-12)
    assert measures.default_ball(work) == 5.5


@lawful
@given(gears())
def test_the_ideal_ball_touches_where_it_should(work: Gear) -> None:
    middle = work.reference_diameter + 2 * work.profile_shift * work.module_n
    assume(middle > 1.002 * work.base_diameter)
    touched = measures.ball_contact_diameter(work, measures.ideal_ball(work))
    assert touched == pytest.approx(middle, rel=1e-9)


@lawful
@given(gears(helical=False), st.integers(1, 2))
def test_a_ball_rests_on_both_flanks(work: Gear, times: int) -> None:
    # In the plane: the ball's centre lies a ball's radius from the involute, on the space's middle.
    ball = measures.ideal_ball(work) * (1 + 0.05 * times)
    base = work.base_diameter / 2
    centre = base / math.cos(measures.ball_pressure(work, ball))
    half_space = math.pi / work.teeth - geometry.thickness_at(work, 2 * base) / (2 * base)

    def distance(roll: float) -> float:
        x, y = math.cos(roll) + roll * math.sin(roll), math.sin(roll) - roll * math.cos(roll)
        turned = half_space
        px = base * (x * math.cos(turned) - y * math.sin(turned))
        py = base * (x * math.sin(turned) + y * math.cos(turned))
        return math.hypot(px - centre, py)

    touched = measures.ball_contact_diameter(work, ball)
    roll = math.sqrt((touched / 2 / base) ** 2 - 1)
    assert distance(roll) == pytest.approx(ball / 2, rel=1e-6)
    assert distance(roll * 1.01) > distance(roll) < distance(roll * 0.99)


@lawful
@given(gears())
def test_a_larger_ball_stands_out_further(work: Gear) -> None:
    ball = measures.ideal_ball(work)
    assert measures.over_balls(work, ball * 1.02) > measures.over_balls(work, ball)


@pytest.mark.parametrize("teeth", [12, 17, 30, 61, 150])
@pytest.mark.parametrize("module", [0.5, 1, 2, 3, 5])
def test_the_ball_taken_by_default_can_be_used(teeth: int, module: float) -> None:
    work = Gear(teeth, module)
    ball = measures.default_ball(work)
    assert measures.ball_fits(work, ball)
    assert ball == round(ball, 1)


@lawful
@given(gears(helical=False))
def test_the_chord_is_the_chord_of_the_arc_on_the_reference_circle(work: Gear) -> None:
    radius = work.reference_diameter / 2
    half = work.normal_thickness / (2 * radius)
    assert measures.chordal_thickness(work) == pytest.approx(2 * radius * math.sin(half))
    rise = radius * (1 - math.cos(half))
    assert measures.chordal_height(work) == pytest.approx(work.addendum + rise)


def test_a_blank_turned_small_lowers_the_caliper_by_half_of_it() -> None:
    work = Gear(40, 2)
    nominal = measures.chordal_height(work)
    assert measures.chordal_height(work, work.tip_diameter - 0.1) == pytest.approx(nominal - 0.05)


def test_undercut_begins_at_the_seventeen_teeth_that_every_handbook_names() -> None:
    # Common practice: 20 deg full-depth teeth cut without undercut from 17 (17.1) on.
    assert geometry.least_profile_shift(Gear(17, 1)) == pytest.approx(0, abs=0.01)
    assert geometry.least_profile_shift(Gear(14, 1)) > 0.15
    assert geometry.least_profile_shift(Gear(20, 1)) < -0.15


# ---------------------------------------------------------------- pairs


@lawful
@given(st.integers(15, 80), st.integers(15, 80), st.floats(-0.2, 0.5), st.floats(-0.2, 0.5), st.floats(0, 30))
def test_the_centre_distance_gives_the_sum_of_profile_shifts_back(
    z1: int, z2: int, x1: float, x2: float, helix_angle: float
) -> None:
    assume(helix_angle == 0 or helix_angle > 0.5)
    right, left = (Hand.RIGHT, Hand.LEFT) if helix_angle else (None, None)
    pinion = Gear(z1, 2, helix_angle, right, profile_shift=x1)
    wheel = Gear(z2, 2, helix_angle, left, profile_shift=x2)
    found = pairs.profile_shift_sum(pinion, wheel, pairs.distance_without_backlash(pinion, wheel))
    assert found == pytest.approx(x1 + x2, abs=1e-7)


@lawful
@given(st.integers(15, 80), st.integers(15, 80), st.floats(-0.2, 0.5), st.floats(-0.2, 0.5))
def test_a_pair_at_its_centre_distance_has_no_backlash(z1: int, z2: int, x1: float, x2: float) -> None:
    pinion, wheel = Gear(z1, 3, profile_shift=x1), Gear(z2, 3, profile_shift=x2)
    distance = pairs.distance_without_backlash(pinion, wheel)
    one, other = 2 * distance * z1 / (z1 + z2), 2 * distance * z2 / (z1 + z2)
    thick = geometry.thickness_at(pinion, max(one, pinion.base_diameter))
    thick += geometry.thickness_at(wheel, max(other, wheel.base_diameter))
    assert thick == pytest.approx(math.pi * one / z1, rel=1e-9)


# ---------------------------------------------------------------- the door


@pytest.mark.parametrize(
    ("keys", "words"),
    [
        ({"teeth": 0}, "teeth is 0; it must be a whole number at least 1"),
        ({"module_n": -2}, "module is -2; it must be a number above 0"),
        ({"module_n": math.nan}, "module is nan"),
        ({"module_n": math.inf}, "module is inf"),
        ({"helix_angle_deg": 20}, "hand is missing"),
        ({"hand": Hand.LEFT}, "hand is left at a helix angle of 0"),
        ({"helix_angle_deg": 90, "hand": Hand.LEFT}, "helix angle is 90; .* below 90"),
        ({"pressure_angle_n_deg": 0}, "pressure angle is 0"),
        ({"face_width": 0}, "face width is 0"),
        ({"profile_shift": 9}, "profile shift is 9"),
        ({"teeth": 2, "profile_shift": -1}, "nothing is left below the roots"),
    ],
)
def test_a_gear_that_cannot_be_is_refused_by_name_and_value(keys: dict[str, object], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        Gear(**{"teeth": 20, "module_n": 2, **keys})  # type: ignore[arg-type]


@pytest.mark.parametrize("teeth", [20.0, "20", True, None])
def test_a_count_that_is_no_whole_number_is_refused(teeth: object) -> None:
    with pytest.raises(TypeError, match=r"teeth is .*; it must be a whole number"):
        Gear(teeth, 2)  # type: ignore[arg-type]


def test_the_angle_written_is_the_angle_kept() -> None:
    assert Gear(20, 2, pressure_angle_n_deg=14.5).pressure_angle_n_deg == 14.5


def test_sizes_read_as_fractions_serve_as_well() -> None:
    assert Gear(20, Fraction(5, 2)) == Gear(20, 2.5)  # type: ignore[arg-type]


def test_a_spur_gear_has_no_lead_to_ask_for() -> None:
    with pytest.raises(ValueError, match="a spur gear has no lead"):
        geometry.lead(2, 30, 0)


def test_a_hob_too_small_for_its_starts_is_refused() -> None:
    with pytest.raises(ValueError, match="need one above 6 mm"):
        head.hob_lead_angle_deg(3, 2, 5)


def test_a_ball_that_drops_between_the_flanks_is_refused() -> None:
    with pytest.raises(ValueError, match="drop between the flanks"):
        measures.over_balls(Gear(20, 2), 0.1)
    assert not measures.ball_fits(Gear(20, 2), 0.1)
    assert not measures.ball_fits(Gear(20, 2), 20)
