"""A wrench and the gauge it was calibrated with: another gauge breaks the pair.

The laboratory tests wrench and gauge together against a torque transducer, so an error of the one may be
hidden by the other (common practice, no source).
"""

from collections.abc import Sequence

from fleet.rules.findings import Finding, Severity


def pair_findings(wrench: str, paired: str | None, gauges: Sequence[str]) -> tuple[Finding, ...]:
    """A note when none of the kit's gauges is the one that the wrench was calibrated with.

    All are labels such as ``gauge 1002-2``; ``paired`` is None when no gauge is on record for the wrench.
    """
    if paired is None or not gauges or paired in gauges:
        return ()
    sentence = (
        f"{wrench.capitalize()} was calibrated with {paired}, and this kit has {' and '.join(gauges)}: "
        "the pair is broken, so the errors of both count."
    )
    return (Finding(Severity.NOTE, "gauge-not-paired", sentence, gauges[0]),)
