"""Job files: the drawing, the hob and the set-up, exactly, and the machine that they are for."""

import math
import re
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from handlead.kinematics.frame.words import Feed, Hand
from handlead.kinematics.links.mounted import Mounted
from handlead.kinematics.train.setup import Setup
from handlead.kinematics.work.requirement import HobData, Work
from handlead.machines.job_files.job_file import Seen, read_job, read_job_text
from handlead.machines.toml.errors import FileFault

GOOD = Path(__file__).parent / "good"
SPUR = (GOOD / "spur-job.toml").read_text()
HELICAL = (GOOD / "helical-job.toml").read_text()


def job_of(text):
    return read_job_text(text, "j.toml", GOOD)


def complaints_about(text, beside=GOOD):
    with pytest.raises(FileFault) as caught:
        read_job_text(text, "j.toml", beside)
    return [str(complaint).replace(str(beside), "~") for complaint in caught.value.complaints]


# ---------------------------------------------------------------- the drawing and the hob


def test_a_plain_job_takes_the_usual_values_for_what_it_leaves_out():
    job = read_job(GOOD / "spur-job.toml")
    assert job.work == Work("spur", 32, Fraction(2))
    assert job.hob == HobData(Fraction(2), 1, Hand.RIGHT, Fraction(19, 10))
    assert (job.mate, job.seen, job.title, job.units) == (None, None, "a spur gear", "mm")
    assert job.setup == Setup(
        "main",
        Fraction(19, 10),
        change={"index gears": Mounted((40, 32), (24,)), "feed gears": Mounted((24, 48))},
    )


def test_everything_that_a_job_can_say_is_read():
    job = read_job(GOOD / "helical-job.toml")
    assert job.hob == HobData(
        module_n=Fraction(254, 10) / Fraction("10.824"),
        starts=2,
        hand=Hand.LEFT,
        lead_angle_deg=Fraction(3) + Fraction(1, 60),
        diameter=Fraction(762, 10),
        outside_diameter=Fraction(8255, 100),
        gashes=12,
        pressure_angle_deg=Fraction(37, 2),
        rack="C",
        addendum=Fraction(5, 4),
        dedendum=Fraction(1),
        tip_radius=Fraction(3, 10),
    )
    assert job.setup == Setup(
        drive="electric one",
        swivel_deg=-Fraction(25) - Fraction(31, 60),
        feed=Feed.CONVENTIONAL,
        levers={"differential": "in", "feed": "down"},
        change={
            "index gears": Mounted((24, 24, 25, 30)),
            "differential gears": Mounted((20, 21), (22, 21)),
        },
    )
    assert job.seen == Seen(30, None, True, Fraction(812), Fraction(21))
    assert job.work.face_width == Fraction(13, 8) * Fraction(254, 10)
    assert job.work.quality == 6
    assert job.work.thinning == Fraction(4, 1000) * Fraction(254, 10)
    assert job.machine.name == "Every Kind"


def test_a_diametral_pitch_is_exactly_25_4_over_the_module():
    """Source: definition of diametral pitch with the inch of 25.4 mm (from memory)."""
    job = job_of(SPUR.replace("module = 2", "diametral_pitch = 12", 1))
    assert job.work.module_n == Fraction(127, 60)


def test_a_transverse_size_becomes_a_normal_one_through_the_cosine_of_the_helix():
    """m_n = m_t cos β and tan α_n = tan α_t cos β. Source: ISO 21771 (from memory)."""
    work = read_job(GOOD / "helical-job.toml").work
    cosine = math.cos(math.radians(22 + 30 / 60 + 15.5 / 3600))
    assert float(work.module_n) == pytest.approx(2.54 * cosine, abs=1e-12)
    normal = math.degrees(math.atan(math.tan(math.radians(20)) * cosine))
    assert float(work.pressure_angle_deg) == pytest.approx(normal, abs=1e-11)
    assert work.module_n.denominator <= 10**12


def test_a_transverse_size_of_straight_teeth_stays_exact():
    job = job_of(SPUR.replace("module = 2", 'transverse_module = "2 1/3"', 1))
    assert job.work.module_n == Fraction(7, 3)


@pytest.mark.parametrize("size", ["transverse_module = 2.5", "module = 2.5"])
def test_a_lead_may_stand_in_for_the_helix_angle(size):
    text = HELICAL.replace("transverse_diametral_pitch = 10", size)
    work = job_of(text.replace('helix_angle = "22d 30m 15.5s"', 'lead = "700 mm"')).work
    assert (work.lead, work.helix_angle_deg) == (Fraction(700), None)
    transverse = float(work.module_n) / math.cos(math.radians(work.beta_deg))
    assert math.tan(math.radians(work.beta_deg)) == pytest.approx(math.pi * transverse * 29 / 700, rel=1e-11)
    assert transverse == pytest.approx(2.5, rel=1e-11) or work.module_n == Fraction(5, 2)


