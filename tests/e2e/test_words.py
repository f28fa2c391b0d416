"""Words that must do no harm, in the real program over a pseudo-terminal: by lines on a pipe, by keys on the screen.

Whatever is said here is said as a technician would, and what came of it is read from the journal.
"""

from __future__ import annotations

import json
import signal
import sys
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Protocol

import pytest

from tests.e2e.outside_meter import OPEN, Meter, volts
from tests.e2e.program import PATIENCE_S, Program, Record, of_kind, plan_file, program, sweep, verdicts
from tests.screen.terminal import Terminal

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="needs pseudo-terminals")

GOOD = 0.2
KEYS = {"yes": "y", "no": "n", "open": "o", "absent": "a", "pass": "p", "fail": "f", "back": "b", "quit": "Qy"}
TYPED = {"probe": "+", "to": "t", "at": "@", "target": "v", "accept": "e", "replaced": "c"}
REPEAT_S = 0.8
"""The same key sooner is its own repeat."""


class Operator(Protocol):
    """Somebody who runs the program and says words to it."""

    source: str

    def say(self, *words: str) -> None: ...

    def until(self, true: Callable[[list[Record]], Any], what: str) -> Any: ...

    def ended(self) -> int: ...


class ByLine:
    """Words as lines, records from stdout."""

    source = "line"

    def __init__(self, run: Program) -> None:
        self._run = run

    def say(self, *words: str) -> None:
        self._run.say("\n".join(words))

    def until(self, true: Callable[[list[Record]], Any], what: str) -> Any:
        return self._run.until(true, what)

    def ended(self) -> int:
        return self._run.wait().status


class ByKey:
    """Words as keys on the full screen; records are what the journal holds by then."""

    source = "key"

    def __init__(self, terminal: Terminal, out: Path) -> None:
        self._terminal, self._out = terminal, out

    def say(self, *words: str) -> None:
        heads = [word.split(maxsplit=1) for word in words]
        keys = [KEYS[head] if not text else f"{TYPED[head]}{text[0]}\r" for head, *text in heads]
        self._terminal.keys("".join(keys).encode())

    def until(self, true: Callable[[list[Record]], Any], what: str) -> Any:
        end_s = time.monotonic() + PATIENCE_S
        while not (got := true(journal(self._out))):
            assert time.monotonic() < end_s, f"no {what} on\n{self._terminal.text}"
            self._terminal.read(0.02)
        return got

    def ended(self) -> int:
        self.until(lambda records: of_kind(records, "end"), "end")
        end_s = time.monotonic() + PATIENCE_S
        while self._terminal.process.poll() is None:  # any key leaves once the end has been drawn
            assert time.monotonic() < end_s, f"still there after its end:\n{self._terminal.text}\n{self._stacks()}"
            self._terminal.keys(b"x")
            self._terminal.read(0.2)
        return self._terminal.ended()

    def type(self, keys: str) -> None:
        """Press keys at once."""
        self._terminal.keys(keys.encode())

    def _stacks(self) -> str:
        """Ask a program that does not end where its threads are; it ends by it."""
        before = len(self._terminal.raw)
        self._terminal.process.send_signal(signal.SIGABRT)
        self._terminal.read(2.0)
        return self._terminal.raw[before:].decode(errors="replace")


def journal(out: Path) -> list[Record]:
    """Return the whole records of a journal that may still be written."""
    data = out.read_bytes() if out.exists() else b""
    return [json.loads(line) for line in data[: data.rfind(b"\n") + 1].splitlines()]


