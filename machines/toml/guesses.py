"""What somebody may have meant: the nearest known name to one that isn't known, and how a value is shown."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence

from .numbers import Decimal
from .places import quoted


def shown(raw: object) -> str:
    """A value of a file, fit for a message."""
    if isinstance(raw, str):
        return quoted(raw)
    if isinstance(raw, bool):
        return str(raw).lower()
    if isinstance(raw, Decimal):
        return raw.text if len(raw.text) <= 40 else f"{raw.text[:37]}..."
    if isinstance(raw, int):
        return str(raw) if abs(raw) < 10**40 else "a number of more than 40 digits"
    if isinstance(raw, list):
        return f"a list of {len(raw)}" if raw else "an empty list"
    if isinstance(raw, dict):
        return "a table"
    return "a date or time"


#: What people write for words of the files; a guess by spelling alone would go astray.
_OTHERWISE: dict[str, tuple[str, ...]] = {
    "anticlockwise": ("counter-clockwise",),
    "anti-clockwise": ("counter-clockwise",),
    "ccw": ("counter-clockwise",),
    "cw": ("clockwise",),
    "rh": ("right",),
    "lh": ("left",),
    "herringbone": ("helical",),
    "double helical": ("helical",),
    "straight": ("spur", "none"),
    "metric": ("mm",),
    "millimetres": ("mm",),
    "inch": ("in",),
    "inches": ("in",),
    "dp": ("diametral_pitch",),
    "width": ("face_width",),
    "flutes": ("gashes",),
    "threads": ("starts",),
    "class": ("quality",),
    "angle": ("helix_angle", "lead_angle"),
    "gears": ("teeth",),
    "direction": ("sense", "turn"),
    "speed": ("rpm",),
    "crossed_belt": ("crossed",),
}


def nearest(name: str, known: Iterable[str]) -> str | None:
    """The one of `known` that `name` was probably meant to be, or None."""
    known = list(known)
    if len(name) > 60:
        return None
    otherwise = _OTHERWISE.get(name.lower(), ())
    if (meant := next((word for word in otherwise if word in known), None)) is not None:
        return meant
    lower = {one.lower(): one for one in known}
    found = difflib.get_close_matches(name.lower(), lower, n=1, cutoff=0.6)
    if not found and len(name) > 2:
        # A name cut short, as "feed" for "feed gears".
        begun = [one for one in lower if one.startswith(name.lower())]
        found = begun if len(begun) == 1 else []
    return lower[found[0]] if found else None


def guess(name: str, known: Iterable[str]) -> str:
    """The second half of a complaint about an unknown `name`: the nearest of `known`, or all of them."""
    known = list(known)
    if (found := nearest(name, known)) is not None:
        return f"Did you mean {quoted(found)}?"
    if not known:
        return "There is none to choose from"
    some = ", ".join(quoted(one) for one in known[:12])
    return f"There {'is' if len(known) == 1 else 'are'} {some}{' and others' if len(known) > 12 else ''}"


def either(words: Sequence[str]) -> str:
    """Two or more words as what may be said: "a, b or c"."""
    return f"{', '.join(words[:-1])} or {words[-1]}"
