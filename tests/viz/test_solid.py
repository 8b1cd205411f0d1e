"""The solid gear and its hob: closed, of the right volume, count and hand, moving as the machine moves.

All is told from vertices and matrices; what needs an OpenGL is left out, with the reason, where there is none.
"""

import itertools
import math
import re
import subprocess
from collections import Counter
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from handlead.kinematics.cutting.field import cut_field
from handlead.kinematics.cutting.setting import Grid
from handlead.kinematics.frame.motion import Motion
from handlead.machines.job_files.job_file import read_job
from handlead.machines.setups.case import Case
from handlead.viz.solids import mesh as meshes
from handlead.viz.solids import view as solid_view
from handlead.viz.solids.cut_stages import StagedCut
from handlead.viz.solids.opengl import NoOpenGL, require_opengl
from handlead.viz.solids.scene import Scene

SCENARIOS = Path(__file__).parents[2] / "scenarios"
RIGHT_HAND, LEFT_HAND, SPUR = (
    SCENARIOS / name
    for name in ("01-fly-winch-pair/pinion.toml", "01-fly-winch-pair/wheel.toml", "02-left-hand-hob/job.toml")
)
LEFT_HOB = SCENARIOS / "11-thunder-run-pinion/job.toml"
TANGENTIAL, RADIAL = (SCENARIOS / name / "job.toml" for name in ("06-orchestra-lift", "07-trap-hoist"))


def case_of(path):
    job = read_job(path)
    return Case.of(job, job.setup)


def named(path):
    return f"{path.parent.name}-{path.stem}"


@pytest.fixture(scope="module", params=[RIGHT_HAND, LEFT_HAND, SPUR, LEFT_HOB], ids=named)
def gear(request):
    case = case_of(request.param)
    scene = Scene.of(case)
    return case.job.work, scene, scene.gear()


@pytest.fixture(scope="module", params=[RIGHT_HAND, SPUR, RADIAL], ids=named)
def running(request):
    case = case_of(request.param)
    return case, Scene.of(case)


@pytest.fixture(scope="module")
def drawable():
    try:
        require_opengl()
    except NoOpenGL as why:
        pytest.skip(str(why))


def test_every_edge_of_the_mesh_is_run_once_each_way(gear):
    _, scene, mesh = gear
    for solid in (mesh, scene.hob):
        faces = solid.regular_faces
        edges = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
        one_way = Counter(map(tuple, edges.tolist()))
        assert all(count == 1 and one_way.get((end, start)) == 1 for (start, end), count in one_way.items())


def volume(mesh):
    points, faces = np.asarray(mesh.points, dtype=float), mesh.regular_faces
    first, second, third = (points[faces[:, number]] for number in range(3))
    return np.einsum("ij,ij->i", first, np.cross(second, third)).sum() / 6


