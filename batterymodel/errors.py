"""Exceptions of the package: one base class, one clear sentence each."""

from __future__ import annotations

from collections.abc import Sequence


class BatteryModelError(ValueError):
    """Base of every error the package raises on purpose.

    The message is one sentence that says what is wrong, where, and what would be right; pages
    and the command line show it as it stands.
    """

    @property
    def faults(self) -> tuple[str, ...]:
        """What is wrong, one sentence each; one, except where a file was gone through whole."""
        return (str(self),)


class InputError(BatteryModelError):
    """A file, value or record cannot be used as given."""


class InputFaultsError(InputError):
    """Everything that is wrong with one file, in order of its rows; the text has a line for each.

    Parameters
    ----------
    sentences : sequence of str
        At least one, each complete.
    """

    def __init__(self, sentences: Sequence[str]) -> None:
        """The error that says all of them."""
        super().__init__("\n".join(sentences))
        self._sentences = tuple(sentences)

    @property
    def faults(self) -> tuple[str, ...]:
        """What is wrong, one sentence each."""
        return self._sentences


class FitError(BatteryModelError):
    """The readings do not determine a taper; the message says what to check."""


class StoreError(BatteryModelError):
    """The record store cannot be opened, read or written; the message says what would help."""
