"""What the README says can be done can be done."""

import re
import shlex
from pathlib import Path

import pytest
from handlead.viz.command import main

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def commands() -> list[str]:
    blocks = re.findall(r"```sh\n(.*?)```", README, flags=re.DOTALL)
    return [line for block in blocks for line in block.strip().splitlines()]


def handlead_commands() -> list[list[str]]:
    found = []
    for line in commands():
        last = line.split("&&")[-1].split("#")[0].strip()
        if "handlead" in last and last.islower() and not last.isupper():
            found.append(shlex.split(last)[1:])
    return found


def test_the_first_command_proves_a_shipped_set_up(capsys, monkeypatch):
    monkeypatch.chdir(ROOT)
    assert main(handlead_commands()[0]) == 0
    assert "AS WANTED" in capsys.readouterr().out


@pytest.mark.parametrize("arguments", handlead_commands()[1:], ids=" ".join)
def test_the_other_commands_run(arguments, capsys, monkeypatch):
    monkeypatch.chdir(ROOT)
    assert main(arguments) in (0, 1)
    assert capsys.readouterr().out


def test_the_test_command_stands_where_the_checks_look_for_it():
    after = README.split("<!-- test command -->")[1]
    assert after.strip().startswith("```sh\npython3 -m venv")


@pytest.mark.parametrize("target", re.findall(r"\]\(([^)#]+)\)", README))
def test_every_link_leads_somewhere(target):
    assert (ROOT / target).exists()


def test_the_cautions_are_there():
    for word in ("lock", "Guards", "gloves", "first cut is light", "manual"):
        assert word in README
