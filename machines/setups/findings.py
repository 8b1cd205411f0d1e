"""What a proof has to say about a set-up, each with what to do about it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from fractions import Fraction

from handlead.kinematics.frame.frozen import freeze

#: Severities, worst first. An error means: not as wanted.
SEVERITIES = ("error", "warning", "note")

#: A number of a finding's sentence, or a list of them; None where the thing isn't there at all.
Fact = str | int | float | bool | Fraction | tuple[str, ...] | tuple[int, ...] | None


@dataclass(frozen=True)
class Finding:
    """One thing found: `code` for programs, `message` and `remedy` for people.

    `facts` are the numbers of the message, by names that wear their units (`depth_mm`, `swivel_deg`); what is
    exact stays a `Fraction`.
    """

    code: str
    severity: str
    message: str
    remedy: str = ""
    facts: Mapping[str, Fact] = field(default_factory=dict)

    def __post_init__(self) -> None:
        freeze(self, "facts")

    def as_json(self) -> dict[str, object]:
        """The finding as plain values for a JSON object, exact numbers as strings."""
        return {
            "code": self.code,
            "severity": self.severity,
            "message": self.message,
            "remedy": self.remedy,
            "facts": {name: _plain(value) for name, value in self.facts.items()},
        }


def _plain(value: Fact) -> object:
    if isinstance(value, Fraction):
        return str(value)
    return list(value) if isinstance(value, tuple) else value


def worst_first(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """The findings by severity, otherwise in the order given."""
    return tuple(sorted(findings, key=lambda finding: SEVERITIES.index(finding.severity)))
