"""The page stands alone, says what is not known, and trusts no text that comes from a file."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from html.parser import HTMLParser

import numpy as np
import pytest

from jointload.analysis import Analysis
from jointload.foot.bore import FOOT_QUANTITIES
from jointload.insole.fitting.whatif import WhatIf
from jointload.intake.board import Board
from jointload.intake.recording import Finding
from jointload.landing.landed import Measure
from jointload.landing.measures.every_measure import BODY_MEASURES, SIDE_MEASURES
from jointload.report.figures import change_figures, inline_svg, landing_curves, pictures, sheet_html
from jointload.report.figures.panel import SIDE_COLOURS, SIDE_DASHES, SIDE_MARKS, Sheet, Words
from jointload.report.figures.paper import sheet_file
from jointload.report.figures.pressure_bed import pressure_bed
from jointload.report.figures.tissue_figure import tissue_loads
from jointload.report.page import landing_sections
from jointload.report.page.answers import alignment_answer, change_answer, forces_answer, moments_answer, work_answer
from jointload.report.page.first_screen import first_screen, title_of
from jointload.report.page.page import SECTIONS, render_page
from jointload.report.page.tissue_section import KNEE_MOMENTS
from jointload.report.replay.replay import FOLLOWED, MOST_FRAMES, replay_data, shown_frames
from jointload.report.words.cells import told_change
from jointload.report.words.colours import DARK, LIGHT
from jointload.report.words.section import Reported

VOID = {"meta", "img", "br", "input"}
MOST_BYTES = 800_000
NARROW = 18
"""Letters for which the narrowest panel of a telephone has room."""
OWN_SCRIPTS = 3
"""The replay's data, what plays it, and what folds, contents and terms do."""
SHEETS: tuple[Callable[[Analysis], Sheet], ...] = (
    pictures.body, landing_curves.forces, landing_curves.angles, landing_curves.moments, landing_curves.powers,
    pictures.pressure_paths, tissue_loads,
)  # fmt: skip
NASTY = '<script>alert(1)</script>"><img src="http://example.invalid/x.png" onerror=alert(2)>'


