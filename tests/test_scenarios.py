"""Every scenario that ships, proved, and held against what is known about it without the program.

The folders are found, none is listed. `expected.toml` of each says:

    exit        status of `handlead prove` on all jobs of the folder
    [[finding]] a code that must be found, with its severity; besides these no error may be found
    cut         whether the blank is cut as well, for what is measured on it
    [[value]]   a value in the JSON object of a job: `path` into it, `value` ("null" for none),
                `within` for a measured or computed decimal, and the `source` from which it is known

A job with [seen] is traced as well: [traced] says the exit status of `handlead trace`, and [[cause]] what the likeliest
cause is: its place, its `kind` or what it `changes`, what it leaves, and the check that is asked for `next`.

`job` names the file of a finding or value where the folder has several jobs.

[mesh] rolls `work` and `mate`, two jobs of the folder, and says the exit status of `handlead mesh`; [[mesh.value]] looks
into its answer.

[inspected] gives the `records` of a gear that was cut so, and the exit status of `handlead inspect` on them; each
[[inspected.part]] is what the likeliest part of one wave is, biggest first, and how big its fault.

A folder with `sample.toml` is a worn gear to be named: [[value]] looks into the answer of `handlead sample`.
A folder with `pile/` is a pile of orders: `test_piles.py` surveys it.
A folder with `counted.toml` is a machine to be fitted; its `expected.toml` says the exit status of `handlead fit`
and, in [[unknown]], the `name`, `value` and `source` of every number that must be found.
"""

from __future__ import annotations

import json
import re
import tomllib
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from handlead.machines.job_files.job_file import read_job
from handlead.machines.machine_files.catalogue import shipped_machines
from handlead.machines.proving.proof import prove
from handlead.viz.command import main

SCENARIOS = Path(__file__).parent.parent / "scenarios"
FITTED = sorted(path.parent.name for path in SCENARIOS.glob("*/counted.toml"))
SAMPLES = sorted(path.parent.name for path in SCENARIOS.glob("*/sample.toml"))
PILES = sorted(path.parent.name for path in SCENARIOS.glob("*/pile"))
FOLDERS = sorted({path.parent.name for path in SCENARIOS.glob("*/expected.toml")} - {*FITTED, *SAMPLES, *PILES})


def expected(folder: str) -> dict[str, Any]:
    return tomllib.loads((SCENARIOS / folder / "expected.toml").read_text(encoding="utf-8"))


def jobs(folder: str) -> list[Path]:
    beside = ("expected.toml", "hobs.toml")
    return sorted(path for path in (SCENARIOS / folder).glob("*.toml") if path.name not in beside)


@cache
def proofs(folder: str) -> dict[str, dict[str, Any]]:
    cut = "scratch" if expected(folder).get("cut") else None
    return {path.name: prove(read_job(path), cut=cut).as_json() for path in jobs(folder)}


def of_job(folder: str, row: dict[str, Any]) -> dict[str, Any]:
    found = proofs(folder)
    name = row.get("job", next(iter(found)) if len(found) == 1 else "")
    assert name in found, f"{folder}: expected.toml must say which of {', '.join(found)} it means"
    return found[name]


def at(result: dict[str, Any], path: str) -> Any:
    for key in path.split("."):
        result = result[int(key) if isinstance(result, list) else key]
    return result


def values() -> list[Any]:
    return [
        pytest.param(folder, row, id=f"{folder}-{row.get('job', 'job.toml')}-{row['path']}")
        for folder in FOLDERS
        for row in expected(folder).get("value", ())
    ]


@pytest.mark.parametrize(("folder", "row"), values())
def test_a_scenario_comes_to_the_value_known_from_elsewhere(folder: str, row: dict[str, Any]) -> None:
    found, wanted = at(of_job(folder, row), row["path"]), row["value"]
    assert row["source"].strip()
    if "within" in row:
        assert found == pytest.approx(wanted, rel=0, abs=row["within"])
    elif wanted == "null":
        assert found is None
    else:
        assert found == wanted
        assert type(found) is type(wanted)


@pytest.mark.parametrize("folder", FOLDERS)
def test_a_scenario_has_its_findings_and_no_other_error(folder: str) -> None:
    wanted = expected(folder).get("finding", [])
    for name, result in proofs(folder).items():
        found = {(finding["code"], finding["severity"]) for finding in result["findings"]}
        named = {
            (row["code"], row["severity"])
            for row in wanted
            if row.get("job", name) == name
        }
        assert named <= found
        assert {pair for pair in found if pair[1] == "error"} == {pair for pair in named if pair[1] == "error"}


