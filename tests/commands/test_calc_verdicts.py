"""The bench on the command line: verdicts and intervals."""

from pathlib import Path

import pytest
import scipy.stats

from tests.commands.bench import answered, figures, refused, sheet

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
        (("--method", "guess"), "Known: test, staircase, control-chart, in-use"),
        (("--method", "staircase"), "The method staircase needs --shares."),
        (("--in-tolerance", 27), "The method test needs --of."),
        (("--in-tolerance", 31, "--of", 30, "--target", 0.9), "count what was calibrated"),
        (("--in-tolerance", 27, "--of", 30, "--target", 90), "lies between 0 and 1"),
        (("--method", "in-use", "--used", 3, "--over", "90 days"), "30d or 6w"),
    ],
)
def test_an_interval_without_its_evidence_is_one_sentence(words: tuple[object, ...], sentence: str) -> None:
    assert sentence in refused("interval", "--interval", "365d", *words)
