"""Citations as a page, a paper in LaTeX and a reference manager want them."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable
from html import escape

from jointload.sources import OTHERS, Published, cited, every_source, replaced

LATEX_WORDS = {
    "\\": r"\textbackslash{}", "&": r"\&", "%": r"\%", "$": r"\$", "#": r"\#", "_": r"\_", "{": r"\{", "}": r"\}",
    "~": r"\textasciitilde{}", "^": r"\textasciicircum{}", "<": "$<$", ">": "$>$", "|": "$|$", "−": "$-$", "–": "--",
    "—": "---", "±": r"$\pm$", "×": r"$\times$", "·": r"$\cdot$", "√": r"$\surd$", "°": r"$^\circ$", "²": "$^2$",
    "³": "$^3$", "≥": r"$\geq$", "≤": r"$\leq$", "µ": r"$\mu$", "′": "$'$", "“": "``", "”": "''", "’": "'",
    "ø": r"{\o}", "Ø": r"{\O}", "ß": r"{\ss}", "æ": r"{\ae}", "Æ": r"{\AE}", "ł": r"{\l}", "Ł": r"{\L}", "ı": r"{\i}",
}  # fmt: skip
ACCENTS = {
    "\u0300": "`", "\u0301": "'", "\u0302": "^", "\u0303": "~", "\u0304": "=", "\u0306": "u", "\u0307": ".",
    "\u0308": '"', "\u030a": "r", "\u030b": "H", "\u030c": "v", "\u0327": "c", "\u0328": "k",
}  # fmt: skip
"""Combining mark -> LaTeX's command for it."""
BIBTEX_KINDS = {
    "article-journal": "article", "book": "book", "chapter": "incollection", "thesis": "phdthesis",
    "report": "techreport",
}  # fmt: skip
"""A kind of CSL that BibTeX has an entry for; anything else is misc. So is an article without its journal."""
PUBLISHERS = {"thesis": "school", "report": "institution"}


def numbered(body: str, used: Iterable[str] | None = None) -> str:
    """HTML with every citation as a number that leads to a list at its end.

    used : only these keys are numbered and listed, any other is named in words; None lists all
    """
    known = every_source()
    listed = [key for key in cited(body) if key in known and (used is None or key in set(used))]
    place = {key: number for number, key in enumerate(listed, start=1)}

    def shown(keys: list[str]) -> str:
        links = (f'<a href="#source-{key}">{place[key]}</a>' for key in keys if key in place)
        numbers = ", ".join(links)
        words = "; ".join(escape(known[key].words) for key in keys if key not in place)
        return "; ".join(part for part in (f"[{numbers}]" if numbers else "", words) if part)

    body = replaced(body, shown)
    if not listed:
        return body
    rows = "\n".join(f'<li id="source-{key}">{escape(known[key].whole)}</li>' for key in listed)
    fold = (
        f"<details><summary>{len(listed)} sources, and what was read of each</summary>\n<ol>\n{rows}\n</ol></details>"
    )
    return f'{body}\n<section id="sources">\n<h2>Sources</h2>\n{fold}\n</section>'


def latex(text: str) -> str:
    """Text for LaTeX, its citations as \\cite with the keys of references.bib."""
    marks: list[list[str]] = []

    def kept(keys: list[str]) -> str:
        marks.append(keys)
        return "\0"

    between = replaced(text.replace("\0", ""), kept).split("\0")
    cites = [*(f"\\cite{{{','.join(keys)}}}" for keys in marks), ""]
    return "".join(latex_letters(part) + cite for part, cite in zip(between, cites, strict=True))


def latex_letters(text: str) -> str:
    """Every letter as plain ASCII that LaTeX and BibTeX print as meant; a question mark where there is none."""
    return "".join(_latex_letter(letter) for letter in text)


def _latex_letter(letter: str) -> str:
    if letter in LATEX_WORDS:
        return LATEX_WORDS[letter]
    if letter.isascii():
        return letter
    base, *marks = list(unicodedata.normalize("NFD", letter))
    if len(marks) == 1 and marks[0] in ACCENTS and base.isascii():
        return f"{{\\{ACCENTS[marks[0]]}{{{base}}}}}"
    return "?"


def bibtex(keys: Iterable[str]) -> str:
    """references.bib: one entry a key, in the order of the keys; what is not known of a source has no field."""
    known = every_source()
    return "\n".join(_entry(known[key]) for key in sorted(set(keys)))


def _entry(source: Published) -> str:
    kind = BIBTEX_KINDS.get(source.kind, "misc")
    if kind in ("article", "incollection") and not source.journal:
        kind = "misc"
    ids = source.identifiers
    fields = {
        "author": " and ".join(_bibtex_author(*author) for author in source.authors),
        "key": "" if source.authors else source.where or source.key,
        "title": f"{{{latex_letters(source.title)}}}" if source.title else "",
        {"article": "journal", "incollection": "booktitle"}.get(kind, "howpublished"): latex_letters(source.journal),
        PUBLISHERS.get(source.kind, "publisher" if kind == "book" else "organization"): latex_letters(source.publisher),
        "edition": source.edition,
        "year": source.year,
        "volume": source.volume,
        "number": source.issue,
        "pages": source.page.replace("-", "--"),
        "doi": ids.get("DOI", ""),
        "note": ", ".join(f"{kind} {ids[kind]}" for kind in ("PMCID", "PMID") if kind in ids),
        "annote": latex_letters(source.what_was_read),
    }
    told = "".join(f"  {name} = {{{text}}},\n" for name, text in fields.items() if text)
    return f"@{kind}{{{source.key},\n{told}}}\n"


def _bibtex_author(family: str, given: str) -> str:
    """Family, initials apart: Bell AL -> Bell, A. L."""
    if family == OTHERS:
        return OTHERS
    if not given:
        return f"{{{latex_letters(family)}}}"
    initials = " ".join("-".join(f"{letter}." for letter in part) for part in _initials(given))
    return latex_letters(f"{family}, {initials}")


def _initials(given: str) -> list[str]:
    """TM -> T, M;  J-P -> J-P as one."""
    return [given.replace("-", "")] if "-" in given else list(given)
