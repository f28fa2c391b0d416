"""The parts of a report about the session: facts, what must be known first, open and skipped, trimmers, counts, log."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import msgspec
import pytest

from metercap.plan import from_builtins
from metercap.plankeys import ExerciseStep, Item, TrialsStep
from metercap.records import Operator
from metercap.report import study
from metercap.report.document import Facts, Listing, Para, Picture, Table
from metercap.report.gather import MOST_FIRST, MOST_LAST
from metercap.report.sections import counts, facts, left_open, log, result, warnings
from metercap.session.inherit import inherited_from
from tests.report.papers import dipped, journal, lines, records, report, studied, swept
from tests.steps.bench_play import Play, confirm, fuses, meter, safe

TRIALS = TrialsStep(id="starts", runs=20)
FAILED = ":pass " * 12 + ":fail " * 8


def section(document: Any, title: Any) -> Any:
    """Return a part of a report by its title."""
    return next(one for one in document.sections if one.title == title)


def of(blocks: Any, kind: Any) -> Any:
    """Return the blocks of one kind."""
    return [block for block in blocks if isinstance(block, kind)]


def rows(part: Any) -> Any:
    """Return the rows of a part's only table."""
    (table,) = of(part.blocks, Table)
    return [row.cells for group in table.groups for row in group.rows]


def test_facts(tmp_path: Path) -> None:
    """Unit, operator, when, plan, meter, rate, program, journal, each as the first record has it."""
    play = swept(operator="Ilse", known_good=True, tag="B", zone_offset_s=3600, identity="serial 12")
    found, gathered = studied(tmp_path, play)
    said = dict(facts(found, gathered.fold.plan).rows)  # type: ignore[arg-type]
    assert said["Unit"] == "GC-8 number 2 (tag B), marked known good"
    assert said["Plan"] == "Climate controller, main board, model GC-8; 2 steps, rule guarded where a step names none"
    assert said["Operator"] == "Ilse"
    assert said["Started"] == "2026-03-01 10:00:00 local time (UTC+01:00), 09:00:00 UTC"
    assert said["Ended"].startswith("2026-03-01 10:00:") and said["Ended"].endswith("run to its end")
    assert said["Meter"] == "profile test (text); serial 12"
    assert said["Rate"] == "5 conversions a second"
    assert said["Readings"] == f"{len(play.events) - 4} of resistance"  # four words
    assert said["Program"] == "recorded by test, reported by metercap test"
    assert said["Journal"].startswith(f"b.jsonl, {found.file.bytes} bytes, intact and closed")
    assert said["SHA-256"] == found.file.sha256


def test_a_waived_proof_is_told_first(tmp_path: Path) -> None:
    """By which word ohms were measured all the same; a proof that was made says nothing."""
    script = "1.52V*3 :skip_step OL*6 :waive=cold_for_a_week OL*6 9 0.2*4 OL*6"
    said = [para.text for para in warnings(studied(tmp_path, Play(safe("C12"), fuses(1), rate=5.0)(script))[0])]
    assert [text for text in said if "without proof" in text] == [
        "Ohms were measured without proof that the unit is dead, by the operator's word: cold for a week."
    ]


@pytest.mark.parametrize(
    ("script", "said"),
    [
        (":pass :pass :fail :pass", "1 of 4 starts failed"),
        (FAILED + ":fixed=new_relay :pass :pass", "8 of 20 starts failed before the fix, 2 passed after the fix"),
    ],
)
def test_starts_of_an_unfinished_run_are_said(tmp_path: Path, script: Any, said: str) -> None:
    """Four starts, one failed, then quit: "nothing was decided" alone would hide it, here and where it goes on."""
    play = Play(TRIALS)(script)
    handed = inherited_from(play.session.bench, "continue", "s1").as_builtins()
    for each in (play, Play(TRIALS, inherited=handed)):
        found = studied(tmp_path, each(":quit"), reason="quit")[0]
        assert f"Counted so far, starts: {said}" in result(found)
        assert any(line.startswith(f"counted so far, starts: {said}") for line in left_open(found).blocks[0].lines)


