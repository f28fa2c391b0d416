"""Finding the meter: on which port it is, and which profile reads it.

`listen` hears a port for a while, `suspects` says which profiles fit what was heard, and `found` takes what is named,
what was used last, or the only one that is heard.
"""