def test_a_circular_pitch_is_divided_by_pi():
    job = job_of(SPUR.replace("module = 2", 'pitch = "1/2 in"', 1).replace('"spur"', '"sprocket"'))
    assert float(job.work.module_n) == pytest.approx(12.7 / math.pi, rel=1e-15)


def test_lengths_follow_the_units_of_the_job_and_not_of_the_machine():
    assert job_of(SPUR.replace("teeth  = 32", "teeth = 32\nface_width = 10")).work.face_width == 10
    inches = SPUR.replace("[work]", 'units = "in"\n[work]').replace(
        "teeth  = 32", "teeth = 32\nface_width = 10"
    )
    assert job_of(inches).work.face_width == 254


def test_a_hob_has_the_pressure_angle_of_the_work_unless_marked():
    assert job_of(
        SPUR.replace("teeth  = 32", "teeth = 32\npressure_angle = 14.5")
    ).hob.pressure_angle_deg == Fraction(29, 2)


def test_the_title_is_the_name_of_the_file_unless_given():
    assert job_of(SPUR.replace('title   = "a spur gear"\n', "")).title == "j"


# ---------------------------------------------------------------- the mate


def test_the_mate_is_as_the_work_but_for_what_differs_and_its_hand():
    job = read_job(GOOD / "helical-job.toml")
    assert job.mate == replace(
        job.work,
        teeth=58,
        hand=Hand.LEFT,
        profile_shift=Fraction(-1, 4),
        face_width=Fraction(40),
        outside_diameter=None,
    )


def test_a_mate_of_a_gear_given_by_its_lead_has_the_same_helix_angle():
    text = HELICAL.replace("transverse_diametral_pitch = 10", "module = 2.5")
    job = job_of(text.replace('helix_angle = "22d 30m 15.5s"', 'lead = "700 mm"'))
    assert job.mate.lead == 1400
    assert job.mate.beta_deg == pytest.approx(job.work.beta_deg, rel=1e-14)
    assert job.mate.hand is Hand.LEFT


def test_a_mate_may_say_its_own_hand_angle_and_size():
    text = HELICAL.replace("[mate]\nteeth = 58", '[mate]\nteeth = 58\nhand = "right"\nlead = 40\nmodule = 2')
    mate = job_of(text).mate
    assert (mate.hand, mate.lead, mate.helix_angle_deg, mate.module_n) == (Hand.RIGHT, 1016, None, 2)


def test_the_mate_of_a_spur_gear_is_a_spur_gear():
    mate = job_of(SPUR + "\n[mate]\nteeth = 40\n").mate
    assert mate == Work("spur", 40, Fraction(2))


def test_the_mate_of_a_worm_wheel_is_its_worm_of_the_same_hand_at_right_angles():
    job = read_job(GOOD / "worm-wheel-job.toml")
    assert job.mate.hand is job.work.hand is Hand.LEFT
    assert job.mate.beta_deg == pytest.approx(90 - job.work.beta_deg, abs=1e-11)
    assert job.setup is None


# ---------------------------------------------------------------- the set-up


def test_the_swivel_is_signed_by_its_turn():
    text = SPUR.replace('turn = "counter-clockwise"', 'turn = "clockwise"')
    assert job_of(text).setup.swivel_deg == Fraction(-19, 10)
    assert job_of(SPUR.replace("swivel =", "#")).setup.swivel_deg is None
    assert job_of(SPUR.replace('{ angle = "1d 54m", turn = "counter-clockwise" }', "0")).setup.swivel_deg == 0
    assert (
        job_of(
            SPUR.replace('{ angle = "1d 54m", turn = "counter-clockwise" }', "{ angle = 0 }")
        ).setup.swivel_deg
        == 0
    )


def test_a_bracket_with_no_gears_is_empty():
    assert "feed gears" not in job_of(SPUR.replace("gears = [24, 48]", "gears = []")).setup.change


def test_a_wrong_set_up_is_no_fault_of_the_file():
    """Gears that aren't owned, too many pairs and idlers: the file can be understood, and proving says the rest."""
    text = SPUR.replace(
        "gears = [40, 32], idlers = [24]", "gears = [40, 32, 99, 99, 7, 8], idlers = [1, 2, 3]"
    )
    assert job_of(text).setup.change["index gears"].gears == (40, 32, 99, 99, 7, 8)


