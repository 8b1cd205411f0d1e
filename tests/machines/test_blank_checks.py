"""A proof says when hob and blank don't go together, and when a worm wheel isn't fed as it must be."""

from pathlib import Path

import pytest
from handlead.machines.job_files.job_file import read_job, read_job_text
from handlead.machines.proving.proof import prove
from handlead.machines.setups.case import is_fed_as_it_must

SCENARIOS = Path(__file__).parents[2] / "scenarios"
PINION = SCENARIOS / "01-fly-winch-pair" / "pinion.toml"
SPROCKET = SCENARIOS / "09-curtain-sprocket" / "job.toml"
SPLINE = SCENARIOS / "10-revolve-spline" / "job.toml"
TANGENTIAL = SCENARIOS / "06-orchestra-lift" / "job.toml"
RADIAL = SCENARIOS / "07-trap-hoist" / "job.toml"


def proof_of(path, *changes):
    text = path.read_text()
    for before, after in changes:
        assert before in text, before
        text = text.replace(before, after, 1)
    return prove(read_job_text(text), cut=None)


def codes(proof, severity="error"):
    return {finding.code for finding in proof.findings if finding.severity == severity}


def with_outside(path, mm):
    return proof_of(path, ("face_width", f"outside_diameter = {mm}\nface_width"))


def test_a_blank_below_the_roots_is_an_error():
    # 23 teeth of module 3 at 22 degrees: d_f = 74.419 - 7.5 = 66.92, d = 74.42 (ISO 21771, from memory).
    assert codes(with_outside(PINION, "66")) == {"blank-too-small"}
    assert codes(with_outside(PINION, "74.4")) == {"blank-too-small"}
    assert not codes(with_outside(PINION, "74.5"))


def test_tips_that_come_out_short_are_warned_about():
    # d_a = 80.42: a tenth of a module less on the radius is 79.82.
    assert "tips-short" in codes(with_outside(PINION, "79.8"), "warning")
    assert "tips-short" not in codes(with_outside(PINION, "79.9"), "warning")


def test_a_sprocket_blank_must_reach_over_the_rollers_centres():
    # p / sin(180/19) = 77.16, whatever the rollers measure.
    assert codes(with_outside(SPROCKET, "77.1")) == {"blank-too-small"}
    bare = ("roller_diameter = 8.51\n", "outside_diameter = 77.1\n")
    assert codes(proof_of(SPROCKET, bare)) == {"blank-too-small"}


def test_a_spline_blank_below_any_root_is_refused_even_where_the_depth_is_not_known():
    wrong = proof_of(SPLINE, ("addendum = 0.75\n", ""), ("face_width", "outside_diameter = 56\nface_width"))
    assert codes(wrong) == {"blank-too-small"}


def test_a_spline_of_its_own_rack_is_held_to_its_drawing():
    """No standard has 20 degrees: what the drawing gives outside is right, and no remark is made on it."""
    proof = prove(
        read_job_text(
            SPLINE.read_text()
            .replace("pressure_angle = 30", "pressure_angle = 20")
            .replace("addendum = 0.75", "addendum = 0.9")
            .replace("face_width", "outside_diameter = 61\nface_width", 1)
        ),
        cut="scratch",
    )
    assert not [finding for finding in proof.findings if finding.severity != "note"]


def test_a_hob_whose_two_diameters_leave_other_tips_is_told_about():

    def told(*lines):
        proof = proof_of(PINION, ("outside_diameter = 87.5", "\n".join(lines)))
        return "hob-sizes-disagree" in codes(proof, "warning")

    # On 80 mm, rack A's 1.25 modules of 3 mm come to 87.5 over the tips, 1.4 modules to 88.4.
    assert told("outside_diameter = 88.4")
    assert not told("outside_diameter = 87.5")
    assert not told("outside_diameter = 88.4", "addendum = 1.4")


def test_a_blank_over_the_hob_s_own_threads_is_warned_about():
    # Threads of the usual 2.5 modules: tips 80.42, and 0.25 module of clearance on the radius: 81.92.
    assert "blank-too-large" not in codes(with_outside(PINION, "81.9"), "warning")
    assert "blank-too-large" in codes(with_outside(PINION, "82"), "warning")


