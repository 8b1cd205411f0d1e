"""Records out of an XML file: read only where it says itself what it holds, and refused plainly where it doesn't."""

from __future__ import annotations

import pytest
from handlead.machines.gear_records.exchange import read_exchange, read_records
from handlead.machines.toml.errors import FileFault

VALUES = " ".join(str(tooth % 5) for tooth in range(1, 13))
POINTS = "".join(f'<point z="{z}"><deviation>{z / 2}</deviation></point>' for z in range(-4, 5))
FILE = f"""<?xml version="1.0" encoding="UTF-8"?>
<g:gear xmlns:g="http://example.org/gear" number_of_teeth="12" counted="clockwise">
  <g:measurement unit="um">
    <g:cumulativePitch><g:right_flank>{VALUES}</g:right_flank><g:left_flank>{VALUES}</g:left_flank></g:cumulativePitch>
    <g:run_out>{VALUES}</g:run_out>
    <g:helix flank="left"><trace tooth="1">{POINTS}</trace><trace tooth="7">{POINTS}</trace></g:helix>
    <g:surface_texture>{VALUES}</g:surface_texture>
  </g:measurement>
</g:gear>
"""


@pytest.fixture
def read(tmp_path):
    def read(text, teeth=12, counted=""):
        path = tmp_path / "gear.xml"
        path.write_text(text, encoding="utf-8")
        return read_exchange(path, teeth, counted)

    return read


def test_pitch_runout_and_helix_are_read_with_their_flanks(read):
    found = read(FILE)
    assert [(one.kind, one.flank, len(one.readings.um)) for one in found.records] == [
        ("pitch cumulative", "right", 12),
        ("pitch cumulative", "left", 12),
        ("runout", "", 12),
        ("helix", "left", 18),
    ]
    assert list(found.records[0].readings.um) == [tooth % 5 for tooth in range(1, 13)]
    assert list(found.records[3].readings.height[:3]) == [-4, -3, -2]
    assert set(found.records[3].readings.tooth) == {1, 7}


def test_what_is_not_understood_is_left_out_and_told(read):
    (left_out,) = read(FILE).left_out
    assert (left_out.line, left_out.key) == (7, "surface_texture")


@pytest.mark.parametrize(
    ("old", "new", "line", "words"),
    [
        ('unit="um"', "", 4, "in which unit"),
        ('unit="um"', 'unit="cubit"', 3, "um, mm or in"),
        ("right_flank", "upper_flank", 4, "which flank"),
        ('counted="clockwise"', "", 1, "--counted"),
        ('number_of_teeth="12"', 'number_of_teeth="13"', 2, "13 teeth here, and 12"),
        ("<g:run_out>", "<g:run_out>1 ", 5, "a reading a tooth"),
        (' tooth="7"', "", 6, "on which tooth"),
        (' z="-4"', "", 6, "at which height"),
        ("</g:gear>", "", 10, "no XML"),
        ("<g:gear ", '<!DOCTYPE g [<!ENTITY a "aaaa">]><g:gear ', 2, "document type"),
    ],
)
def test_a_file_that_does_not_say_what_it_must_is_refused_with_the_line(read, old, new, line, words):
    with pytest.raises(FileFault) as raised:
        read(FILE.replace(old, new))
    first = raised.value.complaints[0]
    assert words in first.message
    assert first.line == line


def test_the_way_of_counting_can_be_said_where_the_file_does_not(read):
    assert (
        read(FILE.replace('counted="clockwise"', ""), counted="counter-clockwise").records[0].counted
        == "counter-clockwise"
    )


def test_letters_that_the_file_says_it_is_in_are_read(tmp_path):
    text = FILE.replace("UTF-8", "ISO-8859-1").replace('unit="um"', 'unit="µm"')
    (tmp_path / "gear.xml").write_bytes(text.encode("latin-1"))
    assert len(read_exchange(tmp_path / "gear.xml", 12).records) == 4


def test_a_file_of_which_nothing_is_understood_is_refused(read):
    with pytest.raises(FileFault, match="nothing in it is understood"):
        read("<html><p>a page</p></html>")


def test_a_file_of_its_own_entities_is_not_expanded(read):
    bomb = "".join(f'<!ENTITY a{n} "{f"&a{n - 1};" * 10}">' for n in range(1, 12))
    with pytest.raises(FileFault, match="document type"):
        read(f'<?xml version="1.0"?><!DOCTYPE a [<!ENTITY a0 "x">{bomb}]><a>&a11;</a>')


def test_elements_without_end_are_refused(read):
    with pytest.raises(FileFault, match="deep"):
        read("<a>" * 100_000)


def test_files_of_both_kinds_go_together_and_their_faults_are_told_together(tmp_path):
    (tmp_path / "gear.xml").write_text(FILE, encoding="utf-8")
    rows = "".join(f"{tooth}, {tooth % 5}\n" for tooth in range(1, 13))
    csv = f"# quantity: runout\n# unit: um\n# counted: clockwise\ntooth, deviation\n{rows}"
    (tmp_path / "hand.csv").write_text(csv, encoding="utf-8")
    paths = [tmp_path / "gear.xml", tmp_path / "hand.csv"]
    assert len(read_records(paths, 12).records) == 5
    with pytest.raises(FileFault) as raised:
        read_records(paths, 11)
    assert len({fault.file for fault in raised.value.complaints}) == 2
