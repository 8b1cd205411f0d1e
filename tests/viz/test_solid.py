"""The solid gear: closed, of the right volume, count and hand, told from its vertices alone."""

import math
from collections import Counter
from pathlib import Path

import numpy as np
import pytest
from handlead.viz.command import main
from handlead.viz.opengl import NoOpenGL, require_opengl
from handlead.viz.solid_command import scene_of

SCENARIOS = Path(__file__).parents[2] / "scenarios"
JOBS = [
    SCENARIOS / name
    for name in ("01-fly-winch-pair/pinion.toml", "11-thunder-run-pinion/job.toml", "02-left-hand-hob/job.toml")
]


@pytest.fixture(scope="module", params=JOBS, ids=lambda path: path.parent.name)
def gear(request):
    from handlead.machines.job_file import read_job

    job = read_job(request.param)
    scene = scene_of(request.param)
    return job.work, scene, scene.gear()


def test_every_edge_of_the_mesh_is_run_once_each_way(gear):
    _, _, mesh = gear
    faces = mesh.regular_faces
    edges = Counter(map(tuple, np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]).tolist()))
    assert all(count == 1 and edges.get((end, start)) == 1 for (start, end), count in edges.items())


def test_its_volume_is_the_section_times_the_width(gear):
    work, scene, mesh = gear
    points, faces = np.asarray(mesh.points, dtype=float), mesh.regular_faces
    corners = (points[faces[:, number]] for number in range(3))
    first, second, third = corners
    volume = np.einsum("ij,ij->i", first, np.cross(second, third)).sum() / 6
    field = scene.finished
    row = np.append(field.radius[field.rows // 2], field.radius[field.rows // 2, 0])
    area = 0.5 * math.sin(2 * math.pi / field.columns) * (row[1:] * row[:-1]).sum()
    assert volume == pytest.approx(area * float(work.face_width), rel=0.005)


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


def test_meshes_are_written_with_or_without_opengl(tmp_path):
    for ending in ("stl", "vtp"):
        out = tmp_path / f"gear.{ending}"
        assert main(["solid", str(JOBS[0]), "--out", str(out)]) == 0
        assert out.stat().st_size > 100_000


def test_a_picture_is_drawn_where_there_is_an_opengl(tmp_path):
    try:
        require_opengl()
    except NoOpenGL as why:
        pytest.skip(str(why))
    out = tmp_path / "cut.png"
    assert main(["solid", str(JOBS[0]), "--out", str(out)]) == 0
    assert out.read_bytes().startswith(b"\x89PNG")


def test_an_ending_that_nobody_knows_is_refused(tmp_path, capsys):
    assert main(["solid", str(JOBS[0]), "--out", str(tmp_path / "gear.doc")]) == 2
    assert ".stl" in capsys.readouterr().err
    assert not list(tmp_path.iterdir())
