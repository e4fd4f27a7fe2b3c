"""The bench on the command line: charts, passes, strokes, gauges, budgets, fits."""

from pathlib import Path

import pytest

from tests.commands.bench import answered, calc, figures, refused, sheet

BENCH = "Pressure (bar),Torque (N·m)\n100,1350\n200,2700\n400,5500\n700,9400\n"
GAUGE = ("--class", "1.6", "--range", "1000 bar", "--graduation", "20 bar")


@pytest.fixture
def points(tmp_path: Path) -> Path:
    return sheet(tmp_path, BENCH)


def test_a_chart_is_read_both_ways_and_names_its_neighbours(points: Path) -> None:
    there = answered("chart", "--points", points, "--torque", "4100 N·m")
    assert there["pressure_mpa"] == pytest.approx(30)
    assert there["below"] == {"pressure_mpa": 20, "torque_nm": 2700}
    assert there["above"] == {"pressure_mpa": 40, "torque_nm": 5500}
    assert there["approximate"] is False
    back = answered("chart", "--points", points, "--pressure", "300 bar")
    assert back["torque_nm"] == pytest.approx(4100)
    assert any("lowest-rated part" in sentence for sentence in back["cautions"])


def test_the_set_pressure_is_what_the_gauge_shows_with_what_that_gives(points: Path) -> None:
    found = answered("chart", "--points", points, "--torque", "4200 N·m", "--graduation", "20 bar")
    assert found["gauge_setting"]["pressure_mpa"] == 30
    assert found["gauge_setting"]["torque_nm"] == pytest.approx(4100)


def test_one_rated_point_is_marked_approximate(tmp_path: Path) -> None:
    rated = sheet(tmp_path, "Pressure,Torque\n700 bar,9400 N·m\n")
    found = answered("chart", "--points", rated, "--pressure", "350 bar")
    assert found["approximate"] is True
    assert found["torque_nm"] == pytest.approx(4700)
    assert any("approximate" in sentence for sentence in found["assumptions"])


def test_units_stand_in_the_headings_or_beside_the_numbers(tmp_path: Path) -> None:
    mixed = sheet(tmp_path, "Torque;Pressure (psi)\n1400 lbf·ft;3,000\n2800 lbf·ft;6,000\n")
    found = answered("chart", "--points", mixed, "--pressure", "4500 psi")
    assert found["torque_nm"] == pytest.approx(2100 * 1.3558179483314004)


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("Pressure,Torque\n100 bar,500 N·m\n200 bar,400 N·m\n", "no more torque than the point before it"),
        ("Pressure,Torque\n200 bar,500 N·m\n100 bar,900 N·m\n", "has a lower pressure"),
        ("Pressure,Moment\n100 bar,500\n", "has no column Torque"),
        ("Pressure,Torque\n100,500 N·m\n", 'row 2: "100" has no unit'),
        ("Pressure,Torque\n100 bar\n", "row 2"),
        ("Pressure,Torque\n", "no points under it"),
        ("", "is empty"),
    ],
)
def test_a_file_that_is_no_chart_is_refused_with_the_place_named(
    tmp_path: Path, text: str, sentence: str
) -> None:
    assert sentence in refused("chart", "--points", sheet(tmp_path, text), "--torque", "500 N·m")


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("--torque", "9000 lbf·ft"), "9,000 lbf·ft lies outside the chart, which runs from"),
        (("--pressure", "50 bar"), "50 bar lies outside the chart, which runs from 100 bar to 700 bar."),
        (("--pressure", "300 bar", "--torque", "5 N·m"), "not --torque and --pressure together"),
        ((), "Give what is known by one of --torque or --pressure."),
        (("--pressure", "300 bar", "--item", "1"), "not --points and --item together"),
        (("--pressure", "300 bar", "--graduation", "0 bar"), "above zero"),
    ],
)
def test_off_the_chart_and_half_a_question_are_refused(
    points: Path, words: tuple[str, ...], sentence: str
) -> None:
    assert sentence in refused("chart", "--points", points, *words)


def test_a_file_that_is_not_there_is_a_sentence(tmp_path: Path) -> None:
    assert "cannot be read" in refused("chart", "--points", tmp_path / "none.csv", "--torque", "5 N·m")


def test_passes_go_across_then_round_and_mark_what_the_chart_does_not_reach(points: Path) -> None:
    found = answered(
        *("passes", "--bolts", 12, "--torque", "4100 N·m", "--percents", "30,60,100"),
        *("--points", points, "--graduation", "20 bar"),
    )
    first, second, third, last = found["passes"]
    assert first["pressure_mpa"] is None
    assert first["below_chart"]
    assert "Below the lowest point" in first["note"]
    assert second["torque_nm"] == pytest.approx(2460)
    # ASME PCC-1, cross pattern of twelve bolts (from memory).
    assert third["order"] == [1, 7, 4, 10, 2, 8, 5, 11, 3, 9, 6, 12]
    assert third["gauge_pressure_mpa"] == 30
    assert last["circular"]
    assert last["order"] == list(range(1, 13))


