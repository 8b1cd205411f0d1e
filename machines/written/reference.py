"""The file reference, made from the same tables of keys that read the files.

``python -m handlead.machines.reference > machines/FILES.md`` writes it anew.
"""

from __future__ import annotations

from collections.abc import Iterator

from handlead.machines.documents.sample import SAMPLE
from handlead.machines.job_keys.job_keys import JOB
from handlead.machines.job_keys.observation_keys import OBSERVATIONS
from handlead.machines.job_keys.record_keys import COLUMNS, EXAMPLE, HEAD, MEANINGS
from handlead.machines.job_keys.work_keys import HOBS
from handlead.machines.keys.machine_keys import MACHINE
from handlead.machines.tables.tables import NameOr, OneOf, Rows, Swivel, Table, TableOf
from handlead.machines.tables.values import Value

_TOP = """# The files

This page is made from the tables of keys that read the files: what isn't here isn't read.

All files but the last are TOML. Whole numbers and decimals are exact, and so are fractions in a string: `"5/8"`,
`"1 1/4"`. A file's `units` holds for every bare length in it; a string can carry its own: `"0.25 in"`, `"6 mm"`. Angles
are decimal degrees or `"22d 42m 30s"`. In a machine file, `"?"` may stand for a number or a sense that nobody knows;
`handlead fit` finds it. The frame that signs and words refer to is shown in the README.
"""

_FILES = (
    ("Machine file", MACHINE),
    ("Job file", JOB),
    ("Observations file", OBSERVATIONS),
    ("Sample file", SAMPLE),
    ("Rack of hobs", HOBS),
)


def file_reference() -> str:
    """The whole reference as Markdown text."""
    lines = [_TOP]
    for heading, table in _FILES:
        lines += [f"## {heading}", "", table.meaning, ""]
        seen: set[str] = set()
        lines += _of_table(table, seen)
    lines += _record()
    return "\n".join(lines).rstrip() + "\n"


def _record() -> Iterator[str]:
    """The one file that isn't TOML."""
    yield "## Record of a gear"
    yield ""
    yield (
        "What was measured on a finished gear, for `handlead inspect`: CSV, not TOML. Lines with # say what it is, "
        "then come the columns' names, then a line a reading. Semicolons or tabs between the values, with decimal "
        "commas, do as well, and a line with # that names no key is a note. Count teeth and flanks with the gear as it "
        "lay when it was cut; where it was measured upside down, the way of counting turns over and so do right and "
        "left."
    )
    yield ""
    yield "| line | takes | meaning | without it |"
    yield "|---|---|---|---|"
    for line in HEAD:
        yield f"| `{line.key}` | {line.takes or ', '.join(line.words)} | {line.meaning} | {line.without} |"
    yield ""
    yield "| quantity | columns |"
    yield "|---|---|"
    for kind, columns in COLUMNS.items():
        yield f"| {kind} | `{', '.join(columns)}` |"
    yield ""
    yield "| column | meaning |"
    yield "|---|---|"
    for column, meaning in MEANINGS.items():
        yield f"| `{column}` | {meaning} |"
    yield ""
    yield "```"
    yield from EXAMPLE.splitlines()
    yield "```"


def _of_table(table: Table, seen: set[str]) -> Iterator[str]:
    if table.keys:
        yield "| key | takes | meaning | without it |"
        yield "|---|---|---|---|"
        for key in table.keys:
            without = "**required**" if key.required else key.default
            yield f"| `{key.name}` | {_cell(key.value.says)} | {_cell(key.meaning)} | {_cell(without)} |"
        yield ""
    for choice in table.one_of:
        yield _choice(choice)
        yield ""
    for key in table.keys:
        for heading, inner in _tables(key.value):
            if heading not in seen:
                seen.add(heading)
                yield f"### {heading}"
                yield ""
                yield inner.meaning
                yield ""
                yield from _of_table(inner, seen)


def _choice(choice: OneOf) -> str:
    names = ", ".join(f"`{name}`" for name in choice.keys)
    unless = f"; none is needed with `{choice.unless[0]}`" if choice.unless else ""
    return f"{'Exactly' if choice.required else 'At most'} one of {names}{unless}."


def _tables(value: Value) -> Iterator[tuple[str, Table]]:
    """The tables with fixed keys inside a value, each with its heading."""
    if isinstance(value, Table):
        yield f"`{value.name}`", value
    elif isinstance(value, TableOf):
        yield from _tables(value.of)
    elif isinstance(value, Rows):
        for kind, table in value.tables.items():
            yield f"`{table.name}`" + (f", kind `{kind}`" if kind else ""), table
    elif isinstance(value, Swivel | NameOr):
        yield f"`{value.of.name}`", value.of


def _cell(text: str) -> str:
    return text.replace("|", "\\|")


if __name__ == "__main__":
    print(file_reference(), end="")
