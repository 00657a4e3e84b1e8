"""PostgreSQL: who may do what. A script that gives each kind of login the least it needs.

The owner (whoever ran ``stock start``) makes and upgrades the schema. A *station* reads all, adds
to what happened, changes the catalogue and the balances, and can do nothing else: not alter a
table, not switch a trigger off, not change a movement. A *reader* only reads.
"""

from __future__ import annotations

import re

from stock.book.tables import APPEND_ONLY, metadata
from stock.errors import WrongUsage

DELETABLE = ("artwork_share", "balance")
"""Tables a station may delete rows from: a balance that fell to nothing, and catalogue details."""


def role_script(station: str = "stock_station", reader: str = "stock_reader") -> str:
    """The SQL to run as the book's owner, in the book's database.

    Running it again does no harm. Logins are then made with
    ``CREATE ROLE anna LOGIN PASSWORD '…' IN ROLE stock_station``.

    Raises:
        WrongUsage: A name that is not a plain lower-case word.

    >>> print(role_script().splitlines()[0])
    -- Roles of a stock book: run as its owner, in its database (psql -f this-file).
    """
    for name in (station, reader):
        if not re.fullmatch(r"[a-z][a-z0-9_]{0,62}", name):
            raise WrongUsage(
                f"{name!r} is not a role name; expected lower-case letters, digits, _."
            )
    every = sorted(table.name for table in metadata.sorted_tables)
    changeable = [name for name in every if name not in APPEND_ONLY]
    lines = [
        "-- Roles of a stock book: run as its owner, in its database (psql -f this-file).",
        "-- Then: CREATE ROLE anna LOGIN PASSWORD '...' IN ROLE " + station + ";",
        "BEGIN;",
    ]
    for name in (station, reader):
        lines.append(
            f"DO $$ BEGIN CREATE ROLE {name} NOLOGIN; "
            f"EXCEPTION WHEN duplicate_object THEN NULL; END $$;"
        )
    both = f"{station}, {reader}"
    lines += [
        "REVOKE CREATE ON SCHEMA public FROM PUBLIC;",
        f"GRANT USAGE ON SCHEMA public TO {both};",
        f"GRANT SELECT ON ALL TABLES IN SCHEMA public TO {both};",
        f"GRANT USAGE ON ALL SEQUENCES IN SCHEMA public TO {station};",
        f"REVOKE INSERT, UPDATE, DELETE, TRUNCATE ON ALL TABLES IN SCHEMA public FROM {both};",
        f"GRANT INSERT ON {', '.join(every)} TO {station};",
        f"GRANT UPDATE ON {', '.join(changeable)} TO {station};",
        f"GRANT DELETE ON {', '.join(DELETABLE)} TO {station};",
        "COMMIT;",
    ]
    return "\n".join(lines) + "\n"
