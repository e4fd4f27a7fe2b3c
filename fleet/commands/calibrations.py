"""Certificates: taking them in, accepting, refusing, and their drift."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fleet.commands.away import Gauge, Rule, Tolerance, known_rule
from fleet.commands.door import door, new_id
from fleet.commands.grouping import Grouped
from fleet.commands.loans import RequestId, Tag
from fleet.commands.printing import Json, print_json, print_table

if TYPE_CHECKING:
    from fleet.desk.acceptance import Decided
    from fleet.desk.calibrations import Received
    from fleet.rules.certificates import Certificate, Reading

Number = Annotated[int, typer.Argument(metavar="NUMBER", help="The number it got when it was taken in.")]

certificate = typer.Typer(
    help="Take a certificate in, accept or refuse it, see its points and the drift.",
    no_args_is_help=True,
    cls=Grouped,
)


def register(app: typer.Typer) -> None:
    """Put the commands of this module on the app."""
    panel = "Calibration"
    app.command(rich_help_panel=panel)(certificates)
    app.add_typer(certificate, name="certificate", rich_help_panel=panel)


@certificate.command("take-in")
def take_in(
    context: typer.Context,
    asked: Tag,
    reference: Annotated[str, typer.Option("--reference", help="The laboratory's reference standard.")],
    traceability: Annotated[str, typer.Option("--traceability", help="To what, as the certificate says.")],
    *,
    file: Annotated[Path | None, typer.Option("--file", "-f", help="Points in CSV, or a DCC in XML.")] = None,
    point: Annotated[
        list[str] | None,
        typer.Option("--point", help="'as found; 200 bar; 590 N·m; 6 N·m': stage, pressure, value and U."),
    ] = None,
    number: Annotated[str | None, typer.Option("--number", help="Number of the certificate.")] = None,
    laboratory: Annotated[str | None, typer.Option("--laboratory", help="Who calibrated it.")] = None,
    on: Annotated[str | None, typer.Option("--on", help="Day of the calibration.")] = None,
    serial: Annotated[str | None, typer.Option("--serial", help="Serial number on the certificate.")] = None,
    accreditation: Annotated[str | None, typer.Option("--accreditation", help="As stated, or none.")] = None,
    factor: Annotated[
        float | None, typer.Option("--coverage-factor", "-k", help="Of the expanded uncertainty; else 2.")
    ] = None,
    gauge: Gauge = None,
    scan: Annotated[Path | None, typer.Option("--scan", help="PDF, JPEG or PNG to keep with it.")] = None,
    task: Annotated[str | None, typer.Option("--task", "-t", help="Upkeep task that it proves.")] = None,
    rule: Rule = None,
    tolerance: Tolerance = None,
    note: Annotated[str | None, typer.Option("--note", "-n", help="What is worth knowing.")] = None,
    request: RequestId = None,
    as_json: Json = False,
) -> None:
    """Take a certificate in: judged point by point; a failure as found holds the item and opens a review."""
    from fleet.commands.certificateprints import print_taken
    from fleet.desk.calibrations import CertificateSlip
    from fleet.desk.calibrations import take_in as take
    from fleet.lists.items import find_item
    from fleet.measures.times import read_day
    from fleet.rules.certificates import Certificate

    with door(context).act() as sitting:
        kind = find_item(sitting.db, asked).kind
        digital, readings, files = _received(file, scan, kind)
        typed = Certificate(
            number,
            laboratory,
            accreditation,
            read_day(on) if on else None,
            serial,
            factor,
            (*readings, *_points(point, kind)),
        )
        slip = CertificateSlip(
            request or new_id(),
            asked,
            typed,
            digital,
            reference,
            traceability,
            task,
            known_rule(rule),
            tolerance,
            gauge,
            note,
            files,
        )
        taken = take(sitting.db, slip, by=sitting.by, now=sitting.now)
    if as_json:
        return print_json(taken)
    return print_taken(taken, kind)


def _points(typed: list[str] | None, kind: str) -> tuple[Reading, ...]:
    from fleet.rules.certificate_points import read_point

    return tuple(read_point(text, kind) for text in typed or ())


def _received(
    file: Path | None, scan: Path | None, kind: str
) -> tuple[Certificate | None, tuple[Reading, ...], tuple[Received, ...]]:
    """What the files hold, and the files themselves as they were received."""
    from fleet.desk.calibrations import Received
    from fleet.rules.received import check_scan, read_file

    digital: Certificate | None = None
    readings: tuple[Reading, ...] = ()
    files = []
    if file:
        content = _content(file)
        media_type, digital, readings = read_file(content, kind)
        files.append(Received(content, media_type, file.name))
    if scan:
        content = _content(scan)
        files.append(Received(content, check_scan(content), scan.name))
    return digital, readings, tuple(files)


def _content(path: Path) -> bytes:
    from fleet.refusals import Unreadable
    from fleet.rules.received import MOST_SCANNED

    try:
        with path.open("rb") as opened:
            return opened.read(MOST_SCANNED + 1)
    except OSError as error:
        raise Unreadable(f"The file {path} cannot be read: {error.strerror}.") from None


@certificate.command("accept")
def accept(
    context: typer.Context,
    number: Number,
    note: Annotated[
        str | None, typer.Option("--note", "-n", help="Why it may be used; needed for a conditional pass.")
    ] = None,
    *,
    as_json: Json = False,
) -> None:
    """Accept a certificate: the task is done, and a wrench goes by its own new chart."""
    from fleet.desk.acceptance import accept as take

    with door(context).act() as sitting:
        decided = take(sitting.db, number, note, by=sitting.by, now=sitting.now)
    return print_json(decided) if as_json else _print_decided(decided)


@certificate.command("refuse")
def refuse(
    context: typer.Context,
    number: Number,
    reason: Annotated[str, typer.Option("--reason", "-r", help="What is wrong with the certificate.")],
    *,
    as_json: Json = False,
) -> None:
    """Refuse a certificate that is itself wrong; it stays on record and counts for nothing."""
    from fleet.desk.acceptance import refuse as turn_down

    with door(context).act() as sitting:
        decided = turn_down(sitting.db, number, reason, by=sitting.by, now=sitting.now)
    return print_json(decided) if as_json else _print_decided(decided)


def _print_decided(decided: Decided) -> None:
    from fleet.commands.certificateprints import print_decided

    print_decided(decided)


@certificate.command("show")
def show(context: typer.Context, number: Number, *, as_json: Json = False) -> None:
    """One certificate with all its points, and who decided what about it."""
    from fleet.commands.certificateprints import print_certificate
    from fleet.lists.calibrations import files, find_certificate, points

    with door(context).look() as (db, _):
        line = find_certificate(db, number)
        found, kept = points(db, number), files(db, number)
    if as_json:
        return print_json({"certificate": line, "points": found, "files": kept})
    return print_certificate(line, found, kept)


def certificates(context: typer.Context, asked: Tag, *, as_json: Json = False) -> None:
    """The certificates of an item, the newest first."""
    from fleet.commands.showing import day, tag
    from fleet.lists.calibrations import certificates as list_certificates
    from fleet.lists.items import find_item

    with door(context).look() as (db, _):
        item = find_item(db, asked)
        found = list_certificates(db, item)
    if as_json:
        return print_json(found)
    rows = [
        (
            line.id,
            day(line.calibrated_on),
            f"{line.number}, {line.laboratory}",
            line.as_found or "not stated",
            line.as_left or "not adjusted",
            f"{line.standing}{f' by {line.decided_by}' if line.decided_by else ''}",
        )
        for line in found
    ]
    columns = ("No.", "Day", "Certificate", "As found", "As left", "Standing")
    return print_table(
        columns, rows, title=f"{item.kind.capitalize()} {tag(item.tag)}", empty="No certificate."
    )


@certificate.command("drift")
def drift(
    context: typer.Context,
    asked: Tag,
    picture: Annotated[Path | None, typer.Option("--picture", help="Draw it into this SVG file.")] = None,
    *,
    as_json: Json = False,
) -> None:
    """How the errors at each pressure moved from certificate to certificate, with their uncertainty."""
    from fleet.commands.certificateprints import print_drift
    from fleet.lists.drift import drift as list_drift
    from fleet.lists.items import find_item
    from fleet.lists.sites import find_site
    from fleet.refusals import NotPossible
    from fleet.rules.pictures import drift_picture

    with door(context).look() as (db, _):
        item = find_item(db, asked)
        found, site = list_drift(db, item), find_site(db, item.site)
    if not found.nominals:
        raise NotPossible(f"No certificate of {item.kind} {item.tag} is on record, so there is no drift yet.")
    if picture:
        try:
            picture.write_text(drift_picture(found, site.pressure_unit), encoding="utf-8")
        except OSError as error:
            raise NotPossible(f"The picture {picture} cannot be written: {error.strerror}.") from None
    if as_json:
        return print_json(found)
    return print_drift(found, site.pressure_unit, picture)
