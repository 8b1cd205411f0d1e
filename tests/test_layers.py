"""Imports run one way, under one name, and the train solver starts without an array library."""

from __future__ import annotations

import ast
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
FLAT = {"kinematics", "machines", "viz", "scenarios"}
LIGHT = [
    "frame.words",
    "links.links",
    "train.train",
    "train.elimination",
    "train.locking",
    "train.powerflow",
    "train.solution",
    "work.requirement",
    "law.outcome",
    "frame.motion",
    "transfer.constants",
    "train.path",
]


def imported(source: str) -> Iterator[str]:
    """Top names that a module imports absolutely."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            yield from (alias.name.split(".")[0] for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and not node.level and node.module:
            yield node.module.split(".")[0]


def modules() -> list[Path]:
    return [path for folder in (*sorted(FLAT), "tests") for path in sorted((ROOT / folder).rglob("*.py"))]


def test_no_module_imports_a_folder_by_its_flat_name():
    """The flat name would make a second copy of every class."""
    assert len(modules()) > 40
    found = {
        str(path.relative_to(ROOT)): names
        for path in modules()
        if (names := FLAT.intersection(imported(path.read_text(encoding="utf-8"))))
    }
    assert not found


@pytest.mark.parametrize(
    "line", ["import kinematics", "from machines.keys import x", "import os, viz.look as v"]
)
def test_a_flat_import_is_seen(line):
    assert FLAT.intersection(imported(f"def late():\n    {line}\n"))


@pytest.mark.parametrize("line", ["from handlead.kinematics import gear", "from . import viz", "import os"])
def test_a_proper_import_is_not_taken_for_a_flat_one(line):
    assert not FLAT.intersection(imported(line))


def lint_imports(*arguments: str) -> subprocess.CompletedProcess[str]:
    command = Path(sys.executable).with_name("lint-imports")
    if not command.exists():
        pytest.skip("import-linter isn't installed")
    return subprocess.run(
        [command, "--no-cache", *arguments], cwd=ROOT, capture_output=True, text=True, check=False
    )


def test_the_import_contracts_hold():
    done = lint_imports()
    assert done.returncode == 0, done.stdout


def test_an_import_contract_that_does_not_hold_is_found(tmp_path):
    stated = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["importlinter"]
    layers = next(contract["layers"] for contract in stated["contracts"] if contract["type"] == "layers")
    wrong_way = tmp_path / "contracts.ini"
    wrong_way.write_text(
        "[importlinter]\nroot_packages =\n    " + "\n    ".join(stated["root_packages"])
        + "\n[importlinter:contract:back]\nname = the wrong way round\ntype = layers\nlayers =\n    "
        + "\n    ".join(reversed(layers)) + "\n"
    )  # fmt: skip
    done = lint_imports("--config", str(wrong_way))
    assert done.returncode == 1, done.stdout + done.stderr


def test_solving_and_predicting_start_without_an_array_library():
    code = "\n".join(f"import handlead.kinematics.{name}" for name in LIGHT)
    done = subprocess.run(
        [sys.executable, "-c", f"{code}\nimport sys\nprint(*sys.modules)"],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    loaded = set(done.stdout.split())
    assert "handlead.kinematics.train.solution" in loaded
    assert not {"numpy", "scipy", "matplotlib", "pyvista", "sympy"} & loaded
