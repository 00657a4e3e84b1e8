"""Loads what commands load when they run, so that children forked from here start at once."""

import tests.faults.ahead  # noqa: F401 - all of them are loaded for those who fork