def test_passes_without_a_chart_have_torques_only() -> None:
    found = answered("passes", "--bolts", 8, "--torque", "1000 N·m")
    assert [one["torque_nm"] for one in found["passes"]] == pytest.approx([300, 600, 1000, 1000])
    assert {one["pressure_mpa"] for one in found["passes"]} == {None}
    assert "must rise" in refused("passes", "--bolts", 8, "--torque", "1000 N·m", "--percents", "60,30,100")
    assert "30,60,100" in refused("passes", "--bolts", 8, "--torque", "1000 N·m", "--percents", "half")
    assert "3 to 200" in refused("passes", "--bolts", 2, "--torque", "1000 N·m")


# By hand: 3 strokes of 70 + 35 cm³ at 1.2 L/min are 15.75 s; 12 nuts are 36 strokes and 189 s.
def test_strokes_of_a_job(points: Path) -> None:
    job = ("strokes", "--bolts", 12, "--turn-degrees", 90, "--turn-per-stroke", 30, "--flow", 1.2)
    found = answered(*job, "--stroke-volume", 70, "--return-volume", 35)
    assert found["strokes_per_nut"] == 3
    assert found["seconds_per_nut"] == pytest.approx(15.75)
    assert found["cycles"] == 36
    assert found["seconds_total"] == pytest.approx(189)
    # 9,400 N·m at 70 MPa over 30° is 70.3 cm³.
    assert answered(*job, "--points", points)["stroke_volume_cm3"] == pytest.approx(70.31, abs=0.01)
    assert "Give the chart" in refused(*job)


# EN 837-1: class 1.6 on 1,000 bar is ±16 bar anywhere.
def test_a_gauge_by_its_class() -> None:
    found = answered("gauge", "--class", "1.6", "--range", "1000 bar", "--at", "250 bar")
    assert figures(found) == {"error_mpa", "error_percent"}
    assert found["error_mpa"] == pytest.approx(1.6)
    assert found["error_percent"] == pytest.approx(6.4)
    low = answered("gauge", "--class", "B", "--range", "15000 psi", "--at", "1500 psi")
    assert low["error_percent"] == pytest.approx(30)
    assert any("outside the middle half" in sentence for sentence in low["assumptions"])
    assert "no accuracy" in refused("gauge", "--class", "good", "--range", "1000 bar", "--at", "250 bar")
    assert "cannot be read" in refused("gauge", "--class", "1.6", "--range", "600 bar", "--at", "650 bar")


def test_a_budget_adds_up_and_is_held_against_the_tolerance(points: Path) -> None:
    budget = ("budget", "--points", points, *GAUGE, "--torque", "4100 N·m")
    found = answered(*budget, "--tolerance", 5)
    assert found["expanded_percent"] == pytest.approx(100 * found["expanded_nm"] / 4100)
    assert found["expanded_nm"] == pytest.approx(found["coverage_factor"] * found["combined_nm"])
    assert sum(one["share_percent"] for one in found["contributions"]) == pytest.approx(100)
    assert found["within_tolerance"] is False
    assert any("--wrench-accuracy" in sentence for sentence in found["assumptions"])
    more = answered(
        *budget,
        "--wrench-accuracy",
        4,
        "--reference",
        "40 N·m",
        "--reading",
        "4090 N·m",
        "--reading",
        "4110 N·m",
    )
    assert [one["name"] for one in more["contributions"]][-2:] == ["reference", "repeatability"]
    assert more["expanded_nm"] > found["expanded_nm"]
    assert "coverage factor" in calc(*budget).stdout.casefold()


def test_a_budget_without_its_gauge_says_what_is_missing(points: Path) -> None:
    sentence = refused("budget", "--points", points, "--class", "1.6", "--torque", "4100 N·m")
    assert "give --range, --graduation" in sentence


# JCGM 100 (GUM), H.3: the thermometer, with its published results.
def test_the_thermometer_of_the_gum(tmp_path: Path) -> None:
    readings = (21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511)
    found = (-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160)
    rows = "".join(f"{x},{y}\n" for x, y in zip(readings, found, strict=True))
    line = answered(
        "fit", "--points", sheet(tmp_path, f"reading,correction\n{rows}"), "--origin", 20, "--at", 30
    )
    assert figures(line) == {"intercept", "slope", "u_intercept", "u_slope", "r", "s", "y", "u_y"}
    assert line["intercept"] == pytest.approx(-0.1712, abs=5e-5)
    assert line["slope"] == pytest.approx(0.00218, abs=5e-6)
    assert line["u_intercept"] == pytest.approx(0.0029, abs=5e-5)
    assert line["u_slope"] == pytest.approx(0.00067, abs=5e-6)
    assert line["r"] == pytest.approx(-0.930, abs=5e-4)
    assert line["s"] == pytest.approx(0.0035, abs=5e-5)
    assert line["y"] == pytest.approx(-0.1494, abs=5e-5)
    assert line["u_y"] == pytest.approx(0.0041, abs=5e-5)


def test_two_points_make_no_line_and_words_no_numbers(tmp_path: Path) -> None:
    assert "at least 3 points" in refused("fit", "--points", sheet(tmp_path, "x,y\n1,2\n2,3\n"))
    assert "row 2" in refused("fit", "--points", sheet(tmp_path, "x,y\none,2\n"))
    assert "two columns" in refused("fit", "--points", sheet(tmp_path, "x\n1\n"))
