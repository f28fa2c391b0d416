"""The report of a job: what its owner reads first, over all sittings of each unit, and what stands behind it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import msgspec
import pytest
from scipy import stats

from metercap.errors import UsageError
from metercap.journal import iterate
from metercap.outcome import ASKED_AGAIN, fold
from metercap.plankeys import CellStep, ExerciseStep, Item, TrialsStep
from metercap.records import Verdict, VerdictKind
from metercap.report.document import Document, Facts, Para, Section, Table
from metercap.report.job import JobFindings, study_job
from metercap.report.jobpage import compose_job
from metercap.report.page import page
from metercap.report.story import Unit, in_words
from metercap.report.text import text_lines
from metercap.session.taken import Left, taken_over
from tests.report.jobs import CLOSED, GOOD, GOOD_SCRIPT, ILL, METER, OFF, RATE, ill, pair_of_units, sitting, touched
from tests.report.papers import HOSTILE, dipped, journal, lines, ramp, records, trimmers
from tests.report.test_findings import past_while_moving
from tests.report.test_page import Parsed
from tests.session.test_taken import PROOF
from tests.steps.bench_play import Play, fuses, safe, volts

Studied = tuple[JobFindings, tuple[Unit, ...]]


@pytest.fixture(scope="module")
def pair(tmp_path_factory: pytest.TempPathFactory) -> Studied:
    """The two controllers: one known good, one repaired in three sittings."""
    return pair_of_units(tmp_path_factory.mktemp("job"))


@pytest.fixture(scope="module")
def document(pair: Studied) -> Document:
    """Their report."""
    return compose_job(*pair)


def section(document: Document, begins: str) -> Section:
    """Return the section whose title begins so."""
    return next(each for each in document.sections if each.title.startswith(begins))


def facts(document: Document, begins: str) -> dict[str, Any]:
    """Return the facts of a unit's section."""
    return dict(next(block for block in section(document, begins).blocks if isinstance(block, Facts)).rows)


def rows(document: Document) -> dict[str, tuple[str, ...]]:
    """Return the rows of the units side by side."""
    block = next(block for block in document.sections[0].blocks if isinstance(block, Table))
    return {row.cells[0]: row.cells[1:] for group in block.groups for row in group.rows}


def every_row(document: Document) -> list[Any]:
    """Return the rows of all its tables."""
    tables = [block for part in document.sections for block in part.blocks if isinstance(block, Table)]
    return [row for table in tables for group in table.groups for row in group.rows]


def studied(*units: tuple[Any, Any], **more: Any) -> Studied:
    """Study a job of units and their journals."""
    return study_job("vent pair", "GC-8", units, program="metercap test", **more)


def test_the_order_of_its_parts(document: Document) -> None:
    """The pair first, then each unit, a place to sign, cautions; tables, and sittings with their checksums, last."""
    titles = [each.title for each in document.sections]
    assert titles[:5] == [
        "Side by side",
        "Unit L (GC-8 number 2)",
        "Unit R (GC-8 number 1), known good",
        "Signed",
        "Cautions",
    ]
    assert titles[5:7] == ["Everything measured on L (GC-8 number 2)", "Everything measured on R (GC-8 number 1)"]
    assert titles[-1] == "Sittings"
    assert [each.title for each in document.sections if each.anew] == [titles[5]]


def test_the_result_is_a_sentence_a_unit(document: Document) -> None:
    """How many items are good, and what is not, in so many words."""
    assert document.result == "L: 9 of 9 items good. R: 8 of 9 items good. Not decided: starts."


def test_what_differs_stands_side_by_side(document: Document) -> None:
    """Only what is not good and alike on both: each unit's own words, and what it says. 1860/2190 = 84.9 %."""
    found = rows(document)
    assert list(found) == ["fuses F3", "coils K2", "cover S1", "bridge RV1", "starts"]
    assert found["fuses F3"] == (
        "at first 330.1 Ω, allowed is at most 2 Ω; now good, 0.2 Ω",
        "good, 0.2 Ω",
        "L: failed, good now",
    )
    assert found["coils K2"][-1] == "L: 49.8 % of the good unit's"  # 80.1/161.0
    assert found["bridge RV1"] == (
        "found at 1.860 kΩ, left at 2.190 kΩ",
        "found at 2.190 kΩ",
        "L: found at 84.9 % of the good unit: turned by someone?",
    )
    more = [block.text for block in document.sections[0].blocks if isinstance(block, Para)]
    assert more == ["4 other items: good on both units."]