def test_presses_of_an_unfinished_exercise_are_said(tmp_path: Path) -> None:
    """Three presses, the second silent, a fourth one silent and undecided, then quit; and before that one round."""
    switch = ExerciseStep(id="cover", items=(Item("S1"),), presses=5)
    press, silent = "0.3*3 OL*3 ", "OL*22 "
    play = Play(switch, rate=5.0)("OL*3 " + press + silent + press + silent + ":quit")
    said = "1 of 3 presses missed, 1 silent and undecided"
    assert f"Counted so far, cover S1: {said}." in result(studied(tmp_path, play, reason="quit")[0])


def test_a_stated_rate_is_said(tmp_path: Path) -> None:
    """`--rate` is a claim of the operator's."""
    play = Play(fuses(1), profile=meter(7.0), options={"rate": 7.0})
    found, gathered = studied(tmp_path, play, reason="quit")
    assert dict(facts(found, gathered.fold.plan).rows)["Rate"] == "7 conversions a second (stated with --rate)"  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"options": {"practice": "gc8-b", "steps": []}}, "Practice bench: a simulated meter and board."),
        ({"options": {"no_safe": True}}, "The proof that the unit is dead was waived (--no-safe)."),
        ({"options": {"steps": ["fuses"]}}, "Only some steps were run. Not run: battery out."),
        ({"inherited": {"how": "after", "session": "s0"}}, "This session comes after session s0 of the same unit."),
        ({"inherited": {"how": "job", "session": "s0"}}, "This session goes on with session s0 of the same unit."),
    ],
)
def test_what_must_be_known_first(tmp_path: Path, more: Any, words: str) -> None:
    """Practice, a waived proof, steps left out, an earlier session: before anything else."""
    found, _ = studied(tmp_path, Play(confirm(), fuses(1), **more), reason="quit")
    assert [one.text for one in warnings(found) if one.text.startswith(words)]


def test_a_torn_file_is_said_first_and_loud(tmp_path: Path) -> None:
    """What was lost stands at the top."""
    path = tmp_path / "b.jsonl"
    path.write_bytes(lines(records(swept()))[:-40])
    found, _ = study(path, program="x")
    (first, *_) = warnings(found)
    assert first.loud and first.text.startswith("The journal is torn: a record was cut off after")


def test_the_result_in_a_sentence(tmp_path: Path) -> None:
    """How many, which failed, which are open."""
    assert (
        result(studied(tmp_path, swept())[0])
        == "4 items decided: 3 pass, 1 fail. Failed: fuses F3. Everything was done."
    )
    quit_ = studied(tmp_path, Play(confirm(), fuses(9))(":yes"), reason="quit")[0]
    assert result(quit_) == "1 item decided: 1 pass. Not done: fuses F1..F9."
    assert result(studied(tmp_path, Play(fuses(2)))[0]) == "Nothing was decided. Not done: fuses F1, F2."
    assert result(studied(tmp_path, Play())[0]) == "A free trace: nothing was judged."


def test_open_and_skipped(tmp_path: Path) -> None:
    """Each reason once, with its items; where there is none that is said too."""
    play = Play(confirm(), fuses(4), rate=5.0, options={"steps": ["fuses"]})("OL*6 :skip OL*6 0.2*6 OL*9")
    found, _ = studied(tmp_path, play, reason="quit")
    (listing,) = left_open(found).blocks
    assert listing.lines == (
        "not done: fuses F1, F3, F4",
        "skipped first, not done since: fuses F1",
        "not run: battery out",
    )
    (para,) = left_open(studied(tmp_path, Play(confirm())(":yes"))[0]).blocks
    assert para == Para("Everything was done, and nothing was skipped.")


def test_trimmers_with_their_excursions(tmp_path: Path) -> None:
    """As found, as left, how far past the limit, for how long and when; the trace below."""
    part = section(report(tmp_path, dipped()), "Trimmers, as found and as left")
    ((name, verdict, found, target, left, past),) = rows(part)
    assert (name, verdict, found, left) == ("bridge RV1", "pass", "2.187 kΩ", "1.502 kΩ")
    assert target == "1.500 kΩ ± 15 Ω"
    assert past == "1.107 kΩ, 0.6 s below 1.2 kΩ at 0:05"
    assert len(of(part.blocks, Picture)) == 1


