"""Journals by the thousand: found in folders, each read once, and remembered in short until it changes."""
