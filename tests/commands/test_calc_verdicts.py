"""The bench on the command line: verdicts and intervals."""

from pathlib import Path

import pytest
import scipy.stats

from tests.commands.bench import answered, calc, figures, refused, sheet

LIMITS = ("--nominal", 2000, "--lower", 1940, "--upper", 2060)


# ILAC-G8:09/2019, 4.2: with U = 16 and w = U, 1,956 to 2,044 is a pass.
@pytest.mark.parametrize(
    ("reading", "guard", "verdict"),
    [
        (2031, 1, "pass"),
        (2050, 1, "conditional pass"),
        (2070, 1, "conditional fail"),
        (2080, 1, "fail"),
        (2050, 0, "pass"),
        (2061, 0, "fail"),
        (1926, 0.83, "fail"),
        (1930, 0.83, "conditional fail"),
    ],
)
def test_a_reading_is_judged_by_the_rule_that_was_agreed(reading: float, guard: float, verdict: str) -> None:
    found = answered("verdict", *LIMITS, "--reading", reading, "--uncertainty", 16, "--guard", guard)
    assert figures(found) == {"verdict", "acceptance_lower", "acceptance_upper", "conformance_probability"}
    assert found["verdict"] == verdict
    assert found["acceptance_lower"] == pytest.approx(1940 + 16 * guard)
    expected = scipy.stats.norm(reading, 8)
    assert found["conformance_probability"] == pytest.approx(
        expected.cdf(2060) - expected.cdf(1940), abs=1e-9
    )


def test_one_limit_and_a_unit_are_enough() -> None:
    found = answered(
        *("verdict", "--lower", "-3 N·m", "--reading", "-2.5 N·m", "--uncertainty", "1 N·m", "--guard", 1)
    )
    assert found["verdict"] == "conditional pass"
    assert (found["acceptance_lower"], found["acceptance_upper"]) == (-2, None)


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        ((*LIMITS, "--reading", "2031 N·m", "--guard", 0), "not in one unit"),
        (("--reading", 2031, "--guard", 0), "a lower or an upper"),
        ((*LIMITS, "--reading", 2031, "--guard", 0.5, "--uncertainty", 16), "write 0, 0.83 or 1"),
        ((*LIMITS, "--reading", 2031), "needs the expanded uncertainty"),
        ((*LIMITS, "--reading", "good", "--guard", 0), "is not a number"),
        ((*LIMITS, "--reading", "5 furlongs", "--guard", 0), "not a known unit"),
        (("--nominal", 5, "--lower", 10, "--reading", 11, "--guard", 0), "outside its own tolerance"),
    ],
)
def test_a_verdict_that_cannot_be_is_one_sentence(words: tuple[object, ...], sentence: str) -> None:
    assert sentence in refused("verdict", *words)


def test_the_interval_test_says_how_sure_it_is_and_keeps_what_is_not_refuted() -> None:
    counted = ("interval", "--of", 30, "--interval", "365d", "--target", "0.90", "--method", "test")
    found = answered(*counted, "--in-tolerance", 27)
    # P(27 or more of 30 at 90 %) = 0.6474 by the binomial distribution.
    assert found["confidence"] == pytest.approx(1 - scipy.stats.binom.sf(26, 30, 0.9))
    assert found["proposed_days"] == 365
    assert "NCSLI RP-1 method A3" in found["method"]
    bad = answered(*counted, "--in-tolerance", 20)
    assert bad["confidence"] > 0.95
    assert bad["proposed_days"] == 182
    assert "20 of 30 within tolerance" in bad["evidence"]
    assert any("room's policy" in sentence for sentence in bad["assumptions"])


