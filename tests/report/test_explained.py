"""Every quantity can be explained, and a name that is nearly right finds its way."""

from __future__ import annotations

import pytest

from jointload.errors import SettingError
from jointload.report.page.explained import explanation, grouped_names
from jointload.report.words.quantities import glossary
from jointload.sources import in_words


def test_every_quantity_has_definition_unit_and_source() -> None:
    for name, what in glossary().items():
        text = explanation(name)
        assert text.startswith(f"{name}\n    definition: {what.definition}")
        assert f"source: {in_words(what.source)}" in text and "typical range" in text and "unit: " in text
        assert "[@" not in text


def test_every_source_says_what_was_read_of_it() -> None:
    text = explanation("knee_adduction_moment_peak")
    assert "what was read: Grood ES, Suntay WJ (1983) J Biomech Eng 105:136-144: read as restated by others" in text
    assert "what was read: Kang et al (2013) Orthopedics: its abstract was read" in text


def test_every_name_stands_in_one_group() -> None:
    listed = [name for names in grouped_names().values() for name in names]
    assert sorted(listed) == sorted(glossary())


def test_the_range_carries_its_source() -> None:
    text = explanation("knee_flexion_peak")
    assert "typical range, landing: 40 to 130 deg" in text and "DeVita P, Skelly WA (1992)" in text
    assert "positive: flexion" in text


@pytest.mark.parametrize(
    ("asked", "meant"),
    [
        ("knee_flexion_peek", "knee_flexion_peak"),
        ("peak knee adduction moment", "knee_adduction_moment_peak"),
        ("loading rate", "vertical_loading_rate"),
    ],
)
def test_a_near_miss_is_suggested(asked: str, meant: str) -> None:
    with pytest.raises(SettingError) as told:
        explanation(asked)
    assert meant in str(told.value) and "\n" not in str(told.value)


def test_words_with_spaces_are_names_too() -> None:
    assert explanation("Knee flexion peak") == explanation("knee_flexion_peak")


def test_nonsense_is_told_where_the_names_are() -> None:
    with pytest.raises(SettingError, match="`jointload explain` lists all names"):
        explanation("xyzzy")
