"""Papers: the card of an item, the sheet of a kit, and the evidence pack of an item or a job."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fleet.commands.door import door
from fleet.commands.grouping import Grouped
from fleet.refusals import NotPossible, Unreadable

if TYPE_CHECKING:
    from fleet.commands.door import Sitting
    from fleet.lists.evidence import Section
    from fleet.papers.evidence import Printed

paper = typer.Typer(
    help="Print the card of an item, the sheet of a kit, or everything on record for an auditor.",
    no_args_is_help=True,
    cls=Grouped,
)
Into = Annotated[Path | None, typer.Option("--into", help="The folder for it; else where you are.")]


def register(app: typer.Typer) -> None:
    """Put the commands of this module on the app."""
    app.add_typer(paper, name="paper", rich_help_panel="Care")


@paper.command()
def card(
    context: typer.Context,
    item: Annotated[str, typer.Argument(help="The item's tag or serial number.")],
    into: Into = None,
) -> None:
    """The card of one item as it stands now: plate, chart, what is due, holds (PDF)."""
    from fleet.lists.evidence import item_evidence
    from fleet.lists.items import find_item
    from fleet.measures.tags import show_tag
    from fleet.papers.evidence import item_card

    with door(context).look_as() as sitting:
        found = find_item(sitting.db, item)
        printed = _printed(sitting, found.site)
        sections = item_evidence(sitting.db, found.id, found.tag)
    title = f"Item {show_tag(found.tag)}: {found.kind} {found.model}"
    lead = "As it stands on record when printed; ask the register before use."
    _write(into, f"card-{found.tag}.pdf", item_card(title, lead, sections, printed))


@paper.command()
def evidence(
    context: typer.Context,
    item: Annotated[str | None, typer.Option("--item", help="Of this item, by tag or serial number.")] = None,
    job: Annotated[str | None, typer.Option("--job", help="Of this job, by its code.")] = None,
    into: Into = None,
    *,
    sheets: Annotated[bool, typer.Option("--csv", help="As CSV files, with every kept file beside.")] = False,
    workbook: Annotated[bool, typer.Option("--xlsx", help="As one workbook, with every kept file.")] = False,
) -> None:
    """Everything on record about one item or one job, corrections and all (PDF)."""
    from fleet.lists.evidence import item_evidence, item_files, job_evidence, job_files
    from fleet.lists.items import find_item
    from fleet.lists.jobs import find_job
    from fleet.measures.tags import show_tag
    from fleet.papers.evidence import evidence_pack
    from fleet.papers.sheets import as_sheets

    if (item is None) == (job is None):
        raise Unreadable("Name one item (--item) or one job (--job).")
    with door(context).look_as() as sitting:
        db = sitting.db
        if item is not None:
            found = find_item(db, item)
            site, name = found.site, f"item-{found.tag}"
            title = f"Evidence: {found.kind} {show_tag(found.tag)}, {found.model}, serial {found.serial}"
            sections, files = item_evidence(db, found.id, found.tag), item_files(db, found.id)
        else:
            work = find_job(db, job or "")
            site, name = work.site, f"job-{work.code}"
            title = f"Evidence: job {work.code}, {work.name}"
            sections, files = job_evidence(db, work.id, work.code), job_files(db, work.id)
        printed = _printed(sitting, site)
        sections.append(_kept_for(context))
    if sheets or workbook:
        from fleet.commands.sheetfiles import write_csv, write_workbook
        from fleet.papers.pressing import SUFFIXES

        write = write_workbook if workbook else write_csv
        folder = (into or Path()) / f"evidence-{name}"
        for path in write(folder, as_sheets(sections, printed.there)):
            typer.echo(path)
        for digest, file in {file.sha256: file for file in files}.items():
            _write(folder, f"{digest[:16]}.{SUFFIXES[file.media_type]}", file.content)
        return
    lead = "Everything on record when printed, with what was withdrawn or reversed beside what did so."
    _write(into, f"evidence-{name}.pdf", evidence_pack(title, lead, sections, printed, files))


@paper.command("kit")
def kit_sheet_of(
    context: typer.Context,
    job: Annotated[str, typer.Option("--job", "-j", help="For which job.")],
    joint: Annotated[str, typer.Option("--joint", help="Mark of the joint in the job's plan.")],
    tags: Annotated[
        list[str] | None, typer.Argument(metavar="[TAG]...", help="The kit; else what is reserved for it.")
    ] = None,
    percents: Annotated[str, typer.Option("--percents", help="The passes, rising to 100.")] = "30,60,100",
    into: Into = None,
) -> None:
    """The sheet of a kit for one joint: connections, passes with set pressures, cover and cautions (PDF)."""
    from fleet.commands.kits import joint_facts
    from fleet.lists.items import find_item
    from fleet.lists.jobs import find_job, find_joint
    from fleet.lists.kit_sheets import kept_kit, kit_sheet
    from fleet.lists.sites import find_site
    from fleet.papers.bench.reading import numbers
    from fleet.papers.kit_sheets import kit_paper
    from fleet.rules.sources import OF_A_SHEET

    shares = numbers(percents, "percentages")
    with door(context).look_as() as sitting:
        db = sitting.db
        work = find_job(db, job)
        planned = find_joint(db, work, joint)
        asked = joint_facts(db, work, planned.mark, None, None, None, None)
        ids = [find_item(db, tag).id for tag in tags or ()] or kept_kit(db, work, planned)
        site = find_site(db, work.site)
        sheet = kit_sheet(db, site, work, planned, asked, ids, shares, now=sitting.now)
        printed = _printed(sitting, work.site)
    name = f"kit-{work.code}-{planned.mark}.pdf"
    _write(into, name, kit_paper(sheet, printed, OF_A_SHEET))
    if not sheet.check.usable:
        raise NotPossible(f"This kit may not be used on {planned.mark} as it stands; the sheet says why.")


@paper.command("labels")
def print_some_labels(
    context: typer.Context,
    tags: Annotated[list[str], typer.Argument(metavar="TAG...", help="Tags or serial numbers.")],
    size: Annotated[
        str, typer.Option("--size", help="63.5 or 99.1 for a sheet, 60 for one by one.")
    ] = "63.5",
    begin: Annotated[int, typer.Option("--begin", help="First free place on the first sheet.")] = 1,
    into: Annotated[Path | None, typer.Option("--out", "--into", help="The folder for it.")] = None,
) -> None:
    """Labels with a code, the tag in plain figures and the rating (PDF); the day book notes each."""
    from fleet.desk.labels import print_labels
    from fleet.lists.items import find_item
    from fleet.papers.labels import find_size, label_paper

    chosen = find_size(size)
    with door(context).act() as sitting:
        ids = list(dict.fromkeys(find_item(sitting.db, tag).id for tag in tags))
        lines = print_labels(sitting.db, ids, chosen.name, by=sitting.by, now=sitting.now)
        # Within the act: what could not be written was not printed.
        _write(into, f"labels-{lines[0].tag}.pdf", label_paper(lines, chosen, begin=begin))


def _printed(sitting: Sitting, site_code: str) -> Printed:
    from fleet.lists.daybook import seal
    from fleet.lists.sites import find_site
    from fleet.measures.times import zone
    from fleet.papers.evidence import Printed
    from fleet.rules.daybook import ROOM_CHAIN

    site = find_site(sitting.db, site_code)
    seals = (seal(sitting.db, ROOM_CHAIN), seal(sitting.db, site.id))
    return Printed(sitting.by.name, sitting.now, zone(site.time_zone), seals)


def _kept_for(context: typer.Context) -> Section:
    """How long records are kept, as set for this room."""
    from fleet.lists.evidence import Section
    from fleet.rules.retention import read_years, retention

    years = {kind: read_years(kind, text) for kind, text in door(context).settings().retention_years.items()}
    rows = tuple((one.records, one.years, one.counted_from) for one in retention(years))
    return Section("How long records are kept", ("Records", "Years at least", "Counted from"), rows)


def _write(into: Path | None, name: str, content: bytes) -> None:
    path = (into or Path()) / "".join(sign if sign.isalnum() or sign in "-_." else "-" for sign in name)
    try:
        with path.open("xb") as file:
            file.write(content)
    except FileExistsError:
        raise NotPossible(f"{path} is there already. Nothing was written.") from None
    except OSError as error:
        raise NotPossible(f"{path} cannot be written: {error.strerror}.") from error
    typer.echo(path)
