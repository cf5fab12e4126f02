"""Getting, overriding and adding materials; what is said when a table is wrong."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coilwright.errors import BadInput
from coilwright.evidence import Source, ValidRange
from coilwright.materials import Curve, charge_law, charge_names, library

GOOD = {
    "name": "trial steel",
    "source": "own measurement",
    "resistivity": {"at": ["20 degC", "1000 degC"], "is": ["0.16 uohm m", "1.10 uohm m"]},
    "relative_permeability": {"at": ["20 degC", "740 degC", "780 degC"], "is": [20, 20, 1]},
    "thermal_conductivity": "40 W/m/K",
    "specific_heat": "650 J/kg/K",
    "density": "7850 kg/m^3",
    "emissivity": 0.8,
}


@pytest.fixture
def no_user_file(monkeypatch, tmp_path):
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    return tmp_path


def test_names_are_found_in_any_case_and_by_alias():
    assert library().get("  Stainless  STEEL 304 ").name == library().get("1.4301").name == "stainless steel 304"
    assert "COPPER" in library() and "unobtainium" not in library() and 3 not in library()


def test_an_unknown_name_is_answered_with_near_ones():
    with pytest.raises(BadInput, match=r'"stainles steel 304" is not a material.*did you mean "stainless steel 304"'):
        library().get("stainles steel 304")
    with pytest.raises(BadInput, match="see `coilwright materials`"):
        library().get("qqqqqqqq")


def test_a_job_table_makes_a_material():
    made = library().with_tables([GOOD], "job.toml").get("Trial Steel")
    assert made.resistivity(783.15) == pytest.approx(0.63e-6)
    assert made.magnetic.relative_permeability(1033.15) == pytest.approx(10.5)
    assert made.density == 7850 and made.conducting and made.sources[0] == Source("own measurement", "user")


def test_like_takes_the_rest_from_the_library_and_from_earlier_tables():
    tables = [
        {"name": "my pipe", "like": "copper", "resistivity": "20 nohm m"},
        {"name": "my pipe 2", "like": "my pipe", "emissivity": 0.7},
    ]
    made = library().with_tables(tables)
    assert made.get("my pipe 2").resistivity(300.0) == pytest.approx(20e-9)
    assert made.get("my pipe 2").density == library().get("copper").density
    assert "Cu" in made and made.get("Cu").name == "copper"  # aliases stay with the original


def test_saturating_permeability_in_a_table():
    form = {"nominal": 30, "saturates_at": "1.8 T", "initial": 400, "curie": "760 degC"}
    law = library().with_tables([GOOD | {"relative_permeability": form}]).get("trial steel").magnetic
    assert law.saturating and law.saturation.curie == pytest.approx(1033.15) and law.highest == 400


@pytest.mark.parametrize(
    ("change", "where", "what"),
    [
        ({"density": "7850"}, "density", "has no unit"),
        ({"density": 7850}, "density", "has no unit"),
        ({"density": "-1 kg/m^3"}, "density", "above 0"),
        ({"density": "nan kg/m^3"}, "density", "number"),
        ({"specific_heat": "650 W"}, "specific_heat", "not a specific heat"),
        ({"emissivity": 1.4}, "emissivity", "at most 1"),
        ({"emissivity": True}, "emissivity", "plain number"),
        ({"emissivity": float("inf")}, "emissivity", "finite"),
        ({"emissivity": 10**400}, "emissivity", "finite"),
        ({"colour": "blue"}, "colour", "not a key"),
        (
            {"resistivity": {"at": ["20 degC"], "is": ["1 uohm m", "2 uohm m"]}},
            "resistivity",
            "as many values as temperatures",
        ),
        ({"resistivity": {"at": ["50 degC", "20 degC"], "is": ["1 uohm m", "2 uohm m"]}}, "resistivity", "rise"),
        ({"resistivity": {"at": [], "is": []}}, "resistivity", "at least one"),
        ({"resistivity": {"at": ["20 degC"]}}, "resistivity", '"at" and "is"'),
        ({"resistivity": {"at": "20 degC", "is": ["1 uohm m"]}}, "resistivity.at", "must be a list"),
        ({"resistivity": {"at": ["20 degC"], "is": ["0 uohm m"]}}, "resistivity", "above 0"),
        (
            {"relative_permeability": {"nominal": 30, "curie": "700 degC"}},
            "relative_permeability",
            "needs saturates_at, initial",
        ),
        ({"like": "coper"}, "like", "did you mean"),
        ({"like": 7}, "like", "name of a material"),
        ({"source": 7}, "source", "where the values come from"),
        ({"limits": 3}, "limits", "list of tables"),
        ({"transitions": [{"kind": "magic"}]}, "transitions.kind", "must be one of"),
        ({"glass": {"edges": ["2 um"], "absorption": [1], "reflectance": [0.1]}}, "glass", "one absorption"),
    ],
    ids=lambda part: str(part)[:40],
)
def test_a_wrong_table_gets_one_sentence(change, where, what):
    with pytest.raises(BadInput) as caught:
        library().with_tables([GOOD | change], "job.toml")
    assert len(caught.value.faults) == 1, caught.value
    fault = caught.value.faults[0]
    assert fault.where == f'job.toml: material "trial steel": {where}'
    assert what in fault.what and "\n" not in fault.what


def test_all_faults_of_all_tables_come_together():
    tables = [GOOD | {"density": "x", "emissivity": 3}, {"name": ""}, GOOD, {"name": "half", "density": "1 kg/m^3"}]
    with pytest.raises(BadInput) as caught:
        library().with_tables(tables, "job.toml")
    told = [str(fault) for fault in caught.value.faults]
    assert len(told) == 5 and any("given twice" in line for line in told)
    assert any("needs thermal_conductivity, specific_heat, emissivity" in line for line in told)


def test_the_users_own_file_is_looked_at(no_user_file):
    assert "shop brass" not in library()
    folder = no_user_file / "coilwright"
    folder.mkdir()
    (folder / "materials.toml").write_text(
        '[sources.bench]\ncitation = "bench log"\nkind = "own measurement"\n'
        '[[material]]\nname = "shop brass"\nlike = "brass"\nsource = "bench"\nresistivity = "70 nohm m"\n'
    )
    made = library().get("shop brass")
    assert made.resistivity.source == Source("bench log", "own measurement")


@pytest.mark.parametrize(
    ("content", "what"),
    [
        (b"this is not toml", "not valid TOML"),
        (b"\xff\xfe\x00", "UTF-8"),
        (b"[material]\nname = 'x'\n", "double brackets"),
        (b"[[materials]]\n", "not known here"),
        (b"[[material]]\n", "name"),
        (b"[sources]\na = 3\n", "needs a citation"),
        (b"[sources.a]\ncitation = 'x'\nkind = 'rumour'\n", "must be one of"),
        (b"# " + b"x" * 2_000_001, "larger"),
        (b"format = " + b"9" * 5000, "not valid TOML"),
    ],
)
def test_a_wrong_file_gets_one_sentence(tmp_path, content, what):
    path = tmp_path / "mine.toml"
    path.write_bytes(content)
    with pytest.raises(BadInput) as caught:
        library(path)
    assert len(caught.value.faults) == 1 and str(caught.value).startswith("mine.toml") and what in str(caught.value)


def test_a_missing_file_is_said_so(tmp_path):
    with pytest.raises(BadInput, match="cannot be read"):
        library(tmp_path / "none.toml")


def test_overrides_are_constants_and_checked():
    steel = library().get("mild steel")
    made = steel.with_overrides(resistivity=0.7e-6, relative_permeability=1.0, emissivity=0.5)
    assert made.resistivity.is_constant and made.magnetic.is_unity and float(made.emissivity(900.0)) == 0.5
    assert made.thermal_conductivity is steel.thermal_conductivity and steel.magnetic.saturating
    assert made.sources[-1].kind == "user"
    with pytest.raises(BadInput) as caught:
        steel.with_overrides(resistivity=-1.0, emissivity=2.0)
    assert len(caught.value.faults) == 2


def test_extrapolation_is_found_with_its_figures():
    steel = library().get("mild steel")
    assert steel.findings(288.15, 1470.0) == [] == steel.findings(1100.0, 1400.0)
    (found,) = steel.findings(293.15, 1700.0)
    assert all(f"{name} (" in found.text for name in ("resistivity", "thermal conductivity", "specific heat"))
    assert found.code == "material-extrapolated" and found.severity == "warning" and "1427 degC" in found.text


def test_thin_glass_absorbs_less_and_shares_sum_to_one():
    """The closed form for a plane wall: absorbed = (1-r)(1-t)/(1-rt) (Siegel & Howell, single layer with inner reflections)."""
    glass = library().get("soda-lime glass").glass
    for thickness in (0.0, 0.5e-3, 2e-3, 1.0):
        inner = np.exp(-np.array(glass.absorption) * thickness)
        r = np.array(glass.reflectance)
        assert glass.absorptance(thickness) == pytest.approx((1 - r) * (1 - inner) / (1 - r * inner), abs=1e-12)
        assert all(0.0 <= t <= 1.0 for t in glass.transmittance(thickness))
    assert glass.absorptance(1e-3)[0] < 0.1 < 0.85 < glass.absorptance(1e-3)[2]


def test_curve_slope_and_integral():
    curve = Curve(
        np.array([300.0, 400.0, 600.0]), np.array([1.0, 3.0, 2.0]), Source("x", "memory"), ValidRange("temperature")
    )
    assert curve([200.0, 350.0, 700.0]) == pytest.approx([1.0, 2.0, 2.0])
    assert curve.slope([200.0, 350.0, 500.0, 700.0]) == pytest.approx([0.0, 0.02, -0.005, 0.0])
    assert curve.integral(700.0, 200.0) == pytest.approx(100 + 200 + 500 + 200)
    with pytest.raises(BadInput, match="rise"):
        Curve(np.array([2.0, 1.0]), np.array([1.0, 1.0]), Source("x"), ValidRange("temperature"))


def test_charge_law():
    law = charge_law(" Barium-Aluminium/NICKEL ")
    assert law.name in charge_names()
    # own computation with these constants: fastest near 870 degC when heated at 130 K/s
    peak = law.peak_temperature(130.0)
    assert peak - 273.15 == pytest.approx(870.0, abs=10.0)
    # Kissinger's condition is what makes rate stationary: check against a fine march of the rate equation
    kelvin = np.linspace(900.0, 1300.0, 400_001)
    burnt = np.cumsum(law.rate_coefficient(kelvin)) * (kelvin[1] - kelvin[0]) / 130.0
    assert kelvin[np.argmax(law.rate_coefficient(kelvin) * np.exp(-burnt))] == pytest.approx(peak, abs=0.1)
    assert law.rate(1200.0, 1.0) == 0.0
    # barium share of a half-and-half fill by stoichiometry: 137.327/(137.327 + 4*26.982)/2
    assert law.metal_fraction == pytest.approx(137.327 / (137.327 + 4 * 26.982) / 2, rel=1e-4)
    assert law.metal_released(1.0, 1400.0) < law.metal_fraction
    assert law.kinetics_source.kind == "computed" and "assumed" in law.kinetics_source.citation
    with pytest.raises(BadInput, match="barium-aluminium/nickel"):
        charge_law("thermite")
    with pytest.raises(BadInput):
        law.peak_temperature(0.0)


KEYS = ["at", "is", "at_in", "is_in", "value", "valid", "source", "kind", "nominal", "curie", "saturates_at", "initial"]
LEAVES = (
    st.none()
    | st.booleans()
    | st.integers(-3, 10**400)
    | st.floats()
    | st.text(max_size=12)
    | st.sampled_from(["20 degC", "1 uohm m", "copper"])
)
SCRAPS = st.recursive(
    LEAVES,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from(KEYS), inner, max_size=4),
    max_leaves=8,
)


@settings(max_examples=300, deadline=None)
@given(
    table=st.dictionaries(
        st.sampled_from([*GOOD, "like", "aliases", "notes", "kind", "limits", "transitions", "glass", "odd"]), SCRAPS
    ),
    keep=st.booleans(),
)
def test_random_tables_never_crash(table, keep):
    try:
        made = library().with_tables([GOOD | table if keep else table], "job.toml")
    except BadInput as error:
        assert error.faults and all("\n" not in fault.where for fault in error.faults)
    else:
        assert made.names()
