"""Contact: when the probes touch, when a value can be trusted, what stops the ticking.

Pure. A meter converts a few times a second, may send a conversion several times, walks through ranges, blends two
states inside one conversion and reads over-range in air and over an open fuse alike; the modules here answer:

- `conversions`: is this reading a new value inside the meter, or the last one sent again?
- `pace`, `gaps`: how often the meter converts and sends, measured
- `ranging`: what an auto-ranging meter shows of its own walk
- `lift`: have the tips been off for certain?
- `touch`: is this contact to be credited to the item that is asked for? (a state machine as a table)
- `burst`: the conversions of one contact: do they agree, have they settled, do they climb or fall?
- `tokens`: does this touch mean a word?
- `blocks`: HOLD, REL, wrong quantity, low battery, a dead link.
"""

from metercap.contact.blocks import Block, Blocks
from metercap.contact.burst import Burst, Plateau
from metercap.contact.conversions import Conversions
from metercap.contact.lift import Stay
from metercap.contact.tokens import Tokens
from metercap.contact.touch import Act, Touch, TouchState

__all__ = ["Act", "Block", "Blocks", "Burst", "Conversions", "Plateau", "Stay", "Tokens", "Touch", "TouchState"]
