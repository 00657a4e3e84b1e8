"""A group of commands that builds only the one that is called.

Reading the parameters of forty functions costs more than most commands do; a person calls one.
"""

from __future__ import annotations

import inspect
from typing import Any

import typer
import typer.main
from typer.core import TyperCommand, TyperGroup

registry = typer.Typer()
"""Where the groups of commands register; nothing of it is built until it is called."""


class LazyGroup(TyperGroup):
    """Commands of :data:`registry`, built one at a time; help shows their first sentence only."""

    _listing = False

    def list_commands(self, ctx: Any) -> list[str]:
        """Names in the order registered."""
        return list(_known())

    def get_command(self, ctx: Any, cmd_name: str) -> Any:
        """The command of that name, with its parameters, or a stub of it for a list."""
        found = _known().get(cmd_name)
        if found is None:
            return None
        if self._listing:
            return TyperCommand(cmd_name, help=_help(found))
        return _built(cmd_name, found)

    def format_help(self, ctx: Any, formatter: Any) -> None:
        """The help page; the list of commands needs no parameters."""
        self._listing = True
        try:
            super().format_help(ctx, formatter)
        finally:
            self._listing = False


def _known() -> dict[str, Any]:
    commands = {
        info.name or (info.callback.__name__ if info.callback else "").replace("_", "-"): info
        for info in registry.registered_commands
        if not info.hidden
    }
    return commands | {info.name or "": info for info in registry.registered_groups}


def _help(info: Any) -> str:
    if hasattr(info, "typer_instance"):
        asked = info.typer_instance.info.help or info.help
        return str(asked) if isinstance(asked, str) else inspect.getdoc(_callback(info)) or ""
    return inspect.getdoc(info.callback) or ""


def _callback(info: Any) -> Any:
    registered = info.typer_instance.registered_callback
    return registered.callback if registered else info.typer_instance


def _built(name: str, info: Any) -> Any:
    if hasattr(info, "typer_instance"):
        group = typer.main.get_group(info.typer_instance)
        group.name = name
        return group
    single = typer.Typer(
        add_completion=False, rich_markup_mode=None, pretty_exceptions_enable=False
    )
    single.registered_commands.append(info)
    command = typer.main.get_command(single)
    command.name = name
    return command
