"""The keys in force: what each does here and now, nothing else."""

from __future__ import annotations

from typing import Any, ClassVar

from rich.cells import cell_len
from textual.actions import parse
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.dom import DOMNode
from textual.screen import ModalScreen, Screen
from textual.widgets import Input, Label, Static

from stock.screens.widgets.strip import PLACES

MOVING = frozenset(
    ("up", "down", "left", "right", "pageup", "pagedown", "home", "end", "tab", "shift+tab")
)
EDITING = frozenset(
    bound.action if isinstance(bound, Binding) else bound[1] for bound in Input.BINDINGS
)
"""What keys do in every field: nobody needs to be told."""
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


def actions_of(node: DOMNode) -> list[Binding]:
    """What a screen or the app can do now, each once, whatever has the keys at the moment."""
    found: dict[tuple[str, str], Binding] = {}
    for bindings in node._bindings.key_to_bindings.values():
        for binding in bindings:
            if not binding.description or binding.action in UNSAID:
                continue
            if binding.action.startswith(("go(", "app.", "screen.")):
                continue
            _, name, parameters = parse(binding.action)
            if node.check_action(name, parameters) is not False:
                found.setdefault((binding.description, binding.action), binding)
    return list(found.values())


def keys_of(screen: Screen[Any]) -> list[tuple[str, str]]:
    """(key, what it does) of what can be pressed on ``screen`` now."""
    keys: dict[tuple[str, str], tuple[str, str]] = {}
    typing = isinstance(screen.focused, Input)
    for key, active in screen.active_bindings.items():
        binding = active.binding
        if key in MOVING or not active.enabled or not binding.description:
            continue
        theirs = not type(active.node).__module__.startswith("stock.")
        editing = isinstance(active.node, Input) and binding.action in EDITING
        if (
            theirs
            or editing
            or binding.action.startswith(("go(", "app.", "screen."))
            or binding.action in UNSAID
        ):
            continue
        does = binding.description
        if active.tooltip and active.tooltip != does:
            does = f"{does}: {active.tooltip[0].lower()}{active.tooltip[1:]}"
        shown = screen.app.get_key_display(binding)
        same = keys.setdefault((binding.action, does), (shown, does))
        if len(shown) < len(same[0]):  # the handier of two keys for one thing
            keys[binding.action, does] = (shown, does)
    found = list(keys.values())
    for binding in actions_of(screen):
        under = screen.active_bindings.get(binding.key)
        if under is not None and under.binding.action == "choose":  # the table hands Enter on
            found.append((screen.app.get_key_display(binding), binding.description))
    names = ", ".join(f"{key} {name}" for key, _, name in PLACES)
    if typing:
        names = ", ".join(f"F{key} {name}" for key, _, name in PLACES)
        found.append((f"F1 … F{len(PLACES)}", names))
    else:
        found.append((f"1 … {len(PLACES)}", f"(also F1 … F{len(PLACES)}, while typing) {names}"))
    found.append(("Ctrl+P", "every action by name: type a part of it"))
    if typing:
        found.append(("Tab", "to the next thing"))
    else:
        found.append(("↑ ↓ PgUp PgDn", "move in a table, Enter opens; Tab goes to the next thing"))
    return found
