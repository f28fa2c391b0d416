"""What the session's program and the server's say to each other: lines over two pipes, each a letter and a value.

Towards the server: what it serves (the first line), a glance, a heartbeat, which pictures there are, the end. Back from
it: a word, a photograph that was kept. Pure.
"""

from __future__ import annotations

from typing import Annotated

import msgspec

from metercap.web.address import Address

MOST_LINE = 1 << 20
"""Bytes of a line; a glance has some thousand."""


class Begin(msgspec.Struct, frozen=True, tag="begin", tag_field="is"):
    """The first line: where the socket is (`fd`, or `share` for systems without), who is let in, what may be done.

    `photos` is the folder that photographs go into; empty for none. With `taps` a tap on the board's picture moves the
    virtual hands of a practice.
    """

    address: Address
    fd: int = -1
    share: str = ""
    words: bool = False
    photos: str = ""
    taps: bool = False


class PictureFile(msgspec.Struct, frozen=True):
    """A picture of the plan: its file's name, the hash it must have, and what it shows."""

    file: str
    sha256: str
    side: str = ""
    title: str = ""


class Pictures(msgspec.Struct, frozen=True, tag="pictures", tag_field="is"):
    """The plan's pictures, and the folders where each is looked for."""

    pictures: tuple[PictureFile, ...]
    folders: tuple[str, ...]


class Word(msgspec.Struct, frozen=True, tag="word", tag_field="is"):
    """A word said on a page, and the number of the prompt that it was shown for."""

    word: str
    prompt: int


class Kept(msgspec.Struct, frozen=True, tag="photo", tag_field="is"):
    """A photograph was drawn anew and kept under this name."""

    name: str


class Tap(msgspec.Struct, frozen=True, tag="tap", tag_field="is", forbid_unknown_fields=True):
    """A finger on the plan's picture of that number: where, in fractions of its file, and that file's size."""

    picture: Annotated[int, msgspec.Meta(ge=0, le=100)]
    x: float
    y: float
    width: float
    height: float


Told = Begin | Pictures
Back = Word | Kept | Tap

GLANCE = b"="
BEAT = b"."
OVER = b"~"
MORE = b"+"
"""What a line to the server begins with: a glance as JSON, nothing, nothing, or one of `Told` as JSON."""

READ_TOLD = msgspec.json.Decoder(Told)
READ_BACK = msgspec.json.Decoder(Back)


class Body(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """What a page posts to say a word."""

    word: str
    prompt: Annotated[int, msgspec.Meta(ge=0, le=1 << 53)]


READ_BODY = msgspec.json.Decoder(Body)
READ_TAP = msgspec.json.Decoder(Tap)
