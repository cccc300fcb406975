"""Number formats of a workbook's cells (ISO/IEC 29500-1, 18.8.31): the text they show beside a
number, which may be its unit."""

from __future__ import annotations

import re
from functools import lru_cache
from typing import NamedTuple

_PARTS = re.compile(r'"([^"]*)"|\\(.)|\[\$([^\]-]*)[^\]]*\]|\[([^\]]*)\]|[_*].|(.)', re.S)
_SECTIONS = re.compile(r'((?:"[^"]*"|\\.|\[[^\]]*\]|[^;"\\\[])+|(?=;))(?:;|$)', re.S)
_CONDITION = re.compile(r"(<=|>=|<>|<|>|=)\s*([+-]?[\d.]+)")
_GENERAL = re.compile(r"\bGeneral\b", re.I)
_PLACEHOLDERS = "0#?.,"
_HOLDS = {
    "<": lambda value, bound: value < bound,
    ">": lambda value, bound: value > bound,
    "=": lambda value, bound: value == bound,
    "<=": lambda value, bound: value <= bound,
    ">=": lambda value, bound: value >= bound,
    "<>": lambda value, bound: value != bound,
}


class _Shown(NamedTuple):
    """Text before the figures and behind them, the commas that end them, and percent signs."""

    before: str
    behind: str
    thousands: int
    percent: int


def with_shown_unit(text: str, value: float, pattern: str) -> str:
    """A number's text with the unit, the percent sign or the other words that its format shows.

    Parameters
    ----------
    text : str
        The number as it is stored.
    value : float
        The number.
    pattern : str
        The cell's number format.

    Returns
    -------
    str
        Unchanged where the format shows figures alone; in percent where it says so, and cut by a
        thousand for each comma behind the figures where a unit is shown.

    >>> with_shown_unit("91.6", 91.6, '0.0" mA"'), with_shown_unit("0.25", 0.25, "0%")
    ('91.6 mA', '25 %')
    """
    found = _shown(_section(value, pattern or ""))
    if not re.search(r"[^\W\d_]|[%°℃℉]", found.before + found.behind):
        return text
    if found.percent or found.thousands:
        text = f"{value * 100.0**found.percent / 1000.0**found.thousands:.12g}"
    return " ".join(f"{found.before} {text} {found.behind}".split())


def _section(value: float, pattern: str) -> str:
    """The part of a format that holds for a number: by condition, else by its sign."""
    sections = _SECTIONS.findall(pattern) or [pattern]
    conditions = [_CONDITION.search("".join(re.findall(r"\[[^\]]*\]", s))) for s in sections]
    for section, told in zip(sections, conditions, strict=True):
        if told and _HOLDS[told.group(1)](value, float(told.group(2))):
            return section
    if any(conditions):
        left = [s for s, told in zip(sections, conditions, strict=True) if told is None]
        return (left or sections)[0]
    place = 1 if value < 0.0 else 2 if value == 0.0 else 0
    return sections[place] if place < len(sections[:3]) else sections[0]


@lru_cache(maxsize=256)
def _shown(section: str) -> _Shown:
    texts, figures, commas, percent = ["", ""], False, 0, 0
    for quoted, escaped, currency, _, plain in _PARTS.findall(_GENERAL.sub("0", section)):
        if plain and plain in _PLACEHOLDERS:
            figures, commas = True, commas + 1 if plain == "," else 0
        elif text := quoted or escaped or currency or plain:
            texts[figures] += text
            percent += plain == "%"
    before, behind = (text.strip() for text in texts)
    return _Shown(before, re.sub(r"^e[+-]", "", behind, flags=re.I), commas, percent)