def test_counts_before_and_after(tmp_path: Path) -> None:
    """12 of 20, then 29 of 29 after the fix: changed and reliable. Intervals: Clopper-Pearson.

    36.1 % to 80.9 % for 12 of 20 is what scipy gives (beta.ppf), 38.7 % to 78.1 % statsmodels' proportion_confint for
    Wilson's score, which covers on average where the exact one covers at least; Fisher's p of (12, 8) against (29, 0),
    one-sided, is 0.000279 by scipy.stats.fisher_exact.
    """
    play = Play(TRIALS)(FAILED + ":fixed=new_relay " + ":pass " * 29)
    found, gathered = studied(tmp_path, play)
    part = counts(found, gathered.fold.plan)  # type: ignore[arg-type]
    ((name, before, last, proof),) = rows(part)
    assert name == "starts"
    assert before == "12 of 20 (95 %: exact 36.1 % to 80.9 %, Wilson 38.7 % to 78.1 %)"
    assert last == "29 of 29 (95 %: exact 88.1 % to 100 %, Wilson 88.3 % to 100 %)"
    assert proof.startswith("changed (p = 0.000279, Fisher, one-sided); changed and reliable: 29 starts in a row")


def test_counts_without_proof(tmp_path: Path) -> None:
    """Three passes are no proof; a run without one before it has nothing to compare with."""
    few = studied(tmp_path, Play(TRIALS)(FAILED + ":fixed=new_relay " + ":pass " * 3 + ":skip"))
    ((_, _, _, proof),) = rows(counts(few[0], few[1].fold.plan))  # type: ignore[arg-type]
    assert proof.startswith("no proof of a change (p = ")
    alone = studied(tmp_path, Play(TRIALS)(FAILED + ":no"))
    ((_, before, _, proof),) = rows(counts(alone[0], alone[1].fold.plan))  # type: ignore[arg-type]
    assert (before, proof[:22]) == ("none", "nothing before it to c")
    assert counts(*_pair(studied(tmp_path, swept()))) is None


def _pair(both: Any) -> Any:
    found, gathered = both
    return found, gathered.fold.plan


def test_log_in_order_of_time(tmp_path: Path) -> None:
    """Local time, session time, who, what; equal words in a row are drawn together."""
    found, gathered = studied(tmp_path, Play(TRIALS, zone_offset_s=3600)("+60 " + FAILED + ":fixed=new_relay"))
    said = rows(log(found, gathered.log.cut))
    assert said[0] == ("10:01:00", "1:00", "operator", "pass, 12 times, the last at 1:00 (starts)")
    assert said[2][3] == "fixed new relay"
    assert said[3][2:] == ("program", said[3][3]) and "runs after the fix begin" in said[3][3]
    (part,) = log(studied(tmp_path, Play(confirm()))[0], 0).blocks
    assert part == Para("Nothing was said or noted.")


def test_a_log_too_long_says_how_much_is_left_out(tmp_path: Path) -> None:
    """Five thousand remarks: the first and the last, and how many lie between, in their place."""
    play = Play(confirm())
    found = [*records(play), *(Operator(float(n), "note", f"no {n}") for n in range(1, 5001))]
    (tmp_path / "b.jsonl").write_bytes(lines(found, reason="quit"))
    said, gathered = study(tmp_path / "b.jsonl", program="x")
    texts = [row[3] for row in rows(log(said, gathered.log.cut))]
    assert len(texts) == MOST_FIRST + 1 + MOST_LAST
    assert texts[MOST_FIRST] == "3000 entries are left out here; the journal has them"
    assert (texts[MOST_FIRST - 1], texts[MOST_FIRST + 1], texts[-1]) == ("note no 1500", "note no 4501", "note no 5000")


