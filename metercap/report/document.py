"""A report as a document, before it becomes HTML or plain text: sections of a few kinds of blocks. Pure.

Everything in it is plain text as it was found; whoever writes it out escapes it.
"""

from __future__ import annotations

from typing import Literal, TypeAlias

import msgspec

from metercap.records import VerdictKind

Look: TypeAlias = Literal[
    "axis",
    "grid",
    "trace",
    "band",
    "target",
    "hazard",
    "past",
    "found",
    "left",
    "label",
    "quiet",
    "touch",
    "slip",
    "bar",
]
"""What a shape in a picture is; how it looks is the page's business."""


class Line(msgspec.Struct, frozen=True, tag="line"):
    """A straight line."""

    x1: float
    y1: float
    x2: float
    y2: float
    look: Look


class Box(msgspec.Struct, frozen=True, tag="box"):
    """A rectangle."""

    x: float
    y: float
    width: float
    height: float
    look: Look


class Curve(msgspec.Struct, frozen=True, tag="curve"):
    """A path; `d` is its SVG path data, made of numbers only."""

    d: str
    look: Look


class Dot(msgspec.Struct, frozen=True, tag="dot"):
    """A circle."""

    x: float
    y: float
    r: float
    look: Look


class Mark(msgspec.Struct, frozen=True, tag="mark"):
    """A verdict's own shape, centred."""

    x: float
    y: float
    verdict: VerdictKind


class Words(msgspec.Struct, frozen=True, tag="words"):
    """Text at a point; `anchor` says which end of it is there."""

    x: float
    y: float
    text: str
    look: Look = "label"
    anchor: Literal["start", "middle", "end"] = "start"


Shape: TypeAlias = Line | Box | Curve | Dot | Mark | Words


class Picture(msgspec.Struct, frozen=True, tag="picture"):
    """A drawing of `width` × `height` units; `says` are the lines that say the same in words."""

    title: str
    says: tuple[str, ...]
    width: float
    height: float
    shapes: tuple[Shape, ...]


class Facts(msgspec.Struct, frozen=True, tag="facts"):
    """Names and what they are: a text, or several that stand below each other."""

    rows: tuple[tuple[str, str | tuple[str, ...]], ...]


class Para(msgspec.Struct, frozen=True, tag="para"):
    """A paragraph; `loud` stands out."""

    text: str
    loud: bool = False


class Listing(msgspec.Struct, frozen=True, tag="listing"):
    """Lines that stand for themselves."""

    lines: tuple[str, ...]


class Row(msgspec.Struct, frozen=True):
    """One line of a table. Where it has fewer cells than the table has columns, the last takes the room of the rest.

    With a `mark` that verdict's shape comes first. `quiet`: it no longer stands.
    """

    cells: tuple[str, ...]
    mark: VerdictKind | None = None
    quiet: bool = False


class Group(msgspec.Struct, frozen=True):
    """Rows that belong together, below a `title` of their own and what it is about."""

    rows: tuple[Row, ...]
    title: str = ""
    about: str = ""


class Table(msgspec.Struct, frozen=True, tag="table"):
    """Rows of cells below `heads`; `name` picks its columns' widths on the page."""

    name: str
    heads: tuple[str, ...]
    groups: tuple[Group, ...]


class Photo(msgspec.Struct, frozen=True, tag="photo"):
    """A photograph of `width` × `height` pixels; `data` is a JPEG in base64."""

    title: str
    width: int
    height: int
    data: str


class Signatures(msgspec.Struct, frozen=True, tag="signatures"):
    """Places to sign, each with its date."""

    who: tuple[str, ...]


Block: TypeAlias = Facts | Para | Listing | Table | Picture | Photo | Signatures


class Section(msgspec.Struct, frozen=True):
    """A part of the report with its title; `anew`: printed, it begins a page."""

    title: str
    blocks: tuple[Block, ...]
    anew: bool = False


class Document(msgspec.Struct, frozen=True):
    """A report: its `title`, the `result` in a sentence or two, its sections, and the closing line."""

    title: str
    subtitle: str
    result: str
    sections: tuple[Section, ...]
    closing: str
