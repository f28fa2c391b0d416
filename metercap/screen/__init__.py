"""The bench screen: records in, one answer that fills the terminal out.

`lettering`, `state`, `view`, `paint` and what they draw on are pure; only `app` and `run` know a terminal, and only
they import textual, so nothing here is paid for before a screen is wanted.
"""