@pytest.mark.parametrize("folder", FOLDERS)
def test_every_error_says_what_to_do_about_it(folder: str) -> None:
    for result in proofs(folder).values():
        for finding in result["findings"]:
            assert finding["message"].strip()
            assert finding["severity"] == "note" or finding["remedy"].strip()


@pytest.mark.parametrize("folder", FOLDERS)
def test_the_exit_status_is_the_verdict(folder: str) -> None:
    wanted = expected(folder)["exit"]
    verdicts = {result["verdict"] for result in proofs(folder).values()}
    assert ("not as wanted" in verdicts) is bool(wanted)
    assert verdicts <= {"as wanted", "not as wanted"}


@pytest.mark.parametrize("folder", FOLDERS)
def test_the_exact_lead_and_its_decimal_are_the_same_length(folder: str) -> None:
    for result in proofs(folder).values():
        exact, decimal = at(result, "train.lead_exact"), at(result, "train.lead_mm")
        if exact is not None:
            assert decimal == pytest.approx(float(Fraction(exact)), rel=1e-14)


def test_the_command_line_says_the_same_as_the_library(capsys: pytest.CaptureFixture[str]) -> None:
    folder = next(name for name in FOLDERS if len(jobs(name)) > 1)
    status = main(["prove", "--json", "--no-cut", *map(str, jobs(folder))])
    printed = json.loads(capsys.readouterr().out)
    assert status == expected(folder)["exit"]
    assert [result["train"] for result in printed] == [result["train"] for result in proofs(folder).values()]
    assert [result["verdict"] for result in printed] == [result["verdict"] for result in proofs(folder).values()]