def test_a_whole_report_has_its_parts(tmp_path: Path) -> None:
    """In the order in which they are read; what a session does not have is not there."""
    titles = [part.title for part in report(tmp_path, swept()).sections]
    assert titles == [
        "Session", "Verdicts", "Not done and skipped", "Contacts of the sweeps", "Said and noted",
        "What this meter cannot see", "Cautions",
    ]  # fmt: skip
    assert [part.title for part in report(tmp_path, dipped()).sections][3] == "Trimmers, as found and as left"
    trace = [part.title for part in report(tmp_path, Play(rate=5.0)("2.000k*5")).sections]
    assert trace == ["Session", "Trace", "Said and noted", "What this meter cannot see", "Cautions"]


def test_a_free_trace_is_drawn(tmp_path: Path) -> None:
    """Readings without steps: their curve and their extremes. Without any value that is said."""
    record, *_ = records(Play())
    events = records(Play(fuses(1), rate=5.0)("2.000k*5 2.100k*5"))[1:]
    found = [record, *(one for one in events if type(one).__name__ == "Reading")]
    (tmp_path / "b.jsonl").write_bytes(lines(found, reason="quit"))
    document = _composed(tmp_path / "b.jsonl")
    (picture,) = section(document, "Trace").blocks
    assert picture.says[0].endswith("lowest 2.000 kΩ at 0:00, highest 2.100 kΩ at 0:01")
    (tmp_path / "c.jsonl").write_bytes(lines([record], reason="quit"))
    assert section(_composed(tmp_path / "c.jsonl"), "Trace").blocks == (Para("No reading with a value was recorded."),)


def _composed(path: Any) -> Any:
    from metercap.report import compose

    return compose(*study(path, program="x"))


def test_cautions_and_the_closing_line(tmp_path: Path) -> None:
    """The usual ones, the plan's own under a line of their own, and who has the last word."""
    document = report(tmp_path, Play(fuses(1, cautions=("F1 is hot.",)), rate=5.0)("OL*6 0.2*6 OL*9"))
    usual, own = of(section(document, "Cautions").blocks, Listing)
    assert any("same rating and type" in line for line in usual.lines)
    assert own.lines == ("F1 is hot.",)
    assert document.closing == "metercap defers to local codes and licensed practice and replaces neither."


def test_odd_records_do_not_stop_a_report(tmp_path: Path) -> None:
    """Times far beyond any session, a start that is no time: the report is still written."""
    first, *rest = records(swept())
    odd = [msgspec.structs.replace(first, start_utc="no time"), *rest, Operator(1e300, "note", "late")]
    (tmp_path / "b.jsonl").write_bytes(lines(odd, closed=False))
    document = _composed(tmp_path / "b.jsonl")
    (said,) = of(section(document, "Session").blocks, Facts)
    assert dict(said.rows)["Started"] == "no time"


def test_the_path_of_the_journal_is_not_in_the_report(tmp_path: Path) -> None:
    """A customer's file says nothing about the folders of the bench."""
    path = journal(tmp_path, swept())
    assert str(tmp_path) not in str(_composed(path))


def test_a_standing_excursion_leads_the_report(tmp_path: Path) -> None:
    """Quit while the trimmer stands past its limit: before the counts and every other warning, with its worst."""
    play = dipped(back=False)(":quit")
    found, _ = studied(tmp_path, play)
    said = "RV1 stands below its hazard limit of 1.2 kΩ; the worst seen is 1.107 kΩ."
    assert result(found).startswith(said)
    first = next(warnings(found))
    assert first.loud and first.text.startswith(said)
    assert found.standing[0].item == "RV1"
    assert studied(tmp_path, dipped())[0].standing == ()


def test_a_units_first_sitting_in_a_job_takes_over_nothing_of_its_own(tmp_path: Path) -> None:
    """It may have the leads from another unit: no session is named where there is none."""
    found, _ = studied(tmp_path, Play(fuses(1), inherited={"how": "job"}), reason="parked")
    assert not [para.text for para in warnings(found) if "of the same unit" in para.text]
    assert dict(facts(found, from_builtins(found.session.plan)).rows)["Ended"].endswith(": parked, for another unit")
