"""What every record has in common: it cannot be changed, and refuses what it does not know."""

from __future__ import annotations

from typing import Any, get_args

import numpy as np
from pydantic import BaseModel, ConfigDict, ValidationInfo, field_validator


class Record(BaseModel):
    """Base of all records: immutable, and an unknown key is an error, never ignored."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    @field_validator("*", mode="before")
    @classmethod
    def _truth_is_no_number(cls, value: Any, info: ValidationInfo) -> Any:
        parts = value if isinstance(value, list | tuple) else (value,)
        if any(isinstance(part, bool | np.bool_) for part in parts):
            annotation = cls.model_fields[info.field_name or ""].annotation
            if _holds_numbers(annotation):
                raise ValueError("true and false are no numbers; a plain number would be right")
        return value


def _holds_numbers(annotation: Any) -> bool:
    return annotation in (int, float) or any(map(_holds_numbers, get_args(annotation)))