def test_its_volume_is_the_section_times_the_width(gear):
    work, scene, mesh = gear
    field = scene.finished
    row = np.append(field.radius[field.rows // 2], field.radius[field.rows // 2, 0])
    area = 0.5 * math.sin(2 * math.pi / field.columns) * (row[1:] * row[:-1]).sum()
    assert volume(mesh) == pytest.approx(area * float(work.face_width), rel=0.005)


def test_its_teeth_are_as_many_and_lean_as_the_drawing_says(gear):
    work, _, mesh = gear
    points = np.asarray(mesh.points, dtype=float)
    radius, angle = np.hypot(points[:, 0], points[:, 1]), np.arctan2(points[:, 1], points[:, 0])
    phases, heights = [], []
    around = np.arange(20_000) * 2 * math.pi / 20_000 - math.pi
    for height in np.unique(points[:, 2]):
        row = np.flatnonzero((points[:, 2] == height) & (radius > 1))
        row = row[np.argsort(angle[row])]
        outline = np.interp(around, angle[row], radius[row], period=2 * math.pi)
        waves = np.fft.rfft(outline - outline.mean())
        assert int(np.argmax(np.abs(waves[:400]))) == work.teeth
        phases.append(np.angle(waves[work.teeth]))
        heights.append(height)
    twist = -np.polyfit(heights, np.unwrap(phases), 1)[0] / work.teeth
    assert twist == pytest.approx(2 * math.pi * work.signed_inverse_lead, rel=1e-4, abs=1e-6)


def test_the_hob_has_its_own_hand_whichever_way_it_turns(gear):
    _, scene, _ = gear
    hob = scene.setting.hob
    points = np.asarray(scene.hob.points, dtype=float)
    radius = np.hypot(points[:, 0], points[:, 1])
    at_tip = points[radius > hob.tip_radius - 1e-6]
    # Along the axis a thread has gone back by its lead for each turn that it has gone round.
    along = at_tip[:, 2] - hob.hand.value * hob.lead * np.arctan2(at_tip[:, 1], at_tip[:, 0]) / (2 * math.pi)
    off = (along + hob.axial_pitch / 2) % hob.axial_pitch - hob.axial_pitch / 2
    assert np.abs(off).max() <= hob.axial_pitch / 4


@pytest.mark.parametrize("path", [RIGHT_HAND, SPUR, LEFT_HOB, TANGENTIAL, RADIAL], ids=named)
def test_picture_and_words_run_as_the_machine_does_with_its_drive(path):
    case = case_of(path)
    scene = Scene.of(case)
    ends = ("hob", "table", "axial", "tangential", "radial")
    rates = {end: case.solution.end_rate(end) for end in ends if case.solution.end_rate(end)}
    told = {end: case.job.machine.way(end, 1 if rate > 0 else -1) for end, rate in rates.items()}
    assert scene.senses() == told
    assert all(way in scene.words(Fraction(0)) for way in told.values())
    before, after = scene.position(Fraction(10)), scene.position(Fraction(11))
    for end in ends:
        moved = getattr(after, end) - getattr(before, end)
        assert moved * abs(rates["hob"]) == rates.get(end, 0)


def test_on_a_level_machine_the_words_beside_the_solid_are_the_machine_s_and_in_the_job_s_inches():
    level = Scene.of(case_of(Path(__file__).parents[1] / "cases" / "wexcombe-pair.toml")).words(Fraction(0))
    assert "teeth passing towards the headstock" in level
    assert "up in this picture is towards the tailstock" in level
    assert re.search(r"centre of the hob \d\.\d\d in towards the tailstock of the work's face towards the headstock", level)
    upright = Scene.of(case_of(RIGHT_HAND)).words(Fraction(0))
    assert "up in this picture" not in upright
    assert re.search(r"centre of the hob [\d.]+ mm under the lower face of the work", upright)


def test_a_hob_that_cuts_down_goes_down_past_the_work_and_its_slide_comes_from_below():
    scene = Scene.of(case_of(RIGHT_HAND))
    assert scene.senses() == {"hob": "cutting down", "table": "counter-clockwise", "axial": "up"}
    towards_work = np.array([scene.setting.hob.tip_radius, 0, 0, 1.0])
    middle = scene.stages.turns_at(0.5)
    at_work = scene.hob_pose(middle) @ towards_work
    assert at_work[0] < scene.setting.blank.radius
    assert (scene.hob_pose(middle + Fraction(1, 100)) @ towards_work)[2] < at_work[2] - 1
    depth = scene.setting.blank.radius - scene.stages.field(0.5).radius.min(axis=1)
    assert depth[0] == pytest.approx(depth.max(), rel=0.01)
    assert depth[-1] < 0.9 * depth[0]


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("02-left-hand-hob", "43 teeth, climb feed"),
        ("08-inch-winch", "35 teeth, left hand, conventional feed"),
        ("22-index-gears-swapped", "miss those of the one before"),
        ("25-head-wrong-way", "head 34° 46' from what they need"),
        ("34-index-idler-forgotten", "the table runs against the hob"),
    ],
)
def test_words_tell_what_the_rates_would_cut(name, words):
    scene = Scene.of(case_of(SCENARIOS / name / "job.toml"))
    assert scene.words(Fraction(0)).splitlines()[1].endswith(words)


def test_the_cutting_faces_of_the_hob_go_ahead(running):
    _, scene = running
    mesh = scene.hob
    on_face = np.asarray(mesh.cell_data["cutting_face"]) > 0
    corners = np.asarray(mesh.points, dtype=float)[mesh.regular_faces[on_face]]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    middle = corners.mean(axis=1)
    turning = 1 if scene.cut.cuts_up else -1
    speed = turning * np.stack([-middle[:, 1], middle[:, 0], np.zeros(len(middle))], axis=1)
    ahead = (normal * speed).sum(axis=1)
    assert on_face.sum() > 100
    assert ahead.min() > -1e-4 * ahead.max() and np.median(ahead) > 0


def test_a_stage_is_what_the_motion_so_far_leaves(running):
    _, scene = running
    setting, stages = scene.setting, scene.stages
    field = stages.field(0.6)
    rows = slice(3, None, 17)
    motion = Motion((replace(stages.phase, turns=stages.turns_at(0.6)),))
    throat, blank = scene.cut.throat, setting.blank
    plain = replace(setting, blank=replace(blank, diameter=throat.rim_diameter)) if throat else setting
    grid = Grid(field.heights[rows], field.start[rows], columns=field.columns, fineness=0.7)
    cut = cut_field(motion, plain, grid, compiled=False)
    # What the lathe took away before isn't there for the hob.
    turned = [throat.radius_at(height - blank.face_width / 2) if throat else np.inf for height in cut.heights]
    assert np.abs(np.minimum(cut.radius, np.array(turned)[:, None]) - field.radius[rows]).max() < 1e-9
    assert (cut.radius < setting.blank.radius - 1).any()


