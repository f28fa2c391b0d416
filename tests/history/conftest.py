"""Makes the helpers of other rooms importable here."""

from __future__ import annotations
