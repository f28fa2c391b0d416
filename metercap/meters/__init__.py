"""What teaching knows: from a few displays and the bytes that came with them to a meter profile. Pure.

    shown.Shown      a display as a person types it: "-1.5 V dc", "OL Mohm"
    frames           cuts what was heard while a display stood still into the one frame that came with it
    segments         frames of LCD segments   ─┐
    coded            fixed lines of codes      ├─▶ a `Lesson`: a profile, or what to show next
    lines            free lines of text       ─┘
    learn            tries them, and holds every profile against every display

Nothing is inferred that the displays do not force: where two bits could both be a segment, no profile is made, and the
display that would tell them apart is asked for. What nobody has shown stays out of the tables, and a frame that holds
it is garbage, not a guess.
"""
