"""A fitting beside the plate: baseline, the shapes that tell most, the fitted shape and how certain it is."""

from __future__ import annotations

from html import escape

from jointload.day_page.forms import Choice, Group, asked, filled, select
from jointload.day_page.marks import State, alert, dots, files, listed, paragraph


def fitting_part(state: State) -> str:
    fitting = state["fitting"]
    if fitting is None:
        return _begin(state)
    target = fitting["target"].replace("_", " ")
    return (
        f"<h2>Fitting: {escape(fitting['rider'])}, {escape(fitting['side'])} foot, {escape(target)}</h2>"
        f'<ol class="stages">{"".join(_stage(each) for each in fitting["stages"])}</ol>'
        + (alert(fitting["stop"]["text"], "pass") if fitting["stop"]["now"] else paragraph(fitting["text"], "lead"))
        + _next(fitting["next"])
        + paragraph(fitting["narrows"], "soft")
        + alert(fitting["problem"])
        + ('<p class="soft" role="status">Being computed …</p>' if fitting["working"] else "")
        + _answer(fitting)
        + f'<p class="caution">{escape(fitting["caution"])}</p>'
        + '<details id="end-fitting"><summary>End this fitting</summary>'
        + filled("end-fitting", "stop_fitting", {}, "<span>What was recorded stays.</span>", "End the fitting")
        + "</details>"
    )


def _begin(state: State) -> str:
    riders = [each["id"] for each in state["riders"]]
    if not riders:
        return ""
    fields = select("fit", "target", "To lower", state["targets"])
    groups = [
        Group("rider", "Rider", tuple(Choice(rider, rider) for rider in riders), riders[0] if len(riders) == 1 else ""),
        Group("side", "Foot", (Choice("right", "right"), Choice("left", "left"))),
    ]
    return (
        '<details id="begin-fitting"><summary>Begin a fitting</summary>'
        f"{asked('fit', 'fit', {}, groups, fields)}</details>"
    )


def _stage(stage: State) -> str:
    done = '<span class="mark pass">✓</span> ' if stage["done"] else ""
    count = f"{dots(stage['have'], stage['need'])} {stage['have']} of {stage['need']}"
    if not stage["need"]:
        count = "<small>not needed</small>" if stage["done"] else ""
    return f"<li>{done}{escape(stage['text'])} {count}</li>"


def _next(shapes: list[State]) -> str:
    return listed(f"{each['condition']}: {each['text']}, {each['have']} of {each['landings']}" for each in shapes)


def _answer(fitting: State) -> str:
    answer = fitting["answer"]
    if answer is None:
        return ""
    severity = "pass" if answer["helps"] else "soft"
    more = [sentence for sentence in answer["sentences"] if sentence != answer["verdict"]]
    known = f"from {answer['landings']} landings of this rider" if answer["calibrated"] else "from published persons"
    certainty = fitting["certainty"]["text"] if fitting["certainty"] else ""
    return (
        f'<h3 class="{severity}">{escape(answer["verdict"])}</h3>{listed(more)}'
        f'<p class="soft">Known {known}.</p>{paragraph(certainty)}'
        f"{listed(answer['measured'])}{files(fitting['files'])}"
    )
