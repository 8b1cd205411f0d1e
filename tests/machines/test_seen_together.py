"""Count, lead and lean seen at once must make a module that somebody may have taken, and are then taken as they are."""

from __future__ import annotations

from pathlib import Path

import pytest
from handlead.machines.job_files.job_file import read_job_text
from handlead.machines.toml.errors import FileFault
from handlead.machines.tracing.diagnosis import trace

PINION = Path(__file__).parents[2] / "scenarios" / "01-fly-winch-pair" / "pinion.toml"


def seen(words):
    return trace(read_job_text(f"{PINION.read_text(encoding='utf-8')}\n[seen]\n{words}\n"))


def test_the_drawing_s_own_three_go_together():
    """23 teeth, 578.66 mm and 22 degrees make module 578.66 sin 22 / (23 pi) = 3.000 mm."""
    assert seen('teeth = 23\nhand = "right"\nlead = 578.66\nhelix_angle = 22').verdict == "as wanted"


@pytest.mark.parametrize("angle", [1, 5])
def test_three_that_make_no_module_near_the_hob_s_are_refused(angle):
    """At 5 degrees they make 0.698 mm, less than a third of the hob's 3 mm with half a degree either way."""
    with pytest.raises(FileFault, match="makes a module of"):
        seen(f'teeth = 23\nhand = "right"\nlead = 578.66\nhelix_angle = {angle}')