@pytest.mark.parametrize("wanted", [0, 1])
def test_the_command_line_ends_with_the_status_of_the_scenario(
    wanted: int, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = next(name for name in FOLDERS if expected(name)["exit"] == wanted and len(jobs(name)) == 1)
    assert main(["prove", "--no-cut", str(jobs(folder)[0])]) == wanted
    assert capsys.readouterr().err == ""


def test_a_scenario_is_an_order_with_jobs_and_expectations() -> None:
    folders = [path for path in SCENARIOS.iterdir() if path.is_dir() and path.name[:2].isdigit()]
    assert sorted(path.name for path in folders) == sorted(FOLDERS + FITTED + SAMPLES + PILES)
    index = (SCENARIOS / "README.md").read_text(encoding="utf-8")
    for path in folders:
        story = (path / "README.md").read_text(encoding="utf-8")
        assert len(story.split()) > 40, f"{path.name}: the order is to be told"
        assert path.name in (*FITTED, *SAMPLES, *PILES) or jobs(path.name), f"{path.name}: no job"
        assert f"`{path.name}`" in index, f"{path.name} is missing in scenarios/README.md"


def test_every_shipped_machine_is_used_by_a_scenario_that_goes_right() -> None:
    used = {
        Path(read_job(path).machine.path).stem
        for folder in FOLDERS
        if expected(folder)["exit"] == 0
        for path in jobs(folder)
    }
    assert used >= set(shipped_machines())


@pytest.mark.parametrize("folder", [name for name in FOLDERS if "traced" in expected(name)])
def test_what_was_seen_is_traced_to_the_cause_known_from_elsewhere(
    folder: str, capsys: pytest.CaptureFixture[str]
) -> None:
    (job,), (row,) = jobs(folder), expected(folder)["cause"]
    assert main(["trace", "--json", str(job)]) == expected(folder)["traced"]["exit"]
    found = json.loads(capsys.readouterr().out)
    assert found["set_up_as_written"]["as_wanted"] is True
    first = found["causes"][0]
    (fault,), leaves = first["faults"], first["leaves"]
    assert row["source"].strip()
    assert fault["where"] == row["where"]
    assert fault["kind"] == row.get("kind", fault["kind"])
    if "changes" in row:
        mounted = fault["setup"]["change"][row["where"]]
        assert len(mounted.get("idlers", ())) == row["changes"]["idlers"]
    for key in ("teeth", "hand", "lead_exact"):
        assert leaves[key] == row.get(key, leaves[key])
    if "outside_helix_angle_deg" in row:
        assert leaves["outside_helix_angle_deg"] == pytest.approx(row["outside_helix_angle_deg"], abs=5e-4)
    assert found["next_check"]["do"] == row.get("next", found["next_check"]["do"])


@pytest.mark.parametrize("folder", FITTED)
def test_a_machine_to_be_fitted_comes_to_the_numbers_known_from_elsewhere(
    folder: str, capsys: pytest.CaptureFixture[str]
) -> None:
    files = [str(SCENARIOS / folder / name) for name in ("machine.toml", "counted.toml")]
    assert main(["fit", "--json", *files]) == expected(folder)["exit"]
    found = json.loads(capsys.readouterr().out)["unknowns"]
    assert all(row["source"].strip() for row in expected(folder)["unknown"])
    assert {name: row["value"] for name, row in found.items()} == {
        row["name"]: row["value"] for row in expected(folder)["unknown"]
    }


@pytest.mark.parametrize("folder", SAMPLES)
def test_a_sample_is_named_as_it_is_known_from_elsewhere(folder: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["sample", "--json", str(SCENARIOS / folder / "sample.toml")]) == expected(folder)["exit"]
    found = json.loads(capsys.readouterr().out)
    for row in expected(folder)["value"]:
        assert row["source"].strip()
        assert at(found, row["path"]) == (pytest.approx(row["value"], abs=row["within"]) if "within" in row else row["value"])


def leaves(table: dict[str, Any], path: tuple[str, ...] = ()) -> dict[tuple[str, ...], Any]:
    """Everything that a job says, by its path; the swivel and what lies in one bracket are one thing each."""
    found: dict[tuple[str, ...], Any] = {}
    for key, value in table.items():
        here = (*path, key)
        whole = here[-2:-1] == ("change",) or key == "swivel"
        found |= leaves(value, here) if isinstance(value, dict) and not whole else {here: value}
    return found


def said(path: Path) -> dict[tuple[str, ...], Any]:
    found = leaves(tomllib.loads(path.read_text(encoding="utf-8")))
    del found["title",]
    return found


def test_a_changed_scenario_is_a_right_one_with_one_thing_changed() -> None:
    index = (SCENARIOS / "README.md").read_text(encoding="utf-8")
    changed = dict(re.findall(r"`(\d\d-[\w-]+)` \| (\d\d) \|", index))
    assert len(changed) > 20
    for folder, after in changed.items():
        (right,) = (name for name in FOLDERS if name.startswith(after))
        assert expected(right)["exit"] == 0
        (now,) = map(said, jobs(folder))
        ways = [
            {key for key in now.keys() | was.keys() if now.get(key) != was.get(key)}
            for was in map(said, jobs(right))
        ]
        assert min(map(len, ways)) == 1, f"{folder}: {ways}"


def test_the_wrong_scenarios_between_them_show_what_can_be_wrong() -> None:
    shown = {row["code"] for folder in FOLDERS for row in expected(folder).get("finding", ())}
    assert {
        "locked-train", "not-driven", "worm-driven-backwards", "table-against-hob", "wrong-count", "wrong-hand",
        "wrong-lead", "spaces-dont-meet", "swivel-wrong-way", "swivel-off", "gear-not-owned", "gear-used-twice",
        "pairs-not-allowed", "idlers-not-allowed", "hob-doesnt-suit", "wont-mount", "beyond-limits", "feed-other-way",
        "lead-angle-disagrees", "feed-belongs-to-index",
    } <= shown  # fmt: skip


PAIRS = [folder for folder in FOLDERS if "mesh" in expected(folder)]


@pytest.mark.parametrize("folder", PAIRS)
def test_a_pair_rolls_as_was_reckoned(folder: str, capsys: pytest.CaptureFixture[str]) -> None:
    rolled = expected(folder)["mesh"]
    files = [str(SCENARIOS / folder / rolled[whose]) for whose in ("work", "mate")]
    assert main(["mesh", *files, "--json"]) == rolled["exit"]
    answer = json.loads(capsys.readouterr().out)
    for row in rolled["value"]:
        found, within = at(answer, row["path"]), row.get("within")
        assert row["source"].strip()
        assert found == (row["value"] if within is None else pytest.approx(row["value"], abs=within)), row["path"]


INSPECTED = [folder for folder in FOLDERS if "inspected" in expected(folder)]


@pytest.mark.parametrize("folder", INSPECTED)
def test_records_of_a_gear_lead_to_the_parts_that_were_at_fault(folder: str, capsys: pytest.CaptureFixture[str]) -> None:
    (job,), wanted = jobs(folder), expected(folder)["inspected"]
    records = [str(SCENARIOS / folder / name) for name in wanted["records"]]
    assert main(["inspect", "--json", str(job), *records]) == wanted["exit"]
    waves = json.loads(capsys.readouterr().out)["waves"]
    assert len(waves) == len(wanted["part"])
    for wave, row in zip(waves, wanted["part"], strict=True):
        part = wave["parts"][0]
        assert row["source"].strip()
        for key in ("kind", "link", "per_table_turn", "unit"):
            assert part[key] == row.get(key), key
        assert part["size"] == pytest.approx(row["size"], abs=row["within"])
