"""Every source stands once, is cited somewhere, and has pages and identifiers of a form that exists."""

from __future__ import annotations

import json
import re
from collections import Counter
from pathlib import Path

import pytest

from jointload import modeldata, sources
from jointload.errors import ModelDataError
from jointload.modeldata import PROVENANCE_KEYS, load_model, model_kinds, model_names, shipped_folder
from jointload.sources import READ, Published, cite, cited, every_source, in_words, source

MODELS = shipped_folder("models")
PACKAGE = Path(sources.__file__).parent
ENTRIES = json.loads((MODELS / "sources" / "sources.json").read_text(encoding="utf-8"))
MOST_FROM_MEMORY = 30
FORMS = {
    "id": r"[a-z0-9]+(_[a-z0-9]+)*",
    "DOI": r"10\.\d{4,9}/[^\s?#]*[^\s?#.,;]",
    "PMCID": r"PMC\d{4,8}",
    "PMID": r"\d{4,8}",
    "page": r"[a-z]?\d+(-\d+)?",
    "volume": r"\d+",
    "issue": r"\d+",
    "edition": r"\d+",
}
"""DOI: the DOI Handbook, 2.2.2; PMCID and PMID: numbers of PubMed Central and PubMed (common practice)."""
CSL_KINDS = {"article-journal", "book", "chapter", "thesis", "report", "webpage", "document"}
"""Those of CSL 1.0.2, appendix III, that are used here."""
CSL_NAMES = {
    "id", "type", "author", "issued", "title", "container-title", "volume", "issue", "page", "publisher", "edition",
    "DOI", "PMCID", "PMID", "custom",
}  # fmt: skip
"""Variables of CSL-JSON 1.0.2; `custom` holds what a program keeps for itself."""


def text_files() -> list[Path]:
    return [path for path in MODELS.rglob("*.*") if path.suffix in (".toml", ".csv")]


# the list


def test_entries_are_csl_and_whole() -> None:
    for entry in ENTRIES:
        assert entry.keys() <= CSL_NAMES and entry["type"] in CSL_KINDS, entry["id"]
        assert entry["custom"]["read"] in READ, entry["id"]
        known = {"title", "container-title", "DOI", "PMCID", "PMID", "author"} & entry.keys()
        assert known or "not seen" in entry["custom"]["what"], f"{entry['id']} cannot be found by anybody"
        if "issued" in entry:
            assert 1900 <= entry["issued"]["date-parts"][0][0] <= 2030, entry["id"]


@pytest.mark.parametrize("field", FORMS)
def test_identifiers_and_pages_have_their_form(field: str) -> None:
    texts = [(entry["id"], entry[field]) for entry in ENTRIES if field in entry]
    assert texts and [(key, text) for key, text in texts if not re.fullmatch(FORMS[field], text)] == []


def test_last_pages_follow_first_ones() -> None:
    for entry in ENTRIES:
        first, _, last = entry.get("page", "").partition("-")
        assert not last or int(first) < int(last) < int(first) + 60, entry["id"]


@pytest.mark.parametrize("wrong", ["11-22a", "100--110", "10-", "1135 - 1142"])
def test_a_malformed_page_would_be_found(wrong: str) -> None:
    assert not re.fullmatch(FORMS["page"], wrong)


@pytest.mark.parametrize(
    "wrong", ["doi:10.1123/jab", "https://doi.org/10.1123/jab.22.1.33", "10.1123", "10.1/x", "10.1123/a b"]
)
def test_a_malformed_doi_would_be_found(wrong: str) -> None:
    assert not re.fullmatch(FORMS["DOI"], wrong)


def test_every_source_stands_once() -> None:
    """By key, identifier, title, and place of print."""
    known = every_source().values()
    places = [(s.journal, s.volume, s.page) for s in known if s.journal and s.volume and s.page]
    titles = [re.sub(r"\W+", " ", s.title.lower()).strip() for s in known if s.title]
    identifiers = [number.lower() for s in known for number in s.identifiers.values()]
    for marks in ([entry["id"] for entry in ENTRIES], places, titles, identifiers):
        assert [mark for mark, times in Counter(marks).items() if times > 1] == []
    assert [entry["id"] for entry in ENTRIES] == sorted(entry["id"] for entry in ENTRIES)


def used_keys() -> set[str]:
    files = [load_model(kind, name) for kind in model_kinds() for name in model_names(kind)]
    code = [path.read_text(encoding="utf-8") for path in PACKAGE.rglob("*.py") if path != Path(sources.__file__)]
    return {key for file in files for key in file.keys} | set(cited(*code))


def test_every_source_is_cited_and_every_citation_is_a_source() -> None:
    assert used_keys() == set(every_source())


def test_no_source_is_written_out_by_hand_in_models() -> None:
    """A journal's volume and first page, or an identifier, beside the list."""
    marks = {f"{s.volume}:{s.page.split('-')[0]}" for s in every_source().values() if s.volume and s.page}
    marks |= {number for s in every_source().values() for number in s.identifiers.values()}
    for path in text_files():
        text = path.read_text(encoding="utf-8")
        assert [mark for mark in marks if re.search(rf"(?<![\w.]){re.escape(mark)}(?!\w)", text)] == [], path.name


def test_the_skateboard_study_is_cited_without_authors() -> None:
    study = source("japplbiomech_2006")
    assert study.authors == () and study.words == "(2006) J Appl Biomech 22:33-40"


# memory


