"""What a proof has to say about a set-up, each with what to do about it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

#: Severities, worst first. An error means: not as wanted.
SEVERITIES = ("error", "warning", "note")


@dataclass(frozen=True)
class Finding:
    """One thing found: `code` for programs, `message` and `remedy` for people."""

    code: str
    severity: str
    message: str
    remedy: str = ""

    def as_json(self) -> dict[str, str]:
        """The finding as plain values for a JSON object."""
        return {
            "code": self.code,
            "severity": self.severity,
            "message": self.message,
            "remedy": self.remedy,
        }


def worst_first(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """The findings by severity, otherwise in the order given."""
    return tuple(sorted(findings, key=lambda finding: SEVERITIES.index(finding.severity)))
