"""How large a function, a file and a room may be; what goes beyond stands here with its reason."""

from __future__ import annotations

import ast
from pathlib import Path

ROOT = Path(__file__).parents[1]

MOST_LINES, MOST_ARGUMENTS, MOST_IN_A_FILE = 40, 6, 400

#: Functions that may be longer, or take more, and why.
REASONS = {
    "kinematics/cutting/compiled.py:_compiled": "one compiled loop over a row, which only its compiler may part",
    "kinematics/cutting/compiled.py:rows": "the same loop: what it is given are bare arrays, in tuples by kind",
    "kinematics/cutting/compiled.py:follow": "compiled: takes arrays to write into instead of giving new ones back",
    "kinematics/cutting/compiled.py:_exactly": "compiled: takes arrays to write into instead of giving new ones back",
    "kinematics/cutting/compiled.py:_inside": "compiled: takes bare arrays and numbers, for it knows no objects",
    "kinematics/flank_cutting/flanks.py:passing": "one step of Newton in two unknowns: some thirty terms that stand "
    "on one another, each used twice; parted it would hand a dozen arrays to and fro",
    "kinematics/frame/arguments.py:number": "a bound of each kind, each said by its name where it is asked for",
    "kinematics/search/change_gears.py:nearest_sets": "a front door: what may be wished for, each by its name",
}


def functions():
    """Every function: its key, its lines, and how many arguments it takes beside self or cls."""
    for package in ("kinematics", "machines", "viz"):
        for file in sorted((ROOT / package).rglob("*.py")):
            for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
                if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                    yield f"{file.relative_to(ROOT).as_posix()}:{node.name}", node.end_lineno - node.lineno + 1, _arguments(node)


def _arguments(node: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    taken = node.args
    names = [one.arg for one in (*taken.posonlyargs, *taken.args, *taken.kwonlyargs)]
    return len([name for name in names if name not in ("self", "cls")]) + bool(taken.vararg) + bool(taken.kwarg)


def test_a_function_can_be_read_at_a_glance_or_says_why_not():
    too_large = {key for key, lines, arguments in functions() if lines > MOST_LINES or arguments > MOST_ARGUMENTS}
    assert too_large == set(REASONS)


def test_a_file_can_be_read_at_a_sitting():
    files = [file for package in ("kinematics", "machines", "viz") for file in (ROOT / package).rglob("*.py")]
    assert [str(file) for file in files if len(file.read_text(encoding="utf-8").splitlines()) > MOST_IN_A_FILE] == []
