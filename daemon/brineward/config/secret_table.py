"""Where to find a secret, and what the tables of channels share."""

from dataclasses import dataclass
from typing import Annotated

from pydantic import AfterValidator, Field

from brineward.config.fields import Duration, FilePath, VariableName
from brineward.config.link_checks import one_place
from brineward.config.sections import key

A_PATH = "a path, in quotes"
A_VARIABLE = "the name of an environment variable, never the secret"
IN_A_PLACE = '{ env = "NAME" } or { file = "PATH" }'

GiveUpAfter = Annotated[
    Duration, key('how long a text is tried, such as "30 min"', "give_up_after")
]
"""How long a text is tried before it is a dead letter."""

AnswerTimeout = Annotated[Duration, key('a time such as "20 s"', "answer_timeout")]
"""How long one attempt may take."""

Port = Annotated[int, Field(ge=1, le=65_535)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Secret:
    """Where a secret is found; the secret itself is read when used and never kept in settings."""

    environment: Annotated[VariableName | None, key(A_VARIABLE, "env")] = None
    file: Annotated[
        FilePath | None, AfterValidator(one_place), key(A_PATH, validate_default=True)
    ] = None
