"""Where a key stands in its file, and files that are refused before they are looked into."""

import os
from pathlib import Path

import handlead.machines
import pytest
from handlead.machines.toml.errors import FileFault, Place
from handlead.machines.toml.places import LARGEST_FILE, parse, read

GOOD = sorted((Path(__file__).parent / "good").glob("*.toml"))
SHIPPED = sorted((Path(handlead.machines.__file__).parent / "shipped").glob("*.toml"))


def keys(value, path=()):
    """Every key in a value, as paths that end in a text."""
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for step, item in items:
        yield (*path, step)
        yield from keys(item, (*path, step))


@pytest.mark.parametrize("file", [*GOOD, *SHIPPED], ids=lambda file: file.stem)
def test_every_key_stands_where_its_place_says(file):
    document = read(file)
    lines = document.text.split("\n")
    for path in keys(document.values):
        if isinstance(path[-1], int):
            continue
        place = document.place(*path)
        there = lines[place.line - 1][place.column - 1 :]
        assert there.startswith((path[-1], f'"{path[-1]}"', "[")), (path, place)
        assert path[-1] in there, (path, place)


def test_places_reach_into_inline_tables_lists_dotted_keys_and_rows():
    text = '\n'.join([
        "a.b = { c = [1, { d = 2 }], 'e f' = 3 }",
        "[t.\"u v\"]",
        "  w = 4",
        "[[row]]",
        "x = 1",
        "[[row]]",
        "x = [",
        "  1, # one",
        "  2,",
        "]",
        "[row.under]",
        "y = 5",
    ])  # fmt: skip
    document = parse(text, "f")
    expected = {
        ("a",): (1, 1),
        ("a", "b"): (1, 3),
        ("a", "b", "c"): (1, 9),
        ("a", "b", "c", 0): (1, 14),
        ("a", "b", "c", 1, "d"): (1, 19),
        ("a", "b", "e f"): (1, 29),
        ("t", "u v"): (2, 1),
        ("t", "u v", "w"): (3, 3),
        ("row", 0, "x"): (5, 1),
        ("row", 1): (6, 1),
        ("row", 1, "x", 1): (9, 3),
        ("row", 1, "under", "y"): (12, 1),
    }
    assert {path: document.place(*path) for path in expected} == {
        path: Place("f", *spot) for path, spot in expected.items()
    }


def test_a_column_counts_characters_not_bytes():
    assert parse('t = { "Räder" = "à", b = 1 }', "f").place("t", "b") == Place("f", 1, 22)


def test_line_ends_of_other_systems_change_no_place():
    assert parse("a = 1\r\n\r\nb = 2\r\n", "f").place("b") == Place("f", 3, 1)


def test_a_byte_order_mark_is_no_part_of_the_file(tmp_path):
    file = tmp_path / "marked.toml"
    file.write_bytes(b"\xef\xbb\xbfa = 1\n")
    assert read(file).values == {"a": 1}


def test_a_missing_key_stands_at_the_table_around_it():
    document = parse("[a]\n[a.b]\nc = 1\n", "f")
    assert document.place("a", "b", "missing") == Place("f", 2, 1)
    assert document.place("nowhere") == Place("f", 1, 1)


def refused(read_it):
    with pytest.raises(FileFault) as caught:
        read_it()
    (complaint,) = caught.value.complaints
    return complaint


def test_a_file_that_is_not_there_is_refused(tmp_path):
    complaint = refused(lambda: read(tmp_path / "none.toml"))
    assert "there is no such file" in complaint.message
    assert complaint.file == str(tmp_path / "none.toml")


def test_a_folder_is_refused(tmp_path):
    assert "it is a folder" in refused(lambda: read(tmp_path)).message


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_a_pipe_is_refused_and_not_waited_for(tmp_path):
    os.mkfifo(tmp_path / "pipe.toml")
    assert "not a plain file" in refused(lambda: read(tmp_path / "pipe.toml")).message


def test_a_path_that_no_file_can_have_is_refused():
    assert "can't be read" in refused(lambda: read("a\0b.toml")).message
    assert "can't be read" in refused(lambda: read("a" * 5000 + ".toml")).message


def test_a_file_too_large_is_refused_unread(tmp_path):
    file = tmp_path / "large.toml"
    file.write_bytes(b"#" * (LARGEST_FILE + 1))
    assert "larger than 256 KiB" in refused(lambda: read(file)).message
    assert "larger than 256 KiB" in refused(lambda: parse("#" * (LARGEST_FILE + 1), "f")).message


def test_a_file_that_is_not_utf_8_is_refused_at_its_line(tmp_path):
    file = tmp_path / "latin.toml"
    file.write_bytes('a = 1\nb = "Räder"\n'.encode("latin-1"))
    complaint = refused(lambda: read(file))
    assert (complaint.line, "isn't UTF-8" in complaint.message) == (2, True)


@pytest.mark.parametrize(
    "text",
    [
        "a = " + "[" * 60_000,
        "a = " + "[" * 100 + "]" * 100,
        "a = " + "{b = " * 100 + "1" + "}" * 100,
        "a." * 60_000 + "a = 1",
        "[" + "a." * 100 + "a]",
        'a . "b" . ' * 10_000 + "c = 1",
    ],
    ids=["brackets never closed", "brackets", "tables", "a dotted key", "a heading", "a key with blanks"],
)
def test_deep_nesting_is_refused(text):
    assert "nested deeper than 16" in refused(lambda: parse(text, "f")).message


def test_a_list_of_decimals_is_not_a_dotted_key():
    text = (
        "a = ["
        + ", ".join(["[1.5], 2.5"] * 50)
        + "]\n"
        + "b = 1.5\n"
        + "\n".join(f"c{n} = 1.5" for n in range(50))
    )
    assert len(parse(text, "f").values) == 52


def test_brackets_in_texts_and_comments_are_not_nesting():
    text = 'a = "' + "[" * 100 + '" # ' + "{" * 100 + "\nb = '''\n" + "[" * 100 + "'''\n"
    assert parse(text, "f").values["a"] == "[" * 100


@pytest.mark.parametrize(
    "text",
    ['a = """\n' + '\\"""\n' * 40_000, "'" * 100_000, '"""' * 40_000, '"\\' * 60_000, "a = 1\n" * 40_000],
)
def test_a_file_made_to_be_slow_is_refused_all_the_same(text):
    assert refused(lambda: parse(text, "f")).line >= 1


def test_a_table_of_thousands_of_keys_is_read():
    assert len(parse("".join(f"k{n} = {n}\n" for n in range(15_000)), "f").values) == 15_000
