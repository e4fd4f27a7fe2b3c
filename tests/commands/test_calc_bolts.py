"""The bench on the command line: threads, tightening, loosening, reaction."""

import json

import pytest

from tests.commands.bench import answered, calc, figures, program, refused

STUD = ("--thread", "1 1/2-8 UN", "--grade", "B7")
HALF = ("--stress-percent", 50)
K = ("--nut-factor", 0.2)
RUST = ("--factor", 1.8, "--reason", "Rusted studs, four years in salt air")


def test_a_thread_has_its_four_figures() -> None:
    found = answered("thread", "1½-8 UN", "--nut", "heavy")
    assert figures(found) == {
        "tensile_stress_area_mm2",
        "root_area_mm2",
        "pitch_diameter_mm",
        "across_flats_mm",
    }
    # ASME B1.1 1.492 in² and ASME B18.2.2 2 3/8 in.
    assert found["tensile_stress_area_mm2"] == pytest.approx(1.492 * 25.4**2, abs=0.2)
    assert found["across_flats_mm"] == pytest.approx(60.325)
    assert "ASME B1.1" in found["source"]


def test_a_nut_nobody_named_is_said_and_one_nobody_lists_is_left_out() -> None:
    usual = answered("thread", "M36")
    assert usual["across_flats_mm"] == 55
    assert "The iso nut is the usual one for this thread; --nut names another." in usual["assumptions"]
    large = answered("thread", "M100x6")
    assert large["across_flats_mm"] is None
    assert any("measure it" in sentence for sentence in large["assumptions"])
    assert "measure it" in refused("thread", "M100x6", "--nut", "iso")


# Worked by hand: 78,320 lbf and 1,958 lbf·ft; in SI 348.4 kN and 2,655 N·m.
def test_a_stud_at_half_its_yield() -> None:
    found = answered("torque", *STUD, *HALF, *K)
    assert figures(found) == {"preload_n", "torque_nm", "stress_mpa", "yield_mpa", "percent_of_yield"}
    assert found["preload_n"] == pytest.approx(348_400, abs=50)
    assert found["torque_nm"] == pytest.approx(2655, abs=1)
    assert found["yield_mpa"] == pytest.approx(723.9, abs=0.1)
    assert found["percent_of_yield"] == pytest.approx(50)
    assert "Torque is not bolt load" in found["cautions"][0]
    assert "K = 0.2" in found["assumptions"][1]


def test_the_four_ways_to_name_a_load_agree() -> None:
    half = answered("torque", *STUD, *HALF, *K)
    for other in (
        ("--preload", f"{half['preload_n']:.3f} N"),
        ("--bolt-stress", f"{half['stress_mpa']:.9f} MPa"),
        ("--torque", f"{half['torque_nm']:.6f} N·m"),
    ):
        found = answered("torque", *STUD, *other, *K)
        for key in figures(half):
            assert found[key] == pytest.approx(half[key], rel=1e-6)


# ASME PCC-1-2013, table 1 (read in quotation): 1 1/2-8 at 50 ksi on the root area and 0.12, 1,400 lbf·ft,
# rounded up there by at most 3.5 %.
def test_the_long_form_stays_in_the_band_of_asme_pcc_1() -> None:
    found = answered(
        "torque", "--thread", "1 1/2-8", "--bolt-stress", "50 ksi", "--on", "root", "--friction", 0.12
    )
    assert 0.965 * 1400 <= found["torque_nm"] / 1.3558179483314004 <= 1.005 * 1400
    assert found["yield_mpa"] is None
    assert found["percent_of_yield"] is None


def test_head_friction_is_that_of_the_thread_until_it_is_named() -> None:
    same, named, less = (
        answered("torque", *STUD, *HALF, "--friction", 0.12, *more)["torque_nm"]
        for more in ((), ("--head-friction", 0.12), ("--head-friction", 0.08))
    )
    assert same == named > less


# By hand: 2,655 − 348,400·3.175/π/1000 = 2,303 N·m; 1.8 · 2,655 = 4,779 N·m.
def test_a_rusted_nut_needs_its_factor_and_a_clean_one_thread_mechanics() -> None:
    found = answered("loosen", *STUD, *HALF, *K, *RUST)
    assert figures(found) == {
        "tightening_torque_nm",
        "loosening_torque_clean_nm",
        "needed_torque_nm",
        "ratio",
    }
    assert found["loosening_torque_clean_nm"] == pytest.approx(2303, abs=1)
    assert found["needed_torque_nm"] == pytest.approx(4779, abs=2)
    assert found["ratio"] == pytest.approx(2303 / 2655, abs=1e-3)
    assert any("Rusted studs, four years in salt air" in sentence for sentence in found["assumptions"])
    assert "isolated, drained and vented" in found["cautions"][0]


