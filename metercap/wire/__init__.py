"""Bytes in, readings out: the wire formats, without I/O.

    decoder(profile) ── feed(bytes, t_s) ──▶ readings and garbage, every byte once, in order
    decode_frame(profile, raw, t_s) ──▶ what one record's raw bytes give

Four layers: `families` picks by profile; `framing` cuts the stream and `accounts` keeps its books; one codec a
family knows what a frame shows; `shapes`, `segments`, `tables` and `fields` serve the codecs. What a byte means is
in the profile.
"""

from metercap.wire.accounts import LATENCY_S
from metercap.wire.families import Decoder, decode_frame, decoder, frame_s, look_up_families, unknown_family

__all__ = [
    "LATENCY_S",
    "Decoder",
    "decode_frame",
    "decoder",
    "frame_s",
    "look_up_families",
    "unknown_family",
]