def said(verdict: str, **more: Any) -> str:
    """Return a verdict in ohms in words."""
    fields: dict[str, Any] = {"value": 0.4, "unit": "ohm", "resolution": 0.1, "max": 2.0, "expanded": 0.1} | more
    return in_words(Verdict(0.0, "s", "F1", VerdictKind(verdict), **fields))


def test_verdicts_in_words() -> None:
    """What was read, what is allowed, and what else decided; no U, no rule, no abbreviation."""
    assert said("pass") == "good, 0.4 Ω"
    assert said("fail", value=330.0) == "330.0 Ω, allowed is at most 2 Ω"
    assert said("fail", value=0.5, min=1.0) == "0.5 Ω, allowed 1 Ω to 2 Ω"
    assert said("fail", reason="2 dropouts, the longest 0.4 s") == "0.4 Ω, and 2 dropouts, the longest 0.4 s"
    assert said("unsure", value=1.9) == "1.9 Ω, allowed is at most 2 Ω: could not be decided"
    assert said("unsure", rule="reference", min=1.0) == "0.4 Ω, a good unit's reads 1 Ω to 2 Ω"
    assert said("fail", value=None, reason="open, by the operator's word") == "open, by the operator's word"
    assert said("unsure", value=None) == "could not be decided"
    assert said("fail", value=2.86, unit="V", resolution=0.01, max=None, min=3.1, condition="weak") == (
        "weak, 2.86 V, allowed is at least 3.1 V"
    )
    assert said("absent", value=None) == "not fitted"
    assert said("fail", k=9, runs=20, unit="", value=None) == "11 of 20 starts failed"
    assert said("unsure", k=3, runs=3, unit="", value=None) == "none of 3 starts failed, too few to tell"


def test_the_story_of_the_unit_in_repair(document: Document) -> None:
    """Symptom, found, done, open, noted: from three sittings, in words."""
    told = facts(document, "Unit L")
    assert told["Serial number"] == "0977"
    assert told["Symptom"] == ILL.symptom
    assert told["Found"] == (
        "Fuses F3: 330.1 Ω, allowed is at most 2 Ω",
        "Cover S1: 1 of 4 presses missed",
        "Starts: 2 of 3 starts failed",
        "Bridge RV1: stood at 1.860 kΩ",
    )
    assert told["Done"] == (
        "Mended: new relay",
        "Cover S1 cleaned and tried again",
        "Bridge RV1 turned from 1.860 kΩ to 2.190 kΩ",
    )
    assert told["Left open"] == ("nothing",)
    assert told["Noted"] == ("Fuse F3 replaced",)
    assert "Parts" not in told and "Accepted" not in told


def test_proof_in_plain_words(document: Document) -> None:
    """By scipy: Fisher's one-sided p of 1 of 3 before and 29 of 29 after, and the one-sided limit of 29 of 29."""
    told = "; ".join(facts(document, "Unit L")["Proof"])
    p = stats.fisher_exact([[1, 2], [29, 0]], "less").pvalue
    least = stats.beta.ppf(0.05, 29, 1)
    assert "it has changed: had nothing changed, chance alone would do that once in 170 times" in told
    assert f"at 95 % confidence at least {int(100 * least)} of 100 will go well" in told
    assert (round(1 / p, -1), int(100 * least)) == (170, 90)
    assert "Failed at first, measured again, and good now: fuses F3" in told
    # four presses prove next to nothing, and that is said before the number: 0.05^(1/4) = 0.473
    assert "better, not proved" in told and "so few prove little: at 95 % confidence at least 47 of 100" in told


def test_time_on_the_bench_is_that_of_all_sittings(pair: Studied) -> None:
    """Each step from its first question to the next step's: together about as long as the sittings lasted."""
    (unit, _), _ = pair[0].units, pair[1]
    lasted = sum(one.lasted_s for one in pair[0].sittings if one.unit == "L")
    assert sum(unit.story.bench_s.values()) == pytest.approx(lasted, abs=1.0)
    assert list(unit.story.bench_s) == ["intake", "fuses", "coils", "cover", "bridge", "starts"]
    assert unit.story.bench_s["fuses"] > 5.0


