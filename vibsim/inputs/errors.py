"""Errors a user can cause; each carries lines fit to be printed as they are."""

from __future__ import annotations

import difflib
from dataclasses import dataclass


def nearest(word: str, known: list[str]) -> str:
    """`did you mean X?` for a word near a known one, otherwise all that is allowed."""
    near = difflib.get_close_matches(word, known, n=1)
    return f"did you mean {near[0]}?" if near else "allowed: " + ", ".join(known)


class VibsimError(Exception):
    """A failure with a one-line explanation; the command line prints it without a traceback."""


class RunFailure(VibsimError):
    """A run that could not be carried through: which quantity, when, and the likely key."""


class InputError(VibsimError):
    """Wrong input. `problems` holds one line per mistake found."""

    def __init__(self, problems: list[str] | str):
        self.problems = [problems] if isinstance(problems, str) else list(problems)
        super().__init__("\n".join(self.problems))


@dataclass(frozen=True)
class Problem:
    """One mistake in a case file: where, what was found, what is allowed."""

    path: str
    got: object
    allowed: str

    def line(self) -> str:
        if self.got is None:
            return f"{self.path}: {self.allowed}"
        shown = repr(self.got)
        if len(shown) > 90:
            shown = shown[:87] + "..."
        return f"{self.path}: got {shown}; {self.allowed}"
