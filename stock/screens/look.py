"""Colours: paper and ink by day, slate by night. Nothing is told by colour alone."""

from __future__ import annotations

from textual.theme import Theme

DARK = Theme(
    name="slate",
    primary="#8fb8a8",
    secondary="#c9a66b",
    accent="#d98e73",
    foreground="#e6e3da",
    background="#1b1f22",
    surface="#23282c",
    panel="#2d3439",
    warning="#d9b45b",
    error="#d9776a",
    success="#8fb87a",
    dark=True,
    variables={
        "scrollbar": "#86a397",
        "scrollbar-hover": "#8fb8a8",
        "scrollbar-active": "#8fb8a8",
        "scrollbar-background": "#23282c",
        "scrollbar-background-hover": "#23282c",
        "scrollbar-background-active": "#23282c",
    },
)
LIGHT = Theme(
    name="paper",
    primary="#2f6350",
    secondary="#8a6420",
    accent="#984227",
    foreground="#22211d",
    background="#faf7ef",
    surface="#f1ecdf",
    panel="#e6dfcd",
    warning="#8a5a00",
    error="#a3281c",
    success="#2f6b2a",
    dark=False,
    variables={
        "scrollbar": "#4f7a69",
        "scrollbar-hover": "#2f6350",
        "scrollbar-active": "#2f6350",
        "scrollbar-background": "#f1ecdf",
        "scrollbar-background-hover": "#f1ecdf",
        "scrollbar-background-active": "#f1ecdf",
    },
)
