"""Digital calibration certificates: read without guessing, and never trusted."""

from __future__ import annotations

import codecs
import contextlib
from datetime import date
from typing import TYPE_CHECKING, Any

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.refusals import Refusal, Unreadable
from fleet.rules.dcc import looks_like_xml, read_dcc
from fleet.rules.evidence import Stage
from tests.digital import HEAD, HOSTILE, PRESSURES, TORQUES, admin, dcc, listed, name, result

if TYPE_CHECKING:
    from fleet.rules.certificates import Certificate


def refused(content: bytes, kind: str = "wrench") -> str:
    with pytest.raises(Unreadable) as refusal:
        read_dcc(content, kind)
    sentence = str(refusal.value)
    assert "\n" not in sentence
    assert len(sentence) < 400
    return sentence


def points(read: Certificate) -> list[tuple[Any, ...]]:
    return [(one.stage.value, one.at_mpa, one.found_si, one.expanded_si) for one in read.readings]


# --- Read ---------------------------------------------------------------------------------------------------


def test_a_whole_certificate_is_read() -> None:
    read = read_dcc(dcc(), "wrench")

    assert (read.number, read.laboratory, read.accreditation) == ("DCC-77", "Bench Lab", "XX-1")
    assert (read.calibrated_on, read.serial, read.coverage_factor) == (date(2026, 5, 13), "HW-1", 2.0)
    assert points(read) == [
        ("as found", 20, 606, 6),
        ("as found", 40, 1210, 10),
        ("as found", 70, 2110, 15),
    ]
    assert read.readings[0].found_written == "606 N·m"
    assert read.readings[0].at_written == "20 MPa"


@pytest.mark.parametrize(
    ("called", "ref_type", "stage"),
    [
        ("As found", "", Stage.AS_FOUND),
        ("Results before adjustment", "", Stage.AS_FOUND),
        ("Results", "basic_asFound", Stage.AS_FOUND),
        ("AS LEFT", "", Stage.AS_LEFT),
        ("Table 2", "gp_afterAdjustment", Stage.AS_LEFT),
    ],
)
def test_the_stage_is_told_by_name_or_reference_type(called: str, ref_type: str, stage: Stage) -> None:
    read = read_dcc(dcc(result(called=called, ref_type=ref_type)), "wrench")
    assert {one.stage for one in read.readings} == {stage}


def test_found_and_left_stand_in_two_tables() -> None:
    left = PRESSURES + listed("basic_measuredValue", r"\newton\metre", "601 1201 2101", "6 10 15")
    read = read_dcc(dcc(result(), result(left, "As left")), "wrench")
    assert [one.stage for one in read.readings] == [Stage.AS_FOUND] * 3 + [Stage.AS_LEFT] * 3
    assert read.readings[3].found_si == 601


@pytest.mark.parametrize("older", [True, False])
def test_one_uncertainty_for_all_points_in_either_form(*, older: bool) -> None:
    torques = listed("basic_measuredValue", r"\newton\metre", "606 1210 2110", "9", "2.05", older=older)
    read = read_dcc(dcc(result(PRESSURES + torques)), "wrench")
    assert [one.expanded_si for one in read.readings] == [9, 9, 9]
    assert read.coverage_factor == 2.05


def test_a_single_value_is_read_too() -> None:
    single = (
        '<dcc:quantity refType="basic_measuredValue"><si:real><si:value>6.06e2</si:value>'
        r"<si:unit>\newton\metre</si:unit><si:measurementUncertaintyUnivariate><si:expandedMU>"
        "<si:valueExpandedMU>6</si:valueExpandedMU><si:coverageFactor>2</si:coverageFactor>"
        "</si:expandedMU></si:measurementUncertaintyUnivariate></si:real></dcc:quantity>"
    )
    pressure = listed("basic_nominalValue", r"\bar", "200")
    assert points(read_dcc(dcc(result(pressure + single)), "wrench")) == [("as found", 20, 606, 6)]


def test_of_a_hybrid_quantity_the_unit_that_is_known_here_is_read() -> None:
    both = TORQUES.replace("<si:realListXMLList>", "<si:hybrid><si:realListXMLList>").replace(
        "</si:realListXMLList></dcc", "</si:realListXMLList></si:hybrid></dcc"
    )
    other = (
        "<si:realListXMLList><si:valueXMLList>1 2 3</si:valueXMLList>"
        r"<si:unitXMLList>\one</si:unitXMLList></si:realListXMLList>"
    )
    read = read_dcc(dcc(result(PRESSURES + both.replace("<si:hybrid>", f"<si:hybrid>{other}"))), "wrench")
    assert [one.found_si for one in read.readings] == [606, 1210, 2110]


def test_a_gauge_is_read_by_reference_and_measured_value() -> None:
    quantities = (
        listed("basic_measuredValue", r"\bar", "0 203 404")
        + listed("basic_referenceValue", r"\pascal", "0 2.0e7 4e7")
        + listed("basic_measurementError", r"\bar", "0 3 4", "2 2 2")
    )
    read = read_dcc(dcc(result(quantities)), "gauge")
    assert points(read) == [
        ("as found", 0, 0, pytest.approx(0.2)),
        ("as found", pytest.approx(20), pytest.approx(20.3), pytest.approx(0.2)),
        ("as found", pytest.approx(40), pytest.approx(40.4), pytest.approx(0.2)),
    ]


def test_other_tables_are_left_alone() -> None:
    ambient = listed("basic_temperature", r"\degreecelsius", "20 20 20")
    read = read_dcc(dcc(result(ambient, "Ambient"), result()), "wrench")
    assert len(read.readings) == 3


