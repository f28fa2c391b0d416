"""`metercap report` on sessions that the real program played on the practice bench."""

from __future__ import annotations

import hashlib
import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from metercap.commands import demo
from metercap.commands._pair import play_job
from metercap.practice.mat import load_job_scene
from tests.report.jobs import GOOD, GOOD_SCRIPT, ill, sitting


@pytest.fixture
def run(metercap: Any, bench: Any, monkeypatch: pytest.MonkeyPatch) -> Any:
    """Run `metercap report` in the bench's folder."""
    monkeypatch.chdir(bench)
    return lambda *args: metercap("report", *args)


def recorded(path: Any, kind: Any) -> Any:
    """Return a journal's records of one kind as plain JSON objects."""
    with path.open("rb") as journal:
        return [one for one in map(json.loads, journal) if one["kind"] == kind]


def test_beside_the_journal_and_never_over_a_file(run: Any, bench: Any) -> None:
    """Without --to it is b.html; a second time it is refused, and the first stays as it was."""
    assert run("b.jsonl") == (0, "report: b.html\n", "")
    before = (bench / "b.html").read_bytes()
    assert before.startswith(b"<!DOCTYPE html>")
    status, out, err = run("b.jsonl")
    assert (status, out) == (2, "") and "already exists" in err and "b.html" in err
    assert (bench / "b.html").read_bytes() == before
    assert not [path.name for path in bench.iterdir() if path.name.endswith(".part")]


def test_what_the_scene_broke_is_in_the_report(run: Any, bench: Any) -> None:
    """Open fuse, fuse beside a coil, weak cell, shorted winding, mis-set trimmer, starts: each with its evidence."""
    status, out, err = run("b.jsonl", "--text")
    assert (status, err) == (0, "")
    out = " ".join(out.split())
    before, after = [verdict for verdict in recorded(bench / "b.jsonl", "verdict") if verdict["item"] == "starts"]
    for words in (
        "Failed: fuses F7, F11; sensor-cable J3; backup BT1; clock. Unsure: coils K3. Everything was done.",
        "Practice bench: a simulated meter and board. No real unit was measured.",
        "open, by the operator's word",
        "2.187 kΩ ± 10.94 Ω",
        f"{before['k']} of {before['runs']} (95 %: ",
        f"{after['k']} of {after['runs']} (95 %: ",
        after["reason"],
        "Beside the known-good unit A",
        "never solder directly on it",
        "metercap defers to local codes and licensed practice and replaces neither.",
    ):
        assert words in out


def test_to_a_named_file_and_to_stdout(run: Any, bench: Any) -> None:
    """--to names another place, - is stdout; both are the same page, and text may go to a file too."""
    assert run("b.jsonl", "--to", "named.html")[0] == 0
    status, out, _ = run("b.jsonl", "--to", "-")
    assert (status, out) == (0, (bench / "named.html").read_text("utf-8"))
    assert run("b.jsonl", "--text", "--to", "b.txt") == (0, "report: b.txt\n", "")
    assert (bench / "b.txt").read_text("utf-8") == run("b.jsonl", "--text")[1]


def test_json(run: Any, bench: Any) -> None:
    """One object: the file's own hash, verdicts as the journal has them, the comparison, the cautions."""
    status, out, err = run("b.jsonl", "--json")
    assert (status, err, out.count("\n")) == (0, "", 1)
    found = json.loads(out)
    assert found["file"]["sha256"] == hashlib.sha256((bench / "b.jsonl").read_bytes()).hexdigest()
    last = recorded(bench / "b.jsonl", "verdict")
    assert {name: value for name, value in last[-1].items() if name != "crc"} in found["verdicts"]
    assert {verdict["item"] for verdict in found["verdicts"]} == {verdict["item"] for verdict in last}
    assert [row["item"] for row in found["adjusted"]] == ["RV1"]
    assert found["beside"][0]["odd"][0]["item"] == "F11"


def test_against_a_file(run: Any, bench: Any) -> None:
    """A known-good session or a learned reference; the same unit's own session is refused as in compare."""
    _, out, _ = run("b.jsonl", "--against", "a.jsonl", "--text")
    assert "Beside unit A" in out
    assert "known-good unit A\n-" not in out
    status, _, err = run("b.jsonl", "--against", "b.jsonl", "--text")
    assert (status, "same session" in err) == (2, True)
    status, _, err = run("b.jsonl", "--against", "nothing.jsonl", "--text")
    assert (status, "nothing.jsonl" in err) == (2, True)