def test_the_staircase_the_chart_and_the_meter_each_propose(tmp_path: Path) -> None:
    now = ("interval", "--interval", "365d")
    assert answered(*now, "--method", "staircase", "--shares", "40,50")["proposed_days"] == 456
    assert answered(*now, "--method", "staircase", "--shares", "40,130")["proposed_days"] == 182
    drift = sheet(tmp_path, "day,error\n0,20\n365,20\n730,20\n")
    assert answered(*now, "--method", "control-chart", "--points", drift)["proposed_days"] == 456
    used = ("--most-use", 1000, "--used", 300, "--over", "90d")
    assert answered(*now, "--method", "in-use", *used)["proposed_days"] == 300


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("--method", "guess"), "Known: test, staircase, control-chart, in-use-time, in-service-checking"),
        (("--method", "staircase"), "counts alone: --in-tolerance 27 --of 30"),
        (("--method", "staircase", "--in-tolerance", 3), "needs --of"),
        (("--method", "staircase", "--in-tolerance", 3, "--of", 3, "--shares", "9"), "not --shares and"),
        (("--method", "staircase", "--shares", "nan"), "does not hold errors"),
        (("--method", "staircase", "--shares", ""), "write numbers like 30,60,100"),
        (("--method", "in-service"), "needs --checks"),
        (("--method", "in"), "is not a method here"),
        (("--in-tolerance", 27), "The method test needs --of."),
        (("--in-tolerance", 31, "--of", 30, "--target", 0.9), "count what was calibrated"),
        (("--in-tolerance", 27, "--of", 30, "--target", 90), "lies between 0 and 1"),
        (("--method", "in-use", "--used", 3, "--over", "90 days"), "30d or 6w"),
    ],
)
def test_an_interval_without_its_evidence_is_one_sentence(words: tuple[object, ...], sentence: str) -> None:
    assert sentence in refused("interval", "--interval", "365d", *words)


# ILAC-G24 leaves the steps to the room (+25 % and -50 % here), and names the staircase as its method 1.
@pytest.mark.parametrize(
    ("within", "days"), [(30, 456), (28, 456), (27, 365), (26, 182)], ids=["all", "above", "at", "below"]
)
def test_the_staircase_climbs_on_counts_alone(within: int, days: int) -> None:
    counted = ("--in-tolerance", within, "--of", 30, "--target", 0.9, "--method", "staircase")
    found = answered("interval", "--interval", "365d", *counted)
    assert found["proposed_days"] == days
    assert 0 < found["confidence"] < 1
    assert "method 1" in found["method"]


def test_the_staircase_without_a_target_wants_every_one_good() -> None:
    counted = ("interval", "--interval", "365d", "--method", "staircase", "--of", 3)
    assert answered(*counted, "--in-tolerance", 3)["proposed_days"] == 456
    assert answered(*counted, "--in-tolerance", 2)["proposed_days"] == 182
    assert answered(*counted, "--in-tolerance", 3, "--good-results", 4)["proposed_days"] == 365


def test_shares_may_be_written_with_signs_and_gaps_and_fall_short_too() -> None:
    now = ("interval", "--interval", "365d", "--method", "staircase", "--shares")
    assert answered(*now, "40 % -50 %")["proposed_days"] == 456
    assert answered(*now, "40, -130")["proposed_days"] == 182


def test_a_check_outside_its_limit_calls_the_item_in_now() -> None:
    checked = ("interval", "--interval", "365d", "--method", "in-service checking", "--checks")
    bad = answered(*checked, "20,130,40")
    assert (bad["calibrate_now"], bad["proposed_days"]) == (True, 182)
    assert "1 of 3 checks outside the check limit" in bad["evidence"]
    assert "method 4" in bad["method"]
    assert (bad["policy"]["good_share"], bad["policy"]["longest"]) == (0.8, 1095)
    assert "NOW, before it is used again" in calc(*checked, "130").stdout


def test_checks_within_their_limit_keep_the_interval_or_lengthen_it_up_to_the_rooms_cap() -> None:
    checked = ("interval", "--interval", "365d", "--method", "in-service", "--checks")
    good = answered(*checked, "20,35,-40", "--good-results", 3)
    assert (good["calibrate_now"], good["proposed_days"]) == (False, 456)
    assert answered(*checked, "20,35,95")["proposed_days"] == 365
    assert answered(*checked, "20,35", "--good-results", 3)["proposed_days"] == 365
    assert answered(*checked, "20,35", "--longest", "400d")["proposed_days"] == 400
