"""For all tests."""

from __future__ import annotations

import signal

if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    # Whoever starts the tests in the background of a shell hands them an ignored Ctrl-C, and they
    # would hand it on to every command they start.
    signal.signal(signal.SIGINT, signal.default_int_handler)
