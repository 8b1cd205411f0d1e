"""Files that can't be used: each is refused in words, at a line, and never in any other way.

Each file in ``unusable/`` carries the complaints that are expected about it in its first comment
lines, as they are printed, but for the file's own name. The second half takes good files to
pieces at random: whatever comes of it is a machine, a job, or complaints with places.
"""

import re
import signal
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from handlead.machines.documents.observations_file import Observations, read_observations
from handlead.machines.job_files.job_file import Job, read_job, read_job_text
from handlead.machines.machine_files.machine_file import Machine, read_machine, read_machine_text
from handlead.machines.toml.errors import FileFault
from handlead.machines.toml.places import parse
from handlead.machines.written.writing import job_text, machine_text
from hypothesis import example, given, settings
from hypothesis import strategies as st

HERE = Path(__file__).parent
UNUSABLE = sorted((HERE / "unusable").glob("*.toml"))
GOOD = HERE / "machines" / "good"
MACHINES = sorted(file for file in GOOD.glob("*.toml") if "job" not in file.stem)
JOBS = sorted(file for file in GOOD.glob("*.toml") if "job" in file.stem)
EXPECTED = re.compile(r"# (\S+:)?(\d+): .+")


def expected_about(file: Path) -> list[str]:
    """The complaints in a file's first comment lines."""
    expected = []
    for line in file.read_text().splitlines():
        if not EXPECTED.fullmatch(line):
            break
        expected.append(line.removeprefix("# "))
    return expected


def read_observations_on_small(file: Path, shown: str) -> Observations:
    """Observations are read against a machine: the small one."""
    return read_observations(file, read_machine(GOOD / "small.toml", "small.toml"), shown)


READERS = {"machine": read_machine, "job": read_job, "observations": read_observations_on_small}


@pytest.mark.parametrize("file", UNUSABLE, ids=lambda file: file.stem)
def test_a_file_that_can_not_be_used_is_refused_in_these_words_at_this_line(file):
    with pytest.raises(FileFault) as caught:
        READERS[file.stem.partition("-")[0]](file, file.name)
    said = [line.replace(f"{HERE / 'unusable'}/", "") for line in str(caught.value).splitlines()]
    assert [line.removeprefix(f"{file.name}:") for line in said] == expected_about(file)


def test_enough_kinds_of_broken_file_are_kept():
    assert len(UNUSABLE) >= 60
    assert all(expected_about(file) for file in UNUSABLE)


# ---------------------------------------------------------------- good files taken to pieces

#: What a mutation puts in the place of a value: each type, and numbers beyond all bounds.
VALUES = (
    "0", "-1", "1", "3.7", "1e10000000", "-1e-9999999999999999999", "9" * 59, "9" * 200, "0x" + "f" * 60, "inf",
    "-inf", "nan", "true", '""', '" "', '"a"', '"1/0"', '"1 1/4 in"', '"22d 70m"', '"9e9999"', "[]", "[1, 2]",
    '["a"]', "{}", "{ a = 1 }", "[[1]]", "[{}]", "1979-05-27", "07:32:00", "1979-05-27T07:32:00Z", '"\\u0000"',
    '"\\U0001F600"', "'''\n'''", '"' + "x" * 3000 + '"', "99999", "100000000", "0.0000000000000000000001",
)  # fmt: skip
TOKEN = re.compile(r'"[^"\n]*"|[\w.+-]+|[\[\]{}=,]|\n|#[^\n]*|[ \t]+')


@st.composite
def broken(draw, files):
    """A good file, and its text after a few cuts: tokens taken out, doubled, changed round, or replaced; or bytes."""
    file = draw(st.sampled_from(files))
    tokens = TOKEN.findall(file.read_text())
    words = [index for index, token in enumerate(tokens) if token.strip() and not token.startswith("#")]
    for _ in range(draw(st.integers(1, 4))):
        at, other = draw(st.sampled_from(words)), draw(st.sampled_from(words))
        match draw(st.sampled_from(["take out", "double", "change round", "replace", "copy", "cut a line"])):
            case "take out":
                tokens[at] = ""
            case "double":
                tokens[at] = f"{tokens[at]} {tokens[at]}"
            case "change round":
                tokens[at], tokens[other] = tokens[other], tokens[at]
            case "replace":
                tokens[at] = draw(st.sampled_from(VALUES))
            case "copy":
                tokens[at] = tokens[other]
            case "cut a line":
                ends = [index for index, token in enumerate(tokens) if token == "\n"]
                start = draw(st.sampled_from(ends))
                tokens[start : start + draw(st.integers(1, 12))] = ["\n"]
                words = [index for index in words if index < len(tokens)]
    text = "".join(tokens)
    if draw(st.booleans()) and draw(st.booleans()):
        at = draw(st.integers(0, len(text)))
        text = text[:at] + draw(st.text(max_size=3)) + text[at + draw(st.integers(0, 3)) :]
    return text