class Reader(HTMLParser):
    """Collects attributes and text, and insists that every tag is closed in order."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.links: list[tuple[str, str, str]] = []
        self.tags: list[str] = []
        self.attributes: set[str] = set()
        self.ids: list[str] = []
        self.text = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes |= {name for name, _ in attrs}
        self.links += [(tag, name, value or "") for name, value in attrs if name in ("src", "href", "action", "data")]
        self.ids += [value or "" for name, value in attrs if name == "id"]
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.text += data


def read(page: str) -> Reader:
    reader = Reader()
    reader.feed(page)
    reader.close()
    assert reader.open == []
    return reader


@pytest.fixture(scope="module")
def page(analysis: Analysis, prediction: WhatIf) -> str:
    return render_page(analysis, prediction)


@pytest.fixture
def blank_pictures(monkeypatch: pytest.MonkeyPatch) -> None:
    """Drawing is not what the words of a page are about."""
    monkeypatch.setattr(sheet_html, "plot", lambda panel: "<svg></svg>")


def test_the_page_needs_nothing_from_elsewhere(page: str) -> None:
    reader = read(page)
    for tag, _, value in reader.links:
        assert tag == "a" and value.startswith("#")
    assert reader.tags.count("script") == OWN_SCRIPTS and "link" not in reader.tags
    without_scripts = re.sub(r"<script.*?</script>", "", page, flags=re.S)
    assert "@import" not in without_scripts and "url(" not in without_scripts
    assert "default-src 'none'" in page
    assert len(page.encode()) < MOST_BYTES


def test_links_inside_the_page_lead_somewhere(page: str) -> None:
    reader = read(page)
    assert len(set(reader.ids)) == len(reader.ids)
    assert {value[1:] for tag, _, value in reader.links if tag == "a"} <= set(reader.ids)


def test_every_panel_is_drawn_once_and_told(page: str, analysis: Analysis, prediction: WhatIf) -> None:
    balance = landing_curves.balance(analysis)
    assert balance is not None
    sheets = [
        pictures.body(analysis, pictures.INSTANTS[:2]), *(draw(analysis) for draw in SHEETS[1:]), balance,
        change_figures.changes(analysis, prediction), pressure_bed(prediction),
    ]  # fmt: skip
    told = re.findall(r'<div class="plot" role="img" aria-label="([^"]+)"', page)
    assert len(told) == sum(len(sheet.panels) for sheet in sheets)
    assert all(len(words) > 40 for words in told)
    for sheet in sheets:
        for panel in sheet.panels:
            assert page.count(inline_svg.plot(panel)) == 1
    assert set(FOLLOWED) <= {panel.title for sheet in sheets for panel in sheet.panels}


def test_every_colour_is_one_of_the_page(page: str) -> None:
    drawn = re.sub(r"<(style|script).*?</\1>", "", page, flags=re.S)
    used = set(re.findall(r"\bc-([\w-]+)", drawn))
    assert {"right", "left", "force", "heat-5"} <= used <= set(LIGHT) == set(DARK)
    assert all(f".c-{name}{{--c:var(--{name})}}" in page for name in used)
    assert re.findall(r"(?:#[0-9a-f]{3,6}\b(?=[;\"'])|rgb\()", re.sub(r'href="[^"]+"', "", drawn)) == []


def test_right_and_left_have_one_colour_each_and_different_marks() -> None:
    assert SIDE_COLOURS["right"] != SIDE_COLOURS["left"] and SIDE_MARKS["right"] != SIDE_MARKS["left"]
    assert SIDE_DASHES["right"] != SIDE_DASHES["left"]
    for scheme in (LIGHT, DARK):
        for side in ("right", "left"):
            assert list(scheme.values()).count(scheme[side]) == 1


def test_a_colour_has_one_meaning() -> None:
    """Sides, conditions, forces, insoles, boards and what one can follow never share a colour."""
    for scheme in (LIGHT, DARK):
        codes = [scheme[n] for n in ("right", "left", "first", "second", "force", "insole", "board", "accent", "ink")]
        assert len(set(codes)) == len(codes)


@pytest.mark.usefixtures("blank_pictures")
def test_texts_from_files_are_escaped(analysis: Analysis, prediction: WhatIf) -> None:
    session = analysis.session
    trial = replace(session.trial, name=NASTY, axes_evidence=NASTY)
    rider = replace(session.rider, id=NASTY, shoe=NASTY)
    finding = Finding(NASTY, "warn", NASTY, NASTY, NASTY)
    measures = (*analysis.measures, Measure("vertical_force_second_peak", "", np.nan, note=NASTY))
    nasty = replace(
        analysis,
        session=replace(session, trial=trial, rider=rider),
        findings=(finding, *[replace(finding, check="b", where=f"{NASTY}{k}") for k in range(6)]),
        measures=measures,
        landing=replace(analysis.landing, body=replace(analysis.landing.body, calibrated_from=NASTY)),
    )
    reader = read(render_page(nasty, replace(prediction, shape_text=NASTY, response_text=(NASTY,))))
    assert reader.tags.count("script") == OWN_SCRIPTS
    assert "onerror" not in reader.attributes
    assert all(value.startswith("#") for _, _, value in reader.links)
    assert reader.text.count("<script>alert(1)</script>") > 10


def test_every_measure_has_its_place() -> None:
    placed = [name for section in SECTIONS for name in section.quantities]
    assert sorted(placed) == sorted([*BODY_MEASURES, *SIDE_MEASURES, "first_contact_zone", *FOOT_QUANTITIES])


@pytest.mark.usefixtures("blank_pictures")
def test_the_fall_is_told_in_words(analysis: Analysis) -> None:
    text = read(render_page(analysis)).text
    told = re.search(r"centre of mass fell at ([\d.]+) m/s², ([\d.]+) % from 9.81", text)
    assert told is not None
    (fall,) = [m.value for m in analysis.measures if m.quantity == "fall_acceleration"]
    assert float(told[1]) == pytest.approx(fall, abs=0.005)


@pytest.mark.usefixtures("blank_pictures")
def test_what_is_not_known_is_a_dash_with_its_reason(analysis: Analysis) -> None:
    measures = tuple(
        replace(m, value=np.nan, note="the foot stands on two plates")
        if m.quantity == "knee_flexion_moment_peak"
        else m
        for m in analysis.measures
    )
    page = render_page(replace(analysis, measures=measures))
    shown_in = sum("knee_flexion_moment_peak" in names for names in (landing_sections.LOADS, KNEE_MOMENTS))
    assert page.count("–<small>the foot stands on two plates</small>") == 2 * shown_in


@pytest.mark.usefixtures("blank_pictures")
def test_the_prediction_is_named_and_shown_only_when_there_is_one(analysis: Analysis, page: str) -> None:
    assert "Prediction" in read(page).text and "not distinguishable from no change" in page
    assert "What the change of the shoe's inside would shift" not in read(render_page(analysis)).text


def test_cautions_and_back_foot_are_told(page: str) -> None:
    text = read(page).text
    for words in ("not a medical device", "does not predict injury", "licensed practitioners", "Left (back foot)"):
        assert words in text


@pytest.mark.parametrize("draw", SHEETS)
def test_sheets_can_be_drawn_again_to_the_same_bytes(draw: Callable[[Analysis], Sheet], analysis: Analysis) -> None:
    assert sheet_html.sheet_figure(draw(analysis), "") == sheet_html.sheet_figure(draw(analysis), "")


@pytest.mark.parametrize(("form", "start"), [("svg", b"<?xml"), ("png", b"\x89PNG"), ("pdf", b"%PDF")])
def test_a_sheet_becomes_one_file_of_the_form_asked_for(form: str, start: bytes, analysis: Analysis) -> None:
    first = sheet_file(landing_curves.forces(analysis), form)
    assert first.startswith(start) and first == sheet_file(landing_curves.forces(analysis), form)


@pytest.mark.parametrize("draw", [landing_curves.angles, landing_curves.moments])
def test_a_gap_changes_the_figure(draw: Callable[[Analysis], Sheet], analysis: Analysis) -> None:
    landing = analysis.landing
    knee, gap = (
        landing.angles.joints.index("right_knee"),
        slice(landing.window("right").start + 5, landing.window("right").start + 15),
    )
    angle, components = landing.angles.angle.copy(), landing.loads.components.copy()
    angle[:, knee, gap] = components[:, knee, gap] = np.nan
    holed = replace(
        landing, angles=replace(landing.angles, angle=angle), loads=replace(landing.loads, components=components)
    )
    whole, broken = draw(analysis), draw(replace(analysis, landing=holed))
    (place,) = [k for k, panel in enumerate(whole.panels) if panel.title.startswith("Knee") and "side" in panel.title]
    assert "not known" in inline_svg.plot(broken.panels[place])
    (unknown,) = [s.text for s in broken.panels[place].shapes if isinstance(s, Words) and s.text.endswith("not known")]
    assert len(unknown) <= NARROW, "beside the axis' numbers of a panel on a telephone"
    assert "not known" not in inline_svg.plot(whole.panels[place])
    assert "with gaps" in broken.panels[place].told and "with gaps" not in whole.panels[place].told
    name = next(name for name in broken.panels[place].behind if "right" in name)
    assert "–" in broken.panels[place].behind[name] and "–" not in whole.panels[place].behind[name]


def test_curves_are_told_in_words_and_numbers(analysis: Analysis) -> None:
    vertical = landing_curves.forces(analysis).panels[0]
    for side, word in (("right", "Right"), ("left", "Left")):
        (peak,) = [m for m in analysis.measures if (m.quantity, m.side) == ("vertical_force_peak", side)]
        assert f"highest {peak.value / analysis.landing.weight:.2f} at" in vertical.told.split(word)[1]
    for sheet in (draw(analysis) for draw in SHEETS):
        for panel in sheet.panels:
            assert all(len(cells) == len(sheet.rows) for cells in panel.behind.values())
            assert len(panel.told) > 40


def test_the_replay_holds_the_landing(analysis: Analysis, prediction: WhatIf) -> None:
    data, landing = replay_data(analysis, prediction), analysis.landing
    frames = shown_frames(landing)
    assert len(data["times"]) == len(frames) <= MOST_FRAMES
    assert data["span"][0] <= data["times"][0] and data["times"][-1] <= data["span"][1]
    names = [line["name"] for line in data["lines"]]
    assert names == [
        "trunk", "right leg", "left leg", "right sole", "left sole", "insole", "right leg, predicted",
    ]  # fmt: skip
    assert [line["ghost"] for line in data["lines"]] == [name.endswith("predicted") for name in names]
    right = data["lines"][1]["places"]
    k = frames.index(landing.window("right").start + 5)
    hip, knee = (np.array([right[k][axis][point] for axis in range(3)]) for point in (0, 1))
    places = [landing.poses.place(landing.body, f"right_{name}_centre")[:, frames[k]] for name in ("hip", "knee")]
    assert np.linalg.norm(hip - knee) == pytest.approx(1000 * np.linalg.norm(places[0] - places[1]), abs=2.0)
    force = np.array([row[k] for row in data["forces"][0]["force"]]) / 100 * landing.weight
    assert force[2] == pytest.approx(landing.contact.force[1, 0, frames[k]], abs=0.006 * landing.weight)
    for name in ("right sole", "left sole", "insole"):
        outline = np.array(data["lines"][names.index(name)]["places"][k])
        assert np.ptp(outline[:2], axis=1).max() == pytest.approx(1000 * prediction.shape.length, rel=0.15)
    ghost = np.array(data["lines"][-1]["places"][k], dtype=float)
    off = np.linalg.norm(ghost[:, :3] - np.array(right[k], dtype=float)[:, :3], axis=0)
    assert 0.0 < off.max() < 40.0


def test_another_landing_is_a_ghost_touch_down_on_touch_down(analysis: Analysis) -> None:
    data = replay_data(analysis, beside=analysis)
    own = {line["name"]: line["places"] for line in data["lines"] if not line["ghost"]}
    ghosts = [line for line in data["lines"] if line["ghost"]]
    assert [line["name"] for line in ghosts] == ["trunk", "right leg", "left leg"]
    assert all(line["places"] == own[line["name"]] and line["symbol"] == "" for line in ghosts)
    assert data["ghost"] == "the other landing"


def test_sections_begin_with_their_answer(analysis: Analysis, prediction: WhatIf, page: str) -> None:
    shown = {
        m.side: m.value / analysis.landing.weight for m in analysis.measures if m.quantity == "vertical_force_peak"
    }
    text = read(page).text
    assert f"The ground pushed the right foot with up to {shown['right']:.2f} body weights" in text
    assert f"the left foot with up to {shown['left']:.2f} body weights" in text
    unknown = tuple(replace(m, value=np.nan) if m.side == "right" else m for m in analysis.measures)
    partly = replace(analysis, measures=unknown)
    assert forces_answer(partly).startswith("The ground pushed the left foot")
    nothing = replace(analysis, measures=tuple(replace(m, value=np.nan) for m in analysis.measures))
    (roll,) = [row for row in prediction.rows if row.quantity == "rearfoot_roll"]
    assert f"rearfoot roll +{told_change(roll, analysis).value} deg" in change_answer(analysis, prediction)
    for answer in (forces_answer, alignment_answer, moments_answer, work_answer):
        assert answer(nothing) == ""


def test_a_step_has_a_short_title_and_its_reason_below(analysis: Analysis) -> None:
    why = "no flight before this contact"
    events = replace(analysis.landing.events, kind="step", no_takeoff=why)
    reported = Reported(replace(analysis, landing=replace(analysis.landing, events=events)))
    assert title_of(reported) == "S1, step: how hard, how aligned, how certain"
    assert f"Read as a step: {why}." in first_screen(reported)
    assert "Read as" not in first_screen(Reported(analysis))


def test_an_instant_before_touch_down_has_the_sign_of_all_numbers(analysis: Analysis) -> None:
    landing = analysis.landing
    early = landing.touchdown_frame() / landing.poses.rate + 0.0016
    sides = {side: replace(each, touchdown=early) for side, each in landing.events.sides.items()}
    shown = pictures.body(replace(analysis, landing=replace(landing, events=replace(landing.events, sides=sides))))
    assert shown.panels[0].behind["ms"][0] == "−2" and shown.panels[0].subtitle.startswith("−2 ms, ")


def test_a_board_is_drawn_where_its_markers_are(analysis: Analysis) -> None:
    landing, trial = analysis.landing, analysis.landing.recording
    places = {"nose": (0.3, 0.1, 0.0), "tail": (-0.3, 0.1, 0.0), "edge": (0.0, 0.1, 0.1)}
    local = {name: np.array(place) for name, place in places.items()}
    board = Board("made", 2.5, 0.8, 0.2, 0.1, (0.4, 0.16), np.zeros(3), np.ones(3), local)
    lying = np.stack([*local.values()], axis=1)[..., None] + np.array([0.1, landing.contact.floor, 0.2])[:, None, None]
    markers = np.concatenate([trial.markers, np.broadcast_to(lying, (3, 3, trial.frames))], axis=1)
    recording = replace(trial, labels=(*trial.labels, *local), markers=markers)
    ridden = replace(
        analysis, session=replace(analysis.session, board=board), landing=replace(landing, recording=recording)
    )
    (places_of_board,) = [line["places"] for line in replay_data(ridden)["lines"] if line["name"] == "board"]
    deck, supports = np.split(np.array(places_of_board[0], dtype=float), [6], axis=1)
    for edges, size, height in ((deck[:, :4], (800, 200), 100), (supports[:, :4], (400, 160), 0)):
        assert np.linalg.norm(edges[:, 0] - edges[:, 1]) == pytest.approx(size[0], abs=2)
        assert np.linalg.norm(edges[:, 1] - edges[:, 2]) == pytest.approx(size[1], abs=2)
        assert edges[2] == pytest.approx(height, abs=1)


def test_a_gap_of_the_replay_is_nothing_drawn(analysis: Analysis) -> None:
    landing = analysis.landing
    moment = landing.contact.moment.copy()
    moment[:] = np.nan
    blind = replace(analysis, landing=replace(landing, contact=replace(landing.contact, moment=moment)))
    assert {v for row in replay_data(blind)["forces"][0]["force"] for v in row} == {None}


def test_one_foot_alone_gives_a_page(analysis: Analysis) -> None:
    landing = analysis.landing
    events = replace(landing.events, sides={"right": landing.events.sides["right"]})
    alone = replace(
        analysis,
        landing=replace(landing, events=events),
        measures=tuple(m for m in analysis.measures if m.side != "left"),
    )
    assert "left foot not seen to land on a plate" in read(render_page(alone)).text
