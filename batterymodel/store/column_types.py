"""Types of the tables' columns: each value that is read is of its column's kind, or is refused.

SQLite keeps in any column what is put there, so a failing disk or other hands may leave a text
where a day belongs.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime
from typing import Any, ClassVar, TypeVar

from pydantic import TypeAdapter
from sqlalchemy import Boolean, Date, DateTime, LargeBinary, String, Text, TypeDecorator
from sqlalchemy.types import TypeEngine

from batterymodel.store.faults import SpoiltValueError

T = TypeVar("T")


class Sound(TypeDecorator[T]):
    """A column whose values are of one kind when they are read."""

    impl: TypeEngine[Any] | type[TypeEngine[Any]] = Text
    cache_ok = True
    kind: ClassVar[type] = object

    def result_processor(self, dialect: Any, coltype: Any) -> Callable[[Any], Any]:
        """What reads a value of the database.

        Parameters
        ----------
        dialect : Dialect
        coltype : object
            As the driver names the column's type.

        Returns
        -------
        callable
            Raises `SpoiltValueError` for a value that is not of the column's kind.
        """
        read = super().result_processor(dialect, coltype)
        kind = self.kind

        def sound(value: Any) -> Any:
            if value is None:
                return None
            try:
                found = value if read is None else read(value)
            except (TypeError, ValueError) as error:
                raise SpoiltValueError(str(error)) from error
            if not isinstance(found, kind):
                raise SpoiltValueError(f"{type(found).__name__} where {kind.__name__} belongs")
            return found

        return sound


class Words(Sound[str]):
    """Text of any length."""

    impl = Text
    cache_ok = True
    kind = str


class Name(Sound[str]):
    """Text of a greatest length, as ids and digests are."""

    impl = String
    cache_ok = True
    kind = str


class Day(Sound[date]):
    """A day."""

    impl = Date
    cache_ok = True
    kind = date


class Truth(Sound[bool]):
    """True or false; SQLite keeps 1 and 0 for them, and anything else would count as true."""

    impl = Boolean
    cache_ok = True
    kind = bool

    def result_processor(self, dialect: Any, coltype: Any) -> Callable[[Any], Any]:
        """What reads a value of the database.

        Parameters
        ----------
        dialect : Dialect
        coltype : object
            As the driver names the column's type.

        Returns
        -------
        callable
            Raises `SpoiltValueError` for a value that is neither true nor false.
        """
        read = super().result_processor(dialect, coltype)

        def sound(value: Any) -> Any:
            if value not in (None, True, False):
                raise SpoiltValueError("neither true nor false")
            return read(value)

        return sound


class Content(Sound[bytes]):
    """Bytes of a file."""

    impl = LargeBinary
    cache_ok = True
    kind = bytes


class Utc(Sound[datetime]):
    """A moment, always in UTC."""

    impl = DateTime(timezone=True)
    cache_ok = True
    kind = datetime

    def process_bind_param(self, value: datetime | None, dialect: Any) -> datetime | None:
        """A moment without offset would be a guess, and is refused.

        Parameters
        ----------
        value : datetime or None
            With any UTC offset.
        dialect : Dialect
            Not used; all databases keep it alike.

        Returns
        -------
        datetime or None
            The same moment in UTC.

        Raises
        ------
        ValueError
            A moment without UTC offset.
        """
        if value is not None and value.tzinfo is None:
            raise ValueError("a moment without UTC offset")
        return None if value is None else value.astimezone(UTC)

    def process_result_value(self, value: datetime | None, dialect: Any) -> datetime | None:
        """SQLite gives the moment without its offset.

        Parameters
        ----------
        value : datetime or None
            As the database gives it; without offset it is in UTC.
        dialect : Dialect
            Not used.

        Returns
        -------
        datetime or None
            In UTC, with its offset.
        """
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


class Clock(Sound[datetime]):
    """A clock time kept as it was told, with or without offset, as ISO 8601 text."""

    impl = String(40)
    cache_ok = True
    kind = datetime

    def process_bind_param(self, value: datetime | None, dialect: Any) -> str | None:
        """ISO 8601 text.

        Parameters
        ----------
        value : datetime or None
            With or without UTC offset; neither is added nor taken away.
        dialect : Dialect
            Not used; all databases keep it alike.

        Returns
        -------
        str or None
        """
        return None if value is None else value.isoformat()

    def process_result_value(self, value: str | None, dialect: Any) -> datetime | None:
        """The clock time.

        Parameters
        ----------
        value : str or None
            As `process_bind_param` wrote it.
        dialect : Dialect
            Not used.

        Returns
        -------
        datetime or None
            With the offset it was told with, or none.

        Raises
        ------
        ValueError
            Text of other hands that is no clock time.
        """
        return None if value is None else datetime.fromisoformat(value)


class Json(Sound[Any]):
    """A pydantic value as JSON text in one fixed spelling.

    Parameters
    ----------
    kind : type
        What the column holds: anything pydantic can check.
    """

    impl = Text
    cache_ok = True

    def __init__(self, kind: Any) -> None:
        """Hold values of the given kind."""
        super().__init__()
        self._adapter = TypeAdapter(kind)

    def text(self, value: Any) -> str:
        """The value as JSON text.

        Parameters
        ----------
        value : instance of `kind`

        Returns
        -------
        str
            Without fields that are None.
        """
        return self._adapter.dump_json(value, exclude_none=True).decode()

    def value(self, text: str) -> Any:
        """The value of a JSON text.

        Parameters
        ----------
        text : str

        Returns
        -------
        instance of `kind`

        Raises
        ------
        pydantic.ValidationError
            Text that is no JSON, or of another kind.
        """
        return self._adapter.validate_json(text)

    def process_bind_param(self, value: Any, dialect: Any) -> str | None:
        """JSON text.

        Parameters
        ----------
        value : instance of `kind`, or None
        dialect : Dialect
            Not used; all databases keep it alike.

        Returns
        -------
        str or None
        """
        return None if value is None else self.text(value)

    def process_result_value(self, value: str | None, dialect: Any) -> Any:
        """The pydantic value.

        Parameters
        ----------
        value : str or None
            As `process_bind_param` wrote it.
        dialect : Dialect
            Not used.

        Returns
        -------
        instance of `kind`, or None

        Raises
        ------
        pydantic.ValidationError
            Text of other hands that is no JSON, or of another kind.
        """
        return None if value is None else self.value(value)
