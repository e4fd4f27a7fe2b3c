"""Threads and nuts against rows of the standards' tables."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.bolting.threads import (
    NutSeries,
    Series,
    across_flats_mm,
    pitch_diameter_mm,
    read_thread,
    root_area_mm2,
    tensile_stress_area_mm2,
    usual_nut,
)
from fleet.refusals import OffTheChart, Unreadable

SQUARE_INCH = 25.4**2


@pytest.mark.parametrize(
    ("written", "designation", "series", "diameter_mm", "pitch_mm"),
    [
        ("1 1/2-8 UN", "1 1/2-8 UN", Series.UN, 38.1, 3.175),
        ("1½-8 UN", "1 1/2-8 UN", Series.UN, 38.1, 3.175),
        ("1 ½-6", "1 1/2-6 UNC", Series.UNC, 38.1, 25.4 / 6),
        ('¾"-10', "3/4-10 UNC", Series.UNC, 19.05, 2.54),
        ("1 1/2-6", "1 1/2-6 UNC", Series.UNC, 38.1, 25.4 / 6),
        ("1-1/2-6 UNC-2A", "1 1/2-6 UNC", Series.UNC, 38.1, 25.4 / 6),
        ("1-8 UNC", "1-8 UNC", Series.UNC, 25.4, 3.175),
        ("1-8 UN", "1-8 UNC", Series.UNC, 25.4, 3.175),
        ('3/4"-10', "3/4-10 UNC", Series.UNC, 19.05, 2.54),
        ("2-4.5", "2-4.5 UNC", Series.UNC, 50.8, 25.4 / 4.5),
        ("1 1/8 - 12 unf", "1 1/8-12 UNF", Series.UNF, 28.575, 25.4 / 12),
        ("1.25-8", "1 1/4-8 UN", Series.UN, 31.75, 3.175),
        ("M36", "M36", Series.COARSE, 36, 4),
        ("m36 x 4", "M36", Series.COARSE, 36, 4),
        ("M36x3", "M36x3", Series.FINE, 36, 3),
        ("M20×1,5-6g", "M20x1.5", Series.FINE, 20, 1.5),
        ("M100x6", "M100x6", Series.FINE, 100, 6),
    ],
)
def test_a_thread_is_read_as_people_write_it(
    written: str, designation: str, series: Series, diameter_mm: float, pitch_mm: float
) -> None:
    thread = read_thread(written)
    assert (thread.designation, thread.series) == (designation, series)
    assert thread.diameter_mm == pytest.approx(diameter_mm)
    assert thread.pitch_mm == pytest.approx(pitch_mm)
    assert read_thread(thread.designation) == thread


@pytest.mark.parametrize(
    ("written", "words"),
    [
        ("1 1/2", "nothing of the threads per inch"),
        ("1½", "nothing of the threads per inch"),
        ("1.5", "nothing of the threads per inch"),
        ("1-1/2", "nothing of the threads per inch"),
        ("1 1/2-8 UNC", "UNC at 1 1/2 in has 6 threads per inch; write 1 1/2-8 UN"),
        ("1 1/2-6 UNF", "UNF at 1 1/2 in has 12 threads per inch"),
        ("2-8 UNF", "does not exist"),
        ("1 1/2-7", "no standard pitch"),
        ("1½½-8", "not a thread"),
        ("½1-8", "not a thread"),
        ("1 2-8", "not a thread"),
        ("8-8", "to 6 in"),
        ("0/5-8", "1/4 in to 6 in"),
        ("M100", "write the pitch"),
        ("M37", "write the pitch"),
        ("M36x5", "no standard pitch"),
        ("M36x3.3", "no standard pitch"),
        ("M3", "from M5"),
        ("M36x3 x", "not a thread"),
        ("", "not a thread"),
        ("bolt", "not a thread"),
    ],
)
def test_a_thread_that_leaves_something_open_is_refused(written: str, words: str) -> None:
    with pytest.raises(Unreadable, match=words):
        read_thread(written)


def test_a_fraction_over_nothing_is_refused_like_any_other_slip() -> None:
    with pytest.raises(Unreadable):
        read_thread("1 1/0-8")


@given(st.text(alphabet="M0123456789/-. xUNCF", max_size=14))
def test_whatever_is_written_is_read_or_refused_with_a_sentence(written: str) -> None:
    try:
        thread = read_thread(written)
    except Unreadable:
        return
    assert 0 < thread.pitch_mm < thread.diameter_mm / 2
    assert read_thread(thread.designation) == thread


# ASME B1.1, tensile stress areas in square inches (from memory, and by the formula of the standard).
@pytest.mark.parametrize(
    ("written", "area_in2"),
    [
        ("1/2-13", 0.1419),
        ("3/4-10", 0.334),
        ("1-8", 0.606),
        ("1 1/4-7", 0.969),
        ("1 1/2-6", 1.405),
        ("2-4.5", 2.498),
        ("3-4", 5.967),
        ("4-4", 11.083),
        ("1 1/8-8", 0.790),
        ("1 1/4-8", 1.000),
        ("1 1/2-8", 1.492),
        ("2-8", 2.771),
        ("2 1/2-8", 4.442),
        ("3-8", 6.506),
        ("4-8", 11.813),
    ],
)
def test_inch_tensile_stress_areas_match_the_table_of_asme_b1_1(written: str, area_in2: float) -> None:
    area = tensile_stress_area_mm2(read_thread(written)) / SQUARE_INCH
    assert area == pytest.approx(area_in2, abs=0.0006)


# ISO 898-1, nominal stress areas in mm² (from memory).
@pytest.mark.parametrize(
    ("written", "area_mm2"),
    [
        ("M12", 84.3),
        ("M16", 157),
        ("M20", 245),
        ("M24", 353),
        ("M30", 561),
        ("M36", 817),
        ("M36x3", 865),
        ("M48", 1473),
        ("M64", 2676),
        ("M100x6", 6995),
    ],
)
def test_metric_stress_areas_match_the_table_of_iso_898_1(written: str, area_mm2: float) -> None:
    assert tensile_stress_area_mm2(read_thread(written)) == pytest.approx(area_mm2, abs=0.6)


# Minor diameter areas in ASME B1.1: 1-8 0.551, 1 1/2-8 1.405, 2-8 2.652 in² (from memory).
@pytest.mark.parametrize(("written", "area_in2"), [("1-8", 0.551), ("1 1/2-8", 1.405), ("2-8", 2.652)])
def test_inch_root_areas_match_the_table_of_asme_b1_1(written: str, area_in2: float) -> None:
    assert root_area_mm2(read_thread(written)) / SQUARE_INCH == pytest.approx(area_in2, abs=0.001)


# Core areas of the metric coarse thread as handbooks print them beside DIN 13: M16 144, M24 324, M36 759 mm².
@pytest.mark.parametrize(("written", "area_mm2"), [("M16", 144), ("M24", 324), ("M36", 759)])
def test_metric_root_areas_match_the_core_areas_of_the_handbooks(written: str, area_mm2: float) -> None:
    assert root_area_mm2(read_thread(written)) == pytest.approx(area_mm2, abs=0.6)


# ISO 724: M16 14.701, M24 22.051, M36 33.402 mm. ASME B1.1: 1-8 0.9188 in.
def test_pitch_diameters_match_iso_724_and_asme_b1_1() -> None:
    for written, diameter_mm in (("M16", 14.701), ("M24", 22.051), ("M36", 33.402), ("1-8", 0.9188 * 25.4)):
        assert pitch_diameter_mm(read_thread(written)) == pytest.approx(diameter_mm, abs=0.0012)


# ASME B18.2.2, heavy hex nuts, basic width across flats.
@pytest.mark.parametrize(
    ("written", "width_in"),
    [
        ("1/2-13", 7 / 8),
        ("9/16-12", 15 / 16),
        ("5/8-11", 1 + 1 / 16),
        ("3/4-10", 1.25),
        ("7/8-9", 1 + 7 / 16),
        ("1-8", 1.625),
        ("1 1/8-8", 1 + 13 / 16),
        ("1 1/2-8", 2.375),
        ("1 3/4-8", 2.75),
        ("2-8", 3.125),
        ("2 1/2-8", 3.875),
        ("3-8", 4.625),
        ("4-8", 6.125),
    ],
)
def test_heavy_hex_nuts_match_asme_b18_2_2(written: str, width_in: float) -> None:
    assert across_flats_mm(read_thread(written), NutSeries.HEAVY) == pytest.approx(width_in * 25.4)


# ASME B18.2.2, hex nuts, basic width across flats.
@pytest.mark.parametrize(
    ("written", "width_in"),
    [
        ("1/2-13", 0.75),
        ("9/16-12", 0.875),
        ("5/8-11", 15 / 16),
        ("1-8", 1.5),
        ("1 3/8-6", 2 + 1 / 16),
        ("4-4", 6),
    ],
)
def test_regular_hex_nuts_match_asme_b18_2_2(written: str, width_in: float) -> None:
    assert across_flats_mm(read_thread(written), NutSeries.REGULAR) == pytest.approx(width_in * 25.4)


# ISO 4032; DIN 934; ASME B18.2.4.6M (M24 and M27 as in ASME B18.2.6M; M20, M30, M36 from memory).
@pytest.mark.parametrize(
    ("written", "series", "width_mm"),
    [
        ("M10", NutSeries.ISO, 16),
        ("M16", NutSeries.ISO, 24),
        ("M20", NutSeries.ISO, 30),
        ("M22", NutSeries.ISO, 34),
        ("M24", NutSeries.ISO, 36),
        ("M30", NutSeries.ISO, 46),
        ("M36x3", NutSeries.ISO, 55),
        ("M48", NutSeries.ISO, 75),
        ("M64", NutSeries.ISO, 95),
        ("M10", NutSeries.DIN, 17),
        ("M12", NutSeries.DIN, 19),
        ("M14", NutSeries.DIN, 22),
        ("M22", NutSeries.DIN, 32),
        ("M90x6", NutSeries.DIN, 130),
        ("M20", NutSeries.ASME_METRIC, 34),
        ("M24", NutSeries.ASME_METRIC, 41),
        ("M27", NutSeries.ASME_METRIC, 46),
        ("M30", NutSeries.ASME_METRIC, 50),
        ("M36", NutSeries.ASME_METRIC, 60),
    ],
)
def test_metric_nuts_match_their_standards(written: str, series: NutSeries, width_mm: float) -> None:
    assert across_flats_mm(read_thread(written), series) == width_mm


@pytest.mark.parametrize(
    ("written", "series", "words"),
    [
        ("M36", NutSeries.HEAVY, "metric thread, so it has no heavy nut"),
        ("1-8", NutSeries.ISO, "inch thread, so it has no iso nut"),
        ("M100x6", NutSeries.ISO, "measure it"),
        ("3/8-16", NutSeries.HEAVY, "1/2 in to 4 in"),
        ("5-8", NutSeries.HEAVY, "1/2 in to 4 in"),
    ],
)
def test_a_nut_that_no_standard_lists_is_refused(written: str, series: NutSeries, words: str) -> None:
    with pytest.raises(OffTheChart, match=words):
        across_flats_mm(read_thread(written), series)


@pytest.mark.parametrize(("written", "size_in"), [("1/4-20", 0.25), ("6-8", 6.0)])
def test_the_smallest_and_the_largest_inch_thread_are_known(written: str, size_in: float) -> None:
    assert read_thread(written).diameter_mm == pytest.approx(size_in * 25.4)


def test_a_series_that_has_no_such_size_is_said_not_to_exist() -> None:
    with pytest.raises(Unreadable, match="UNC at 3 1/8 in does not exist; write 3 1/8-8 UN if"):
        read_thread("3 1/8-8 UNC")


def test_the_usual_nut_is_heavy_on_inch_and_iso_on_metric_threads() -> None:
    """Common practice on flanges, no source."""
    assert usual_nut(read_thread("1 1/2-8")) is NutSeries.HEAVY
    assert usual_nut(read_thread("M36")) is NutSeries.ISO
    assert usual_nut(read_thread("M36x3")) is NutSeries.ISO