def test_nothing_reads_not_done_that_another_sitting_holds(tmp_path: Path) -> None:
    """Every sitting of L leaves most of the plan out; together they leave nothing, each by itself much."""
    paths = ill(tmp_path)
    found, _ = studied((ILL, paths))
    assert found.units[0].story.undone == ()
    assert found.units[0].open == ()
    for path in paths[:2]:
        alone, _ = studied((ILL, [path]))
        assert ("starts", "starts") in alone.units[0].story.undone
    text = "\n".join(text_lines(compose_job(*studied((ILL, paths)))))
    assert "not done" not in text.casefold()
    assert "from session" not in text  # a verdict that was taken over is told where it was given


def test_what_was_decided_before_stands_below_over_sittings(document: Document) -> None:
    """F3 of the first sitting is a quiet row below F3 of the second."""
    block = section(document, "Everything measured on L").blocks[0]
    assert isinstance(block, Table)
    cells = [(row.cells[0][:9], row.cells[1], row.quiet) for group in block.groups for row in group.rows]
    place = cells.index(("F3", "pass", False))
    assert cells[place + 1] == ("before it", "fail", True)


def test_sittings_come_with_their_checksums(pair: Studied, document: Document) -> None:
    """Every journal: its unit, how it ended, its hash as any other program finds it."""
    block = next(block for block in section(document, "Sittings").blocks if isinstance(block, Table))
    names = [(row.cells[0], row.cells[1]) for group in block.groups for row in group.rows]
    assert names == [("002-L.jsonl", "L"), ("003-L.jsonl", "L"), ("004-L.jsonl", "L"), ("001-R.jsonl", "R")]
    assert all(len(row.cells[-1]) == 64 for group in block.groups for row in group.rows)


def test_a_damaged_journal_is_named_and_the_rest_is_told(tmp_path: Path) -> None:
    """A byte changed in the second sitting: what stands before it counts, and the report says so."""
    paths = list(ill(tmp_path))
    data = bytearray(paths[1].read_bytes())
    middle = len(data) // 2
    data[middle] ^= 1
    paths[1].write_bytes(data)
    (tmp_path / "005-L.jsonl").write_text("no journal\n")
    (tmp_path / "006-L.jsonl").mkdir()
    more = [tmp_path / f"{n:03d}-L.jsonl" for n in (5, 6, 7)]
    found, units = studied((ILL, [*paths, *more]))
    named = [warning.split(" is ")[0] for warning in found.warnings]
    assert named == ["003-L.jsonl", "005-L.jsonl", "006-L.jsonl", "007-L.jsonl"]
    assert [one.file.state for one in found.sittings] == ["closed", "damaged", "closed"]
    assert found.units[0].story.good >= 5
    text = "\n".join(text_lines(compose_job(found, units)))
    assert "003-L.jsonl is damaged" in text and "005-L.jsonl is passed over" in text


def test_no_journal_at_all_is_said(tmp_path: Path) -> None:
    """A job whose units were never measured has no report; one unit of two that was not is told as such."""
    with pytest.raises(UsageError):
        studied((ILL, []), (GOOD, []))
    sitting(tmp_path, GOOD, 1, GOOD_SCRIPT, reason="done")
    document = compose_job(*studied((ILL, []), (GOOD, [tmp_path / "001-R.jsonl"])))
    assert document.result.startswith("L: it was not measured. R: ")


def test_what_was_accepted_counts_as_good_and_is_told(tmp_path: Path) -> None:
    """A blown fuse that stays: accepted with its reason, in the sentence, in the row, and among the unit's facts."""
    play = Play(fuses(2), rate=RATE)(f"OL*6 {touched('0.2')}330.1*8 {OFF}330.1*8 {OFF}")
    told = msgspec.structs.replace(play.verdicts["F2"], accepted="not fitted in this variant")
    path = tmp_path / "001-L.jsonl"
    path.write_bytes(lines([*records(play), told]))
    document = compose_job(*studied((ILL, [path])))
    assert document.result == "L: 2 of 2 items good, 1 of them accepted as they are."
    told_of = facts(document, "Unit L")
    assert told_of["Accepted"] == ("Fuses F2: 330.1 Ω, allowed is at most 2 Ω; accepted: not fitted in this variant",)
    assert told_of["Left open"] == ("nothing",)
    cells = rows(document)["fuses F2"]
    assert cells[-1] == "accepted as it is, not fitted in this variant"
    assert cells[0] == "330.1 Ω, allowed is at most 2 Ω", "measured once: no at first and now"
    assert "before it" not in repr([row.cells for row in every_row(document)])


