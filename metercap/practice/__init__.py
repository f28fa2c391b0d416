"""The practice bench: a simulated meter, board and technician, so that no hardware is needed to learn or test.

    scene ─▶ board (parts, moving)  ─┐
             meter (dials) ─ frames  ├─ bench ─▶ port: a real pseudo-terminal in scaled time
             hands (probes, chores,  │        └▶ study: a virtual time line, in the live loop or alone
                    fingers, body)  ─┘           audit: what was said against what was true

Everything here is invented data for practice. Nothing in it decodes: the frames are drawn with tables of their own,
so that a mistake of the decoder and a mistake of the bench cannot hide each other.
"""
