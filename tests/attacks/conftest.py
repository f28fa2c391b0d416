"""Lends the end-to-end tests' meter and program, and the screen tests' terminal."""

from __future__ import annotations
