"""A machine file can be readable and absurd: ratios beyond any number that a float holds. It still gets a verdict."""

import pytest
from handlead.viz.command import main

JOB = """
format = "job/1"
machine = "absurd.toml"
[work]
kind = "spur"
teeth = 20
module = 2
face_width = 20
[hob]
module = 2
diameter = 60
[setup]
feed = "climb"
"""

PAIRS = 95


def bevels(name, start, end, teeth=(1, 1), sense="same"):
    return (
        f'[[link]]\nname = "{name}"\nkind = "bevel gears"\nfrom = "{start}"\nto = "{end}"\n'
        f'teeth = [{teeth[0]}, {teeth[1]}]\nsense = "{sense}"\n'
    )


def absurd_machine(before: str, teeth: tuple[int, int]) -> str:
    """A hobber with a hundred steep pairs before its table, its screw or its hob."""
    shafts = [f"s{number}" for number in range(PAIRS + 1)]
    chain = "".join(
        bevels(f"pair {number}", shafts[number], shafts[number + 1], teeth) for number in range(PAIRS)
    )
    head = 'format = "machine/1"\nname = "absurd"\n[shafts]\n' + "".join(
        f'"{name}" = ""\n' for name in ("motor", "hob", "table", "screw", *shafts)
    )
    ways = {
        "hob": ("motor", "hob", None),
        "table": ("hob", "table", None),
        "screw": ("table", "screw", None),
    }
    links = chain
    for end, (start, _, _) in ways.items():
        sense, last = ("opposite", (1, 20)) if end == "table" else ("same", (1, 1))
        if end == before:
            links += bevels(f"into {end}", start, shafts[0])
            links += bevels(f"{end} drive", shafts[-1], end, last, sense)
        else:
            links += bevels(f"{end} drive", start, end, last, sense)
    return (
        f"{head}[slides]\n\"slide\" = \"\"\n[ends]\n"
        'hob = { part = "hob", positive = "cutting up" }\n'
        'table = { part = "table", positive = "counter-clockwise" }\n'
        'axial = { part = "slide", positive = "up" }\n'
        '[drives]\nmain = { shaft = "motor", rpm = 1000 }\n[limits]\nfeed = 6\n[limits.rpm]\ntable = 100\nhob = 400\n'
        f'{links}[[link]]\nname = "lead screw"\nkind = "screw"\nfrom = "screw"\nto = "slide"\nlead = 2\nsense = "same"\n'
    )


@pytest.mark.parametrize("teeth", [(100000, 1), (1, 100000)], ids=["up", "down"])
@pytest.mark.parametrize("before", ["hob", "table", "screw"])
def test_ratios_beyond_all_measure_get_a_verdict(before, teeth, tmp_path, capsys):
    (tmp_path / "absurd.toml").write_text(absurd_machine(before, teeth))
    job = tmp_path / "job.toml"
    job.write_text(JOB)
    for arguments in (["prove"], ["prove", "--json"], ["plan"]):
        assert main([*arguments, str(job)]) == 1
        assert capsys.readouterr().out
    assert main(["constants", str(tmp_path / "absurd.toml")]) == 0
