"""What every part of a scenario has in common, and the ranges of its numbers."""

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field


class Part(BaseModel):
    """A table of a scenario: no key that it doesn't know, no number that is none or endless."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


Positive = Annotated[float, Field(gt=0)]
NotNegative = Annotated[float, Field(ge=0)]
Share = Annotated[float, Field(ge=0, le=1)]
Name = Annotated[str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]*$", max_length=64)]
"""Of a depot or a sensor: it stands in topics and in CSV lines."""
