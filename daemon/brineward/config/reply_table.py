"""`[replies]`: where the text gateway hands over what people text back."""

from typing import Literal

from pydantic import Field, field_validator

from brineward.config.channel_table import SecretTable
from brineward.config.fields import Line
from brineward.config.mistakes import shown
from brineward.config.sections import Section, refused
from brineward.config.settings import ReplySettings


class ReplyTable(Section):
    """`[replies]`: a small HTTP server that takes the gateway's calls.

    Calls that are neither signed nor have an `id` are told apart by their words alone: a take that
    comes again word for word within five minutes is a copy; after ten it is a new one.
    """

    host: Line = Field(default="127.0.0.1", description='an address such as "127.0.0.1"')
    port: int = Field(default=8091, ge=1, le=65_535, description="a port, such as 8091")
    path: Line = Field(default="/replies", description='a path such as "/replies"')
    kind: Literal["signed", "bearer"] = Field(default="signed", description="signed or bearer")
    secret: SecretTable = Field(description='{ env = "NAME" } or { file = "PATH" }')
    sender: Line = Field(default="from", description="the name of the sender's field")
    text: Line = Field(default="text", description="the name of the text's field")
    id: Line | None = Field(default=None, description="the name of the message id's field")

    @field_validator("path")
    @classmethod
    def _from_the_root(cls, path: str) -> str:
        if not path.startswith("/") or not path.isascii() or any(c in path for c in " ?#"):
            raise refused(f"{shown(path)} is not a path of a web address")
        return path

    def settled(self) -> ReplySettings:
        """The settings of it."""
        return ReplySettings(
            listen_host=self.host,
            listen_port=self.port,
            path=self.path,
            secret=self.secret.settled(),
            kind=self.kind,
            sender_key=self.sender,
            text_key=self.text,
            id_key=self.id,
        )
