"""Exceptions of the package: one base class, one clear sentence each."""

from __future__ import annotations


class BatteryModelError(ValueError):
    """Base of every error the package raises on purpose.

    The message is one sentence that says what is wrong, where, and what would be right; pages
    and the command line show it as it stands.
    """


class InputError(BatteryModelError):
    """A file, value or record cannot be used as given."""


class FitError(BatteryModelError):
    """The readings do not determine a taper; the message says what to check."""


class StoreError(BatteryModelError):
    """The record store cannot be opened, read or written; the message says what would help."""