@contextmanager
def operator(how: str, folder: Path, meter: Meter, plan: Path) -> Iterator[Operator]:
    """Run a plan and let somebody say words to it, who is there once the meter is read."""
    out = folder / "session.jsonl"
    args = ["run", str(plan), "--port", str(meter.path), "--meter", meter.family, "--unit", "controller B"]
    args += ["--rate", "10", "--out", str(out)]
    if how == "lines":
        with program(*args) as run:
            one: Operator = ByLine(run)
            one.until(lambda records: of_kind(records, "reading"), "reading")
            yield one
        return
    terminal = Terminal(["-m", "metercap", *args], columns=120, rows=40, PYTHONFAULTHANDLER="1")
    try:
        one = ByKey(terminal, out)
        one.until(lambda records: of_kind(records, "reading"), "reading")
        terminal.read(1.0)
        yield one
    finally:
        terminal.close()


def noted(part: str) -> Callable[[list[Record]], Any]:
    """Whether a note holds these words."""
    return lambda records: [record for record in of_kind(records, "note") if part in record["text"]]


def asked(do: str, item: str) -> Callable[[list[Record]], Any]:
    """Whether the last prompt asks this of this item."""

    def last(records: list[Record]) -> bool:
        prompts = of_kind(records, "prompt")
        return bool(prompts) and (prompts[-1]["do"], prompts[-1]["item"]) == (do, item)

    return last


def confirm(name: str, more: str = "") -> str:
    return f'[[step]]\nid = "{name}"\nkind = "confirm"\nsay = "{name} done?"\n{more}\n'


# --- the scenes: what is done, in whichever way words are said


def probe_with_the_power_on(how: str, folder: Path) -> int:
    """Ohms are refused while the unit is on, volts are measured, and afterwards ohms of the loose part are too."""
    plan = plan_file(folder, confirm("start-up", 'power = "on"') + confirm("unplug"))
    with Meter(folder) as meter, operator(how, folder, meter, plan) as one:
        meter.tips = GOOD
        one.say("probe R77")
        one.until(noted("the power is on"), "refusal")
        meter.tips = volts(0.0)
        one.until(lambda records: of_kind(records, "reading")[-1]["unit"] == "V", "volts")
        one.say("probe TP1")
        one.until(asked("probe", "TP1"), "TP1")
        time.sleep(1.5)
        meter.tips = volts(3.3)
        one.until(lambda records: "TP1" in verdicts(records), "TP1")
        meter.tips = OPEN
        time.sleep(0.5)
        one.say("yes")
        one.until(asked("confirm", "unplug"), "next step")
        one.until(lambda records: of_kind(records, "reading")[-1]["unit"] == "ohm", "ohms")
        time.sleep(REPEAT_S)
        one.say("probe R77")
        one.until(asked("probe", "R77"), "R77")
        one.until(lambda records: [c for c in of_kind(records, "cue") if (c["item"], c["cue"]) == ("R77", "go")], "go")
        time.sleep(1.0)
        meter.tips = 47.3
        one.until(lambda records: "R77" in verdicts(records), "R77")
        time.sleep(REPEAT_S)
        one.say("yes")
        return one.ended()


def confirm_no(how: str, folder: Path) -> int:
    """`no` stays, twice; `fail` decides on the second step."""
    plan = plan_file(folder, confirm("unplug") + confirm("cell-out"))
    with Meter(folder) as meter, operator(how, folder, meter, plan) as one:
        for count in (1, 2):
            one.say("no")
            one.until(lambda records, n=count: len(noted("not yet")(records)) == n, "not yet")  # type: ignore[misc]
            time.sleep(REPEAT_S)
        one.say("yes")
        one.until(asked("confirm", "cell-out"), "next step")
        time.sleep(0.5)
        one.say("no")
        one.until(lambda records: len(noted("not yet")(records)) == 3, "not yet")
        one.say("fail")
        return one.ended()


