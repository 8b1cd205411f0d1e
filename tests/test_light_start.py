"""Starting the program loads only what the question at hand needs."""

import subprocess
import sys

HEAVY = {"numpy", "scipy", "matplotlib", "pyvista", "numba", "rich", "voluptuous", "rustworkx", "tomlkit"}


def loaded_by(code: str) -> set[str]:
    script = f"{code}\nimport sys\nprint('LOADED', *sys.modules)"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    return {name.split(".")[0] for name in done.stdout.split("LOADED")[-1].split()}


def test_asking_for_help_loads_nothing_heavy():
    code = "from handlead.viz.command import main\ntry: main(['--help'])\nexcept SystemExit: pass"
    assert not loaded_by(code) & HEAVY


def test_solving_a_train_loads_no_array_library():
    assert not loaded_by("import handlead.machines.proving.proof") & {"numpy", "scipy", "matplotlib", "pyvista"}