@pytest.mark.parametrize(
    ("written", "pint_unit", "kind"),
    [
        (r"\newton\metre", "newton * metre", "N * m"),
        (r"\kilo\newton\metre", "kilonewton * metre", "N * m"),
    ],
)
def test_units_of_torque_are_worth_what_pint_says(written: str, pint_unit: str, kind: str) -> None:
    torques = listed("basic_measuredValue", written, "1.5")
    read = read_dcc(dcc(result(listed("basic_nominalValue", r"\bar", "200") + torques)), "wrench")
    assert read.readings[0].found_si == pytest.approx(
        pint.UnitRegistry()(f"1.5 {pint_unit}").to(kind).magnitude
    )


@pytest.mark.parametrize("prefix", ["", "hecto", "kilo", "mega"])
def test_units_of_pressure_are_worth_what_pint_says(prefix: str) -> None:
    written = f"\\{prefix}\\pascal" if prefix else r"\pascal"
    pressure = listed("basic_nominalValue", written, "20")
    torques = listed("basic_measuredValue", r"\newton\metre", "600")
    read = read_dcc(dcc(result(pressure + torques)), "wrench")
    worth: float = pint.UnitRegistry()(f"20 {prefix}pascal").to("MPa").magnitude
    assert read.readings[0].at_mpa == pytest.approx(worth)


def test_a_byte_order_mark_and_utf_16_are_read() -> None:
    marked = codecs.BOM_UTF8 + dcc()
    wide = dcc().decode().replace('encoding="UTF-8"', 'encoding="UTF-16"').encode("utf-16")
    for content in (marked, wide):
        assert looks_like_xml(content)
        assert read_dcc(content, "wrench") == read_dcc(dcc(), "wrench")


# --- Refused ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name_of", HOSTILE)
def test_what_is_hostile_is_refused_in_one_sentence(name_of: str) -> None:
    content, said = HOSTILE[name_of]
    assert said in refused(content)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (dcc(administrative=admin(number="")), "its own number"),
        (dcc(administrative=admin(day="13.05.2026")), "on which day"),
        (dcc(administrative=admin(day="2026-02-30")), "on which day"),
        (dcc(administrative=admin().replace("Serial number", "Colour")), "the serial number"),
        (dcc(administrative=admin().replace("Bench Lab", "")), "the laboratory's name"),
        (dcc(administrative=admin().replace("</dcc:item>", "</dcc:item><dcc:item/>")), "of 2 items"),
        (dcc(result(called="Results")), "as found and which are as left"),
        (dcc(result(called="As found and as left")), "as found and which are as left"),
        (dcc(result(PRESSURES)), "no table of pressures and torques"),
        (dcc(result(TORQUES)), "no table of pressures and torques"),
        (dcc(result(PRESSURES + TORQUES.replace(r"\newton\metre", r"\joule"))), "no table"),
        (dcc(result(PRESSURES + TORQUES.replace("1210 ", ""))), "one coverage factor"),
        (dcc(result(PRESSURES.replace(" 70", "") + TORQUES)), "not as many pressures"),
        (
            dcc(result(PRESSURES + TORQUES.replace("1210", "many"))),
            "'many' in the certificate is not a number",
        ),
        (dcc(result(PRESSURES + TORQUES.replace("1210", "NaN"))), "'NaN'"),
        (dcc(result(PRESSURES + TORQUES.replace("1210", "INF"))), "'INF'"),
        (dcc(result(PRESSURES + TORQUES.replace("1210", "1e999"))), "'1e999'"),
        (dcc(result(PRESSURES + TORQUES.replace("1210", "-1210"))), "below zero"),
        (dcc(result(PRESSURES + TORQUES.replace("6 10 15", "6 -10 15"))), "one coverage factor"),
        (dcc(result(PRESSURES + TORQUES.replace(">2<", "><"))), "one coverage factor"),
        (dcc(result(), result(PRESSURES + TORQUES.replace(">2<", ">3<"), "As left")), "several coverage"),
        (dcc(result(PRESSURES + TORQUES + TORQUES)), "several ways"),
        (dcc(result(PRESSURES + TORQUES.replace(r"\newton\metre", r"\newton\metre \bar"))), "mixes units"),
        (dcc(result(PRESSURES + TORQUES.replace("expandedMU", "standardMU"))), "not expanded"),
        (dcc(result(PRESSURES + TORQUES), administrative="<dcc:x/>"), "does not say"),
    ],
)
def test_what_could_only_be_guessed_is_refused(content: bytes, said: str) -> None:
    sentence = refused(content)
    assert said in sentence
    assert "CSV" in sentence


def test_a_large_attribute_that_nobody_asks_for_does_no_harm() -> None:
    content = dcc(head=HEAD.replace("schema", f'x="{"y" * 1_000_000}" schema'))
    assert read_dcc(content, "wrench") == read_dcc(dcc(), "wrench")


def test_a_torque_certificate_is_none_of_a_gauge() -> None:
    assert "no table of applied pressures" in refused(dcc(), "gauge")


@given(st.binary(max_size=300), st.integers(0, 2500))
def test_whatever_is_sent_is_read_or_refused(junk: bytes, at: int) -> None:
    for content in (junk, dcc()[:at] + junk + dcc()[at:], dcc()[:at] + junk):
        with contextlib.suppress(Refusal):
            read_dcc(content, "wrench")


def test_names_of_stages_do_not_leak_from_elsewhere() -> None:
    """An item that is called after a stage says nothing about the points."""
    assert "as found and which" in refused(
        dcc(result(called="Results"), administrative=admin().replace("Hydraulic torque wrench", "as left"))
    )
    assert name("x").startswith("<dcc:name>")
