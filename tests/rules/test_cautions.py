"""What stands under every figure that somebody could act on."""

import pytest

from fleet.rules import cautions

EVERY = (
    cautions.FOR_PRESSURE,
    cautions.FOR_TIGHTENING,
    cautions.FOR_LOOSENING,
    cautions.FOR_A_KIT,
    cautions.FOR_A_PROOF_TEST,
    cautions.FOR_RECORDS,
)


@pytest.mark.parametrize("printed", EVERY)
def test_every_set_of_cautions_ends_by_deferring_to_those_who_decide(printed: tuple[str, ...]) -> None:
    assert printed[-1] == cautions.PLANNING_AID
    assert len(set(printed)) == len(printed)
    assert all(sentence.endswith(".") for sentence in printed)


@pytest.mark.parametrize(
    ("printed", "words"),
    [
        (cautions.FOR_A_KIT, "isolated, drained and vented"),
        (cautions.FOR_A_KIT, "the load still scatters"),
        (cautions.FOR_A_KIT, "hands clear"),
        (cautions.FOR_A_KIT, "surgical emergency"),
        (cautions.FOR_A_KIT, "fully home"),
        (cautions.FOR_A_KIT, "never more pressure"),
        (cautions.FOR_LOOSENING, "isolated, drained and vented"),
        (cautions.FOR_TIGHTENING, "lowest-rated part"),
        (cautions.FOR_PRESSURE, "lowest-rated part"),
        (cautions.FOR_A_PROOF_TEST, "behind a guard"),
        (cautions.FOR_A_PROOF_TEST, "surgical emergency"),
    ],
)
def test_what_can_hurt_somebody_is_said_where_it_can(printed: tuple[str, ...], words: str) -> None:
    assert any(words in sentence for sentence in printed)
