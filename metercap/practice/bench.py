"""The bench: one time line for meter, board and technician.

`PracticeBench.step` is the only motor. It does, in time order, whatever comes next: the hands move, a conversion
ends, bytes arrive, a word is said; and returns the two that leave the bench, `Chunk` and `Said`. It keeps no
clock of its own: on a virtual time line `run` asks for the next moment and goes there at once; over a
pseudo-terminal (`port`) a thread waits for it. Both see the same bytes at the same session time.

A frame goes out once the conversion it shows has ended, at the pace of the wire: byte n of a frame arrives
`byte_s` after byte n − 1. It leaves in `chunks` pieces, each stamped with the arrival of its last byte; `line`
may make them late.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import deque
from collections.abc import Callable, Mapping, Sequence
from random import Random
from typing import NamedTuple, Protocol

from metercap.asks import Range
from metercap.errors import SceneError
from metercap.practice.board import AIR, AIR_NAME, REVERSED, Board, Place
from metercap.practice.body import NEVER_S, World
from metercap.practice.by_ear import ByEar
from metercap.practice.dial_words import read_dial
from metercap.practice.dials import Shown
from metercap.practice.frames import draw
from metercap.practice.habits import Habits
from metercap.practice.hands import Hands
from metercap.practice.line import Chunk, Line
from metercap.practice.meter import Meter
from metercap.practice.scene import Mishap, Scene
from metercap.quantity import Quantity, expand_items, natural_key
from metercap.records import Record, at

_WIRE = {"lcd14": 10 / 2400, "digits14": 10 / 19200, "polled-line": 10 / 600, "text": 10 / 9600}
"""Seconds of one byte: start bit, data, parity and stop bits over the family's baud rate (2400 8N1, 19200
7O1, 600 7N2, 9600 8N1)."""

SENT_KEPT = 20_000
"""Frames that are remembered with what they showed; more than any verdict rests on."""
HALF_US = 5e-7

DIAL_S = 0.4
"""After the dial was turned a meter needs this long before it converts again; invented."""


class Said(NamedTuple):
    """A word of the technician."""

    t_s: float
    word: str
    text: str


class Touch(NamedTuple):
    """From `t_s` on the probes were on `name` (empty: air)."""

    t_s: float
    name: str


class Sent(NamedTuple):
    """A frame that arrived at `t_s`, and the conversion it shows."""

    t_s: float
    from_s: float
    to_s: float


class Technician(Protocol):
    """Hands at the bench: simulated (`hands.Hands`) or moved by a person (`by_hand.ByHand`)."""

    answers: Mapping[str, str]

    @property
    def next_s(self) -> float:
        """When they do something next by themselves."""
        ...

    def act(self) -> None:
        """Do it."""
        ...

    def see(self, record: Record, t_s: float) -> None:
        """Take in a record of the session at session time `t_s`."""
        ...


MakeHands = Callable[[Habits, World, Random, Mapping[str, Sequence[str]]], Technician]
"""What makes hands: their habits, the bench, their own chance, and the rows of items they know."""


class PracticeBench:
    """Meter, board and technician of one scene. `seed` overrides the scene's; `hands` makes the technician.

    `answers_polls`: the meter sends only when `poll` is called (for `polled-line`); otherwise it streams by
    itself. Without `hands` they are the scene's. Where a bench goes on with another unit, `board` and `meter` are those
    it has already, and its time goes on `from_s`.
    """

    def __init__(
        self,
        scene: Scene,
        *,
        seed: int | None = None,
        chunks: int = 1,
        hands: MakeHands | None = None,
        board: Board | None = None,
        meter: Meter | None = None,
        from_s: float = 0.0,
    ) -> None:
        seed = scene.seed if seed is None else seed
        self.scene = scene
        self.board = board or scene.board(Random(f"{seed} board"))
        self.meter = meter or Meter(scene.meter, Random(f"{seed} meter"))
        rows = {step: sorted(expand_items(items), key=natural_key) for step, items in scene.rows.items()}
        hands = hands or (ByEar if scene.hands.by_ear else Hands)
        self.hands = hands(scene.hands, self, Random(f"{seed} hands"), rows)
        self.hands.answers = scene.answers
        self.answers_polls = scene.meter.family == "polled-line"
        self.touches: list[Touch] = [Touch(from_s, "")]
        self.conversions = 0
        self._byte_s = _WIRE[scene.meter.family]
        self._chunks = chunks
        self._line = Line(scene.meter, Random(f"{seed} line"))
        self._sent: deque[Sent] = deque(maxlen=SENT_KEPT)
        self._waiting: deque[tuple[float, float]] = deque()
        self._shown_s = (0.0, 0.0)
        self._place: Place = AIR
        self._spans: list[tuple[float, Place]] = []
        self._out: deque[Chunk] = deque()
        self._said: deque[Said] = deque()
        self._mishaps = list(scene.mishap)
        self._silent_until_s = 0.0
        self._begin(from_s + Random(f"{seed} phase").uniform(0.0, self.meter.conversion_s))
        self._check_pace()

    # For the hands (`hands.World`)

    def put(self, t_s: float, place: Place) -> None:
        """The probes are at `place` from `t_s` on."""
        self._place = place
        self._spans.append((t_s, place))
        self.touches.append(Touch(t_s, place.name))
        for mishap in [m for m in self._mishaps if m.item and m.item == place.name]:
            self._mishaps.remove(mishap)
            self._befall(mishap, t_s)

    def say(self, t_s: float, word: str, text: str = "") -> None:
        """The technician says a word."""
        self._said.append(Said(at(t_s), word, text))

    def dial(self, t_s: float, wanted: Quantity | None, range_: Range | None = None) -> None:
        """Set the meter: quantity (None leaves it), range; HOLD and REL go off."""
        if self.meter.hold:
            self.meter.press_hold()
        if self.meter.rel:
            self.meter.press_rel()
        fixed = 0 if range_ == "low" else None
        ranged = range_ in ("low", "auto")
        if wanted is not None and (wanted is not self.meter.quantity or ranged):
            self.meter.turn_dial(wanted, range_index=fixed)
            self._begin(t_s + DIAL_S)

    def range_up(self, t_s: float) -> bool:
        """Give a fixed range back to the meter's own choice; return whether it was fixed."""
        if self.meter.auto or self.meter.quantity is Quantity.CONTINUITY:
            return False
        self.meter.turn_dial(self.meter.quantity)
        self._begin(t_s + DIAL_S)
        return True

    # For whoever runs the bench

    @property
    def frame_s(self) -> float:
        """Time of one frame on the wire, in seconds."""
        shown = self.meter.shown
        return self._byte_s * (14 if shown is None else len(draw(self.scene.meter.family, shown)))

    @property
    def next_s(self) -> float:
        """Session time of the next thing that happens on the bench."""
        return min(
            self._end_s,
            self.hands.next_s,
            self._out[0].t_s if self._out else NEVER_S,
            self._said[0].t_s if self._said else NEVER_S,
        )

    def step(self, until_s: float) -> Chunk | Said | None:
        """Let time pass up to `until_s`, or to the next thing that leaves the bench, which is returned."""
        while True:
            if self._said:
                return self._said.popleft()
            out_s = self._out[0].t_s if self._out else NEVER_S
            hands_s = self.hands.next_s
            next_s = min(out_s, hands_s, self._end_s)
            if next_s > until_s:
                return None
            if hands_s == next_s:
                self.hands.act()
            elif out_s == next_s:
                return self._out.popleft()
            else:
                self._convert()

    def touched(self, from_s: float, to_s: float) -> set[str]:
        """Return the names of the places that the tips were on at any moment from `from_s` to `to_s`; air has
        none."""
        first = bisect_right(self.touches, from_s, key=lambda touch: touch.t_s) - 1
        names = set()
        for touch in self.touches[max(first, 0) :]:
            if touch.t_s > to_s:
                break
            names.add(touch.name.removesuffix(REVERSED))
        return names - {AIR_NAME}

    def shown(self, from_s: float, to_s: float) -> tuple[float, float] | None:
        """Return the time in which the conversions ran whose frames arrived from `from_s` to `to_s`, or None.

        A frame that a port brings a little late is still the last one that arrived before.
        """
        first: Sent | None = None
        last: Sent | None = None
        for sent in reversed(self._sent):
            if sent.t_s > to_s + HALF_US:
                continue
            if first is not None and first.t_s <= from_s + HALF_US and sent.t_s < first.t_s:
                break
            last = last or sent
            first = sent
        return None if first is None or last is None else (first.from_s, last.to_s)

    def see(self, record: Record, t_s: float) -> None:
        """Let the technician see a record of the session at session time `t_s`."""
        self.hands.see(record, t_s)

    def poll(self, t_s: float) -> None:
        """The meter is asked for what it shows; it answers at the pace of the wire, unless it still talks."""
        if self.meter.shown is not None and not self._out and t_s >= self._silent_until_s:
            self._send(self.meter.shown, t_s + self._byte_s)

    # Time line

    def _begin(self, t_s: float) -> None:
        self._from_s = t_s
        self._end_s = t_s + self.meter.conversion_s
        self._spans = [(t_s, self._place)]

    def _convert(self) -> None:
        spans = []
        end_s = self._end_s
        # The hands may have moved while the dial was still turning: what counts begins with the conversion.
        starts = [(max(t_s, self._from_s), place) for t_s, place in self._spans]
        for (from_s, place), (to_s, _) in zip(starts, [*starts[1:], (end_s, AIR)], strict=True):
            if to_s > from_s:
                spans.append((from_s, to_s, place))
        shown = self.meter.convert(spans, end_s)
        self.conversions += 1
        self._shown_s = (spans[0][0], end_s)
        for mishap in [m for m in self._mishaps if m.at_s is not None and m.at_s <= end_s]:
            self._mishaps.remove(mishap)
            self._befall(mishap, end_s)
        if not self.answers_polls and end_s >= self._silent_until_s:
            repeats = self.scene.meter.repeats
            for n in range(repeats):
                self._send(shown, end_s + n * self.meter.conversion_s / repeats)
        if self._end_s == end_s:  # no mishap turned the dial meanwhile
            self._begin(end_s)

    def _send(self, shown: Shown, t_s: float) -> None:
        frame = draw(self.scene.meter.family, shown)
        size = -(-len(frame) // self._chunks)
        ends = range(size, len(frame) + size, size)
        leaves = [Chunk(t_s + min(end, len(frame)) * self._byte_s, frame[end - size : end]) for end in ends]
        self._waiting.append(self._shown_s)
        for pieces in self._line.carry(leaves):
            self._out += pieces
            self._sent.append(Sent(pieces[-1].t_s, *self._waiting.popleft()))

    def _befall(self, mishap: Mishap, t_s: float) -> None:
        meter = self.meter
        if mishap.kind == "hold" and not meter.hold:
            meter.press_hold()
        elif mishap.kind == "rel" and not meter.rel:
            meter.press_rel()
        elif mishap.kind == "low battery":
            meter.low_battery = True
        elif mishap.kind == "silent":
            self._silent_until_s = t_s + mishap.for_s
        elif mishap.kind == "dial":
            meter.turn_dial(read_dial(mishap.quantity) or meter.quantity)
            self._begin(t_s + DIAL_S)

    def _check_pace(self) -> None:
        """Refuse a scene whose meter would talk longer than it has time for."""
        spec = self.scene.meter
        fastest = max([spec.per_s, *spec.per_s_by.values()]) * spec.repeats
        if fastest * 14 * self._byte_s > 1.0 and not self.answers_polls:
            raise SceneError(
                f"{fastest:g} frames a second do not fit on the wire of {spec.family}",
                where="meter.per_s, meter.repeats",
                hint=f"at most {1.0 / (14 * self._byte_s):.0f} a second",
            )
