"""What pneumo says when the input is not right: findings, and the exceptions that carry them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from pneumo.harmless import harmless


@dataclass(frozen=True)
class Finding:
    """One thing found in a document.

    `level` "error" stops the work (exit code 2); "warning" is reported and the work goes on.
    Empty strings mean "does not apply".
    """

    level: Literal["error", "warning"]
    file: str
    line: int
    """1-based; 0 when the place is not known."""
    component: str
    field: str
    found: str
    """What was found, as a sentence."""
    wanted: str
    """What would be right, as a sentence, with a near name for a misspelling."""

    def __str__(self) -> str:
        place = self.file if not self.line else f"{self.file}:{self.line}"
        owner = ".".join(part for part in (self.component, self.field) if part)
        owner = f"{owner}: " if owner else ""
        wanted = f" {self.wanted}" if self.wanted else ""
        return harmless(f"{place}: {self.level}: {owner}{self.found}{wanted}")


class InputError(Exception):
    """Bad input of any kind; its text is a message for the user, fit to be shown wherever it may
    hold what somebody else wrote, such as the name of a file. Exit code 2."""

    def __init__(self, text: str) -> None:
        super().__init__(harmless(text, keep="\n"))


class UnfinishedError(InputError):
    """What was asked for could not be finished though the input may be right: its text is a message
    for the user like that of bad input, and is shown wherever that is shown. Exit code 3."""


class DocumentError(InputError):
    """A circuit document that cannot be used; carries every finding."""

    def __init__(self, findings: list[Finding]) -> None:
        self.findings = findings
        super().__init__("\n".join(str(finding) for finding in findings))
