"""The protocol of a recording day on one page: what was recorded, what was refused, what was repeated, and why."""

from __future__ import annotations

import csv
import io
from collections import Counter
from html import escape
from typing import Any

from jointload.day.book import Book
from jointload.day.rider.strain import CAUTIONS
from jointload.day.rider.verdict import KINDS
from jointload.day.state import DAY, PROTOCOL, short_trials
from jointload.report.words import html
from jointload.report.words.cells import sentence_case
from jointload.report.words.csv_text import shielded
from jointload.report.words.whole_file import whole_file

Record = dict[str, Any]
WORDS = {"fine": "fine", "usable": "usable", "again": "record again", "": "not judged"}
COLUMNS = ("order", "date", "time", "file", "version", "kind", "rider", "condition", "verdict", "why")


DOUBTED = ("Time", "File", "Version", "Rider", "Condition", "Verdict", "Why")


def write_protocol(book: Book, end: Record, now: float) -> None:
    """protocol.html, .csv and .md into the folder day/; end : what the study run at the end told."""
    folder = book.folder / DAY
    folder.mkdir(exist_ok=True)
    texts = {
        "protocol.html": as_html(book, end, now),
        "protocol.csv": as_csv(book),
        "protocol.md": as_text(book, end, now),
    }
    for name in PROTOCOL:
        with whole_file(folder / name) as file:
            file.write(texts[name])


def protocol_rows(book: Book) -> list[Record]:
    """A row a version of every recording, in order of arrival: an earlier version of a file that was replaced, too."""
    out = []
    for row in short_trials(book):
        recorded = book.recorded[row["file"]]
        base = {"order": row["order"], "date": recorded.date, "file": row["file"], "rider": row["rider"],
                "kind": KINDS.get(row["kind"], ""), "condition": row["condition"]}  # fmt: skip
        for earlier in recorded.versions[:-1]:
            word = WORDS[earlier.get("word", "")]
            why = f"replaced by version {earlier['version'] + 1}; {earlier.get('reason', '')}".rstrip("; ")
            out.append(base | {"time": earlier["at"], "version": earlier["version"], "verdict": word, "why": why})
        verdict = "left out" if row["status"] == "left_out" else WORDS[row["word"]]
        why = "" if row["word"] == "fine" else row["reason"]
        out.append(base | {"time": row["at"], "version": row["version"], "verdict": verdict, "why": why})
    return out


def as_csv(book: Book) -> str:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    writer.writerows([shielded(row[name]) for name in COLUMNS] for row in protocol_rows(book))
    return out.getvalue()


def as_html(book: Book, end: Record, now: float) -> str:
    title = f"Protocol of {book.today}: {book.study.plan.name}"
    parts = [f"<h1>{escape(title)}</h1>", *map(html.paragraph, _summary(book, end))]
    for heading, head, rows in _tables(book, now):
        parts.append(f"<h2>{escape(heading)}</h2>" + html.table(head, [[escape(cell) for cell in row] for row in rows]))
    parts += [html.paragraph(text) for text in CAUTIONS]
    return html.document(title, "\n".join(parts), used=())


def as_text(book: Book, end: Record, now: float) -> str:
    """The same in Markdown."""
    lines = [f"# Protocol of {book.today}: {book.study.plan.name}", "", *_summary(book, end), ""]
    for heading, head, rows in _tables(book, now):
        lines += [f"## {heading}", "", _line(head), _line(["---"] * len(head)), *map(_line, rows), ""]
    return "\n".join([*lines, *CAUTIONS, ""])


def _line(cells: Any) -> str:
    return "| " + " | ".join(str(cell).replace("|", "/").replace("\n", " ") for cell in cells) + " |"


def _summary(book: Book, end: Record) -> list[str]:
    """What there is in a few sentences."""
    rows = protocol_rows(book)
    counts = Counter(row["verdict"] for row in rows)
    told = [f"{counts[word]} {word}" for word in (*WORDS.values(), "left out") if counts[word]]
    files = len({row["file"] for row in rows})
    versions = f" in {len(rows)} versions" if len(rows) > files else ""
    out = [f"{files} recordings{versions}: {', '.join(told) or 'none'}.", book.plan()["text"]]
    if end.get("text"):
        out.append(f"The study's results: {end['text']}.")
    out += [f"Not complete: {fault}" for fault in end.get("faults", ())]
    if book.aim is not None:
        answer = (book.stage(False).found or {}).get("answer")
        out.append(
            f"Fitting of {book.aim.rider}, {book.aim.side} foot: {answer['verdict'] if answer else 'no answer yet.'}"
        )
    return out


def _tables(book: Book, now: float) -> list[tuple[str, tuple[str, ...], list[list[str]]]]:
    """Heading, head and rows of text."""
    plan = [
        [
            row["rider"],
            row["condition"],
            *(str(row[name]) for name in ("needed", "usable", "again", "left")),
            row["stopped"],
        ]
        for row in book.plan()["rows"]
    ]
    session = [
        [one["rider"], str(one["landings"]), f"{one['hard']} above {one['hard_above_bw']:g} BW", one["stopped"]]
        for one in book.session(now)
    ]
    every = protocol_rows(book)
    doubted = [
        [row["time"], row["file"], str(row["version"]), row["rider"], row["condition"], row["verdict"], row["why"]]
        for row in every
        if row["why"]
    ]
    rows = [
        [str(row["order"]), row["time"], row["file"], str(row["version"]), sentence_case(row["kind"]), row["rider"],
         row["condition"], row["verdict"]]
        for row in every
    ]  # fmt: skip
    found = [
        ("Refused, repeated, left out, or to be minded", DOUBTED, doubted),
        ("Plan", ("Rider", "Condition", "Wanted", "Usable", "Record again", "Left", "Stopped by"), plan),
        ("Landings today", ("Rider", "Landings", "Hard ones, a foot's largest force", "Limit"), session),
        ("Recordings", ("", "Time", "File", "Version", "Kind", "Rider", "Condition", "Verdict"), rows),
    ]
    return [one for one in found if one[2]]
