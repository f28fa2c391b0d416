"""Values of good parts and units: what a reading is compared with. Pure.

`fuses`: what a good fuse reads. `model`: what good units measured, and what a session is held against. `gather`: made
from sessions. `file`: as a file.
"""
