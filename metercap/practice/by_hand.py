"""Virtual hands that a person moves, so that a newcomer learns the tool without a meter.

They are an observer as the simulated technician is (`hands`), and work on the same bench, board and meter; but nothing
moves by itself. The prompts only tell them what `touch` means just now, what the other hand finds to do, and where the
dial should stand. All the mistakes are the person's own: going on too soon, slipping, lifting on the beep, answering
without looking.

Three rules keep it a lesson. The dial turns only when told to, as a real one. What a person confirms is so: `yes` to
"supply unplugged?" unplugs it, `fixed` is the repair. And the eyes see the board: what cannot be felt
through a keyboard (the display comes on, red is on +) stands in `status`.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import ClassVar, NamedTuple

from metercap.asks import Asks
from metercap.errors import UsageError
from metercap.practice.board import TIPS_NAME
from metercap.practice.dial_words import dial_of
from metercap.practice.hand_lines import MOVES, Move, read_move
from metercap.practice.moves import DIAL_WORDS, FLEXING, PRESSED, Moves
from metercap.practice.moving import Switch
from metercap.records import Cue, CueKind, Do, EndRecord, Operator, Prompt, Record, Verdict
from metercap.session.heard import CLAP

_LET_GO = {PRESSED: "release", FLEXING: "stop flexing"}


class Offer(NamedTuple):
    """A move that means something now, and what it would do here."""

    move: str
    label: str


class ByHand(Moves):
    """The hands. `do` moves them, `status` and `offers` tell the person how they stand.

    `answers` is what this unit makes an honest person answer to a step's question, where that is not yes.
    """

    def move(self, line: str, t_s: float) -> str:
        """Do the move that a line says; UsageError when it says none, or none that can be done."""
        move = read_move(line, self.world.board.parts)
        if move is None:
            raise UsageError(f"{line[:40]!a} is no move", hint=", ".join(MOVES))
        return self.do(move, t_s)

    def do(self, move: Move, t_s: float) -> str:
        """Move now; return what was felt or seen beyond the move itself, often nothing.

        UsageError when it cannot be done.
        """
        return self._moves[move.name](self, move.text, t_s) or ""

    def tap(self, item: str, t_s: float) -> str:
        """Take a tap on the board's picture: both tips on that item; on the one they are on, or beside all, they lift.

        UsageError for an item that this board does not have.
        """
        if not item or (self.here and self._name(item) == self._name(self.here)):
            self.lift("", t_s)
            return ""
        return self.touch(item, t_s)

    # --- what they see

    def see(self, record: Record, t_s: float) -> None:
        """Take in a record of the session."""
        kind = type(record)
        if kind is Prompt:
            self._prompted(record)  # type: ignore[arg-type]
        elif kind is Operator:
            self._said(record)  # type: ignore[arg-type]
        elif kind is Cue:
            if record.cue in (CueKind.LIFT, CueKind.AGAIN):  # type: ignore[union-attr]
                self._must_lift = bool(self.here)
        elif kind is Verdict:
            self._must_lift = bool(self.here)
        elif kind is EndRecord:
            self._prompt = self._dial = None
            self._must_lift = False

    def _prompted(self, prompt: Prompt) -> None:
        if self._prompt is not None and prompt.step != self._prompt.step:
            self._prompt = self._dial = None
        if prompt.do is Do.DIAL:
            self._dial = prompt
            return
        self._prompt = prompt
        self.seen = ""
        if prompt.asks is Asks.DONE:
            found = self.answers.get(prompt.step, "yes")
            self.seen = f"you look: {'no, and it stays so: fail' if found == 'no' else found}"
        elif prompt.asks is Asks.POLARITY:
            self.seen = f"you look: {'no' if self.swapped else 'yes'}"

    def _said(self, word: Operator) -> None:
        """What the person says they did is done."""
        prompt, board = self._prompt, self.world.board
        if prompt is None:
            return
        if word.word not in ("note", "say", CLAP):
            self.seen = ""
        if word.word == "fixed" and prompt.asks is Asks.MENDED:
            board.fixed = True
        if word.word != "yes":
            return
        if prompt.do is Do.CONFIRM and isinstance(prompt.power, str):
            board.power(on=prompt.power == "on")
        elif prompt.asks is Asks.CLEANED:
            part = board.parts.get(prompt.item or self.last)
            if isinstance(part, Switch):
                part.clean()

    # --- how they stand

    @property
    def status(self) -> str:
        """Return where the tips are, what the other hand does, and what the eyes see."""
        where = f"tips on {self._name(self.here)}" if self.here else "tips in the air"
        if self.planned("move"):
            where = f"tips on their way to {self._name(self._landing)}"
        parts = [TIPS_NAME if self.here == TIPS_NAME else where, self._held]
        parts.append("red and black swapped" if self.swapped else "")
        meter = self.world.meter
        parts += [name for name, on in (("HOLD", meter.hold), ("REL", meter.rel)) if on]
        return ", ".join(part for part in (*parts, self.seen) if part)

    @property
    def offers(self) -> tuple[Offer, ...]:
        """Return the moves that mean something now, the likeliest first."""
        found: list[Offer] = []
        dial = [] if self._dial is None else [Offer("dial", _dial_label(self._dial))]
        if self._dial is not None and not (self._dial.item is None and self.here):
            found, dial = dial, []  # what blocks the item comes first; a tip on the range waits while the tips are on
        goal = self._goal()
        if self.here and (self._must_lift or goal not in (None, self.here)):
            found.append(Offer("lift", "lift"))
        elif not self.here and goal == TIPS_NAME:
            found.append(Offer("short", TIPS_NAME))
        elif not self.here and goal is not None:
            found.append(Offer("touch", f"touch {self._name(goal)}"))
        if self._prompt is not None and self._prompt.do is Do.TURN:
            found += [Offer("turn up", "up"), Offer("turn down", "down")]
            found += [Offer("turn up far", "far up"), Offer("turn down far", "far down")]
        work = self._work()
        if self._held:
            found.append(Offer("release", _LET_GO.get(self._held, "take the load off")))
        elif work is not None and self._wants_work():
            found.append(Offer("press", work[0]))
        found += dial
        return tuple(found)

    def _wants_work(self) -> bool:
        """Whether the open prompt asks the other hand for something; a switch or a cable can be moved all the same."""
        prompt = self._prompt
        if prompt is None or self._must_lift:
            return False
        return prompt.do in (Do.PRESS, Do.KEEP, Do.STOP, Do.ANSWER) or prompt.press is True

    _moves: ClassVar[dict[str, Callable[[ByHand, str, float], str | None]]] = {
        "touch": Moves.touch,
        "touch next": Moves.next,
        "lift": Moves.lift,
        "short": Moves.short,
        "swap": Moves.swap,
        "turn": Moves.turn,
        "press": Moves.press,
        "release": Moves.release,
        "load": Moves.load,
        "start": Moves.start,
        "power": Moves.power,
        "discharge": Moves.discharge,
        "clean": Moves.clean,
        "dial": Moves.turn_dial,
        "range": Moves.range,
        "hold": Moves.hold,
        "rel": Moves.rel,
        "look": Moves.look,
    }


def _dial_label(prompt: Prompt) -> str:
    """What a prompt asks of the dial, in a few words."""
    wanted, range_ = dial_of(prompt)
    if range_ == "low":
        return "fix the range"
    if range_ == "auto":
        return "auto range"
    return f"dial to {DIAL_WORDS[wanted]}" if wanted is not None else "set the meter"
