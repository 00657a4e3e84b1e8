"""The one door to libvips: loaded late, silent, without a memory of past operations.

libvips logs what it finds odd in a damaged file, sometimes in bytes that are no text; whether a
file is sound is told by its errors, so the log is dropped. Its cache of operations would keep a
picture by name after the file has changed.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any, Final

_ALL_LEVELS: Final = 0xFF


@lru_cache(maxsize=1)
def libvips() -> Any:
    """The pyvips module, made ready."""
    import pyvips

    if pyvips.API_mode:
        pyvips.ffi.def_extern(name="_log_handler_callback")(_say_nothing)
        pyvips.glib_lib.g_log_set_handler(
            b"GLib-GObject", _ALL_LEVELS, pyvips._log_handler_cb, pyvips.ffi.NULL
        )
    pyvips.cache_set_max(0)
    return pyvips


def _say_nothing(domain: object, level: int, message: object, data: object) -> None:
    """In place of pyvips' own log, which fails on messages that are no UTF-8."""
