"""``stock settings``: what holds at this station, and where each value came from."""

from __future__ import annotations

from typing import Annotated

import typer

from stock.commands.shared import JsonOption, say, show_json, show_table


def register(app: typer.Typer) -> None:
    """Add this group's commands."""
    app.command()(settings)


def settings(
    template: Annotated[
        bool, typer.Option("--template", help="Print a settings file to begin from.")
    ] = False,
    changed: Annotated[
        bool, typer.Option("--changed", help="Only what is not the program's default.")
    ] = False,
    as_json: JsonOption = False,
) -> None:
    """Show the settings in force and where each came from: default, file or environment.

    Example:

    \b
        stock settings --changed
        stock settings --template > settings.toml
    """
    from stock.shop.settings import load_settings, settings_template

    if template:
        typer.echo(settings_template(), nl=False)
        return
    known = load_settings()
    if as_json:
        document = known.to_json()
        if changed:
            kept = [one for one in document["settings"] if one["from"] != "default"]
            document["settings"] = kept
        show_json(document)
        return
    show_table(
        ("setting", "value", "from"),
        [
            (one.name, _shown(one.shown), one.origin)
            for one in known.effective.values()
            if not changed or one.origin != "default"
        ],
    )
    where = "is" if known.path.exists() else "would be"
    say(f"The settings file {where} {known.path}.")


def _shown(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, tuple):
        return ", ".join(str(part) for part in value) or "–"
    if value == "\t":
        return "tab"
    return str(value) if value != "" else "–"
