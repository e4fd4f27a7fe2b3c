"""Certificates, their points and their drift, as printed."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fleet.commands.printing import print_cautions, print_facts, print_line, print_table
from fleet.commands.showing import day, tag

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from fleet.desk.acceptance import Decided
    from fleet.desk.calibrations import TakenIn
    from fleet.lists.calibrations import CertificateLine, FileLine, PointLine
    from fleet.rules.drift import Drift


def print_taken(taken: TakenIn, kind: str) -> None:
    """What a certificate came to when it was taken in, and what follows."""
    from fleet.rules.cautions import FOR_RECORDS

    again = " It had been taken in before." if taken.again else ""
    print_line(
        f"Certificate {taken.certificate} of {kind} {tag(taken.tag)} is taken in as number "
        f"{taken.number}.{again}"
    )
    if taken.points:
        rows = [
            (
                point.reading.stage,
                point.reading.at_written,
                point.reading.found_written,
                f"{point.error_percent:+.2f} %",
                f"±{point.allowed_percent:g} %",
                point.verdict.result,
            )
            for point in taken.points
        ]
        print_table(("Stage", "Pressure", "Found", "Error", "Allowed", "Verdict"), rows)
    for sentence in taken.sentences:
        print_line(f"  {sentence}", hang=4)
    if taken.points and taken.as_found is None:
        print_line("  Nothing is stated as found: what it was before is not known.", hang=4)
    if taken.hold:
        print_line(
            f"  It is on hold now, and impact review {taken.review} is open. A conditional fail counts as a "
            "fail here: the error measured is past the tolerance.",
            hang=4,
        )
    result = taken.as_left or taken.as_found
    if not taken.again and result in ("pass", "conditional pass"):
        note = " --note '...'" if result == "conditional pass" else ""
        print_line("  Nothing changes before somebody competent accepts it with:", hang=4)
        print_line(f"  fleet certificate accept {taken.number}{note}", hang=4)
    elif not taken.again:
        print_line(
            "  It cannot be accepted: have the item adjusted or repaired, and calibrated again.", hang=4
        )
    print_cautions(FOR_RECORDS)


def print_decided(decided: Decided) -> None:
    """What was decided, and what goes by it from now on."""
    said = f"Certificate {decided.number} of {tag(decided.tag)} is {decided.standing}"
    if decided.standing != "accepted":
        print_line(f"{said}: it counts for nothing.")
        return
    clocks = [day(decided.due_on), f"at {decided.due_cycles:,} cycles" if decided.due_cycles else ""]
    following = " or ".join(clock for clock in clocks if clock)
    print_line(f"{said} ({decided.result}). Next {decided.task}: {following}.")
    if decided.charted:
        low, high = decided.charted
        print_line(f"  Its own chart now runs from {low} to {high}.", hang=4)
        if decided.holder:
            print_line(f"  It is out with {decided.holder}, who goes by the old chart: tell them.", hang=4)
    if decided.on_hold:
        print_line("  It is still on hold. Release it with:", hang=4)
        print_line(f"  fleet release {tag(decided.tag)} --certificate {decided.number} --words '...'", hang=4)


def print_certificate(line: CertificateLine, points: Sequence[PointLine], files: Sequence[FileLine]) -> None:
    """One certificate with all that stands on it."""
    print_facts(
        {
            "Item": f"{line.kind} {tag(line.tag)}, {line.model}, serial {line.serial}",
            "Laboratory": line.laboratory,
            "Accreditation": line.accreditation or "none stated",
            "Calibrated": day(line.calibrated_on),
            "Reference": line.reference,
            "Traceability": line.traceability,
            "Paired gauge": _paired(line),
            "Judged by": f"{line.decision_rule}, ±{line.tolerance_percent:g} %, k = {line.coverage_factor:g}",
            "As found": line.as_found or "not stated",
            "As left": line.as_left or "not adjusted",
            "Meter then": f"{line.cycles_at:,} cycles",
            "Note": line.note,
            "Taken in by": line.received_by,
            "Standing": f"{line.standing}{f' by {line.decided_by}' if line.decided_by else ''}",
            "Because": line.decision_note,
        },
        title=f"Certificate {line.number} (number {line.id})",
    )
    wrench = line.kind == "wrench"
    rows = [
        (
            point.stage,
            point.at_written,
            point.found_written,
            _figure(point.reference_si, wrench=wrench),
            _error(point, wrench=wrench),
            _allowed(point, wrench=wrench),
            "none" if point.expanded is None else _figure(point.expanded, wrench=wrench),
            point.result,
        )
        for point in points
    ]
    should = "Chart" if wrench else "Applied"
    print_table(("Stage", "Pressure", "Found", should, "Error", "Allowed", "U", "Verdict"), rows)
    for file in files:
        print_line(f"  Kept: {file.caption}, {file.size_bytes:,} bytes, sha256 {file.sha256}", hang=4)


def _paired(line: CertificateLine) -> str | None:
    if line.kind != "wrench":
        return None
    return tag(line.paired_gauge) if line.paired_gauge else "none recorded"


def _error(point: PointLine, *, wrench: bool) -> str:
    if wrench:
        return f"{100 * point.error / point.reference_si:+.2f} %"
    return f"{point.error * 10:+,.4g} bar"


def _allowed(point: PointLine, *, wrench: bool) -> str:
    if wrench:
        return f"±{100 * point.tolerance / point.reference_si:.4g} %"
    return f"±{point.tolerance * 10:,.4g} bar"


def _figure(value: float, *, wrench: bool) -> str:
    return f"{value:,.5g} N·m" if wrench else f"{value * 10:,.5g} bar"


def print_drift(found: Drift, unit: str, picture: Path | None) -> None:
    """A line for each nominal pressure and certificate."""
    from fleet.bolting.figures import Units

    say = Units(pressure=unit)
    rows = [
        (
            say.reading(nominal.at_mpa) if at == 0 else "",
            day(point.calibrated_on),
            point.certificate,
            point.stage,
            f"{point.error_percent:+.2f} %",
            "" if point.expanded_percent is None else f"±{point.expanded_percent:.2f} %",
            f"±{point.tolerance_percent:g} %",
        )
        for nominal in found.nominals
        for at, point in enumerate(nominal.points)
    ]
    columns = ("Pressure", "Day", "Certificate", "Stage", "Error", "U", "Allowed")
    print_table(columns, rows, title=f"{tag(found.tag)}, errors in percent of {found.of}")
    if picture:
        print_line(f"Drawn in {picture}.")
