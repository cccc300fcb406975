"""Results kept beside the record: what was computed of an entry, and what it was computed from.

They are no entries and no truth of their own: a result is taken only where its digest is that of
everything it would be computed from now, the version of the estimate included. So nothing has to
be thrown away when the record changes, and nothing old can be taken for new. One result of a kind
is kept for an entry, the last; no export takes them along.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from sqlalchemy import delete, insert, select

from batterymodel.basis.estimate_version import estimate_version
from batterymodel.errors import StoreError
from batterymodel.store.store import Store
from batterymodel.store.tables import KeptResultRow

AT_ONCE = 500
"""Entries asked for in one statement; a database takes only so many (own choice)."""


@dataclass(frozen=True)
class KeptResult:
    """A result as JSON text, and the digest of what it was computed from."""

    digest: str
    value: str


def digest_of(*inputs: str, version: str | None = None) -> str:
    """The digest of everything a result is computed from.

    Parameters
    ----------
    *inputs : str
        Texts; their order and where one ends count.
    version : str, optional
        Of the estimate, the one that runs here if not given.

    Returns
    -------
    str
        SHA-256, 64 hexadecimal digits.
    """
    said = hashlib.sha256()
    for text in (estimate_version() if version is None else version, *inputs):
        content = text.encode()
        said.update(f"{len(content)} ".encode())
        said.update(content)
    return said.hexdigest()


def kept_results(store: Store, kind: str, entry_ids: Iterable[str]) -> dict[str, KeptResult]:
    """The results of a kind that are kept for entries, whatever they were computed from.

    Parameters
    ----------
    store : Store
    kind : str
    entry_ids : iterable of str

    Returns
    -------
    dict of str to KeptResult
        By entry; those of which none is kept left out.

    Raises
    ------
    StoreError
        The record cannot be read.
    """
    row, ids = KeptResultRow, list(entry_ids)
    found: dict[str, KeptResult] = {}
    with store.reading() as session:
        for start in range(0, len(ids), AT_ONCE):
            same = (row.kind == kind) & row.entry_id.in_(ids[start : start + AT_ONCE])
            for entry, digest, value in session.execute(
                select(row.entry_id, row.digest, row.value).where(same)
            ):
                found[entry] = KeptResult(digest, value)
    return found


def keep_results(store: Store, kind: str, results: Mapping[str, KeptResult]) -> bool:
    """Keep results, each in place of the one that was kept of its kind and entry.

    Parameters
    ----------
    store : Store
    kind : str
        At most 40 characters.
    results : mapping of str to KeptResult
        By entry.

    Returns
    -------
    bool
        False where they cannot be kept, as in a record that is only read: the results are good
        without it, and will be computed again.
    """
    now = store.now()
    rows = [
        {"kind": kind, "entry_id": k, "digest": r.digest, "recorded_at": now, "value": r.value}
        for k, r in results.items()
    ]
    try:
        with store.writing() as session:
            for row in rows:
                same = (KeptResultRow.kind == kind) & (KeptResultRow.entry_id == row["entry_id"])
                session.execute(delete(KeptResultRow).where(same))
            if rows:
                session.execute(insert(KeptResultRow), rows)
    except StoreError:
        return False
    return True
