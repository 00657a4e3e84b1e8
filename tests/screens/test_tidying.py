"""Garbage is collected when nobody is typing, and only then."""

from __future__ import annotations

import gc
import time

import pytest
from textual.app import App

from stock.screens.tidying import ENOUGH, QUIET_SECONDS, tidy_when_idle


@pytest.fixture
def collections(monkeypatch):
    """How often everything was looked through; Python's own rule is put back afterwards."""
    thresholds, asked = gc.get_threshold(), []
    monkeypatch.setattr(gc, "collect", lambda: asked.append(1))
    monkeypatch.setattr(gc, "get_count", lambda: (0, ENOUGH, 0))
    yield asked
    gc.set_threshold(*thresholds)


@pytest.mark.parametrize(("idle", "times"), [(QUIET_SECONDS / 2, 0), (2 * QUIET_SECONDS, 1)])
async def test_it_waits_for_a_pause(collections, monkeypatch, idle, times):
    app: App[None] = App()
    timers = []
    async with app.run_test():
        monkeypatch.setattr(app, "set_interval", lambda _, act: timers.append(act))
        tidy_when_idle(app, lambda: time.monotonic() - idle)
        timers[0]()
    assert len(collections) == times
    assert gc.get_threshold()[1] > 1000


async def test_a_key_counts_as_somebody_typing(opened):
    async with opened() as pilot:
        before = pilot.app.last_input
        await pilot.press("down")
        assert pilot.app.last_input > before
