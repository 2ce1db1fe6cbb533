"""What was published and is cited: every source once, by its key.

models/sources/sources.json is a list in CSL-JSON (citationstyles.org), which reference managers read. A text cites as
in Markdown for papers: `[@bell_1990]`, or `[@bell_1990; @hara_2016]`. The text keeps the keys until it is shown; then
it is words in a terminal, a number with a list on a page, a command in LaTeX.
"""

from __future__ import annotations

import difflib
import json
import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from jointload.errors import ModelDataError, known_names

CITATION = re.compile(r"\[(@[\w-]+(?:;\s*@[\w-]+)*)\]")
READ = ("whole", "table", "excerpt", "abstract", "restated", "memory")
"""How much of a source was read; restated: its numbers were seen in another's words alone."""
READ_WORDS = {
    "whole": "read whole",
    "table": "its tables were read",
    "excerpt": "an excerpt was read",
    "abstract": "its abstract was read",
    "restated": "read as restated by others",
    "memory": "from memory, the paper itself would settle it",
}
FOUND_BY = {"DOI": "doi:", "PMCID": "", "PMID": "PMID "}
"""Kind of identifier -> what stands before it in words."""
MANY = 3
"""Authors from which words name the first alone."""


def shipped_folder(name: str) -> Path:
    """The folder `models`, `sample_c3d` or `guide`, inside an installed package or beside it in a checkout."""
    package = Path(__file__).parent
    for folder in (package / name, package.parent / name):
        if folder.is_dir():
            return folder
    raise ModelDataError(f"the shipped folder {name}/ is missing beside {package}; reinstall jointload")


@dataclass(frozen=True)
class Published:
    """One source; what is not known of it stays empty.

    authors : (family, given) of each, ("others", "") for those not named;  read : one of READ
    what : which part was read, or what of its record is not known;  identifiers : DOI, PMCID, PMID
    """

    key: str
    kind: str
    authors: tuple[tuple[str, str], ...]
    year: str
    title: str
    journal: str
    volume: str
    issue: str
    page: str
    publisher: str
    edition: str
    identifiers: dict[str, str]
    read: str
    what: str

    @property
    def words(self) -> str:
        """As a sentence names it: Bell AL et al (1990) J Biomech 23:617-621."""
        told = [_author_words(self.authors), f"({self.year})" if self.year else "", self.where]
        if not self.where:
            told.append(self.title or self._identified() or self.what)
        return " ".join(part for part in told if part)

    @property
    def where(self) -> str:
        """Journal, volume and pages, or the publisher."""
        numbers = ":".join(
            part for part in (self.volume + (f"({self.issue})" if self.issue else ""), self.page) if part
        )
        return " ".join(part for part in (self.journal or self.publisher, numbers) if part)

    @property
    def whole(self) -> str:
        """As a list of references names it, with what was read of it."""
        names = ", ".join(" ".join(part for part in author if part) for author in self.authors if author[0] != OTHERS)
        names += " et al" if (OTHERS, "") in self.authors else ""
        head = " ".join(part for part in (names, f"({self.year})" if self.year else "") if part)
        edition = f"edition {self.edition}" if self.edition else ""
        parts = [head, self.title, self.where, edition, self._identified()]
        return ". ".join(part for part in parts if part) + f". [{self.what_was_read}]"

    @property
    def what_was_read(self) -> str:
        return READ_WORDS[self.read] + (f": {self.what}" if self.what else "")

    def _identified(self) -> str:
        return next((FOUND_BY[kind] + self.identifiers[kind] for kind in FOUND_BY if kind in self.identifiers), "")


OTHERS = "others"


def _author_words(authors: tuple[tuple[str, str], ...]) -> str:
    told = [" ".join(part for part in author if part) for author in authors]
    if len(told) >= MANY or OTHERS in told:
        return f"{told[0]} et al"
    return ", ".join(told)


@lru_cache(maxsize=1)
def every_source() -> dict[str, Published]:
    """Key -> source, as shipped; ModelDataError where an entry is not whole or a key stands twice."""
    path = shipped_folder("models") / "sources" / "sources.json"
    found: dict[str, Published] = {}
    for entry in json.loads(path.read_text(encoding="utf-8")):
        source = _of_entry(entry)
        if source.key in found or source.read not in READ:
            fault = "the key stands twice" if source.key in found else f"expected read one of {', '.join(READ)}"
            raise ModelDataError(f"models/sources/sources.json: {source.key!r}: {fault}; correct it")
        found[source.key] = source
    return found


def _of_entry(entry: dict[str, Any]) -> Published:
    authors = tuple((a.get("family") or a["literal"], a.get("given", "")) for a in entry.get("author", ()))
    year = entry["issued"]["date-parts"][0][0] if "issued" in entry else ""
    own = entry.get("custom", {})
    text = dict.fromkeys(("title", "container-title", "volume", "issue", "page", "publisher", "edition"), "") | entry
    return Published(
        key=entry["id"], kind=entry["type"], authors=authors, year=str(year), title=text["title"],
        journal=text["container-title"], volume=text["volume"], issue=text["issue"], page=text["page"],
        publisher=text["publisher"], edition=text["edition"],
        identifiers={kind: entry[kind] for kind in FOUND_BY if kind in entry}, read=own.get("read", ""),
        what=own.get("what", ""),
    )  # fmt: skip


def source(key: str, where: str = "") -> Published:
    """One source; ModelDataError names the key nearest to an unknown one.  where : the file that names it"""
    known = every_source()
    if key not in known:
        near = difflib.get_close_matches(key, known, 1, 0.0)
        head = f"{where}: " if where else ""
        raise ModelDataError(
            f"{head}source {key!r} is not in models/sources/sources.json; the nearest key is {known_names(near)}; "
            "correct the key or add the source"
        )
    return known[key]


def cited(*texts: str) -> list[str]:
    """The keys that texts cite, each once, in the order they come."""
    return list(dict.fromkeys(key for text in texts for match in CITATION.finditer(text) for key in _keys(match)))


def cited_in(content: Any) -> list[str]:
    """The keys that any text inside nested tables and lists cites."""
    return cited(*_texts(content))


def replaced(text: str, shown: Callable[[list[str]], str]) -> str:
    """The text with every citation as `shown` gives it for its keys; what is no known key stays as it is."""
    known = every_source()

    def of(match: re.Match[str]) -> str:
        keys = _keys(match)
        return shown(keys) if all(key in known for key in keys) else match[0]

    return CITATION.sub(of, text)


def in_words(text: str) -> str:
    """The text with every citation in words."""
    return replaced(text, lambda keys: "; ".join(every_source()[key].words for key in keys)) if "[@" in text else text


def cite(keys: Iterable[str]) -> str:
    """A citation of these keys, empty where there are none."""
    told = "; ".join(f"@{key}" for key in dict.fromkeys(keys))
    return f"[{told}]" if told else ""


def _keys(match: re.Match[str]) -> list[str]:
    return [part.strip().removeprefix("@") for part in match[1].split(";")]


def _texts(content: Any) -> Iterable[str]:
    if isinstance(content, str):
        yield content
    elif isinstance(content, dict):
        for value in content.values():
            yield from _texts(value)
    elif isinstance(content, list | tuple):
        for value in content:
            yield from _texts(value)
