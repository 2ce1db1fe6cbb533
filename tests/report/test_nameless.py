"""No name of a person is left in a stripped copy, nor copied to any result; the data stay bit for bit."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import ezc3d
import numpy as np
import pytest
from command import jointload

from jointload.analysis import analyse
from jointload.errors import OutputError, RecordingError
from jointload.intake.c3d import read_recording
from jointload.intake.c3d_bytes.guard import read_structure
from jointload.intake.c3d_bytes.layout import read_layout
from jointload.intake.session import read_session
from jointload.modeldata import shipped_folder
from jointload.report.files.folder import write_report
from jointload.report.words.nameless import write_nameless

SAMPLE = shipped_folder("sample_c3d")
LANDING = SAMPLE / "rider_a_landing_flat.c3d"
FIRST, LAST = "Jördis", "Quackenbush"
NAME = f"{FIRST} {LAST}"
SEEDS = (
    ("SUBJECTS", "NAMES", [NAME]),
    ("SUBJECTS", "LABEL_PREFIXES", [f"{LAST}:"]),
    ("PATIENT", "NOTE", ["born as " + LAST.upper()]),
    ("TRIAL", "COMMENT", [f"third jump of {FIRST}"]),
    ("TRIAL", "DATE", [2024, 5, 17]),
    ("LABORATORY", "OPERATOR", ["Dr. Wigglesworth"]),
    ("LABORATORY", "WHO", [f"{LAST} and Wigglesworth"]),
    ("MANUFACTURER", "LICENCE", ["licensed to Wigglesworth"]),
)


def seeded(path: Path, source: Path = LANDING) -> Path:
    """A sample recording that names its rider in every place that comes to mind."""
    file: Any = ezc3d.c3d(str(source))
    point, event = file["parameters"]["POINT"], file["parameters"]["EVENT"]
    labels = point["LABELS"]["value"]
    point["LABELS"]["value"] = [f"{LAST}:{label}" for label in labels]
    point["DESCRIPTIONS"]["value"] = [f"{label} of {LAST.lower()}" for label in labels]
    for group, name, value in SEEDS:
        file.add_parameter(group, name, value)
    events = int(event["USED"]["value"][0])
    if events:
        file.add_parameter("EVENT", "SUBJECTS", [NAME] * events)
        file.add_parameter("EVENT", "DESCRIPTIONS", [f"{FIRST} lands"] * events)
        event["LABELS"]["value"] = [f"{label} {LAST}" for label in event["LABELS"]["value"]]
    file.write(str(path))
    content = bytearray(path.read_bytes())
    content[60 : 60 + 16] = LAST.encode()[:8].ljust(16, b"\0")
    note = f"exported for {NAME}"
    path.write_bytes(bytes(content) + note.encode("utf-16-le") + note.encode("latin-1"))
    return path


def traces(content: bytes) -> list[str]:
    """Which parts of the names stand in some bytes, in any case and in any encoding that is common."""
    found = []
    for encoding in ("utf-8", "latin-1", "utf-16-le", "utf-16-be"):
        text = content.decode(encoding, errors="ignore").casefold()
        text_odd = content[1:].decode(encoding, errors="ignore").casefold()
        words = (
            FIRST,
            LAST,
            "Wigglesworth",
            "Quackenb",
            "Jordis",
            "J\N{LATIN SMALL LETTER O}\N{COMBINING DIAERESIS}rdis",
        )
        found += [f"{word} in {encoding}" for word in words if word.casefold() in text or word.casefold() in text_odd]
    return found


@pytest.fixture(scope="module")
def named(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return seeded(tmp_path_factory.mktemp("named") / "trial.c3d")


def data_bytes(path: Path) -> bytes:
    layout = read_layout(read_structure(path))
    return path.read_bytes()[layout.start : layout.stop]


def test_the_seeds_are_found_before(named: Path) -> None:
    assert {word.split()[0] for word in traces(named.read_bytes())} >= {FIRST, LAST, "Wigglesworth", "Quackenb"}


def test_no_name_is_left_and_the_data_stay_bit_for_bit(named: Path, tmp_path: Path) -> None:
    out = tmp_path / "nameless.c3d"
    removed = write_nameless(named, out)
    assert traces(out.read_bytes()) == []
    assert traces("\n".join(removed).encode()) == []
    assert out.stat().st_size == named.stat().st_size
    assert data_bytes(out) == data_bytes(named)
    before, after = read_recording(named), read_recording(out)
    assert after.labels == before.labels
    np.testing.assert_array_equal(after.markers, before.markers)
    np.testing.assert_array_equal(after.lab_from_file, before.lab_from_file)
    for ours, theirs in zip(after.plates, before.plates, strict=True):
        np.testing.assert_array_equal(ours.force, theirs.force)
        np.testing.assert_array_equal(ours.moment, theirs.moment)
    assert [(event.side, event.time) for event in after.events] == [(event.side, event.time) for event in before.events]
    assert [finding.check for finding in after.findings] == [finding.check for finding in before.findings]


def test_what_was_removed_is_listed(named: Path, tmp_path: Path) -> None:
    said = "\n".join(write_nameless(named, tmp_path / "nameless.c3d"))
    for words in (
        "SUBJECTS:NAMES: text",
        "SUBJECTS:LABEL_PREFIXES: text",
        "EVENT:SUBJECTS: text",
        "EVENT:DESCRIPTIONS: text",
        "PATIENT:NOTE: text",
        "TRIAL:COMMENT: text",
        "TRIAL:DATE: date, time or age",
        "LABORATORY:OPERATOR: text",
        "LABORATORY:WHO: text",
        "MANUFACTURER:LICENCE: text",
        "POINT:LABELS: names and prefixes of people",
        "POINT:DESCRIPTIONS: names and prefixes of people",
        "EVENT:LABELS: names and prefixes of people",
        "reserved words of the header",
        "bytes that belong to nothing",
    ):
        assert words in said


def test_the_maker_and_the_numbers_stay(named: Path, tmp_path: Path) -> None:
    out = tmp_path / "nameless.c3d"
    write_nameless(named, out)
    before, after = read_structure(named), read_structure(out)
    assert after.text("MANUFACTURER", "COMPANY") == "invented laboratory"
    assert after.groups.keys() == before.groups.keys()
    for group, parameters in before.groups.items():
        for name, parameter in parameters.items():
            assert after.groups[group][name].dims == parameter.dims
            if (group, name) != ("TRIAL", "DATE"):
                np.testing.assert_array_equal(after.groups[group][name].numbers, parameter.numbers)
    assert not after.numbers("TRIAL", "DATE").any()


def test_a_copy_of_a_copy_has_nothing_left_to_remove(named: Path, tmp_path: Path) -> None:
    write_nameless(named, tmp_path / "once.c3d")
    assert write_nameless(tmp_path / "once.c3d", tmp_path / "twice.c3d") == ()
    assert (tmp_path / "once.c3d").read_bytes() == (tmp_path / "twice.c3d").read_bytes()


@pytest.mark.parametrize("name", ["Eb015pi", "Eb015sr", "Eb015vr"])
def test_published_files_lose_their_subject(shared_c3d: Path, tmp_path: Path, name: str) -> None:
    source, out = shared_c3d / "conformance" / "same_trial_six_formats" / f"{name}.c3d", tmp_path / "out.c3d"
    assert b"baumgartner" in source.read_bytes().lower()
    removed = write_nameless(source, out)
    assert b"baumgartner" not in out.read_bytes().lower()
    assert {"SUBJECT:NAME: text", "SUBJECT:DATE_OF_BIRTH: text"} <= set(removed)
    assert data_bytes(out) == data_bytes(source)
    before, after = read_recording(source), read_recording(out)
    assert after.labels == before.labels
    np.testing.assert_array_equal(after.markers, before.markers)
    np.testing.assert_array_equal(after.plates[0].moment, before.plates[0].moment)


def test_nothing_is_overwritten_and_nothing_half_is_left(named: Path, tmp_path: Path) -> None:
    before = named.read_bytes()
    with pytest.raises(OutputError, match="exists already"):
        write_nameless(named, named)
    assert named.read_bytes() == before
    with pytest.raises(OutputError):
        write_nameless(named, tmp_path / "no" / "folder" / "out.c3d")
    (tmp_path / "bad.c3d").write_bytes(before[:-40000])
    with pytest.raises(RecordingError):
        write_nameless(tmp_path / "bad.c3d", tmp_path / "out.c3d")
    assert not (tmp_path / "out.c3d").exists()


def test_the_command(named: Path, tmp_path: Path) -> None:
    done = jointload("check", "--strip-names", str(named), "--out", "new.c3d", where=tmp_path)
    assert done.returncode == 0, done.stderr
    assert "SUBJECTS:NAMES" in done.stdout and "Motion itself can identify a person" in done.stdout
    assert traces(done.stdout.encode()) == []
    assert traces((tmp_path / "new.c3d").read_bytes()) == []
    for words in (
        ["--strip-names", str(named)],
        [str(named), "--out", "x.c3d"],
        ["--strip-names", str(named), "--out", "new.c3d"],
    ):
        again = jointload("check", *words, where=tmp_path)
        assert again.returncode == 2 and len(again.stderr.splitlines()) == 1, words
    assert {path.name for path in tmp_path.iterdir()} == {"new.c3d"}


def test_no_result_holds_a_name(named: Path, tmp_path: Path) -> None:
    """The whole result folder of a named landing with a named static trial."""
    static = seeded(tmp_path / "static.c3d", SAMPLE / "rider_a_static.c3d")
    session = read_session(named, static, labels=SAMPLE / "labels.toml", rider=SAMPLE / "rider_a.toml")
    inputs = {"trial": named, "static": static}
    out = write_report(analyse(session, variants=False), tmp_path / "result", inputs=inputs)
    names = {path.name for path in out.iterdir()}
    assert {"report.html", "metrics.csv", "series.csv", "quality.csv", "derived.c3d", "run.json"} <= names
    for path in out.iterdir():
        assert traces(path.read_bytes()) == [], path.name
    assert json.loads((out / "run.json").read_text(encoding="utf-8"))