def test_a_torn_journal(run: Any, bench: Any) -> None:
    """Cut in the middle of a record: the report is written, says what was lost, and stderr says it too."""
    data = (bench / "b.jsonl").read_bytes()
    (bench / "torn.jsonl").write_bytes(data[: len(data) // 2])
    status, out, err = run("torn.jsonl", "--text")
    assert status == 0
    assert "! The journal is torn: a record was cut off" in out
    assert "  open " in out and "- not done: " in out
    assert err.startswith("torn.jsonl: a record was cut off")
    assert run("torn.jsonl", "--to", "torn-report.html")[0] == 0


def test_bad_files_and_bad_usage(run: Any, bench: Any) -> None:
    """A damaged journal, one that is not there, a folder that is not there, two forms at once: 2, with the place."""
    data = (bench / "b.jsonl").read_bytes()
    (bench / "damaged.jsonl").write_bytes(data[:5000] + b"x" + data[5001:])
    status, _, err = run("damaged.jsonl")
    assert (status, "damaged.jsonl, line" in err) == (2, True)
    assert not (bench / "damaged.html").exists()
    for args, words in (
        (("missing.jsonl",), "missing.jsonl"),
        (("",), "cannot be read"),
        (("/",), "cannot be read"),
        (("b.jsonl", "--to", "x" * 5000), "cannot be written"),
        (("b.jsonl", "--to", "no/folder/b.html"), "no such folder"),
        (("b.jsonl", "--text", "--json"), "exclude each other"),
        (("b.jsonl", "--to", "a.jsonl"), "already exists"),
    ):
        status, out, err = run(*args)
        assert (status, out) == (2, "") and words in err


def test_the_demo_hands_the_report_over(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """In the job's folder where jinja2 is installed; otherwise the text form is named."""
    played = play_job(load_job_scene("gc8-pair"), tmp_path / "pair", speed=1000.0, plain=True)
    assert played.untrue == ()
    capsys.readouterr()
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    demo._hand_over(played)
    assert capsys.readouterr().out == f"its report:\n  metercap report {tmp_path / 'pair'} --text\n"
    monkeypatch.undo()
    demo._hand_over(played)
    assert capsys.readouterr().out == f"report:\n  {tmp_path / 'pair' / 'report.html'}\n"
    page = (tmp_path / "pair" / "report.html").read_text("utf-8")
    assert page.startswith("<!DOCTYPE html>") and "Side by side" in page


def test_the_page_is_the_same_under_any_hash_seed(bench: Any) -> None:
    """Nothing in it depends on the order of a set."""
    pages = []
    for seed in ("0", "4242"):
        command = [sys.executable, "-m", "metercap", "report", str(bench / "b.jsonl"), "--to", "-"]
        env = {"PYTHONHASHSEED": seed, "PATH": "", "PYTHONIOENCODING": "ascii"}
        pages.append(subprocess.run(command, capture_output=True, check=True, env=env).stdout)
    assert pages[0] == pages[1] and pages[0].startswith(b"<!DOCTYPE html>")


def test_several_journals_make_one_report(run: Any, bench: Any) -> None:
    """The known-good unit and the one in repair on one page: the pair first, as the scene has it, sums of both last."""
    status, out, err = run("b.jsonl", "a.jsonl", "--text")
    assert status == 0, err
    text = " ".join(out.split())
    assert "Side by side" in text and text.index("Side by side") < text.index("Unit B") < text.index("Signed")
    assert "of the good unit: turned by someone?" in text
    for name in ("a.jsonl", "b.jsonl"):
        assert hashlib.sha256((bench / name).read_bytes()).hexdigest() in out
    status, _, err = run("b.jsonl", "a.jsonl")
    assert status == 2 and "--to" in err
    assert run("b.jsonl", "a.jsonl", "--to", "pair.html") == (0, "report: pair.html\n", "")
    status, out, _ = run("b.jsonl", "a.jsonl", "--json")
    assert [unit["about"]["known_good"] for unit in json.loads(out)["units"]] == [False, True]


def test_two_sittings_of_one_unit_are_one_unit(run: Any, bench: Any, tmp_path: Any) -> None:
    """A copy that breaks off in the middle, and the whole: one unit, two sittings, told by the file that holds more."""
    whole = (bench / "b.jsonl").read_bytes()
    torn = tmp_path / "torn.jsonl"
    torn.write_bytes(whole[: len(whole) // 3])
    status, out, err = run(str(torn), "b.jsonl", "--json")
    assert status == 0 and "torn.jsonl" in err
    told = json.loads(out)
    assert [len(told["units"]), len(told["sittings"])] == [1, 2]
    assert told["units"][0]["open"] == []


def test_a_picture_goes_along(run: Any, bench: Any) -> None:
    """In the page as pixels, with nothing of its file but the name; one that is none is refused before anything."""
    from PIL import Image

    exif = Image.Exif()
    exif[0x010E] = "51.4779N"
    Image.new("RGB", (30, 20), (0, 90, 0)).save(bench / "B board.jpg", "JPEG", exif=exif)
    (bench / "no.jpg").write_text("no picture")
    assert run("b.jsonl", "--attach", "B board.jpg", "--to", "with.html")[0] == 0
    data = (bench / "with.html").read_text("utf-8")
    assert 'src="data:image/jpeg;base64,' in data and "B board.jpg" in data
    status, _, err = run("b.jsonl", "--attach", "no.jpg", "--to", "without.html")
    assert status == 2 and "no.jpg" in err
    assert not (bench / "without.html").exists()
    status, out, _ = run("b.jsonl", "a.jsonl", "--attach", "B board.jpg", "--to", "-")
    unit = out.index("Unit B")
    assert unit < out.index("B board.jpg", unit) < out.index("Signed")


@pytest.fixture
def job(metercap: Any, tmp_path: Any, monkeypatch: pytest.MonkeyPatch) -> Any:
    """Make a job of two units with their four journals, two pictures, and one file that calls itself one."""
    from PIL import Image

    monkeypatch.chdir(tmp_path)
    units = ("--unit", "L=GC-8 number 2", "--unit", "R=GC-8 number 1", "--known-good", "R", "--plan")
    more = ("greenhouse-controller", "--symptom", "L=vents stay shut")
    status, _, err = metercap("job", "new", "north house", *units, *more)
    assert status == 0, err
    folder = tmp_path / "north-house"
    ill(folder)
    sitting(folder, GOOD, 1, GOOD_SCRIPT, reason="done")
    Image.new("RGB", (30, 20)).save(folder / "L-front.jpg", "JPEG")
    Image.new("RGB", (30, 20)).save(folder / "Lid.png", "PNG")
    (folder / "R.jpg").write_text("<script>alert(1)</script>")
    return folder


def test_a_jobs_folder(run: Any, metercap: Any, job: Any) -> None:
    """Each unit as job.toml has it, over all its sittings, with the pictures that lie there; each report a new page."""
    status, out, err = metercap("report", str(job), "--text")
    text = " ".join(out.split())
    assert status == 0
    assert text.startswith("north house GC-8, L (GC-8 number 2), R (GC-8 number 1) L: 9 of 9 items good.")
    assert "Symptom vents stay shut" in text and "Unit R (GC-8 number 1), known good" in text
    assert text.index("Unit L") < text.index("picture: L-front.jpg") < text.index("Unit R")
    assert text.index("Pictures") < text.index("picture: Lid.png") < text.index("Signed")
    assert "picture R.jpg is left out" in err and "picture R.jpg is left out" in text
    for name in ("report.html", "report-2.html"):
        status, out, _ = metercap("report", str(job))
        assert (status, out) == (0, f"report: {job / name}\n")
        assert "alert(1)" not in (job / name).read_text("utf-8")


def test_a_job_by_its_title(metercap: Any, job: Any) -> None:
    """In the working folder, as `run` finds it; a title that nothing has is a file that is not there."""
    assert metercap("report", "north house", "--text")[1].startswith("north house\n")
    status, _, err = metercap("report", "north horse", "--text")
    assert status == 2 and "north horse" in err


def test_what_can_be_no_path_is_no_job(metercap: Any) -> None:
    """A name longer than any system takes is told in words."""
    for name in ("x" * 5000, "x" * 300):
        assert metercap("report", name, "--text")[0] == 2


def test_a_job_without_journals(metercap: Any, job: Any) -> None:
    """Nothing was measured yet, and that is said; no page is written."""
    for path in job.glob("*.jsonl"):
        path.unlink()
    status, _, err = metercap("report", str(job))
    assert status == 2 and "north house" in err
    assert not list(job.glob("*.html"))
