"""Marking: where on a board's picture each item of a plan stands, tapped by hand and written into the plan file.

`model` is what is marked, `spots` the arithmetic of places, `editing` writes it into a plan's text and leaves every
other byte alone, `baking` makes the stored picture, `desk` holds one marking with its undo and its draft on disk,
`saving` puts the files where they belong, `app` serves the page.
"""

from __future__ import annotations
