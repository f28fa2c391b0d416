"""One value as one JSON text, for every command's `--json`."""

from __future__ import annotations

from typing import Any

import msgspec

from metercap.gate import json_bytes, storable


def json_text(value: Any) -> str:
    r"""Return `value` as JSON, harmless to look at raw.

    A name of a file whose bytes are no UTF-8 has no JSON: these bytes are written as `\udcXX`, in plain text.
    """
    try:
        data = msgspec.json.encode(value)
    except UnicodeEncodeError:
        data = msgspec.json.encode(storable(msgspec.to_builtins(value)))
    return json_bytes(data).decode()
