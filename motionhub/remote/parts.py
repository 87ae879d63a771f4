"""What all messages share: their base, and names and numbers that several of them carry."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

Share = Annotated[float, Field(ge=-1, le=1, allow_inf_nan=False)]
DocumentName = Annotated[str, Field(pattern=r"^[A-Za-z0-9]([A-Za-z0-9 _-]{0,62}[A-Za-z0-9_-])?$")]
"""As the library names its documents."""


class Message(BaseModel):
    """Unknown keys are refused, so that a misspelt one is noticed."""

    model_config = ConfigDict(extra="forbid", frozen=True)