def test_a_sprocket_blank_is_held_to_the_standard_s_two_diameters():
    # ISO 606: from 80.28 to 84.52 for 19 teeth of a half-inch chain with 8.51 rollers, by the handbook's formulas.
    assert "blank-off-standard" not in codes(with_outside(SPROCKET, "84.5"), "warning")
    assert "blank-off-standard" in codes(with_outside(SPROCKET, "84.6"), "warning")
    assert "blank-off-standard" in codes(with_outside(SPROCKET, "80.2"), "warning")


@pytest.mark.parametrize(
    ("path", "line", "key"),
    [(SPROCKET, "roller_diameter = 8.51\n", "roller_diameter"), (SPLINE, "addendum = 0.75\n", "addendum")],
)
def test_what_the_depth_depends_on_is_named_where_nobody_gave_it(path, line, key):
    proof = proof_of(path, (line, ""))
    (finding,) = (finding for finding in proof.findings if finding.code == "size-not-known")
    assert f'"{key}"' in finding.remedy
    assert proof.is_as_wanted


def test_a_worm_wheel_that_nothing_feeds_is_not_as_wanted():
    proof = proof_of(RADIAL, *feed_gears_out(RADIAL))
    assert codes(proof) == {"not-fed"}


def test_a_worm_wheel_fed_along_its_axis_is_not_as_wanted():
    proof = proof_of(TANGENTIAL, ('"tangential"\n', '"axial"\n'))
    assert "fed-along-the-axis" in codes(proof)
    (finding,) = (finding for finding in proof.findings if finding.code == "fed-along-the-axis")
    assert 'lever "feed to"' in finding.remedy


def test_a_worm_wheel_fed_in_or_across_is_as_wanted():
    assert prove(read_job(RADIAL), cut=None).is_as_wanted
    assert prove(read_job(TANGENTIAL), cut=None).is_as_wanted


def test_where_the_machine_feeds_only_along_the_axis_the_hand_feeds_in():
    """Common practice on machines without a radial feed."""
    wheel = (
        (
            'kind   = "sprocket"\nteeth  = 19\npitch  = 12.7\nroller_diameter = 8.51',
            'kind = "worm wheel"\nteeth = 19\nmodule = 4',
        ),
        ("pitch  = 12.7", "module = 4"),
    )
    axial = proof_of(SPROCKET, *wheel)
    assert codes(axial) == {"fed-along-the-axis"}
    (finding,) = (finding for finding in axial.findings if finding.code == "fed-along-the-axis")
    assert finding.remedy.startswith('Put lever "feed clutch" to "out"')
    still = proof_of(SPROCKET, *wheel, *feed_gears_out(SPROCKET))
    assert still.is_as_wanted
    assert "worm-wheel-straight" in codes(still, "warning")
    # The head leans the teeth as it does with a radial slide.
    leant = proof_of(SPROCKET, *wheel, *feed_gears_out(SPROCKET), ('swivel = { angle = "3d 19m", turn = "counter-clockwise" }', "swivel = 0"))
    assert leant.computed.outcome.hand.word == "right"
    assert "fed-by-hand" in codes(still, "warning")


def feed_gears_out(path):
    (line,) = (line for line in path.read_text().splitlines() if line.startswith('"feed gears"'))
    return ((line, ""),)


def test_the_lever_advised_for_a_worm_wheel_is_the_one_that_was_wrong():
    proof = proof_of(TANGENTIAL, ('differential = "in"', 'differential = "out"'))
    (remedy,) = {finding.remedy for finding in proof.findings if finding.severity == "error"}
    assert remedy.startswith('Put lever "differential" to "in"')


def test_where_gears_are_missing_the_empty_bracket_is_named_and_no_other():
    """The differential's bracket is empty as well, and rightly so; no lever makes up for gears."""
    (line,) = (line for line in SPLINE.read_text().splitlines() if line.startswith('"feed gears"'))
    proof = proof_of(SPLINE, (line, ""))
    (finding,) = (finding for finding in proof.findings if finding.severity == "error")
    assert finding.remedy.startswith('No change gears are mounted in "feed gears": mount ')


@pytest.mark.parametrize(
    ("path", "changes", "suits"),
    [
        (TANGENTIAL, [], True),
        (TANGENTIAL, [('"tangential"\n', '"axial"\n')], False),
        (RADIAL, [], True),
        (RADIAL, [('"forward"', '"backward"')], False),
        (PINION, [], True),
    ],
)
def test_a_worm_wheel_asks_for_a_slide_that_goes_in_or_across(path, changes, suits):
    assert is_fed_as_it_must(proof_of(path, *changes).case) is suits


