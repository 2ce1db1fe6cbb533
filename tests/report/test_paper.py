"""What a result hands to a paper: methods that cite, a bibliography with the sources that were used and no others."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest
from paper import check_references, compiled, read_entries

from jointload.analysis import Analysis, analyse
from jointload.insole.fitting.whatif import WhatIf
from jointload.modeldata import load_model
from jointload.report.files.folder import write_report
from jointload.report.words.methods import methods_text
from jointload.report.words.references import bibtex, latex, latex_letters, numbered
from jointload.sources import cited, every_source, source


@pytest.fixture(scope="module")
def result(analysis: Analysis, prediction: WhatIf, tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_report(analysis, tmp_path_factory.mktemp("paper") / "result", prediction)


# a landing's folder


def test_every_entry_is_cited_and_every_citation_is_an_entry(result: Path) -> None:
    check_references(result, "report.html")


def test_only_what_was_used_is_cited(analysis: Analysis, result: Path) -> None:
    """The tables and regressions of this analysis, not their siblings; the insole's sources with a prediction alone."""
    keys = set(read_entries(result))
    assert {"harrington_2007", "de_leva_1996", "grood_1983", "telfer_2013", "maganaris_2000"} <= keys
    others = {"bell_1989", "davis_1991", "hara_2016", "leardini_1999", "dumas_2018", "winter_2009", "coenen_2012"}
    assert not keys & (others | {"hedges_1981", "roos_2012"})
    alone = set(cited(methods_text(analysis).paragraph))
    assert alone < keys and {"telfer_2013", "sinclair_2017", "verdejo_2004"} <= keys - alone


def test_another_table_brings_its_own_source(analysis: Analysis) -> None:
    settings = replace(analysis.settings, inertia="dumas_wojtusch_2018", hip_centre="bell_1989")
    keys = set(cited(methods_text(analyse(analysis.session, settings, variants=False)).paragraph))
    assert {"dumas_2018", "bell_1989"} <= keys and not keys & {"de_leva_1996", "harrington_2007"}


def test_without_intervals_no_input_is_cited(analysis: Analysis) -> None:
    bare = set(cited(methods_text(replace(analysis, certainty=None)).paragraph))
    assert not bare & {"benoit_2006", "della_croce_1999", "cappello_2011"}


def test_a_quantity_that_is_not_known_cites_nothing(analysis: Analysis) -> None:
    unknown = [
        replace(m, value=float("nan"), low=float("nan"), high=float("nan"))
        if m.quantity.startswith(("achilles", "ankle_dorsiflexion"))
        else m
        for m in analysis.measures
    ]
    keys = set(cited(methods_text(replace(analysis, measures=tuple(unknown))).paragraph))
    assert not keys & {*load_model("tissue", "achilles").keys, "wu_2019"}
    assert {"im_2015", "besier_2005", "gungor_2013"} <= keys


def test_the_page_says_what_was_read(result: Path) -> None:
    page = (result / "report.html").read_text(encoding="utf-8")
    assert "Buff, Jones, Hungerford (1988). J Biomech 21:17. doi:10.1016/0021-9290(88)90187-x. [its" in page
    assert '<a href="#sources">Sources</a>' in page
    assert "(2006). J Appl Biomech 22:33-40. doi:10.1123/jab.22.1.33" in page


def test_the_paragraph_its_references_and_latex_go_together(result: Path, tmp_path: Path) -> None:
    log = compiled(result, tmp_path / "work")
    assert "undefined" not in log.lower()


# BibTeX


def test_every_source_is_an_entry_that_a_general_reader_understands(tmp_path: Path) -> None:
    (tmp_path / "references.bib").write_text(bibtex(every_source()), encoding="ascii")
    entries = read_entries(tmp_path)
    assert set(entries) == set(every_source())
    for key, entry in entries.items():
        ours, theirs = source(key), entry.fields
        assert theirs.get("year", "") == ours.year and theirs.get("volume", "") == ours.volume
        assert theirs.get("pages", "").replace("--", "-") == ours.page
        assert theirs.get("doi", "") == ours.identifiers.get("DOI", "")
        authors = [" ".join(person.last_names).strip("{}") for person in entry.persons.get("author", [])]
        assert len(authors) == len(ours.authors), key
        if all(family.isascii() for family, _ in ours.authors):
            assert [" ".join(p.prelast_names + p.last_names).strip("{}") for p in entry.persons.get("author", [])] == [
                family for family, _ in ours.authors
            ]


def test_what_is_not_known_has_no_field(tmp_path: Path) -> None:
    text = bibtex(["japplbiomech_2006"])
    assert "author" not in text and "title" not in text
    assert "pages = {33--40}" in text and "doi = {10.1123/jab.22.1.33}" in text
    assert "year =" not in bibtex(["exell_plates"])


def test_names_and_initials_are_told_apart() -> None:
    assert "author = {Bell, A. L. and Pedersen, D. R. and Brand, R. A.}" in bibtex(["bell_1990"])
    assert "Dumas, R. and Cheze, L. and Verriest, J.-P." in bibtex(["dumas_2007"])
    assert r"author = {Sch{\"{a}}fer, R. and others}" in bibtex(["schafer_2023"])


# LaTeX


def test_letters_become_what_latex_prints() -> None:
    assert latex_letters("5 % of_it & £") == r"5 \% of\_it \& ?"
    assert latex_letters("Šarabon, Müller, ±2 °") == r"{\v{S}}arabon, M{\"{u}}ller, $\pm$2 $^\circ$"
    assert latex("x_1 by [@im_2015; @buff_1988].") == r"x\_1 by \cite{im_2015,buff_1988}."
    assert latex("[@nobody_1900]") == "[@nobody\\_1900]"


@pytest.mark.parametrize("text", ["\\input{/etc/passwd}", "{\\catcode`\\%", "a\0b[@im_2015]", "$x^2$ #1 ~"])
def test_no_text_is_a_command(text: str) -> None:
    told = latex(text)
    for plain in (r"\textbackslash{}", r"\textasciitilde{}", r"\textasciicircum{}", r"\cite{im_2015}"):
        told = told.replace(plain, "")
    assert not re.search(r"(?<!\\)[{}$&#%_^~]|\\[a-z]", told)


# pages


def test_numbers_follow_the_order_of_the_text() -> None:
    page = numbered("<p>a [@im_2015], b [@buff_1988; @im_2015], c [@besier_2005]</p>")
    assert re.findall(r'#source-\w+">(\d)<', page) == ["1", "2", "1", "3"]
    assert re.findall(r'<li id="source-(\w+)">', page) == ["im_2015", "buff_1988", "besier_2005"]


def test_what_was_not_used_is_named_in_words() -> None:
    page = numbered("<p>[@im_2015; @buff_1988]</p>", ["buff_1988"])
    assert page.startswith('<p>[<a href="#source-buff_1988">1</a>]; Im et al (2015) J Biomech</p>')
    assert numbered("<p>no source</p>") == "<p>no source</p>"


def test_a_strangers_text_is_no_citation() -> None:
    assert numbered("<p>trial [@nobody_1900], a@b [@]</p>") == "<p>trial [@nobody_1900], a@b [@]</p>"
