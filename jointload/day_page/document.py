"""The page as a whole: its places, what stands in each now, and the fragments that its dialogue shows."""

from __future__ import annotations

from html import escape
from importlib import resources
from pathlib import PurePath

from jointload.day_page.ask_part import answer_form, ask_part, leave_out_form
from jointload.day_page.fitting_part import fitting_part
from jointload.day_page.forms import filled
from jointload.day_page.marks import State, alert, badge, files, listed, paragraph, whose
from jointload.day_page.plan_part import next_part, people_part, plan_part
from jointload.day_page.verdict_part import checks, numbers_part, trial_row, verdict_part, versions
from jointload.report.words.colours import DARK

RECENT = 6
"""Recordings that the page itself lists; the others are asked for."""
ASSETS = {"day.css": "text/css; charset=utf-8", "day.js": "text/javascript; charset=utf-8"}
LICENSED = "A licensed practitioner decides about a rider's body, shoes and insoles."


def parts_of(state: State) -> dict[str, str]:
    """What stands in every place of the page."""
    return {
        "title": _title(state),
        "troubles": _troubles(state),
        "verdict": verdict_part(state),
        "ask": ask_part(state),
        "next": next_part(state),
        "plan": plan_part(state),
        "people": people_part(state),
        "numbers": numbers_part(state["latest"]),
        "fitting": fitting_part(state),
        "recent": _recent(state),
        "end": _end(state),
        "cautions": listed((*state["cautions"], LICENSED)),
    }


def page_of(state: State) -> str:
    """The whole page, its parts in their places."""
    parts = parts_of(state)

    def place(name: str, kind: str = "section", more: str = "") -> str:
        return f'<{kind} id="{name}"{more}>{parts[name]}</{kind}>'

    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(state['study']['name'])}: recording day</title>\n"
        '<link rel="icon" href="data:,">\n<link rel="stylesheet" href="/page/day.css">\n'
        '<script src="/page/day.js" defer></script>\n</head>\n<body>\n'
        f'<header>{place("title", "div")}<p id="link" role="status">connected</p></header>\n<main>\n'
        "<noscript><p>This page needs its own script to stay up to date.</p></noscript>\n"
        f"{place('troubles', 'div', ' role=alert')}\n{place('verdict', more=' aria-live=polite aria-label=Verdict')}\n"
        f"{place('ask', 'div')}\n{place('next', 'div', ' aria-live=polite')}\n"
        f'<div class="columns"><div>{place("plan")}{place("people")}</div>'
        f"<div>{place('numbers')}{place('fitting')}</div></div>\n{place('recent')}\n{place('end')}\n"
        f"</main>\n{place('cautions', 'footer')}\n"
        '<dialog id="whole" aria-label="A closer look"><form method="dialog"><button>Close</button></form>'
        '<div id="whole-content"></div></dialog>\n</body>\n</html>\n'
    )


def trial_fragment(state: State, trial: State) -> str:
    """All that is known of one recording, and the forms that correct what was answered."""
    correct = answer_form("correct", state, trial, True) if trial["status"] != "asked" else ""
    return (
        f"<h2>{escape(trial['file'])}</h2><p>{whose(trial)} {badge(trial)}</p>{paragraph(trial['reason'], 'lead')}"
        f"{paragraph(trial.get('advice', ''))}{checks(trial)}{versions(trial)}"
        f"{numbers_part(trial) or files(trial.get('files', ()))}"
        f'<details id="correct"><summary>Correct what was answered</summary>{correct}</details>'
        f"{leave_out_form('correct', trial['file'])}"
    )


def trials_fragment(state: State) -> str:
    """Every recording of the day, the newest first."""
    return f"<h2>All {len(state['trials'])} recordings</h2>{_table(state['trials'])}"


def asset(name: str) -> str:
    text = (resources.files("jointload.day_page") / name).read_text(encoding="utf-8")
    if name.endswith(".css"):
        colours = ";".join(f"--{colour}:{code}" for colour, code in DARK.items())
        text = f":root{{color-scheme:dark;{colours}}}\n{text}"
    return text


def _title(state: State) -> str:
    study, replay = state["study"], state["replay"]
    folder = PurePath(study["folder"]).name
    played = f' <span class="mark warn">replay: {escape(replay["text"])}</span>' if replay else ""
    return f"<p><b>{escape(study['name'])}</b>, {escape(folder)}, {escape(study['date'])}{played}</p>"


def _troubles(state: State) -> str:
    """What keeps the day from going on as it should, in the order of its weight."""
    lines = [alert(state["connection"]["text"], "refuse")] if state["connection"]["folder"] != "there" else []
    lines += [alert(state["disk"]["text"], "refuse")]
    lines += [alert(fault) for fault in state["faults"]]
    return "".join(lines) + "".join(paragraph(f"{each['file']}: {each['text']}", "soft") for each in state["arriving"])


def _recent(state: State) -> str:
    trials = state["trials"]
    if not trials:
        return ""
    more = len(trials) > RECENT
    every = f'<button type="button" id="open-all" data-open="/trials">All {len(trials)} recordings</button>'
    return f"<h2>Recordings</h2>{_table(trials[-RECENT:])}{every if more else ''}"


def _table(trials: list[State]) -> str:
    rows = "".join(trial_row(trial) for trial in reversed(trials))
    return (
        '<div class="rows"><table><thead><tr><th scope="col">File</th><th scope="col">Whose</th>'
        f'<th scope="col">Verdict</th><th scope="col">Reason</th></tr></thead><tbody>{rows}</tbody></table></div>'
    )


def _end(state: State) -> str:
    """The end of the day: asked for once, said while it runs, with the protocol when it is there."""
    end = state["end"]
    words = alert(end["text"], {"failed": "refuse", "done": "pass"}.get(end["stage"], "warn"))
    ask = "" if end["stage"] == "running" else filled("finish", "finish", {}, "", "End the day: results and protocol")
    return f"<h2>End of the day</h2>{words}{listed(end['faults'])}{files(end['files'])}{ask}"
