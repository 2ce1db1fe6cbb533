"""The newest recording: verdict and reason, large enough for two metres, and its numbers beside earlier ones."""

from __future__ import annotations

from html import escape
from urllib.parse import quote

from jointload.day_page.marks import State, alert, badge, files, listed, paragraph, verdict_of, whose

STRIP, MARGIN, HALF = 120.0, 6.0, 8.0
"""Of the strip that shows a number among earlier ones: width, margin, half height [px]."""
SIDES = ("right", "left")
LONG = 130
"""A reason of more signs is shown in smaller letters: seven lines of a tablet would not leave room for the rest."""


def verdict_part(state: State) -> str:
    """What one reads from two metres away."""
    trial = state["latest"]
    if trial is None:
        return (
            '<h1 class="word soft">Ready</h1><p class="reason">Record the standing trial of the first rider.</p>'
            if state["connection"]["folder"] == "there"
            else '<h1 class="word warn">The folder is gone</h1>'
        )
    severity, shape, words = verdict_of(trial)
    reason = f"{trial['file']}: choose below." if trial["status"] == "asked" else trial["reason"]
    return (
        f'<p class="whose">{whose(trial)}</p>'
        f'<h1 class="word {severity}"><span aria-hidden="true">{shape}</span> {words}</h1>'
        f'<p class="reason{" long" * (len(reason) > LONG)}">{escape(reason)}</p>'
        f"{paragraph(trial.get('advice', ''), 'advice')}"
    )


def numbers_part(trial: State | None) -> str:
    """The five numbers of the newest landing against this rider's earlier ones of the condition."""
    if trial is None or not trial.get("numbers"):
        return ""
    rows = "".join(_row(each) for each in trial["numbers"])
    return (
        f"<h2>Numbers of {whose(trial)}</h2>{alert(trial['outlier']['text']) if trial['outlier']['is'] else ''}"
        '<div class="rows"><table><thead><tr><th scope="col">Quantity</th><th scope="col">Right</th>'
        f'<th scope="col">Left</th></tr></thead><tbody>{rows}</tbody></table></div>'
        + listed(filter(None, (trial[key]["text"] for key in ("settled", "variation", "further"))))
        + files(trial["files"])
    )


def _row(quantity: State) -> str:
    unit = f" <small>{escape(quantity['unit'])}</small>" if quantity["unit"] else ""
    cells = {cell["side"]: _cell(cell) for cell in quantity["cells"]}
    if "" in cells:
        told = f'<td colspan="2" data-head="Whole body">{cells[""]}</td>'
    else:
        told = "".join(f'<td data-head="{side.title()}">{cells.get(side, "")}</td>' for side in SIDES)
    return f'<tr><th scope="row">{escape(quantity["text"])}{unit}</th>{told}</tr>'


def _cell(cell: State) -> str:
    if not cell["value"]:
        return f"<span>–</span> <small>{escape(cell['note'])}</small>"
    interval = f" <small>{escape(cell['interval'])}</small>" if cell["interval"] else ""
    unlike = ' <span class="mark warn">▲ unlike earlier</span>' if cell["outlier"] else ""
    earlier = f"<small>before: {escape(cell['earlier_text'])}</small>" if cell["earlier_text"] else ""
    return f"<b>{escape(cell['value'])}</b>{interval}{unlike}{_strip(cell)}{earlier}"


def _strip(cell: State) -> str:
    """This number, filled, among the earlier ones, hollow; the figures stand beside it."""
    earlier, now = cell["earlier"], cell["number"]
    if not earlier or now is None:
        return ""
    low, high = min(*earlier, now), max(*earlier, now)
    reach = (high - low) or 1.0

    def x(value: float) -> str:
        return f"{MARGIN + (value - low) / reach * (STRIP - 2 * MARGIN):.1f}"

    hollow = "".join(f'<circle class="past" cx="{x(value)}" cy="{HALF}" r="3.5"/>' for value in earlier)
    kind = "now unlike" if cell["outlier"] else "now"
    return (
        f'<svg class="strip" width="{STRIP:g}" height="{2 * HALF:g}" aria-hidden="true">'
        f'<line x1="0" x2="{STRIP:g}" y1="{HALF}" y2="{HALF}"/>{hollow}'
        f'<circle class="{kind}" cx="{x(now)}" cy="{HALF}" r="4.5"/></svg>'
    )


def checks(trial: State) -> str:
    """Every finding of a recording that needs a look, the worst first as the engine has it."""
    shown = [each for each in trial.get("checks", ()) if each["severity"] != "pass"]
    return listed(
        f"{each['check'].replace('_', ' ')}, {each['where']}: {each['evidence']}"
        + (f"; {each['advice']}" if each["advice"] else "")
        for each in shown
    )


def versions(trial: State) -> str:
    """What an earlier version of the same file was told, where it was replaced."""
    earlier = trial.get("versions", ())[:-1]
    return listed(f"replaced version of {each['at']}: {badge_words(each)}: {each['reason']}" for each in earlier)


def badge_words(version: State) -> str:
    return verdict_of({**version, "status": "done"})[2].lower()


def trial_row(trial: State) -> str:
    """One line of a list of recordings; its button opens the whole."""
    unlike = ' <span class="mark warn">▲ unlike earlier</span>' if trial["outlier"] else ""
    where = f"/trial/{quote(trial['name'], safe='')}"
    return (
        f'<tr><th scope="row"><button type="button" id="open-{trial["order"]}" data-open="{where}">'
        f"{escape(trial['file'])}</button></th>"
        f'<td data-head="Whose">{whose(trial)}</td><td>{badge(trial)}{unlike}</td>'
        f'<td class="soft">{escape(trial["reason"])}</td></tr>'
    )
