"""What is to be recorded, what comes next, and when people rest: the middle of the page."""

from __future__ import annotations

from html import escape

from jointload.day_page.forms import field, filled, select
from jointload.day_page.marks import State, alert, dots, paragraph

REMINDERS = {"warm_up": "warn", "rest": "warn", "limit": "refuse"}


def next_part(state: State) -> str:
    """Who lands next under which condition, and what speaks against it now."""
    plan, fitting = state["plan"], state["fitting"]
    home = alert(fitting["stop"]["text"], "pass") if fitting and fitting["stop"]["now"] else ""
    coming = plan["next"]["text"] if plan["next"] else plan["text"]
    label = "Next: " if plan["next"] else ""
    reminders = "".join(
        alert(f"{each['rider']}: {text}", REMINDERS.get(each["kind"], "warn"))
        for each in state["session"]
        for text in dict.fromkeys((each["stopped"], each["reminder"]))
        if text
    )
    return f'{home}<p class="next">{escape(label + coming)}</p>{reminders}'


def plan_part(state: State) -> str:
    """Usable landings that each rider has and needs under each condition."""
    plan = state["plan"]
    coming = plan["next"] or {"rider": None, "condition": None}
    rows = "".join(_row(row, (row["rider"], row["condition"]) == (coming["rider"], coming["condition"]))
                   for row in plan["rows"])  # fmt: skip
    source = {"first trials": "from the first trials: it follows what is recorded"}.get(plan["source"], plan["source"])
    table = (
        '<div class="rows"><table><thead><tr><th scope="col">Rider</th><th scope="col">Condition</th>'
        '<th scope="col">Usable of needed</th><th scope="col">Again</th></tr></thead>'
        f"<tbody>{rows}</tbody></table></div>"
    )
    return (
        f"<h2>Plan</h2>{paragraph(plan['text']) if plan['next'] else ''}{table if rows else ''}"
        f'<p class="soft">Plan: {escape(source)}.</p>{_change(state)}'
    )


def _row(row: State, is_next: bool) -> str:
    mark = '<span class="mark pass" aria-hidden="true">▶</span> ' if is_next else ""
    done = ' <span class="mark pass">✓ complete</span>' if row["complete"] else ""
    waiting = f" <small>{row['waiting']} being checked</small>" if row["waiting"] else ""
    stopped = f'<br><span class="mark warn">■ {escape(row["stopped"])}</span>' if row["stopped"] else ""
    shape = f" <small>{escape(row['shape'])}</small>" if row["shape"] not in ("", row["condition"]) else ""
    return (
        f'<tr{" class=next-row" * is_next}><th scope="row">{mark}{escape(row["rider"])}</th>'
        f'<td data-head="Condition">{escape(row["condition"])}{shape}</td>'
        f'<td data-head="Usable of needed">{dots(row["usable"], row["needed"])} {row["usable"]} of {row["needed"]}'
        f'{done}{waiting}{stopped}</td><td data-head="Again">{row["again"] or ""}</td></tr>'
    )


def _change(state: State) -> str:
    riders = [each["id"] for each in state["riders"]]
    if not riders:
        return ""
    fields = select("want", "rider", "Rider", riders) + field("want", "condition", "Condition")
    fields += field("want", "landings", "Landings, 0 for none", "number", "3")
    return (
        '<details id="change-plan"><summary>Change the plan</summary>'
        f"{filled('want', 'want', {}, fields, 'Write to plan.csv')}</details>"
    )


def people_part(state: State) -> str:
    """How often each rider has landed hard today."""
    if not state["session"]:
        return ""
    last = {trial["rider"]: trial["at"] for trial in state["trials"] if trial["kind"] == "landing"}
    rows = "".join(_person(each, last.get(each["rider"], "")) for each in state["session"])
    return (
        '<h2>Landings today</h2><div class="rows"><table><thead><tr><th scope="col">Rider</th>'
        '<th scope="col">Landings</th><th scope="col">Hard ones</th><th scope="col">Last at</th></tr></thead>'
        f"<tbody>{rows}</tbody></table></div>"
    )


def _person(each: State, last: str) -> str:
    of_all = f" of {each['limit']}" if each["limit"] else ""
    of_hard = f" of {each['hard_limit']}" if each["hard_limit"] else ""
    return (
        f'<tr><th scope="row">{escape(each["rider"])}</th><td data-head="Landings">{each["landings"]}{of_all}</td>'
        f'<td data-head="Hard ones">{each["hard"]}{of_hard} <small>above {each["hard_above_bw"]:g} BW</small></td>'
        f'<td data-head="Last at">{escape(last)}</td></tr>'
    )
