"""Makes `bench_play` and this room's `papers` importable, and the player of whole sessions."""

from __future__ import annotations
