"""wiggle: dropouts of a flexed path, and the shortest that could be seen."""

from __future__ import annotations

from typing import Any

from metercap.plankeys import Item, WiggleStep
from metercap.records import VerdictKind
from tests.steps.bench_play import Play


def flexed(script: str, **more: Any) -> Play:
    """Return a play of J3 watched for 4 s at 5 conversions/s."""
    keys: dict[str, Any] = {"id": "cable", "items": (Item("J3"),), "watch_s": 4.0}
    step = WiggleStep(**(keys | more))
    return Play(step, rate=5.0)("OL*3 " + script)


def test_a_steady_path_passes_and_says_what_could_not_be_seen() -> None:
    """Dropouts shorter than one conversion (200 ms at 5/s) cannot be seen."""
    play = flexed("0.3*26")
    verdict = play.verdicts["J3"]
    assert verdict.verdict is VerdictKind.PASS
    assert "shorter than 200 ms cannot be seen" in verdict.reason
    assert play.session.finished


def test_a_dropout_fails_with_its_length() -> None:
    """Two conversions open, then closed again."""
    verdict = flexed("0.3*8 OL*2 0.3*20").verdicts["J3"]
    assert verdict.verdict is VerdictKind.FAIL
    assert "1 dropouts, the longest 400 ms" in verdict.reason


def test_every_conversion_is_counted() -> None:
    """A minute at 25/s: 1 500 conversions, and not the 409 of a list that was cut; two of them open."""
    step = WiggleStep(id="cable", items=(Item("J3"),), watch_s=60.0)
    play = Play(step, rate=25.0)("OL*40 0.3*600 OL*2 0.3*950")
    assert 1499 <= play.verdicts["J3"].n <= 1501
    assert play.verdicts["J3"].verdict is VerdictKind.FAIL


def test_the_worst_value_of_a_long_watch_is_kept() -> None:
    """It decides, however long ago it was."""
    step = WiggleStep(id="cable", items=(Item("J3"),), watch_s=60.0)
    play = Play(step, rate=25.0)("OL*40 0.3*20 1.7 0.3*1500")
    assert play.verdicts["J3"].value == 1.7


def test_a_gap_in_the_readings_is_time_in_which_nothing_was_seen() -> None:
    """The link stalled for 1.4 s during the watch: a dropout of that length would have gone unseen."""
    verdict = flexed("0.3*8 +1.2 0.3*20").verdicts["J3"]
    assert "shorter than 1.4 s cannot be seen" in verdict.reason


def test_a_watch_does_not_end_on_the_edge_of_a_dropout() -> None:
    """Closed again for one conversion as the time is up, then open again: that is two dropouts, and not one."""
    play = flexed("0.3*20 OL*4 0.3")
    assert not play.verdicts
    play("OL*2 0.3*3")
    assert "2 dropouts" in play.verdicts["J3"].reason


def test_a_rise_above_max_counts_as_a_dropout() -> None:
    """A bad connection need not open to be bad."""
    assert flexed("0.3*8 50.0*2 0.3*20").verdicts["J3"].verdict is VerdictKind.FAIL


def test_tips_that_came_off_are_no_dropout() -> None:
    """Open for more than 2 s: the watch begins anew, and nothing is guessed."""
    play = flexed("0.3*8 OL*14")
    assert play.prompts[-1] == "probe J3"
    assert not play.verdicts
    play("OL*4 0.3*26")
    assert play.verdicts["J3"].verdict is VerdictKind.PASS


def test_the_next_path_needs_a_certain_lift() -> None:
    """Tips that stay on J3 after its tick are never taken for J4."""
    step = WiggleStep(id="cable", items=(Item("J3"), Item("J4")), watch_s=4.0)
    play = Play(step, rate=5.0)("OL*3 0.3*60")
    assert list(play.verdicts) == ["J3"]
    play("OL*6 0.3*26")
    assert play.verdicts["J4"].verdict is VerdictKind.PASS


def test_open_is_the_operators_word() -> None:
    """A path that stays open is said to be."""
    assert flexed("0.3*8 OL*14 :open").verdicts["J3"].verdict is VerdictKind.FAIL


def test_a_watch_without_a_value_is_unsure() -> None:
    """A meter that sends nothing during the watch has seen nothing: unsure, never a pass."""
    verdict = flexed("0.3*3 +10").verdicts["J3"]
    assert verdict.verdict is VerdictKind.UNSURE
    assert verdict.value is None


def test_again_forgets_the_dropouts_and_wants_a_lift() -> None:
    """Said while the path is open, or while it is watched: a watch of its own begins with a new contact."""
    for so_far in ("0.3*8 OL*2 0.3*2 ", "0.3*8 OL*2 "):
        play = flexed(so_far + ":again 0.3*30")
        assert not play.verdicts, "the tips were on already, or came on before a certain lift"
        verdict = play("OL*9 0.3*26").verdicts["J3"]
        assert (verdict.verdict, "no dropout" in verdict.reason) == (VerdictKind.PASS, True)
