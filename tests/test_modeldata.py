"""Every shipped data file loads with its provenance; glossary and bands speak the same names."""

import pytest

from jointload import modeldata
from jointload.errors import ModelDataError
from jointload.modeldata import PROVENANCE_KEYS, load_model, model_kinds, model_names

EVERY_FILE = [(kind, name) for kind in model_kinds() for name in model_names(kind)]

ANNOUNCED = {
    "vertical_force_peak",
    "vertical_loading_rate",
    "time_to_peak",
    "braking_force_peak",
    "friction_use_peak",
    "touchdown_speed",
    "knee_flexion_touchdown",
    "knee_flexion_peak",
    "knee_adduction_moment_peak",
    "knee_adduction_impulse",
    "knee_flexion_moment_peak",
    "hip_adduction_moment_peak",
    "ankle_inversion_moment_peak",
    "ankle_dorsiflexion_peak",
    "l5s1_extension_moment_peak",
    "hip_work_negative",
    "knee_work_negative",
    "ankle_work_negative",
    "knee_over_ankle",
    "rearfoot_eversion_peak",
    "tibia_inclination_frontal",
    "pelvis_obliquity_touchdown",
    "trunk_lean_touchdown",
}


def glossary() -> dict[str, dict[str, str]]:
    return {row["name"]: row for row in load_model("glossary", "quantities").content}


# the loader


@pytest.mark.parametrize(("kind", "name"), EVERY_FILE)
def test_every_shipped_file_carries_its_provenance(kind, name):
    file = load_model(kind, name)
    assert all(file.provenance[key].strip() for key in PROVENANCE_KEYS)
    assert file.content


@pytest.mark.parametrize(("kind", "name"), [file for file in EVERY_FILE if isinstance(load_model(*file).content, list)])
def test_every_csv_row_has_every_column_and_no_more(kind, name):
    rows = load_model(kind, name).content
    for row in rows:
        assert row.keys() == rows[0].keys() and None not in row and None not in row.values(), row


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """An empty models/things/ that the loader reads instead of the shipped folder."""
    (tmp_path / "things").mkdir()
    monkeypatch.setattr(modeldata, "shipped_folder", lambda name: tmp_path)
    load_model.cache_clear()
    yield tmp_path / "things"
    load_model.cache_clear()


CSV_HEAD = {key: f"# {key}: something\n" for key in PROVENANCE_KEYS}
TOML_HEAD = {key: f'{key} = "something"\n' for key in PROVENANCE_KEYS}


@pytest.mark.parametrize("missing", PROVENANCE_KEYS)
def test_a_file_without_part_of_its_provenance_is_refused(folder, missing):
    (folder / "a.csv").write_text("".join(line for key, line in CSV_HEAD.items() if key != missing) + "x,y\n1,2\n")
    (folder / "b.toml").write_text(
        "[provenance]\n" + "".join(line for key, line in TOML_HEAD.items() if key != missing)
    )
    for name in ("a", "b"):
        with pytest.raises(ModelDataError, match=f"expected provenance {missing}, found none") as error:
            load_model("things", name)
        assert "\n" not in str(error.value)


def test_a_whole_file_is_read_as_printed(folder):
    (folder / "a.csv").write_text("".join(CSV_HEAD.values()) + 'x,y\n1.50,"a, b"\n')
    (folder / "b.toml").write_text("z = 2\n[provenance]\n" + "".join(TOML_HEAD.values()))
    assert load_model("things", "a").content == [{"x": "1.50", "y": "a, b"}]
    assert load_model("things", "b").content == {"z": 2}
    assert load_model("things", "a").provenance == dict.fromkeys(PROVENANCE_KEYS, "something")
    assert model_names("things") == ["a", "b"]


def test_unknown_names_list_the_known_ones(folder):
    (folder / "a.csv").write_text("".join(CSV_HEAD.values()) + "x\n1\n")
    with pytest.raises(ModelDataError, match=r"unknown name 'c' in models/things; the known names are a$"):
        load_model("things", "c")


# the glossary


def test_the_glossary_defines_every_announced_quantity_once():
    names = [row["name"] for row in load_model("glossary", "quantities").content]
    assert len(names) == len(set(names))
    assert set(names) >= ANNOUNCED


def test_the_glossary_has_no_blank_cell():
    assert [(n, k) for n, row in glossary().items() for k, cell in row.items() if not cell.strip()] == []