def test_a_switch_that_failed_and_was_accepted_proves_nothing(tmp_path: Path) -> None:
    """Counted in one round, two of four presses missed: no before and after in it, and no proof."""
    play = Play(ExerciseStep(id="cover", items=(Item("S1"),), presses=4, max=2.0), rate=RATE)(
        f"{CLOSED}{CLOSED}:missed=2 OL*9 :no :accept=S1_spare_ordered"
    )
    document = compose_job(*studied((ILL, [journal(tmp_path, play)])))
    assert rows(document)["cover S1"][0] == "2 of 4 presses missed"
    assert facts(document, "Unit L")["Proof"] == ("Cover S1: 2 of 4 presses missed; no proof of a repair",)


def test_a_trimmer_left_past_its_limit_leads(tmp_path: Path) -> None:
    """The first sentence, and the first line of the unit: it must be turned back before the unit is powered."""
    document = compose_job(*studied((ILL, [journal(tmp_path, dipped(back=False), reason="quit")])))
    assert document.result.startswith("L: RV1 stands past its hazard limit. It must be turned back")
    block = section(document, "Unit L").blocks[0]
    assert isinstance(block, Para) and block.loud and "must be turned back" in block.text
    assert "STANDS PAST ITS HAZARD LIMIT" in rows(document)["bridge RV1"][-1]


def test_a_way_past_the_limit_is_told_though_it_came_back(tmp_path: Path) -> None:
    """The path from 2.187 kΩ to 1.502 kΩ led past 1.2 kΩ, down to 1.107 kΩ."""
    done = facts(compose_job(*studied((ILL, [journal(tmp_path, dipped())]))), "Unit L")["Done"]
    past = "Bridge RV1 was past its hazard limit once while it was turned, at worst 1.107 kΩ beside 1.2 kΩ"
    assert done == (past, "Bridge RV1 turned from 2.187 kΩ to 1.502 kΩ")


def test_the_worst_of_several_ways_past_the_limit_is_told(tmp_path: Path) -> None:
    """Down to 1.107 kΩ, back, and a second time to 1.150 kΩ: twice, the first one is the worse."""
    play = dipped(back=False)(f"{ramp(1210, 1400, 40)} {ramp(1370, 1200, -45)} 1.150k*3 {ramp(1210, 1500, 40)}")
    done = facts(compose_job(*studied((ILL, [journal(tmp_path, play("1.502k*30 OL*9"))]))), "Unit L")["Done"]
    assert (
        done[0] == "Bridge RV1 was past its hazard limit 2 times while it was turned, at worst 1.107 kΩ beside 1.2 kΩ"
    )


def test_a_trimmer_that_was_not_read_as_found_is_told(tmp_path: Path) -> None:
    """It was already moving, and was skipped: found is why nothing was read; one that was read stands there once."""
    path = journal(tmp_path, past_while_moving()("OL*9 :skip :skip"), reason="quit")
    (found,) = facts(compose_job(*studied((ILL, [path]))), "Unit L")["Found"]
    assert found == "Bridge RV1: skipped; as found not read: it was already moving"
    left = f"OL*6 2.187k*5 {ramp(2187, 1900, -30)} 1.900k*30 OL*9 :skip :skip"
    path = journal(tmp_path, Play(trimmers(), rate=RATE)(left), "c.jsonl", reason="quit")
    assert facts(compose_job(*studied((ILL, [path]))), "Unit L")["Found"] == ("Bridge RV1: stood at 2.187 kΩ",)


def test_a_second_attempt_proves_less(tmp_path: Path) -> None:
    """A fix that failed, then another: nothing is said of what will go well, but that it took two attempts."""
    script = ":fail :fail :fail :fixed=a_relay :fail :fixed=a_clip " + ":pass " * 40
    play = Play(TrialsStep(id="starts", runs=3), rate=RATE)(script)
    (told,) = facts(compose_job(*studied((ILL, [journal(tmp_path, play)]))), "Unit L")["Proof"]
    assert told.endswith("it took 2 attempts, so it proves less than a first one would")
    assert "of 100 will go well" not in told