def test_a_job_to_plan_has_no_set_up():
    assert job_of(SPUR[: SPUR.index("[setup]")]).setup is None


def test_a_job_may_be_given_another_set_up_or_what_was_seen():
    job = job_of(SPUR)
    assert job.with_setup(None).setup is None
    assert job.with_seen(Seen(teeth=30, hand=Hand.LEFT)).seen == Seen(30, Hand.LEFT)


def test_a_key_of_a_job_has_its_place():
    job = job_of(SPUR)
    assert str(job.place("setup", "change", "index gears")) == "j.toml:20"
    assert str(job.place("work", "lead")) == "j.toml:6"


# ---------------------------------------------------------------- machines and complaints


def test_a_machine_that_ships_is_found_by_its_name(tmp_path):
    job = SPUR[: SPUR.index("[setup]")].replace('"small.toml"', '"brinnock-20"')
    assert read_job_text(job, "j.toml", tmp_path).machine.name == "Brinnock 20"


def test_a_name_that_the_machine_does_not_have_is_told_with_its_place_there():
    text = SPUR.replace("[setup.change]", '[setup.levers]\nrnage = "low"\n[setup.change]').replace(
        '"feed gears"', "feed"
    )
    assert complaints_about(text) == [
        'j.toml:20: [setup.levers] rnage: the machine has no lever "rnage". Did you mean "range" (~/small.toml:27)?',
        'j.toml:23: [setup.change.feed]: the machine has no change-gear bracket "feed". '
        'Did you mean "feed gears" (~/small.toml:64)?',
    ]


def test_levers_that_fight_are_told_with_both_places_in_the_machine(tmp_path):
    machine = (GOOD / "small.toml").read_text()
    levers = '[levers.speed]\nnormal = "off"\npositions = { off = {}, fast = { "range box" = "high" } }\n\n[[link]]'
    (tmp_path / "small.toml").write_text(machine.replace("[[link]]", levers, 1))
    text = SPUR.replace("[setup.change]", '[setup.levers]\nspeed = "fast"\n[setup.change]')
    assert complaints_about(text, tmp_path) == [
        'j.toml:20: [setup.levers] speed: lever "speed" in "fast" puts "range box" in "high", but lever "range" in '
        '"low" puts it in "low" (~/small.toml:30, against line 35). A link can be in one state only: let one lever '
        "move it"
    ]


def test_faults_of_the_machine_and_of_the_job_are_told_together(tmp_path):
    machine = (GOOD / "small.toml").read_text()
    (tmp_path / "small.toml").write_text(machine.replace("lead  = 5", "lead  = 0"))
    text = SPUR.replace("starts     = 1", "starts     = 0")
    assert complaints_about(text, tmp_path) == [
        '~/small.toml:85: link "slide screw": lead: 0 can\'t be used: it must be a length above 0 mm',
        "j.toml:13: [hob] starts: 0 can't be used: it must be a whole number from 1 to 20",
    ]


def test_a_machine_that_is_the_job_itself_is_refused(tmp_path):
    (tmp_path / "j.toml").write_text(SPUR)
    (complaint,) = complaints_about(SPUR.replace('"small.toml"', '"j.toml"'), tmp_path)
    assert 'this is a job file ("job/1"), not a machine file' in complaint


@pytest.mark.parametrize("name", ["a\\u0000b", "x" * 2000, "../" * 500, "/", ".", "..", "no/such/file.toml"])
def test_a_strange_name_for_a_machine_is_a_complaint_and_no_more(name):
    (complaint,) = complaints_about(SPUR.replace('"small.toml"', f'"{name}"'))
    assert complaint.startswith("j.toml:4: machine: there is no ")


def test_the_way_a_slide_moved_is_said_in_the_machine_s_word_or_the_frame_s():
    """The work of a level machine lies: up is towards its tailstock there."""
    text = re.sub(r'machine *= *".*"', 'machine = "ombrecht-l8"', SPUR)
    text = re.sub(r"\[setup\](.|\n)*", "", text)
    for said, meant in (("towards the tailstock", "up"), ("down", "down"), ("not at all", "not at all")):
        assert job_of(f'{text}\n[seen]\nteeth = 32\nslide_moved = "{said}"\n').seen.slide_moved == meant
        unsure = f'{text}\n[seen]\nteeth = 32\nslide_moved = {{ value = "{said}", sure = false }}\n'
        assert job_of(unsure).seen.slide_moved == meant
    with pytest.raises(FileFault, match="tailstock"):
        job_of(f'{text}\n[seen]\nteeth = 32\nslide_moved = "towards the tailstok"\n')
