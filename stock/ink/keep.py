"""Measured shares kept on disk by content: the same file and mode are never measured twice.

One small JSON file per picture, garment, mode and page. A damaged or foreign file counts as
absent. The key leaves out what does not change shares: the size on cloth, quantities, laydown.
"""

from __future__ import annotations

import dataclasses
import hashlib
import json
import os
import tempfile
from pathlib import Path
from typing import Final

from stock.errors import Refused
from stock.ink.mode import Garment, PrintMode
from stock.ink.shares import SHARES_VERSION, Shares

_NOT_IN_KEY: Final = ("code", "drop_pl", "passes", "laydown_ul_per_cm2", "laydown_rel_sd")


def key_of(sha256: str, *, garment: Garment, mode: PrintMode, page: int) -> str:
    """Name under which shares are kept: content, garment, page and what the mode asks."""
    settings = {
        field.name: _plain(getattr(mode, field.name))
        for field in dataclasses.fields(mode)
        if field.name not in _NOT_IN_KEY
    }
    if mode.cmyk_profile:
        try:
            profile = Path(mode.cmyk_profile).read_bytes()
        except (OSError, ValueError):
            raise Refused(f"The ICC profile {mode.cmyk_profile!r} cannot be opened.") from None
        settings["cmyk_profile"] = hashlib.sha256(profile).hexdigest()
    told = json.dumps([SHARES_VERSION, sha256, garment, page, settings], sort_keys=True)
    return hashlib.sha256(told.encode()).hexdigest()


def _plain(value: object) -> object:
    if isinstance(value, dict):
        return {str(k): _plain(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(v) for v in value]
    return value


def kept_shares(cache_dir: Path, key: str, path: Path) -> Shares | None:
    """Shares kept under ``key``, told for the file at ``path``; None when there are none."""
    try:
        data = json.loads((cache_dir / f"{key}.json").read_bytes())
        return Shares.from_dict({**data, "file": str(path)})
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return None


def keep_shares(cache_dir: Path, key: str, shares: Shares) -> None:
    """Keep shares; a disk that is full or locked only costs the next run its time."""
    try:
        cache_dir.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=cache_dir, suffix=".part")
    except OSError:
        return
    try:
        with os.fdopen(handle, "w") as stream:
            json.dump(shares.to_dict(), stream)
        os.replace(name, cache_dir / f"{key}.json")
    except OSError:
        Path(name).unlink(missing_ok=True)