def safe_without_a_lift(how: str, folder: Path) -> int:
    """No yes on the source is one of the first point; a quick one on the point neither; then a right one."""
    steps = '[[step]]\nid = "dead"\nkind = "safe"\nsource = "a cell"\npoints = ["J1"]\n'
    plan = folder / "plan.toml"
    plan.write_text(f'[plan]\ntitle = "GC-8"\n{steps}', encoding="utf-8")
    with Meter(folder) as meter, operator(how, folder, meter, plan) as one:
        meter.tips = volts(1.52)
        one.until(asked("lift", "dead"), "lift")
        time.sleep(2.5)
        one.say("yes")
        one.until(lambda records: len([p for p in of_kind(records, "prompt") if p["do"] == "lift"]) == 2, "lift again")
        time.sleep(1.0)
        meter.tips = volts(0.0)
        one.until(asked("answer", "J1"), "J1")
        time.sleep(0.5)
        one.say("yes")
        one.until(noted("too soon"), "too soon")
        time.sleep(2.5)
        one.say("yes")
        one.until(lambda records: "J1" in verdicts(records), "J1")
        one.say("quit")
        return one.ended()


def open_under_hold(how: str, folder: Path) -> int:
    """While the display is frozen `open` writes nothing; HOLD off, it is the operator's word."""
    with Meter(folder) as meter, operator(how, folder, meter, plan_file(folder, sweep('"F1..F2"'))) as one:
        time.sleep(1.0)
        meter.hold()
        one.until(asked("dial", "F1"), "HOLD")
        time.sleep(0.5)
        one.say("open")
        one.until(noted("HOLD is on"), "refusal")
        meter.release()
        one.until(asked("probe", "F1"), "F1 again")
        time.sleep(REPEAT_S)
        one.say("open")
        one.until(lambda records: "F1" in verdicts(records), "F1")
        one.say("quit")
        return one.ended()


def open_on_a_dead_link(how: str, folder: Path) -> int:
    """With the cable pulled nobody knows what the meter reads: `open` and `absent` write nothing."""
    with Meter(folder) as meter, operator(how, folder, meter, plan_file(folder, sweep('"F1..F2"'))) as one:
        time.sleep(1.0)
        meter.unplug()
        one.until(asked("wait", "F1"), "lost link")
        time.sleep(0.5)
        one.say("open")
        one.until(noted("'open' is not taken now"), "refusal")
        time.sleep(0.5)
        one.say("absent")
        one.until(noted("'absent' is not taken now"), "refusal")
        meter.plug()
        one.until(asked("probe", "F1"), "F1 again")
        one.say("quit")
        return one.ended()


def late_word(how: str, folder: Path) -> int:
    """Two words at once, the second meant for nothing: a key answers one question, lines answer both."""
    plan = plan_file(folder, confirm("unplug") + confirm("cell-out") + confirm("cover-off"))
    with Meter(folder) as meter, operator(how, folder, meter, plan) as one:
        time.sleep(0.5)
        one.say("yes", "pass")
        one.until(lambda records: len(of_kind(records, "operator")) == 2, "two words")
        time.sleep(REPEAT_S)
        one.say("quit")
        return one.ended()


SCENES = (probe_with_the_power_on, confirm_no, safe_without_a_lift, open_under_hold, open_on_a_dead_link, late_word)


@pytest.fixture(scope="module")
def played(tmp_path_factory: pytest.TempPathFactory, journals: list[Path]) -> dict[tuple[str, str], list[Record]]:
    """Every scene's journal, each played by lines and by keys; a few at a time."""
    keys = [(scene, how) for how in ("lines", "keys") for scene in SCENES]
    folders = {(scene, how): tmp_path_factory.mktemp(f"{scene.__name__}-{how}") for scene, how in keys}

    def play(key: tuple[Callable[[str, Path], int], str]) -> tuple[int, list[Record]]:
        status = key[0](key[1], folders[key])
        return status, journal(folders[key] / "session.jsonl")

    with ThreadPoolExecutor(4) as pool:
        done = dict(zip(keys, pool.map(play, keys), strict=True))
    journals += [folder / "session.jsonl" for folder in folders.values()]
    for (scene, how), (status, records) in done.items():
        expected = 0 if scene is probe_with_the_power_on else 1
        assert status == expected, (scene.__name__, how)
        sources = {record["source"] for record in of_kind(records, "operator")}
        assert sources == {"line" if how == "lines" else "key"}, (scene.__name__, how)
    return {(scene.__name__, how): records for (scene, how), (_, records) in done.items()}


