"""Every word of the vocabulary in every state of every kind of step: taken, or refused with a reason; never silence."""

from __future__ import annotations

import copy

import pytest

from metercap.records import Note, Operator, Verdict, at
from metercap.steps import Given
from metercap.words import WORDS
from tests.session.recorded import again
from tests.steps.bench_play import Play, confirm
from tests.steps.test_tables import SITUATIONS
from tests.thirds import third, thirds

SAMPLES = {
    "at": ("F1", "after", "fuses/F1", "nowhere"),
    "to": ("after", "nowhere"),
    "accept": ("after good enough", "F1 good enough", "nowhere good enough", "F1"),
    "missed": ("2",),
    "fixed": ("contact bent back",),
    "replaced": ("", "F1", "relay K2"),
    "target": ("100 ohm", "green"),
    "probe": ("R77",),
    "name": ("B",),
    "note": ("flux",),
    "take": ("B",),
}
"""What each word that takes something is tried with."""
SILENT = {"yes", "quit", "probe", "pass", "fail", "missed", "good", "no", "again", "back"}
"""Words that may change what is awaited without a word of the tool's: `yes` in volts, a press that is counted, …"""


def said(word: str) -> tuple[str, ...]:
    """Return what a word is tried with."""
    return SAMPLES.get(word, ("",))


@pytest.mark.parametrize("part", thirds())
@pytest.mark.parametrize("name", list(SITUATIONS))
def test_every_word_is_taken_or_refused_with_a_reason_and_derived_again(name: str, part: int) -> None:
    """Something comes of it: a prompt, a verdict, a remark; what means nothing changes nothing and says why."""
    make, scripts = SITUATIONS[name]
    for row, script in enumerate(scripts, list(SITUATIONS).index(name)):
        play = Play(make(), confirm(id="after"))(script + " +1")
        for word in third(WORDS, row, part):
            for text in said(word.name):
                trial = copy.deepcopy(play)
                before, state, given = len(trial.out), trial.machine.state, len(trial.of(Verdict))
                trial.feed(Operator(at(trial.t_s), word.name, text, "line"))
                new = trial.out[before:]
                held = trial.session.bench.blocked  # what is asked for then is prompted when the block ends
                assert new or held or word.name in SILENT, (script, word.name, text)
                notes = [each.text for each in new if isinstance(each, Note)]
                if any("means nothing here" in note for note in notes):
                    assert trial.machine.state == state, (script, word.name)
                    assert len(trial.of(Verdict)) == given, (script, word.name)
                again(trial)


def test_every_word_that_a_step_heeds_is_in_the_vocabulary() -> None:
    """And no other."""
    names = {word.name for word in WORDS}
    inputs = {"contact", "value", "ended", "go", "due"}
    assert {given.value for given in Given} - names <= inputs | {"now", "blocked"}