def test_units_follow_from_si_units_and_normaliser():
    """What is divided by body weight shows BW in place of N, what is divided by mass shows its unit per kg."""
    for name, row in glossary().items():
        unit, si, normaliser = row["unit"], row["si_unit"], row["normaliser"]
        if normaliser == "BW":
            assert unit == si.replace("N", "BW", 1), name
        elif normaliser == "body_mass":
            assert unit == si.replace("N m", "Nm") + "/kg", name
        else:
            unchanged = {"s", "m", "m/s", "m/s2", "N", "ratio", "J"}
            assert (unit == si and unit in unchanged) or (unit, si) in {
                ("deg", "rad"),
                ("ms", "s"),
                ("MPa", "Pa"),
                ("kPa", "Pa"),
                ("kPa s", "Pa s"),
                ("mm", "m"),
                ("%", "ratio"),
                ("word", "none"),
            }, name
            assert normaliser == "none", name


def test_moments_are_external_at_knee_and_hip_and_internal_where_their_literature_is():
    ankle = {"ankle_inversion_moment_peak", "ankle_eversion_moment_peak"}
    back = {"extension_moment_peak", "lateral_bend_moment_peak", "extension_impulse", "moment_disagreement"}
    internal = ankle | {f"l5s1_{name}" for name in back}
    for name, row in glossary().items():
        if "N m" in row["si_unit"]:
            assert row["kind"] == ("internal" if name in internal else "external"), name
            assert row["kind"] in row["definition"], name
        assert row["kind"] in ("internal", "external", "none"), name


# sanity bands


def test_bands_name_glossary_quantities_in_their_units():
    words = glossary()
    for row in load_model("sanity", "landings").content:
        assert row["unit"] == words[row["quantity"]]["unit"], row
        assert float(row["low"]) < float(row["high"]), row
        assert row["task"] in ("landing", "running", "walking"), row
        assert row["read"] in ("abstract", "derived", "data", "choice"), row


def test_one_band_for_a_quantity_and_a_task():
    keys = [(row["quantity"], row["task"]) for row in load_model("sanity", "landings").content]
    assert len(keys) == len(set(keys))


def test_bands_hold_the_published_means():
    """Means of the papers the bands cite; knee compression from N/kg by standard gravity."""
    bands = {(r["quantity"], r["task"]): r for r in load_model("sanity", "landings").content}
    published = [
        ("vertical_force_peak", "landing", 4.74),
        ("vertical_force_peak", "landing", 13.7),
        ("vertical_force_peak", "walking", 612 / (56.7 * 9.81)),
        ("knee_flexion_peak", "landing", 77),
        ("knee_flexion_peak", "landing", 117),
        ("knee_flexion_moment_peak", "landing", 2.12),
        ("hip_work_negative", "landing", -0.60),
        ("knee_work_negative", "landing", -0.61),
        ("ankle_work_negative", "landing", -1.00),
        ("knee_compression_peak", "landing", 11.8 / 9.80665),
        ("knee_compression_peak", "landing", 20.2 / 9.80665),
        ("ankle_dorsiflexion_moment_peak", "walking", 89.8 / 56.7),
        ("rearfoot_eversion_peak", "running", 14.11),
    ]
    for quantity, task, value in published:
        band = bands[quantity, task]
        assert float(band["low"]) < value < float(band["high"]), (quantity, task)


# response to a wedge


def spreads(table: dict) -> list[dict]:
    """Every table of a nested TOML that describes a distribution."""
    inner = [spread for value in table.values() if isinstance(value, dict) for spread in spreads(value)]
    return inner + ([table] if "distribution" in table else [])


def test_wedge_spreads_are_whole():
    found = spreads(load_model("insole_response", "wedge_ratio").content)
    assert len(found) == 6
    for spread in found:
        assert spread["low"] < spread["mean"] < spread["high"] and spread["sd"] > 0
        assert spread["distribution"] in ("normal", "log_normal") and (
            spread["distribution"] == "normal" or spread["low"] > 0
        )
        assert spread["basis"] in ("published", "derived", "choice") and spread["source"] and spread["unit"]


def test_wedge_means_follow_from_the_papers():
    """Half the last printed digit of each mean."""
    ratios = load_model("insole_response", "wedge_ratio").content
    roll, shift = ratios["rearfoot_roll"], ratios["centre_of_pressure_shift"]
    assert roll["walking"]["mean"] == pytest.approx((0.13 + 0.16) / 2, abs=0.0005)
    assert roll["running"]["mean"] == pytest.approx(((12.37 - 10.75) / 5 + (14.11 - 12.37) / 5) / 2, abs=0.005)
    assert roll["landing"]["mean"] == pytest.approx((0.77 / 5 + 0.95 / 5) / 2, abs=0.005)
    net_lever_arm = 0.058 * 0.5 / (1.05 * 9.81) * 1000
    assert shift["full_length"]["mean"] == pytest.approx(net_lever_arm / 5, abs=0.05)
    assert shift["heel_only"]["low"] < 0 < shift["heel_only"]["high"]
    assert (ratios["tibial_rotation"]["mean"], ratios["tibial_rotation"]["sd"]) == (0.68, 0.15)
