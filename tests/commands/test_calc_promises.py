"""What every calculation promises: fixed keys, what it assumes, its source, and its cautions."""

from pathlib import Path

import pytest

from tests.commands.bench import answered, calc, figures, refused, sheet

CHART = "Pressure (psig),Torque (kg·m)\n1000,20\n5000,101\n10000,205\n"
LINE = "set,found\n1,2\n2,4.1\n3,5.9\n"
TORQUE = ("--thread", "1 1/2-8 UN", "--grade", "B7", "--stress-percent", 50, "--nut-factor", 0.2)
DIAL = ("--class", 1.6, "--range", "1000 bar", "--graduation", "10 bar")

PROMISED = {
    "thread": (
        ("1 1/2-8 UN",),
        "tensile_stress_area_mm2 root_area_mm2 pitch_diameter_mm across_flats_mm",
    ),
    "torque": (TORQUE, "preload_n torque_nm stress_mpa yield_mpa percent_of_yield"),
    "loosen": (
        (*TORQUE, "--factor", 1.8, "--reason", "Rusted studs, outdoors"),
        "tightening_torque_nm loosening_torque_clean_nm needed_torque_nm ratio",
    ),
    "chart": (("--points", "CHART", "--torque", "100 kg·m"), "pressure_mpa torque_nm"),
    "passes": (("--bolts", 12, "--points", "CHART", "--torque", "100 kgf·m"), "passes"),
    "gauge": (("--class", 1.6, "--range", "1000 bar", "--at", "250 bar"), "error_mpa error_percent"),
    "budget": (
        ("--points", "CHART", "--torque", "100 kgf·m", "--tolerance", 5, *DIAL),
        "expanded_nm expanded_percent contributions effective_degrees_of_freedom coverage_factor",
    ),
    "fit": (
        ("--points", "LINE", "--at", 2),
        "intercept slope u_intercept u_slope r s y u_y",
    ),
    "verdict": (
        ("--upper", 2060, "--reading", 2031, "--uncertainty", 16),
        "verdict acceptance_lower acceptance_upper conformance_probability",
    ),
    "interval": (
        ("--in-tolerance", 27, "--of", 30, "--interval", "365d", "--target", 0.9),
        "confidence proposed_days",
    ),
    "strokes": (
        (
            *("--bolts", 8, "--turn-degrees", 90, "--turn-per-stroke", 25),
            *("--flow", "1 L/min", "--stroke-volume", "20 cm³"),
        ),
        "strokes_per_nut cycles",
    ),
    "reaction": (("--torque", "9400 N·m", "--arm", "5 7/8 in"), "force_n"),
}


def typed(name: str, folder: Path) -> list[object]:
    """The words of a command, with its file written."""
    written = {"CHART": CHART, "LINE": LINE}
    words = PROMISED[name][0]
    return [name, *(sheet(folder, written[word]) if word in written else word for word in words)]


@pytest.mark.parametrize("name", PROMISED)
def test_every_calculation_says_what_it_assumes_and_where_it_is_from(name: str, tmp_path: Path) -> None:
    found = answered(*typed(name, tmp_path))
    assert set(PROMISED[name][1].split()) <= figures(found)
    assert found["source"]
    assert found["assumptions"]
    assert any("competent person prevail" in sentence for sentence in found["cautions"])


@pytest.mark.parametrize("name", PROMISED)
def test_every_printout_keeps_to_80_columns_and_ends_with_its_cautions(name: str, tmp_path: Path) -> None:
    printed = calc(*typed(name, tmp_path)).stdout
    assert max(map(len, printed.splitlines())) <= 80
    said = " ".join(printed.split())
    assert said.index("Assumed - ") < said.index("Source: ") < said.index("Cautions ! ")
    assert said.endswith("local codes and a competent person prevail.")


# Old charts write kg·m for kgf·m, 9.80665 N·m, and psig for psi (NIST SP 811, appendix B.8).
def test_an_old_chart_is_read_in_its_own_units(tmp_path: Path) -> None:
    points = sheet(tmp_path, CHART)
    for written in ("101 kg·m", "101 kgf·m", "101 kgf.m", "990.47165 N·m"):
        found = answered("chart", "--points", points, "--torque", written)
        assert found["pressure_mpa"] == pytest.approx(5000 * 0.006894757)
    old = sheet(tmp_path, "Pressure (kg/cm²),Torque (kg·m)\n70,20\n350,100\n")
    assert answered("chart", "--points", old, "--pressure", "210 kgf/cm²")["torque_nm"] == pytest.approx(
        60 * 9.80665
    )


def test_a_heading_with_a_unit_of_something_else_is_named(tmp_path: Path) -> None:
    swapped = sheet(tmp_path, "Pressure (N·m),Torque (bar)\n70,20\n350,100\n")
    sentence = refused("chart", "--points", swapped, "--torque", "500 N·m")
    assert "'N·m' in the heading 'Pressure (N·m)' is no unit of pressure" in sentence


def test_what_holds_no_number_says_so() -> None:
    assert refused("reaction", "--torque", "much", "--arm", "150 mm").startswith('"much" holds no number')
