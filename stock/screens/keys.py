"""The keys in force: what each does here and now, nothing else."""

from __future__ import annotations

from typing import Any, ClassVar

from rich.cells import cell_len
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.screen import ModalScreen, Screen
from textual.widgets import Label, Static

from stock.screens.widgets.strip import PLACES

MOVING = frozenset(
    ("up", "down", "left", "right", "pageup", "pagedown", "home", "end", "tab", "shift+tab")
)
UNSAID = frozenset(("command_palette", "help_quit", "choose", "page_left", "page_right"))


class Keys(ModalScreen[None]):
    """Every key that does something on the screen below."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape,question_mark,enter", "dismiss", "Close")
    ]

    def __init__(self, screen: Screen[Any]) -> None:
        super().__init__()
        self.lines = keys_of(screen)

    def compose(self) -> ComposeResult:
        """One line a key."""
        with VerticalScroll(id="form"):
            yield Label("Keys in force here", id="form-title")
            wide = max((cell_len(key) for key, _ in self.lines), default=0)
            text = "\n".join(
                key + " " * (wide - cell_len(key) + 2) + does for key, does in self.lines
            )
            yield Static(text, markup=False, id="keys-text")
            yield Static("↑ ↓ scroll   Escape: close", id="form-keys")

    def on_mount(self) -> None:
        """Arrows scroll."""
        self.query_one("#form").focus()


def keys_of(screen: Screen[Any]) -> list[tuple[str, str]]:
    """(key, what it does) of what can be pressed on ``screen`` now."""
    found: list[tuple[str, str]] = []
    for key, active in screen.active_bindings.items():
        binding = active.binding
        if key in MOVING or not active.enabled or not binding.description:
            continue
        theirs = not type(active.node).__module__.startswith("stock.")
        if (
            theirs
            or binding.action.startswith(("go(", "app.", "screen."))
            or binding.action in UNSAID
        ):
            continue
        shown = screen.app.get_key_display(binding)
        does = binding.description
        if active.tooltip and active.tooltip != does:
            does = f"{does}: {active.tooltip[0].lower()}{active.tooltip[1:]}"
        if (shown, does) not in found:
            found.append((shown, does))
    numbers = ", ".join(f"{key} {name}" for key, _, name in PLACES)
    found.append((f"1 … {len(PLACES)}", f"(also F1 … F{len(PLACES)}, while typing) {numbers}"))
    found.append(("Ctrl+P", "every action by name: type a part of it"))
    found.append(("↑ ↓ PgUp PgDn", "move in a table, Enter opens; Tab goes to the next thing"))
    return found
