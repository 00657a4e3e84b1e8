"""Schema revisions this program knows, oldest first; a test holds them equal to Alembic's."""

from typing import Final

KNOWN: Final = ("0001",)
HEAD: Final = KNOWN[-1]