def test_a_key_pressed_again_and_again_from_before_the_end_leaves(tmp_path: Path) -> None:
    """Each press is the repeat of the one before, the first one came too early to leave: the screen was deaf to it."""
    with Meter(tmp_path) as meter, operator("keys", tmp_path, meter, plan_file(tmp_path, confirm("unplug"))) as one:
        assert isinstance(one, ByKey)
        one.type("yx")
        assert one.ended() == 0


BOTH = pytest.mark.parametrize("how", ["lines", "keys"])


@BOTH
def test_no_ohms_are_probed_with_the_power_on(played: dict[tuple[str, str], list[Record]], how: str) -> None:
    """`probe` in a powered step measured resistance once; now it is refused, and volts are what the dial shows."""
    records = played["probe_with_the_power_on", how]
    assert verdicts(records) == {"TP1": "pass", "start-up": "pass", "R77": "pass", "unplug": "pass"}
    units = {record["item"]: record["unit"] for record in of_kind(records, "verdict")}
    assert (units["TP1"], units["R77"]) == ("V", "ohm")


@BOTH
def test_no_goes_on_to_nothing(played: dict[tuple[str, str], list[Record]], how: str) -> None:
    """ "Supply unplugged?" answered no went on once."""
    records = played["confirm_no", how]
    assert [(v["item"], v["verdict"]) for v in of_kind(records, "verdict")] == [
        ("unplug", "pass"),
        ("cell-out", "fail"),
    ]


@BOTH
def test_first_point_needs_a_lift_off_the_source_and_an_unhurried_yes(
    played: dict[tuple[str, str], list[Record]], how: str
) -> None:
    """The one verdict comes of the third yes, 2 s after its prompt and with 0 V shown after it."""
    records = played["safe_without_a_lift", how]
    (verdict,) = of_kind(records, "verdict")
    assert (verdict["item"], verdict["verdict"], verdict["value"]) == ("J1", "pass", 0.0)
    yes = [record["t_s"] for record in of_kind(records, "operator") if record["word"] == "yes"]
    prompt_s = next(p["t_s"] for p in of_kind(records, "prompt") if (p["do"], p["item"]) == ("answer", "J1"))
    assert len(yes) == 3
    assert yes[1] < prompt_s + 2.0 <= yes[2] < verdict["t_s"]
    shown = [r["value"] for r in of_kind(records, "reading") if yes[2] < r["t_s"] <= verdict["t_s"]]
    assert shown[-2:] == [0.0, 0.0]


@BOTH
def test_open_is_not_taken_of_a_frozen_display(played: dict[tuple[str, str], list[Record]], how: str) -> None:
    """One verdict for two words: the first was said under HOLD."""
    records = played["open_under_hold", how]
    assert [r["word"] for r in of_kind(records, "operator")] == ["open", "open", "quit"]
    assert [(v["item"], v["verdict"]) for v in of_kind(records, "verdict")] == [("F1", "fail")]


@BOTH
def test_open_is_not_taken_on_a_dead_link(played: dict[tuple[str, str], list[Record]], how: str) -> None:
    """No verdict at all."""
    assert of_kind(played["open_on_a_dead_link", how], "verdict") == []


@BOTH
def test_word_that_comes_late_answers_no_next_prompt(played: dict[tuple[str, str], list[Record]], how: str) -> None:
    """Both words are journaled; a line is taken as it comes, a key within 0.3 s of a prompt is not."""
    records = played["late_word", how]
    assert [r["word"] for r in of_kind(records, "operator")] == ["yes", "pass", "quit"]
    taken = {"unplug": "pass", "cell-out": "pass"} if how == "lines" else {"unplug": "pass"}
    assert verdicts(records) == taken
    assert bool(noted("came with a new prompt")(records)) is (how == "keys")
