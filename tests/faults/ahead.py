"""A program three revisions ahead of this one, and an upgrade to it that dies where it is told."""

from __future__ import annotations

import os
import signal
from pathlib import Path
from typing import Any

from sqlalchemy import event
from sqlalchemy.engine import Engine
from sqlalchemy.engine.default import DefaultDialect

from stock.book import migrating, opening
from stock.book.opening import create_book
from stock.book.revision import KNOWN

AHEAD = {
    "9001": 'op.add_column("lot", sa.Column("hall_mark", sa.String(10)))\n'
    "    op.execute(\"UPDATE lot SET hall_mark = 'old'\")",
    "9002": 'op.create_table("shade_card", sa.Column("id", sa.Integer, primary_key=True),\n'
    '        sa.Column("item_id", sa.Integer, sa.ForeignKey("item.id"), nullable=False))\n'
    '    op.execute("INSERT INTO shade_card (item_id) SELECT id FROM item")',
    "9003": 'with op.batch_alter_table("item") as table:\n'
    '        table.alter_column("name", type_=sa.String(400), existing_type=sa.String(200))\n'
    '        table.create_check_constraint("name_short", "length(name) < 400")',
}
"""What each revision does: a column more, a table filled from rows, a table built anew."""

LAST = "9003"

REVISION = '''"""{name}."""
import sqlalchemy as sa
from alembic import op

revision = "{name}"
down_revision = "{before}"
branch_labels = None
depends_on = None


def upgrade():
    {does}
'''


def write_revision(folder: Path, name: str, before: str, does: str) -> None:
    """Put one revision into a folder of revisions, in place of one of that name."""
    file = folder / "versions" / f"2099_01_01_{name}_ahead.py"
    file.write_text(REVISION.format(name=name, before=before, does=does))


def be_ahead(folder: Path) -> None:
    """Let this process be the program ahead."""
    migrating.migrations_folder = lambda: folder
    opening.HEAD = LAST  # type: ignore[misc]
    opening.KNOWN = (*KNOWN, *AHEAD)  # type: ignore[misc]


def upgrade_or_die(where: str, folder: str, copies: str, die_at: int, points: str) -> None:
    """Child: be the program ahead, upgrade, die at the ``die_at``-th statement (0: live)."""
    point = 0

    def reached(*_: Any) -> None:
        nonlocal point
        point += 1
        if point == die_at:
            os.kill(os.getpid(), signal.SIGKILL)

    event.listen(Engine, "before_cursor_execute", reached)
    real = DefaultDialect.do_commit

    def commit(self: DefaultDialect, connection: Any) -> None:
        reached()
        real(self, connection)
        reached()

    DefaultDialect.do_commit = commit  # type: ignore[method-assign]
    be_ahead(Path(folder))
    create_book(where, copies=Path(copies)).close()
    Path(points).write_text(str(point))
    os._exit(0)