def test_no_edge_of_the_hob_stands_in_steel(running):
    _, scene = running
    setting, turns = scene.setting, scene.stages.turns_at(0.5)
    # The last time before that at which these edges, the first gash's, faced the work.
    hob = scene.position(turns).hob
    turns -= hob % 1 if scene.cut.cuts_up else -hob % 1
    edge = setting.hob.edge(0.7)
    places = setting.hob.axial_pitch * np.arange(-3, 4)[:, None] + edge.offset
    here = np.linalg.inv(scene.work_pose(turns)) @ scene.hob_pose(turns)
    points = np.stack([np.tile(edge.radius, (7, 1)), 0 * places, places, 1 + 0 * places]).reshape(4, -1)
    x, y, z, _ = here @ points
    radius, angle = np.hypot(x, y), np.arctan2(y, x)
    field = scene.stages.field(0.5)
    within = radius < setting.blank.radius
    assert within.any()
    # Rows stand half a millimetre apart: what lies between two is steel only where both of them are.
    above = np.clip(np.searchsorted(field.heights, z), 1, field.rows - 1)

    def into_steel(turned):
        depths = []
        for row in (above - 1, above):
            column = np.rint((angle + turned - field.start[row]) / (2 * math.pi / field.columns)).astype(int)
            depths.append(field.radius[row, column % field.columns] - radius)
        return np.min(depths, axis=0)[within].max()

    assert into_steel(0.0) < 0.1
    assert into_steel(math.pi * float(setting.rates.table) / setting.hob.starts) > 0.5


def test_a_tangential_feed_is_looked_at_often_enough():
    scene = Scene.of(case_of(TANGENTIAL))
    setting, stages = scene.setting, scene.stages
    assert stages.stride > 1
    field = stages.field(0.45)
    row = slice(field.rows // 2, field.rows // 2 + 1)
    motion = Motion((replace(stages.phase, turns=stages.turns_at(0.45)),))
    cut = cut_field(motion, setting, Grid(field.heights[row], columns=field.columns, fineness=0.7), compiled=False)
    assert 0 <= (field.radius[row] - cut.radius).max() < 0.01


def test_a_worm_wheel_is_sunk_in_by_a_hob_of_either_sense():
    up = Scene.of(case_of(RADIAL)).cut
    rates = replace(up.setting.rates, radial=-up.setting.rates.radial)
    # The slide goes in with the drive; over a turn of a hob cutting up it would go away.
    down = Scene("sunk in", StagedCut(replace(up.setting, rates=rates), cuts_up=False))
    assert down.senses()["radial"] == "in"
    assert down.senses()["hob"] == "cutting down"
    deepest = down.setting.blank.radius - down.stages.field(0.3).radius.min()
    assert deepest == pytest.approx(0.3 * float(down.stages.phase.start.radial), rel=0.02)


# ---------------------------------------------------------------- what needs an OpenGL


def test_a_film_of_the_motion_goes_on_from_picture_to_picture(drawable, tmp_path):
    scene = Scene.of(case_of(SPUR))
    frames = list(solid_view.film(scene, solid_view.FilmWanted(hob_turns=0.2, frames=3), size=(240, 192)))
    assert all((one != next).any() for one, next in itertools.pairwise(frames))
    out = tmp_path / "motion.gif"
    solid_view.write_gif(iter(frames), out)
    assert out.read_bytes().startswith(b"GIF89a")


def test_a_film_can_be_played_back(drawable, tmp_path):
    player = pytest.importorskip("imageio_ffmpeg", reason="imageio-ffmpeg isn't installed, so no MP4 can be written")
    scene = Scene.of(case_of(SPUR))
    out = tmp_path / "round.mp4"
    frames = solid_view.film(scene, solid_view.FilmWanted("turntable", frames=5), subject="gear", size=(240, 192))
    solid_view.write_mp4(frames, out)
    played = subprocess.run(
        [player.get_ffmpeg_exe(), "-v", "error", "-i", str(out), "-f", "rawvideo", "-pix_fmt", "rgb24", "-"],
        capture_output=True, check=True,
    )  # fmt: skip
    pictures = np.frombuffer(played.stdout, np.uint8).reshape(-1, 192, 240, 3).astype(int)
    assert len(pictures) == 5
    assert np.abs(pictures[0] - pictures[-1]).max() > 50
    assert [path.name for path in tmp_path.iterdir()] == ["round.mp4"]


@pytest.mark.parametrize("subject", ["cut", "gear", "light cut"])
def test_all_that_is_shown_is_within_the_picture(drawable, subject):
    image = solid_view.picture(Scene.of(case_of(SPUR)), subject=subject, size=(300, 240))
    inked = (image < 250).any(axis=2)
    assert inked.mean() > 0.05
    assert not inked[-1].any() and not inked[:, -1].any() and not inked[60:, 0].any()


def test_the_backs_of_the_hob_s_teeth_lie_on_their_own_thread(running):
    """Behind its edge a tooth goes back along the screw, or it would stand in the flank that its edge has just cut."""
    hob = running[1].setting.hob
    per_gash = len(meshes._columns(hob, hob.edge(0.5), 3, 1.0)) // hob.gashes
    columns = meshes._columns(hob, hob.edge(0.5), 3, 1.0)[per_gash - 2 : per_gash]
    (heel, low, before), (edge, high, at) = columns
    assert at > before and (high > low).all()
    assert edge - heel == pytest.approx(hob.hand.value * hob.lead * (at - before) / (2 * math.pi))
