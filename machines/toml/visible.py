"""Text from files and arguments, made fit to be shown: what would not be seen is written out."""

from __future__ import annotations


def visible(text: str, keep: str = "") -> str:
    r"""The text with every character that shows nothing written out, but for blanks and those to `keep`.

    A name may hold what moves a terminal's cursor, clears it, or turns the letters that follow round.

    >>> visible("a\x1b[2Jb\u202ec")
    'a\\x1b[2Jb\\u202ec'
    """
    if text.isprintable():
        return text
    return "".join(c if c.isprintable() or c in keep else _written_out(c) for c in text)


def _written_out(character: str) -> str:
    # Blanks of other widths than the usual one count as not printable.
    if character.isspace() and character > "\x20":
        return " "
    return character.encode("unicode_escape").decode()
