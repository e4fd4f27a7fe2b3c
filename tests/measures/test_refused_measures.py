"""What could be misread is refused, and the sentence says what to write."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.measures.quantities import (
    Kind,
    Measure,
    read_measure,
)
from fleet.refusals import Unreadable

LETTERS = st.characters(categories=["L", "N", "P", "S", "Zs"])


def refused(text: str, kind: Kind = Kind.PRESSURE, unit: str | None = None) -> str:
    with pytest.raises(Unreadable) as caught:
        read_measure(text, kind, unit=unit)
    sentence = str(caught.value)
    assert sentence.endswith((".", "?"))
    return sentence


def read_or_refused(text: str, kind: Kind, unit: str | None = None) -> Measure | str:
    try:
        return read_measure(text, kind, unit=unit)
    except Unreadable as no:
        return str(no)


@pytest.mark.parametrize(
    "gap", [" ", "\N{NO-BREAK SPACE}", "\N{NARROW NO-BREAK SPACE}", "\N{THIN SPACE}", "'"]
)
@pytest.mark.parametrize("figure", [3400, 10_000, 1_234_567])
def test_a_gap_between_thousands_is_never_guessed(gap: str, figure: int) -> None:
    # A well-known units parser reads "3 400 psi" as 1200 psi, the product: seen while choosing it.
    text = f"{figure:,}".replace(",", gap)
    assert f"write {figure:,} N or {figure} N." in refused(f"{text} N", Kind.FORCE)


@pytest.mark.parametrize(
    ("text", "kind", "instead"),
    [
        ("3.400,5 psi", Kind.PRESSURE, "write 3,400.5 psi."),
        ("3,4 bar", Kind.PRESSURE, "write 3.4 bar."),
        ("0,500 bar", Kind.PRESSURE, "write 0.500 bar."),
        ("1,5 in", Kind.LENGTH, "write 1.5 in."),
        ("1.000.000 N", Kind.FORCE, "write 1,000,000 N."),
        ("3.400 psi", Kind.PRESSURE, "write 3.4 psi or 3,400 psi."),
        ("10.000 psi", Kind.PRESSURE, "write 10 psi or 10,000 psi."),
        ("2,500 kN·m", Kind.TORQUE, "was 2.5 kN·m meant?"),
        ("2500 kN·m", Kind.TORQUE, "at most 200 kN·m"),
        ("250,000.5 N·m", Kind.TORQUE, "check the number and the unit."),
        ("12,500 MPa", Kind.PRESSURE, "was 12.5 MPa meant?"),
        ("5–10 psi", Kind.PRESSURE, "choose one value and write 5 psi or 10 psi."),
        ("5-10 psi", Kind.PRESSURE, "choose one value and write 5 psi or 10 psi."),
        ("5 - 10 psi", Kind.PRESSURE, "choose one value and write 5 psi or 10 psi."),
        ("5 to 10 psi", Kind.PRESSURE, "write one value"),
        ("5 ± 1 psi", Kind.PRESSURE, "one plain number"),
        ("≥5 psi", Kind.PRESSURE, "write only 5 psi."),
        ("~5 psi", Kind.PRESSURE, "write only 5 psi."),
        ("+5 psi", Kind.PRESSURE, "write only 5 psi."),
        ("~5", Kind.PRESSURE, "no unit"),
        ("⅓ in", Kind.LENGTH, "not an inch size"),
        ("1½½ in", Kind.LENGTH, "one plain number"),
        ("0½ in", Kind.LENGTH, "one plain number"),
        ("5² in", Kind.LENGTH, "one plain number"),
        ("1½ h", Kind.DURATION, "write 1.5 h."),
        ("1/2 h", Kind.DURATION, "write 0.5 h."),
        ("11/2 in", Kind.LENGTH, "write it like 3/4 in or 1 1/2 in"),
        ("8/8 in", Kind.LENGTH, "write it like 3/4 in or 1 1/2 in"),
        ("1 1/3 in", Kind.LENGTH, "write it like 3/4 in or 1 1/2 in"),
        (".5 in", Kind.LENGTH, "write 0.5 in."),
        ("5. in", Kind.LENGTH, "write 5 in."),
        ("007 bar", Kind.PRESSURE, "write 7 bar."),
        ("00.5 bar", Kind.PRESSURE, "write 0.5 bar."),
        ("-5 psi", Kind.PRESSURE, "write 5 psi."),
        ("−5 psi", Kind.PRESSURE, "write 5 psi."),
        ("nan psi", Kind.PRESSURE, "holds no number"),
        ("inf bar", Kind.PRESSURE, "inf bar"),
        ("1e9 psi", Kind.PRESSURE, "write the number out"),
        ("1E-3 kN·m", Kind.TORQUE, "write the number out"),
        ("1e9", Kind.PRESSURE, "write the number out"),
        ("70 mPa", Kind.PRESSURE, "write MPa"),
        ("10,000 psia", Kind.PRESSURE, "gauge pressure in psi"),
        ("700 bar(a)", Kind.PRESSURE, "gauge pressure in bar"),
        ("12 psi", Kind.TORQUE, "is a pressure; a torque was expected, such as 1,400 N·m."),
        ("12 N·m", Kind.PRESSURE, "is a torque; a pressure was expected"),
        ("500 lb", Kind.FORCE, "write lbf for a force"),
        ("500 kg", Kind.FORCE, "write kgf for a force"),
        ("1 gpm", Kind.FLOW, "write US gal/min"),
        ("1 gal/min", Kind.FLOW, "write US gal/min"),
        ("60 cm", Kind.VOLUME, "is a length; a volume was expected"),
        ("60 L", Kind.FLOW, "is a volume; a flow was expected"),
        ("12 pis", Kind.PRESSURE, "did you mean psi?"),
        ("12 barr", Kind.PRESSURE, "did you mean bar?"),
        ("12 furlong", Kind.LENGTH, "one of mm, cm, m, in, ft."),
        ("5 m m", Kind.LENGTH, "not a known unit"),
        ("5 ton", Kind.FORCE, "not a known unit"),
        ("3 ft 6 in", Kind.LENGTH, "more than one number"),
        ("700 bar / 10,000 psi", Kind.PRESSURE, "more than one number"),
        ("bar", Kind.PRESSURE, "write it like 700 bar"),
        ("", Kind.PRESSURE, "write it like 700 bar"),
        ("١٢ bar", Kind.PRESSURE, "write it like 700 bar"),
        ("9" * 400 + " psi", Kind.PRESSURE, "write it like 700 bar"),
    ],
)
def test_what_could_be_misread_is_refused_with_what_to_write(text: str, kind: Kind, instead: str) -> None:
    assert instead in refused(text, kind)


@pytest.mark.parametrize("text", ["2.500 kN·m", "0.500 N·m", "142.368 kgf·m", "5.125 N·m", "68.950 MPa"])
def test_decimals_that_can_be_nothing_else_are_read(text: str) -> None:
    kind = Kind.PRESSURE if "Pa" in text else Kind.TORQUE
    number, _, _ = text.partition(" ")
    assert read_measure(text, kind).value == float(number)


@given(st.text(LETTERS, max_size=20), st.sampled_from(Kind), st.sampled_from([None, "psi", "in"]))
def test_any_text_is_either_a_measure_or_a_sentence(text: str, kind: Kind, unit: str | None) -> None:
    read = read_or_refused(text, kind, unit)
    if isinstance(read, str):
        assert read[-1] in ".?"
    else:
        assert read_measure(read.written, kind) == read


@settings(max_examples=1000)
@given(
    st.text("0123459.,/-– ½⅓²②", min_size=1, max_size=9),
    st.sampled_from([("bar", Kind.PRESSURE), ("in", Kind.LENGTH), ("N·m", Kind.TORQUE)]),
)
def test_the_suggested_text_can_itself_be_read(number: str, unit: tuple[str, Kind]) -> None:
    label, kind = unit
    refusal = read_or_refused(f"{number} {label}", kind)
    if isinstance(refusal, str) and " write " in refusal and " like " not in refusal:
        for instead in refusal.partition(" write ")[2].removesuffix(".").split(" or "):
            again = read_or_refused(instead, kind)
            # Its size is only judged once it can be read.
            assert isinstance(again, Measure) or "reads both ways" in again or "is more than" in again


@pytest.mark.parametrize(
    ("most", "kind", "beyond"),
    [
        ("1,000 MPa", Kind.PRESSURE, "1,000.1 MPa"),
        ("200 kN·m", Kind.TORQUE, "200,001 N·m"),
        ("20,000 kN", Kind.FORCE, "20,000.1 kN"),
        ("200 m", Kind.LENGTH, "200.1 m"),
        ("20,000 kg", Kind.MASS, "20,000.1 kg"),
        ("200,000 h", Kind.DURATION, "200,000.1 h"),
        ("20 L", Kind.VOLUME, "20.1 L"),
        ("200 L/min", Kind.FLOW, "200.1 L/min"),
    ],
)
def test_a_measure_far_above_the_trade_is_a_slip(most: str, kind: Kind, beyond: str) -> None:
    assert read_measure(most, kind).written == most
    assert f"at most {most}" in refused(beyond, kind)
