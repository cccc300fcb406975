"""The owner's sheet as data: sections of sentences, findings, pictures and tables."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from pydantic import Field

from batterymodel.rules.results import Outcome, Result


class SheetFinding(Result):
    """One finding: sign and word of its severity, its name, what it says, half a sentence more."""

    sign: str
    severity: str
    name: str
    text: str
    more: str


class Table(Result):
    """Rows of cells under a header."""

    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


class Picture(Result):
    """A chart as its specification, and the words that stand in for it."""

    title: str
    words: str
    spec: dict[str, Any] = Field(repr=False)


class Section(Result):
    """One titled part of the sheet; what it does not have is empty."""

    key: str
    title: str
    sentences: tuple[str, ...] = ()
    findings: tuple[SheetFinding, ...] = ()
    pictures: tuple[Picture, ...] = ()
    table: Table | None = None
    choices: tuple[str, ...] = ()
    signatures: tuple[tuple[str, str], ...] = ()


class SheetContent(Result):
    """The whole sheet in reading order."""

    title: str
    footer: str
    remarks: tuple[str, ...]
    head: tuple[tuple[str, str], ...]
    outcome: Outcome
    sign: str
    word: str
    reason: str
    meaning: str
    sections: tuple[Section, ...]

    def section(self, key: str) -> Section:
        """The section of a key.

        Parameters
        ----------
        key : str
            One of `sheet.wording.SECTIONS`.

        Returns
        -------
        Section

        Raises
        ------
        StopIteration
            A key that no section of this sheet has.
        """
        return next(section for section in self.sections if section.key == key)

    def prose(self) -> tuple[str, ...]:
        """Every sentence, tables, names and charts left out."""
        found = [*self.remarks, self.reason, self.meaning]
        for section in self.sections:
            found += section.sentences
            found += [f"{f.text} {f.more}".strip() for f in section.findings]
            found += [picture.words for picture in section.pictures]
            found += section.choices
        return tuple(found)

    def texts(self) -> Iterator[str]:
        """Every text on the sheet but those inside the charts."""
        yield from (self.title, self.footer, self.sign, self.word, *self.prose())
        yield from (text for pair in self.head for text in pair)
        for section in self.sections:
            yield section.title
            yield from (text for f in section.findings for text in (f.sign, f.severity, f.name))
            yield from (picture.title for picture in section.pictures)
            if section.table is not None:
                yield from section.table.header
                yield from (cell for row in section.table.rows for cell in row)
            yield from (text for pair in section.signatures for text in pair)
