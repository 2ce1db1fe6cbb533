"""What a paper takes from a result folder: the methods in words and in LaTeX, and the references that they cite."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from jointload.report.words.references import bibtex, latex
from jointload.sources import cited


def write_methods(draft: Path, paragraph: str, checklist: Iterable[tuple[str, str]]) -> None:
    """methods.md (the paragraph and the checklist, citing as in Markdown), methods.tex (the paragraph, citing by
    `\\cite`) and references.bib with the sources that the paragraph cites, no others."""
    listed = "".join(f"- **{name}**: {text}\n" for name, text in checklist)
    words = f"# Methods\n\n{paragraph}\n\n# Reporting checklist\n\n{listed}"
    (draft / "methods.md").write_text(words, encoding="utf-8")
    (draft / "methods.tex").write_text(latex(paragraph) + "\n", encoding="ascii")
    (draft / "references.bib").write_text(bibtex(cited(paragraph)), encoding="ascii")
