"""What a touch of a token says: one touch a word, but two where the word writes a verdict.

A fuse beside a parallel path can read like a token, and would then be failed by a word that nobody said. So the first
touch of a token that writes a verdict only shows what a second one will do; between them comes a lift that is certain.
Any word takes the first touch back; `no` says besides that the value is the item's own, and it is measured.
"""

from __future__ import annotations

from metercap.asks import Asks
from metercap.contact import Act
from metercap.contact.tokens import TWICE, WORD_OF
from metercap.quantity import format_value
from metercap.reading import Reading
from metercap.records import Do, Operator
from metercap.steps import Bench, Machine
from metercap.steps.tokens import STEP_ID as LEARNING

_TOUCHING = (Act.CONTACT, Act.MORE, Act.SLIP, Act.HELD)

Place = tuple[str, str]
"""A step's id and an item's name."""


class TokenWords:
    """Turns touches of learned tokens into words. `said` holds one that a reading has just completed."""

    def __init__(self, bench: Bench) -> None:
        self.said: Operator | None = None
        self._bench = bench
        self._asked: tuple[str, Place] | None = None
        """The token that was touched once, and where."""
        self._lifted = False
        self._own: dict[Place, None] = {}
        """Items that themselves read like a token, by the operator's word."""

    def take(self, reading: Reading, act: Act, new: bool, machine: Machine) -> bool:
        """Look at a reading; return True when it belongs to a token and not to the item."""
        tokens = self._bench.tokens
        if act not in _TOUCHING:
            if act is not Act.NONE:
                tokens.off()
            self._lifted = self._lifted or act is Act.GO
            return False
        place = (machine.step.id, machine.item)
        name = tokens.match(reading)
        if not name or machine.step.id == LEARNING or place in self._own:
            return False
        if new and tokens.feed(name):
            self._touched(name, place, reading, machine)
        return True

    def _touched(self, name: str, place: Place, reading: Reading, machine: Machine) -> None:
        word = WORD_OF.get(name, name)
        again = self._asked == (name, place)
        if again and not self._lifted:
            return
        machine.blocked()
        self._bench.changed()
        shown = format_value(reading.value or 0.0, reading.unit, reading.resolution)
        if word not in TWICE or again:
            self._asked = None
            self.said = Operator(reading.t_s, word, shown, "token")
            return
        self._asked, self._lifted = (name, place), False
        item = machine.item
        what = "ends this step, what is left unsure" if word == "skip step" else f"writes {item}: {word}"
        text = f"token {name!r}, {shown}: lift, and a second touch of it {what}; no: the tips were on {item}"
        self._bench.prompt(Do.ANSWER, item, text, asks=Asks.TOKEN)

    def heard(self, word: str, machine: Machine) -> bool:
        """A word was said otherwise: the first touch is taken back. Return True when the word meant nothing else."""
        asked, self._asked = self._asked, None
        if asked is None or asked[1] != (machine.step.id, machine.item):
            return False
        if word == "no":
            self._own[asked[1]] = None
            self._bench.note(f"{asked[1][1]} reads like the token {asked[0]!r}: it is measured as itself")
            machine.resume()
        return word == "no"