def lines_from_memory() -> list[str]:
    """Lines of models/ that rest on memory; a comment that names the kinds of basis, and the word alone as a cell
    whose row says the rest, are none of their own."""
    lines = [
        f"{path.name}: {line}"
        for path in MODELS.rglob("*.*")
        for line in path.read_text(encoding="utf-8").splitlines()
        if re.search(r"\bmemory\b", line, re.IGNORECASE)
    ]
    return [line for line in lines if "basis: published" not in line and not line.endswith('basis = "memory"')]


def test_few_lines_rest_on_memory_and_each_says_what_would_settle_it() -> None:
    lines = lines_from_memory()
    assert len(lines) <= MOST_FROM_MEMORY
    of_a_source = [line for line in lines if '"read": "memory"' in line]
    of_a_row = [line for line in lines if re.search(r",from memory$", line)]
    others = [line for line in lines if line not in of_a_source and line not in of_a_row]
    assert [line for line in others if "settle" not in line] == []
    assert "settle" in sources.READ_WORDS["memory"]
    assert {line.split(":")[0] for line in of_a_row} == {"de_leva_1996.csv"}, "its head says what would settle them"


def test_no_tissue_load_rests_on_memory_within_a_narrow_spread() -> None:
    """From memory a distance of 40 to 50 mm and a slope of 31 +- 8 degrees: the spread is at least half as wide again;
    an exponent's range is at least twofold."""
    spreads = {**load_model("tissue", "knee").content["spread"], **load_model("tissue", "lumbar").content["spread"]}
    remembered = {name for name, row in spreads.items() if row["basis"] == "memory"}
    assert remembered == {"contact_distance", "disc_slope"}
    assert spreads["contact_distance"]["high"] - spreads["contact_distance"]["low"] >= 1.5 * 0.010
    assert spreads["disc_slope"]["high"] - spreads["disc_slope"]["low"] >= 1.5 * 16
    for row in load_model("tissue", "dose").content["tissue"].values():
        assert row["exponent_low"] <= row["exponent"] <= row["exponent_high"]
        assert row["exponent_high"] >= 2 * row["exponent_low"]


# keys in texts


def test_keys_come_in_order_and_once() -> None:
    text = "arm [@im_2015; @buff_1988], area [@besier_2005] and again [@im_2015]; an address a@b.org [no @key]"
    assert cited(text) == ["im_2015", "buff_1988", "besier_2005"]
    assert cite(["im_2015", "buff_1988", "im_2015"]) == "[@im_2015; @buff_1988]" and cite([]) == ""


def test_words_stand_in_for_keys() -> None:
    assert in_words("by [@grood_1983], p. 1") == "by Grood ES, Suntay WJ (1983) J Biomech Eng 105:136-144, p. 1"
    assert in_words("[@bell_1990]") == "Bell AL et al (1990) J Biomech 23:617-621"
    assert in_words("a rider's own words [@nobody_1900]") == "a rider's own words [@nobody_1900]"


def test_the_list_names_what_is_known_and_what_was_read() -> None:
    whole = source("mantovani_2016").whole
    assert whole == "Mantovani G et al (2016). Gait Posture 44:48. [its abstract was read]"
    assert source("bell_1990").whole.startswith("Bell AL, Pedersen DR, Brand RA (1990). A comparison of the accuracy")


def test_an_unknown_key_is_refused_with_the_nearest_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "things").mkdir()
    head = "".join(f'{key} = "something"\n' for key in PROVENANCE_KEYS if key != "source")
    (tmp_path / "things" / "a.toml").write_text(f'x = 1\n[provenance]\nsource = "[@harington_2007]"\n{head}')
    (tmp_path / "things" / "b.toml").write_text(
        f'[provenance]\nsource = "s"\n{head}[row]\nsource = ["see [@mantovani_2061]"]\n'
    )
    monkeypatch.setattr(modeldata, "shipped_folder", lambda name: tmp_path)
    load_model.cache_clear()
    try:
        for name, wrong, near in (
            ("a", "harington_2007", "harrington_2007"),
            ("b", "mantovani_2061", "mantovani_2016"),
        ):
            with pytest.raises(ModelDataError) as told:
                load_model("things", name)
            assert str(told.value).startswith(f"models/things/{name}.toml: source '{wrong}'")
            assert f"the nearest key is {near};" in str(told.value) and "\n" not in str(told.value)
    finally:
        load_model.cache_clear()


@pytest.mark.parametrize(
    ("entries", "fault"),
    [
        ([{"id": "a", "type": "book", "custom": {"read": "whole"}}] * 2, "'a': the key stands twice"),
        ([{"id": "a", "type": "book", "custom": {"read": "half"}}], "'a': expected read one of whole"),
        ([{"id": "a", "type": "book"}], "'a': expected read one of whole"),
    ],
)
def test_a_list_that_is_not_whole_is_refused(entries, fault, tmp_path, monkeypatch) -> None:
    (tmp_path / "sources").mkdir()
    (tmp_path / "sources" / "sources.json").write_text(json.dumps(entries))
    monkeypatch.setattr(sources, "shipped_folder", lambda name: tmp_path)
    every_source.cache_clear()
    try:
        with pytest.raises(ModelDataError, match=fault):
            every_source()
    finally:
        every_source.cache_clear()


def test_a_source_without_authors_year_or_title_is_a_source() -> None:
    for each in every_source().values():
        assert isinstance(each, Published) and each.words and each.whole.endswith("]")
