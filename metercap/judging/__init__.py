"""Judging: one value against limits or good units, several contacts against each other, and what U rests on. Pure."""
