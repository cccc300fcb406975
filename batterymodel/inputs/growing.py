"""A log that a logger keeps appending to: what whole lines it holds, and whether it grew."""

from __future__ import annotations

from dataclasses import dataclass

from batterymodel.inputs.remarks import Remarks
from batterymodel.inputs.tables import file_bytes
from batterymodel.inputs.workbook import is_old_workbook, is_workbook


@dataclass(frozen=True)
class Growth:
    """The whole lines of a log after a change; ``anew`` where it was cut or replaced."""

    content: bytes
    anew: bool


class GrowingLog:
    """Looks at a file again and again; a last line that is not ended yet waits.

    Parameters
    ----------
    path : str
    remarks : Remarks
        Names the file in errors.
    """

    def __init__(self, path: str, remarks: Remarks) -> None:
        """Nothing is read yet."""
        self.path, self.remarks = path, remarks
        self._seen = b""

    def growth(self) -> Growth | None:
        """What changed since the last look.

        Returns
        -------
        Growth or None
            None where no whole line came.

        Raises
        ------
        InputError
            No such file, or a workbook.
        """
        content = file_bytes(self.path, self.remarks)
        if is_workbook(content) or is_old_workbook(content):
            raise self.remarks.error("is a workbook, which cannot be followed; CSV text can")
        lines = whole_lines(content)
        if lines == self._seen:
            return None
        anew = not content.startswith(self._seen)
        self._seen = lines
        return Growth(lines, anew)


def whole_lines(content: bytes) -> bytes:
    """The bytes up to the last end of a line.

    Parameters
    ----------
    content : bytes
        UTF-16 with byte order mark, or text whose line ends are single bytes.

    Returns
    -------
    bytes

    >>> whole_lines(b"0,20\\n5,19")
    b'0,20\\n'
    """
    if content[:2] in (b"\xff\xfe", b"\xfe\xff"):
        end = "\n".encode("utf-16-le" if content[:1] == b"\xff" else "utf-16-be")
        at = content.rfind(end)
        while at > 0 and at % 2:
            at = content.rfind(end, 0, at + 1)
        return content[: at + 2] if at >= 0 else b""
    end = b"\n" if b"\n" in content else b"\r"
    return content[: content.rfind(end) + 1]