@contextmanager
def at_most_two_seconds() -> Iterator[None]:
    """End what takes longer than two seconds of this process's own time."""
    if not hasattr(signal, "setitimer"):
        yield
        return

    def too_long(*_: object) -> None:
        raise TimeoutError("the file took longer than two seconds")

    before = signal.signal(signal.SIGVTALRM, too_long)
    signal.setitimer(signal.ITIMER_VIRTUAL, 2)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_VIRTUAL, 0)
        signal.signal(signal.SIGVTALRM, before)


def check_complaints(fault: FileFault, text: str) -> None:
    assert fault.complaints
    for complaint in fault.complaints:
        assert 1 <= complaint.line <= text.count("\n") + 1
        assert complaint.column >= 1
        assert complaint.message
        assert str(complaint).isprintable(), str(complaint)
        assert len(str(complaint)) < 2000


def check_machine(text: str) -> None:
    with at_most_two_seconds():
        try:
            machine = read_machine_text(text, "fuzzed.toml")
            machine.set_up()
        except FileFault as fault:
            check_complaints(fault, text)
            return
    assert isinstance(machine, Machine)
    assert read_machine_text(machine_text(machine)) == machine


def check_job(text: str) -> None:
    with at_most_two_seconds():
        try:
            job = read_job_text(text, "fuzzed.toml", GOOD)
        except FileFault as fault:
            check_complaints(fault, text)
            return
        job.machine.set_up(job.setup)
    assert isinstance(job, Job)
    assert read_job_text(job_text(job), beside=GOOD) == job


SMALL = (GOOD / "small.toml").read_text()
SPUR = (GOOD / "spur-job.toml").read_text()


@settings(deadline=None, max_examples=400)
@given(broken(MACHINES))
@example(SMALL.replace('kind   = "worm gear"', 'kind = ["worm gear"]'))
@example(f'{SMALL}\n[shafts.{"x" * 3000}]\ny = 1')
@example(SMALL.replace('name  = "slide screw"', "name = {}"))
@example(SMALL.replace('low  = { "range box" = "low" }', "low = { 'range box' = [1] }"))
def test_a_machine_file_taken_to_pieces_is_a_machine_or_located_complaints(text):
    check_machine(text)


@settings(deadline=None, max_examples=400)
@given(broken(JOBS))
@example(SPUR.replace("[setup.change]", "[setup.levers]\nrange = {}\n[setup.change]"))
@example(SPUR.replace('machine = "small.toml"', "machine = []"))
def test_a_job_file_taken_to_pieces_is_a_job_or_located_complaints(text):
    check_job(text)


@settings(deadline=None, max_examples=200)
@given(st.text(max_size=300))
@example('a = """')
@example("'\x1e0")
@example("\ufeff")
@example("[a]\n[a.b]\n[a]")
@example("a.b = 1\na = 2")
def test_any_text_at_all_is_refused_with_a_place(text):
    with at_most_two_seconds():
        try:
            parse(text, "any.toml")
        except FileFault as fault:
            check_complaints(fault, text)
        with pytest.raises(FileFault) as caught:
            read_job_text(text, "any.toml")
        check_complaints(caught.value, text)


@settings(deadline=None, max_examples=200)
@given(file=st.sampled_from([*MACHINES, *JOBS]), cut=st.data())
def test_a_file_with_broken_bytes_is_read_or_refused(tmp_path_factory, file, cut):
    data = bytearray(file.read_bytes())
    for _ in range(cut.draw(st.integers(1, 5))):
        data[cut.draw(st.integers(0, len(data) - 1))] = cut.draw(st.integers(0, 255))
    broken_file = tmp_path_factory.getbasetemp() / "broken.toml"
    broken_file.write_bytes(data)
    read = read_machine if file in MACHINES else read_job
    with at_most_two_seconds():
        try:
            read(broken_file)
        except FileFault as fault:
            check_complaints(fault, data.decode(errors="replace"))
