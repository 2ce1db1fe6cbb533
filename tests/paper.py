"""What a result folder hands to a paper, read back by a general reader of BibTeX and by LaTeX where it is installed."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest

PLACE = re.compile(r'<li id="source-([\w-]+)">')
NUMBER = re.compile(r'<a href="#source-([\w-]+)">(\d+)</a>')
DOCUMENT = r"""\documentclass{article}
\usepackage[T1]{fontenc}
\usepackage{amssymb}
\begin{document}
\input{methods}
%s
\bibliographystyle{plain}
\bibliography{references}
\end{document}
"""


def read_entries(folder: Path) -> dict[str, Any]:
    """references.bib by pybtex, which refuses a key that stands twice or a brace that stays open."""
    database = pytest.importorskip("pybtex.database", reason="pybtex is not installed: pip install '.[test]'")
    return dict(database.parse_file(str(folder / "references.bib"), "bibtex").entries)


def cited_keys(folder: Path) -> tuple[set[str], set[str]]:
    """Keys that methods.tex and methods.md cite, found by their own marks."""
    words, latex = ((folder / f"methods.{kind}").read_text(encoding="utf-8") for kind in ("md", "tex"))
    paragraph = words.split("# Reporting checklist")[0]
    by_latex = {key for keys in re.findall(r"\\cite\{([^}]*)\}", latex) for key in keys.split(",")}
    return by_latex, set(re.findall(r"@([\w-]+)", paragraph))


def check_references(folder: Path, page: str = "") -> set[str]:
    """Every entry is cited and every citation an entry, in both forms of the paragraph and on the page; the keys."""
    entries = set(read_entries(folder))
    by_latex, by_words = cited_keys(folder)
    assert entries == by_latex == by_words and entries
    assert (folder / "methods.tex").read_bytes().isascii() and "?" not in (folder / "references.bib").read_text("ascii")
    if page:
        check_page((folder / page).read_text(encoding="utf-8"), entries)
    return entries


def check_page(text: str, entries: set[str]) -> None:
    """The list at the end holds the entries in the order of their numbers, and every number leads to its place."""
    listed = PLACE.findall(text)
    assert set(listed) == entries and len(listed) == len(entries)
    numbers = NUMBER.findall(text)
    assert {key for key, _ in numbers} == entries
    assert all(listed[int(number) - 1] == key for key, number in numbers)
    assert "[@" not in re.sub(r"<script.*?</script>", "", text, flags=re.DOTALL)


def compiled(folder: Path, work: Path, table: str = "") -> str:
    """The log of LaTeX and BibTeX over the paragraph, a table of the folder and references.bib; skips without them."""
    programs = [shutil.which(name) for name in ("pdflatex", "bibtex")]
    if None in programs:
        pytest.skip("pdflatex and bibtex are not installed")
    work.mkdir()
    for name in ("methods.tex", "references.bib", *([table] if table else [])):
        shutil.copy(folder / name, work / name)
    (work / "paper.tex").write_text(DOCUMENT % (rf"\input{{{table}}}" if table else ""), encoding="ascii")
    for command in (
        ["pdflatex", "-interaction=nonstopmode", "-halt-on-error", "paper"],
        ["bibtex", "paper"],
        ["pdflatex", "-interaction=nonstopmode", "-halt-on-error", "paper"],
        ["pdflatex", "-interaction=nonstopmode", "-halt-on-error", "paper"],
    ):
        done = subprocess.run(command, cwd=work, capture_output=True, timeout=120)
        assert done.returncode == 0, (command[0], done.stdout.decode("utf-8", "replace")[-2000:])
    return (work / "paper.log").read_text(encoding="utf-8", errors="replace")