def test_the_force_at_the_reaction_point() -> None:
    found = answered("reaction", "--torque", "9400 N·m", "--arm", "200 mm")
    assert figures(found) == {"force_n"}
    assert found["force_n"] == pytest.approx(47_000)
    assert any("Keep hands clear" in sentence for sentence in found["cautions"])


def test_the_printout_for_people_has_both_unit_systems_and_the_cautions() -> None:
    done = calc("torque", *STUD, *HALF, *K)
    assert "2,655 N·m (1,958 lbf·ft)" in done.stdout
    assert "Source: short form" in done.stdout
    assert "competent person prevail" in done.stdout


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("thread", "1 1/2"), "nothing of the threads per inch"),
        (("thread", "M36", "--nut", "square"), "is not a nut series"),
        (("torque", "--thread", "M36", "--grade", "B99", *HALF, *K), "Known: A193 B7"),
        (("torque", *STUD, *HALF), "one of --nut-factor or --friction"),
        (("torque", *STUD, *HALF, *K, "--friction", 0.12), "not --nut-factor and --friction together"),
        (("torque", *STUD, *K), "Give the bolt load by one of"),
        (("torque", "--thread", "M36", *HALF, *K), "needs the bolt's --grade"),
        (("torque", *STUD, "--preload", "900 kN", *K), "of the yield strength"),
        (("torque", *STUD, "--preload", "340 bar", *K), "a force was expected"),
        (("torque", *STUD, *HALF, "--nut-factor", 20), "nut factor"),
        (("torque", *STUD, *HALF, "--friction", 1.2), "between 0 and 1"),
        (("torque", *STUD, *HALF, *K, "--head-friction", 0.1), "belongs to --friction"),
        (("torque", *STUD, *HALF, *K, "--on", "shank"), "Known: tensile stress area, root area"),
        (("torque", "--thread", "M42", "--grade", "10.9", *HALF, *K), "ends at 39 mm"),
        (("loosen", *STUD, *HALF, *K, "--factor", 1.8, "--reason", ""), "reason in words"),
        (("loosen", *STUD, *HALF, *K, "--factor", 9, "--reason", RUST[3]), "outside 0.5 to 5"),
        (("reaction", "--torque", "9400 N·m", "--arm", "0 mm"), "above zero"),
    ],
)
def test_what_cannot_be_worked_out_is_one_sentence(words: tuple[object, ...], sentence: str) -> None:
    assert sentence in refused(*words)


def test_the_program_ends_with_three_for_a_refusal_and_two_for_misuse() -> None:
    no = program("torque", "--thread", "M36", "--grade", "B99", *HALF, *K)
    assert (no.returncode, no.stdout) == (3, "")
    assert no.stderr.startswith("'B99' is not a grade of bolting")
    assert no.stderr.count("\n") == 1
    missing = program("loosen", *STUD, *HALF, *K, "--factor", 1.8)
    assert missing.returncode == 2
    assert "--reason" in missing.stderr


def test_the_program_works_where_there_is_no_database() -> None:
    done = program("thread", "M36", "--json")
    assert done.returncode == 0
    assert json.loads(done.stdout)["across_flats_mm"] == 55


def test_a_nut_that_no_table_has_is_measured() -> None:
    by = ("--thread", "M100x6", "--preload", "1000 kN", "--friction", 0.12)
    assert "measure it" in refused("torque", *by)
    found = answered("torque", *by, "--nut", "150 mm")
    # ISO 16047: d2 = 96.103 mm, De = 125 mm, so F/2·(6/π + 0.12·96.103/cos 30° + 0.12·125).
    assert found["torque_nm"] == pytest.approx(15_113, abs=1)
    assert answered("thread", "M100x6", "--nut", "150 mm")["across_flats_mm"] == 150
    assert "does not go over" in refused("torque", *by, "--nut", "95 mm")


# Without any friction the pitch alone asks P/(2·π·d): 0.0177 for M36.
def test_a_nut_factor_below_what_the_pitch_alone_asks_is_refused() -> None:
    by = ("torque", "--thread", "M36", "--preload", "100 kN", "--nut-factor")
    assert "cannot be" in refused(*by, 0.0176)
    assert answered(*by, 0.0178)["torque_nm"] == pytest.approx(64.08)