def test_of_a_good_unit_nothing_is_proved(document: Document) -> None:
    """It was never mended, so its presses and starts are no proof of a fix."""
    assert "Proof" not in facts(document, "Unit R")


def test_trimmers_that_are_alike_are_not_told(tmp_path: Path) -> None:
    """Another unit, found at what the good one reads: nobody turned it, and it has no row on the first page."""
    sitting(tmp_path, GOOD, 1, GOOD_SCRIPT, reason="done")
    sitting(tmp_path, msgspec.structs.replace(ILL, known_good=False), 2, GOOD_SCRIPT, reason="done")
    document = compose_job(*studied((ILL, [tmp_path / "002-L.jsonl"]), (GOOD, [tmp_path / "001-R.jsonl"])))
    assert list(rows(document)) == ["starts"]


def test_what_fails_is_not_measured_by_the_good_unit_as_well(tmp_path: Path) -> None:
    """The blown fuse reads 1650 times the good one's: its limit says enough."""
    first, *_ = ill(tmp_path)
    sitting(tmp_path, GOOD, 1, GOOD_SCRIPT, reason="done")
    document = compose_job(*studied((ILL, [first]), (GOOD, [tmp_path / "001-R.jsonl"])))
    assert rows(document)["fuses F3"][-1] == "L: fails"


def test_parts_are_listed(tmp_path: Path) -> None:
    """What `replaced` entered, once however often it was said."""
    play = Play(trimmers(), rate=RATE)("OL*6")
    play.session.bench.replaced("RV1", "10-turn, 5 kohm")
    note = play.session.bench.take()
    path = tmp_path / "001-L.jsonl"
    path.write_bytes(lines([*records(play), *note]))
    assert facts(compose_job(*studied((ILL, [path]))), "Unit L")["Parts"] == ("RV1 (bridge): 10-turn, 5 kohm",)


def test_a_waived_proof_is_told_loudly(tmp_path: Path) -> None:
    """Ohms of a unit that nobody proved dead: the first thing that its owner reads of it, with the reason."""
    play = Play(safe("C12"), fuses(1), rate=RATE)(f"1.52V*3 :skip_step OL*6 :waive=cold_for_a_week {touched('0.2')}")
    document = compose_job(*studied((ILL, [journal(tmp_path, play)])))
    (told,) = [block for block in section(document, "Unit L").blocks if isinstance(block, Para) and block.loud]
    assert told.text.endswith("proof that the unit is dead, by the operator's word: cold for a week.")


def test_a_cell_that_was_replaced(tmp_path: Path) -> None:
    """What the old one read, what the new one reads, and the part itself."""
    step = CellStep(id="backup", items=(Item("BT1", connected="removed"),))
    script = "0.000V*6 1.500V*4 :replaced=lithium_coin_cell 0.000V*8 3.210V*4 0.000V*4"
    told = facts(compose_job(*studied((ILL, [journal(tmp_path, Play(step, rate=RATE)(script))]))), "Unit L")
    assert told["Found"] == ("Backup BT1: spent, 1.500 V, allowed is at least 3.1 V",)
    assert told["Done"] == ("Backup BT1 replaced, from 1.500 V to 3.210 V",)
    assert told["Parts"] == ("BT1 (backup): lithium coin cell",)
    assert told["Left open"] == ("nothing",)


def test_units_of_other_plans_stand_alone(tmp_path: Path) -> None:
    """Two models on one bench are not compared; each has its story, and why they are not set side by side is said."""
    one = journal(tmp_path, Play(fuses(2), rate=RATE, id="a")(f"OL*6 {touched('0.2', '0.2')}"), "001-L.jsonl")
    play = Play(trimmers(), rate=RATE, id="b")(f"OL*6 2.187k*5 {ramp(2187, 1500, -30)} 1.502k*30 OL*9")
    play.record = msgspec.structs.replace(play.record, plan=play.record.plan | {"model": "GC-9"})
    other = tmp_path / "002-R.jsonl"
    other.write_bytes(lines([play.record, *records(play)[1:]]))
    found, units = studied((ILL, [one]), (GOOD, [other]))
    assert found.beside == ()
    assert any("not set side by side" in warning for warning in found.warnings)
    assert compose_job(found, units).sections[1].title.startswith("Unit L")


