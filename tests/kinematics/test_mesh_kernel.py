"""The field against a general-purpose geometry kernel (manifold3d, a mesh boolean library) on one tooth space."""

from __future__ import annotations

import importlib.util
import math
import sys
from pathlib import Path

import numpy as np
import pytest

pytest.importorskip("manifold3d")

SCRIPT = Path(__file__).parents[1] / "benchmarks" / "mesh_boolean.py"


@pytest.mark.slow
def test_a_tooth_space_is_what_a_mesh_boolean_library_leaves_within_its_chords():
    spec = importlib.util.spec_from_file_location("mesh_boolean", SCRIPT)
    meshes = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = meshes
    spec.loader.exec_module(meshes)
    case = meshes.CoarseCase(lift=3.5)
    angles = meshes.a_space(case, 120)
    field = meshes.by_field(case, angles)
    apart = []
    for steps in (8, 16):
        mesh, solids = meshes.by_mesh(case, angles, steps)
        assert solids > 30
        apart.append(np.abs(mesh - field))
    # A chord over a swing of δ on the tip's circle stands off by ρ·δ²/8; the longest swing here is about 0.35 rad.
    chord = case.hob.tip_radius * (0.35 / 15) ** 2 / 8
    assert apart[1].max() < 2 * chord
    # Halving the chords' length quarters what the two are apart: it is the kernel's, not the field's.
    assert np.median(apart[0]) > 2.5 * np.median(apart[1])
    assert math.isfinite(float(apart[1].max()))
