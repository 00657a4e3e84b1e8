"""The end of the program, while something may still be read in a thread nobody waits for."""

from __future__ import annotations

import os
import sys
import threading
from typing import NoReturn


def leave(code: str | int | None) -> NoReturn:
    """End with this exit code, as :func:`sys.exit` does.

    A daemon thread that is inside a compiled library, or about to write, while the interpreter is
    taken down can bring the process down by a signal; so while there is one nothing is taken down.
    The screens read in such threads; what is booked is through by then, their own end waits for it.
    """
    others = [one for one in threading.enumerate() if one is not threading.main_thread()]
    known = code is None or isinstance(code, int)
    if known and others and all(one.daemon for one in others):
        for stream in (sys.stdout, sys.stderr):
            if stream is not None:
                stream.flush()
        os._exit(int(code or 0))
    sys.exit(code)