def test_hostile_texts_stay_texts(tmp_path: Path) -> None:
    """Title, tag, name, serial, symptom, notes, file names: nothing becomes markup, nothing drives a terminal."""
    hostile = msgspec.structs.replace(
        ILL, tag=HOSTILE, name=HOSTILE + "n", serial=HOSTILE, symptom=HOSTILE, known_good=False
    )
    play = Play(fuses(2), rate=RATE, unit=HOSTILE)(f"OL*6 {touched('0.2')}")
    path = journal(tmp_path, play)
    document = compose_job(*study_job(HOSTILE, HOSTILE, [(hostile, [path])], program=HOSTILE))
    parsed = Parsed(page(document))
    assert not [tag for tag, _ in parsed.elements if tag in ("script", "img", "iframe", "a", "link")]
    assert not [name for _, attrs in parsed.elements for name in attrs if name.startswith("on")]
    text = "\n".join(text_lines(document))
    assert "\x1b" not in text and "\u202e" not in text and "\x00" not in text


def test_json_holds_what_the_page_says(pair: Studied) -> None:
    """The data behind it can be encoded, and has the story, every verdict and every checksum."""
    data = msgspec.json.decode(msgspec.json.encode(pair[0]))
    assert data["units"][0]["story"]["good"] == 9
    assert {verdict["item"] for verdict in data["units"][0]["verdicts"]} >= {"F1", "K2", "S1", "RV1", "starts"}
    assert len(data["sittings"]) == 4


def test_print_has_no_fixed_paper_and_no_last_line_alone(document: Document) -> None:
    """A4 and Letter alike: no paper is named; details begin a page; the closing line stays with the last rows.

    CSS Paged Media and Fragmentation (W3C): `break-before: page`, `break-after: avoid`, `orphans`, `widows`.
    """
    text = page(document)
    assert "size: A4" not in text
    assert text.count('<section class="anew">') == 1
    for rule in (
        "section.anew { break-before: page; }",
        "section:has(+ .anew) > :last-child",
        "li:nth-last-child(2), li:nth-last-child(3), tbody tr:nth-last-child(2)",
        "footer { break-before: avoid;",
        "widows: 3",
    ):
        assert rule in text


def test_what_is_asked_for_again_is_counted_once(tmp_path: Path) -> None:
    """F1 was ticked and gone back to: of 9 items intake and F2 are good, and 7 are not done, F1 among them."""
    sitting(tmp_path, ILL, 2, f":yes {touched('0.2', '0.2')}:at=F1")
    found, units = studied((ILL, [tmp_path / "002-L.jsonl"]))
    told = found.units[0].story
    of = [told.failing, told.unsure, told.undone]
    assert (told.points, told.good, [len(keys) for keys in of]) == (9, 2, [0, 0, 7])
    assert ("fuses", "F1") in told.undone
    measured = section(compose_job(found, units), "Everything measured").blocks[0]
    assert isinstance(measured, Table)
    (line,) = [row for group in measured.groups for row in group.rows if row.cells[0] == "F1"]
    assert ASKED_AGAIN in " ".join(line.cells)


def test_a_proof_that_power_has_voided_is_not_done(tmp_path: Path) -> None:
    """The report says what `job show` says of the last sitting: dead is to be proved anew, and is not counted good."""
    steps = (safe("C12"), fuses(2), volts("TP1", power="on"))
    first = Play(*steps, rate=RATE, tag="L", profile=METER, id="L 1")(PROOF + ":to=check :take=R")
    bench = first.session.bench
    assert bench.verdicts["dead", "dead"].verdict == "pass"
    left = Left(first.session, "L 1", bench.verdicts, -first.t_s, here=True)
    handed = taken_over(left, steps, {}, None).as_builtins()
    second = Play(*steps, rate=RATE, tag="L", profile=METER, id="L 2", inherited=handed)("OL*3 :quit")
    names = ("001-L.jsonl", "002-L.jsonl")
    for play, name in zip((first, second), names, strict=True):
        journal(tmp_path, play, name, reason="quit")
    found, _ = studied((ILL, [tmp_path / name for name in names]))
    told = found.units[0].story
    assert (told.points, told.good) == (5, 0)
    last = fold(iterate(tmp_path / "002-L.jsonl"))
    assert told.undone == tuple((each.step, each.item) for each in last.open)