# ---------------------------------------------------------------- modules of worms


@pytest.mark.parametrize(
    ("written", "agrees"),
    # 4 cos 11.31 deg = 3.9223: rounded, it is the same hob; 3.91 and 3.93 aren't it.
    [("3.922322", True), ("3.9223", True), ("3.92", True), ("3.91", False), ("3.93", False), ("3.9224", False)],
)
def test_a_worm_wheel_s_normal_module_is_compared_to_the_places_that_are_written(written, agrees):
    proof = proof_of(TANGENTIAL, ("module = 3.922322", f"module = {written}"))
    assert ("hob-doesnt-suit" in codes(proof)) is not agrees


def test_a_cylindrical_gear_s_module_is_compared_exactly():
    assert "hob-doesnt-suit" in codes(proof_of(PINION, ("[hob]\nmodule = 3", "[hob]\nmodule = 3.004")))


@pytest.mark.parametrize(
    ("units", "size", "words"),
    [("mm", "module = 4", "module = 3.92232"), ("in", "diametral_pitch = 6.35", "diametral_pitch = 6.47576")],
)
def test_a_hob_written_with_the_worm_s_axial_size_is_told_the_normal_one(units, size, words):
    inches = [('title ', 'units = "in"\ntitle '), ("= 34", '= "34 mm"'), ("= 40", '= "40 mm"')]
    proof = proof_of(TANGENTIAL, ("module = 3.922322", size), *(inches if units == "in" else ()))
    (finding,) = (finding for finding in proof.findings if finding.code == "hob-doesnt-suit")
    assert words in finding.remedy


@pytest.mark.parametrize(("degrees", "agrees"), [("19.64", True), ("19.6", False), ("20", False)])
def test_a_worm_s_normal_pressure_angle_is_compared_to_its_places(degrees, agrees):
    # atan(tan 20 cos 11.31) = 19.641 degrees in the normal section.
    hob = ("starts = 2", f"starts = 2\npressure_angle = {degrees}")
    proof = proof_of(TANGENTIAL, ("transverse_module = 4", "transverse_module = 4\ntransverse_pressure_angle = 20"), hob)
    assert ("hob-doesnt-suit" in codes(proof)) is not agrees


def test_a_hob_for_another_chain_is_told_the_chain_that_is_wanted():
    proof = proof_of(SPROCKET, ("[hob]\npitch  = 12.7", "[hob]\npitch  = 25.4"))
    (finding,) = (finding for finding in proof.findings if finding.code == "hob-doesnt-suit")
    assert finding.remedy == "Take a hob for a chain of pitch 12.700 mm."


OLD = """format = "job/1"
machine = "corvane-7"
units = "in"
[work]
kind = "spur"
teeth = 40
diametral_pitch = 10
pressure_angle = 14.5
[hob]
diametral_pitch = 10
pressure_angle = 14.5
diameter = 2.5
[setup]
"""


@pytest.mark.parametrize(
    ("before", "after", "is_said"),
    [
        ("diameter", "diameter", True),
        ("14.5\ndia", "14.5\naddendum = 1.157\ndia", False),
        ("14.5", "20", False),
        ("diameter = 2.5", "diameter = 2.5\noutside_diameter = 2.7314", False),
    ],
)
def test_the_depth_of_an_old_hob_is_never_taken_for_granted(before, after, is_said):
    """2.157/P instead of 2.25/P: at 10 DP the tips stand 0.1157 in over the datum line, not 0.1250; 0.0093 in less deep."""
    proof = prove(read_job_text(OLD.replace(before, after)), cut=None)
    said = [each for each in proof.judged if each.code == "depth-taken-for-granted"]
    assert bool(said) is is_said
    if said:
        assert all(words in said[0].message for words in ("0.125 in", "0.116 in", "0.009 in"))
        assert "addendum = 1.157" in said[0].remedy


def test_an_old_hob_in_millimetres_is_asked_as_well():
    text = OLD.replace('units = "in"\n', "").replace("diametral_pitch = 10", "module = 3").replace("= 2.5\n", "= 80\n")
    (said,) = [each for each in prove(read_job_text(text), cut=None).judged if each.code == "depth-taken-for-granted"]
    assert "3.75 mm" in said.message
