"""Signs that not every terminal or file can take, and what stands for them there: ``+-`` for ±, ``deg`` for °.

A redirect goes out in whatever the system is set to: Windows has its code pages, a bare server plain ASCII.
"""

from __future__ import annotations

import codecs
import unicodedata

#: The error handler for streams, by the name under which it is registered.
IN_PLAIN_SIGNS = "handlead-plain-signs"

_SIGNS = {
    "✓": "ok", "✗": "x", "✕": "x", "○": "o", "→": "->", "·": "*", "−": "-", "–": "-", "—": "-", "…": "...",
    "×": "x", "±": "+-", "∓": "-+", "≈": "~", "≤": "<=", "≥": ">=", "√": "sqrt ", "²": "^2", "³": "^3", "⁄": "/",
    "°": " deg", "′": " min", "″": " sec", "µ": "u", "μ": "u", "Ø": "dia. ", "⌀": "dia. ",
    "α": "alpha", "β": "beta", "γ": "gamma", "δ": "delta", "Δ": "delta ", "ε": "epsilon", "η": "eta", "θ": "theta",
    "κ": "kappa", "Σ": "sum ",
    "λ": "lambda", "ν": "nu", "ξ": "xi", "π": "pi", "ρ": "rho", "σ": "sigma", "τ": "tau", "φ": "phi",
    "ψ": "psi", "ω": "omega",
    "‘": "'", "’": "'", "“": '"', "”": '"', "─": "-", "│": "|", "├": "+", "└": "+",
}  # fmt: skip


def plain(text: str, encoding: str) -> str:
    """The text with plain signs for those that the encoding lacks.

    >>> plain("✗ 22° 42′ ± 3 µm", "ascii")
    'x 22 deg 42 min +- 3 um'
    """
    try:
        text.encode(encoding)
    except UnicodeEncodeError:
        return text.encode(encoding, IN_PLAIN_SIGNS).decode(encoding)
    return text


def _plainly(fault: UnicodeError) -> tuple[str, int]:
    """What to write for the characters that an encoding lacks."""
    if not isinstance(fault, UnicodeEncodeError):
        raise fault
    return "".join(map(_sign, fault.object[fault.start : fault.end])), fault.end


def _sign(character: str) -> str:
    if character in _SIGNS:
        return _SIGNS[character]
    letters = unicodedata.normalize("NFKD", character).encode("ascii", "ignore").decode()
    return letters or character.encode("unicode_escape").decode()


codecs.register_error(IN_PLAIN_SIGNS, _plainly)
