"""What is installed is what is tracked."""

import subprocess
import sys
import tomllib
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
SHIPPED_SUFFIXES = {".py", ".toml", ".typed", ".md", ".html", ".css", ".js", ".svg"}


@pytest.mark.slow
def test_the_wheel_holds_every_tracked_file_of_the_packages(tmp_path):
    if not (ROOT / ".git").exists():
        pytest.skip("not a git checkout, so nothing says which files are tracked")
    source = tmp_path / "source"
    subprocess.run(["git", "clone", "-q", str(ROOT), str(source)], check=True)
    done = subprocess.run(
        [sys.executable, "-m", "pip", "wheel", "-q", "--no-deps", "-w", str(tmp_path), str(source)],
        capture_output=True, text=True,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    (wheel,) = tmp_path.glob("*.whl")
    packed = {name for name in zipfile.ZipFile(wheel).namelist() if ".dist-info/" not in name}
    committed = subprocess.run(
        ["git", "ls-tree", "-r", "--name-only", "HEAD", "kinematics", "machines", "viz", "scenarios"],
        cwd=ROOT, capture_output=True, text=True, check=True,
    )  # fmt: skip
    wanted = {
        f"handlead/{name}" for name in committed.stdout.split("\n") if Path(name).suffix in SHIPPED_SUFFIXES
    }
    assert wanted - packed == set()
    assert all(name.startswith("handlead/") for name in packed)


def test_every_folder_with_code_is_named_in_the_project_file():
    setup = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["setuptools"]
    tops = setup["package-dir"]
    folders = {"/".join([tops[".".join(name.split(".")[:2])], *name.split(".")[2:]]) for name in setup["packages"]}
    for top in ("kinematics", "machines", "viz"):
        for found in (ROOT / top).rglob("*.py"):
            assert str(found.parent.relative_to(ROOT)) in folders, found


def test_the_checkers_names_point_at_the_packages():
    for name in ("kinematics", "machines", "viz", "scenarios"):
        assert (ROOT / ".ci/names/handlead" / name).resolve() == ROOT / name


@pytest.mark.slow
def test_a_misspelt_name_is_found_in_an_editable_install_too(tmp_path):
    """A checker that runs elsewhere sees the types of a checkout that is installed for working on it."""
    python = tmp_path / "venv" / "bin" / "python"
    subprocess.run([sys.executable, "-m", "venv", str(tmp_path / "venv")], check=True)
    installed = subprocess.run(
        [python, "-m", "pip", "install", "-q", "--no-deps", "-e", str(ROOT)], capture_output=True, text=True
    )
    assert installed.returncode == 0, installed.stderr
    user = tmp_path / "user.py"
    user.write_text("from handlead import machines\nmachines.read_job('x')\nmachines.raed_job('x')\n", encoding="utf-8")
    found = subprocess.run(
        [sys.executable, "-m", "mypy", "--strict", "--python-executable", python, "--cache-dir", tmp_path, user],
        cwd=tmp_path, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert "user.py:3" in found.stdout
    assert "user.py:2" not in found.stdout
