"""May this kit be used on this joint: does it fit, may it stand the pressure, and can it give the torque.

What a kit can give is its wrench's chart read at the lower of the advance line's maximum working pressure and
the pump's relief setting, and never above the chart's last point. Anything that is not on record counts as a
stop.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from fleet.bolting.charts import Chart, Reading, pressure_for, torque_at
from fleet.bolting.circuits import Circuit, Kind, Line, LineRating, Part, check_circuit
from fleet.bolting.figures import SI, Units, exceeds, inches, known, percent
from fleet.bolting.gauges import Accuracy, gauge_error, set_by_gauge
from fleet.bolting.loosening import TIGHT_FROM, Cover, CoverState, Need, cover, say_cover
from fleet.refusals import OffTheChart
from fleet.rules.breakouts import Spread, demand
from fleet.rules.findings import Finding, Severity
from fleet.rules.sockets import NutFacts, SocketFacts, fit_nut, in_both

_HARD, _SOFT, _NOTE = Severity.HARD, Severity.SOFT, Severity.NOTE


@dataclass(frozen=True, slots=True)
class KitFacts:
    """One pump, wrench, gauge, hoses and couplers, with what their plates and charts add."""

    parts: tuple[Part, ...]
    chart: Chart | None
    """The wrench's own chart, or its model's."""
    drive_mm: float | None = None
    """A square-drive wrench: the width of its square."""
    link_mm: tuple[float, float] | None = None
    """A ratchet link: the least and the greatest across flats it takes, reducers included."""
    socket: SocketFacts | None = None
    graduation_mpa: float | None = None
    """The gauge: what it can show, one graduation or half of one as the room reads it."""
    units: Units = SI
    """The units of the findings' sentences: those of the gauge and chart the reader has."""
    gauge_accuracy: Accuracy | None = None
    """The gauge: its class or grade."""

    def label(self, kind: Kind) -> str:
        """Give the label of the first part of a kind, or the plain word for it."""
        return next((part.label for part in self.parts if part.kind is kind), f"the {kind}")


@dataclass(frozen=True, slots=True)
class JointFacts:
    """One joint: its torque, what loosening may ask, and its nut; None where it is not on record."""

    mark: str
    target_torque_nm: float
    loosening_factor: float
    loosening_reason: str
    across_flats_mm: float | None
    tolerance_percent: float | None = None
    """How far the torque may be off the target."""
    measured: Spread | None = None
    """The breakouts measured at this joint in any job before."""


@dataclass(frozen=True, slots=True)
class KitVerdict:
    """What a kit does at a joint; a reading is None where something it needs is missing or refused."""

    mark: str
    chart_source: str | None
    """Where the chart that was read comes from."""
    covered: CoverState
    """For the larger of tightening and loosening; what cannot be worked out is not covered."""
    need: Need
    available: Reading | None
    """The highest pressure the kit may use and the torque it gives there."""
    tightening: Cover | None
    loosening: Cover | None
    set_pressure: Reading | None
    """The pressure that gives the target torque."""
    gauge_setting: Reading | None
    """The nearest pressure the gauge can show, and the torque that gives."""
    circuit: Circuit
    findings: tuple[Finding, ...]
    """The gravest first."""

    @property
    def available_nm(self) -> float | None:
        """The most the kit can give."""
        return self.available.torque_nm if self.available else None

    @property
    def margin_percent(self) -> float | None:
        """What the larger need leaves, as a share of what the kit can give."""
        covers = [found.margin_percent for found in (self.tightening, self.loosening) if found]
        return min(covers) if covers else None

    @property
    def stopped(self) -> bool:
        """Whether a hard or soft finding stands against the kit."""
        return any(finding.severity is not Severity.NOTE for finding in self.findings)


def judge_kit(kit: KitFacts, joint: JointFacts) -> KitVerdict:
    """Judge one kit at one joint; raises ``Unreadable`` when the joint's own figures make no sense."""
    plan = joint.target_torque_nm, joint.loosening_factor, joint.loosening_reason
    need, heard = demand(joint.mark, *plan, joint.measured, kit.units)
    found: list[Finding] = [heard] if heard else []
    set_pressure = _set_pressure(kit, joint, found)
    circuit = check_circuit(kit.parts, set_pressure.pressure_mpa if set_pressure else None, kit.units)
    advance = circuit.ratings.get(Line.ADVANCE)
    available = _available(kit, advance, found)
    found.extend(_above_limits(kit, set_pressure, advance))
    found.extend(_gauge_error(kit, joint, set_pressure))
    setting = _gauge_setting(kit, joint, set_pressure, available, found)
    nut = NutFacts(joint.mark, joint.across_flats_mm)
    found.extend(fit_nut(kit.label(Kind.WRENCH), kit.drive_mm, kit.link_mm, kit.socket, nut))
    covers = [cover(available.torque_nm, asked) for asked in _asked(need)] if available else []
    worst = cover(available.torque_nm, need.needed_nm) if available else None
    found.extend(_cover_findings(kit, worst, available, need, sound=circuit.sound))
    order = list(Severity)
    return KitVerdict(
        mark=joint.mark,
        chart_source=kit.chart.source if kit.chart else None,
        covered=worst.state if worst else CoverState.NOT_COVERED,
        need=need,
        available=available,
        tightening=covers[0] if covers else None,
        loosening=covers[1] if covers else None,
        set_pressure=set_pressure,
        gauge_setting=setting,
        circuit=circuit,
        findings=tuple(sorted((*found, *circuit.findings), key=lambda one: order.index(one.severity))),
    )


def _asked(need: Need) -> tuple[float, float]:
    return need.tightening_nm, need.loosening_nm


def _set_pressure(kit: KitFacts, joint: JointFacts, found: list[Finding]) -> Reading | None:
    wrench = kit.label(Kind.WRENCH)
    if kit.chart is None:
        sentence = f"There is no pressure-torque chart for {wrench}, so no set pressure can be taken."
        found.append(Finding(_HARD, "no-chart", sentence, wrench))
        return None
    if kit.chart.approximate:
        sentence = f"The chart of {wrench} is one rated point; every reading from it is approximate."
        found.append(Finding(_NOTE, "chart-approximate", sentence, wrench))
    try:
        return pressure_for(kit.chart, joint.target_torque_nm, kit.units)
    except OffTheChart as refusal:
        found.append(Finding(_HARD, "target-off-chart", f"The target torque: {refusal}", joint.mark))
        return None


def _available(kit: KitFacts, advance: LineRating | None, found: list[Finding]) -> Reading | None:
    highest = advance.highest_mpa if advance else None
    if kit.chart is None or highest is None:
        return None
    wrench, top = kit.label(Kind.WRENCH), kit.chart.top
    if exceeds(highest, top.pressure_mpa):
        sentence = (
            f"The advance line may carry {kit.units.rating(highest)}, but the chart of {wrench} ends at "
            f"{kit.units.rating(top.pressure_mpa)}: what lies above is not counted."
        )
        found.append(Finding(_NOTE, "clipped-to-chart", sentence, wrench))
    try:
        return torque_at(kit.chart, min(highest, top.pressure_mpa), kit.units)
    except OffTheChart as refusal:
        sentence = f"The highest pressure of the kit: {refusal}"
        found.append(Finding(_HARD, "limit-below-chart", sentence, wrench))
        return None


def _above_limits(kit: KitFacts, asked: Reading | None, advance: LineRating | None) -> Iterator[Finding]:
    if asked is None or advance is None:
        return
    pump, pressure_mpa, say = kit.label(Kind.PUMP), asked.pressure_mpa, kit.units
    if advance.working_mpa is not None and exceeds(pressure_mpa, advance.working_mpa):
        sentence = (
            f"The set pressure is {say.setting(pressure_mpa)}, and {advance.limited_by} limits the advance "
            f"line to {say.rating(advance.working_mpa)}."
        )
        yield Finding(_HARD, "set-above-rating", sentence, advance.limited_by)
    if advance.relief_mpa is not None and exceeds(pressure_mpa, advance.relief_mpa):
        sentence = (
            f"The set pressure is {say.setting(pressure_mpa)}, and the relief valve of {pump} opens at "
            f"{say.setting(advance.relief_mpa)}."
        )
        yield Finding(_HARD, "set-above-relief", sentence, pump)


def _gauge_setting(
    kit: KitFacts,
    joint: JointFacts,
    asked: Reading | None,
    available: Reading | None,
    found: list[Finding],
) -> Reading | None:
    gauge, step = kit.label(Kind.GAUGE), kit.graduation_mpa
    if not known(step):
        sentence = f"What {gauge} can show is not on record, so the set pressure is not rounded to it."
        found.append(Finding(_SOFT, "graduation-unknown", sentence, gauge))
        return None
    if kit.chart is None or asked is None or available is None:
        return None
    if exceeds(asked.pressure_mpa, available.pressure_mpa):
        return None  # Refused already: no setting is offered for a pressure that may not be used.
    try:
        shown = set_by_gauge(kit.chart, asked.pressure_mpa, step, available.pressure_mpa)
    except OffTheChart:
        sentence = (
            f"{gauge} is graduated in {kit.units.reading(step)} and shows no pressure on the chart near "
            f"the target."
        )
        found.append(Finding(_SOFT, "gauge-too-coarse", sentence, gauge))
        return None
    off_percent = 100 * (shown.torque_nm / joint.target_torque_nm - 1)
    if joint.tolerance_percent is not None and exceeds(abs(off_percent), joint.tolerance_percent):
        sentence = (
            f"{gauge} shows {kit.units.reading(shown.pressure_mpa)}, which gives "
            f"{kit.units.target(shown.torque_nm)}: {off_percent:+.1f} %, and the joint allows "
            f"{joint.tolerance_percent:g} %."
        )
        found.append(Finding(_SOFT, "gauge-too-coarse", sentence, gauge))
    return shown


def _gauge_error(kit: KitFacts, joint: JointFacts, asked: Reading | None) -> Iterator[Finding]:
    """Note a gauge whose class alone lets the torque leave the joint's tolerance."""
    gauge = next((part for part in kit.parts if part.kind is Kind.GAUGE), None)
    if kit.gauge_accuracy is None or asked is None or joint.tolerance_percent is None or gauge is None:
        return
    if not known(gauge.gauge_range_mpa) or exceeds(asked.pressure_mpa, gauge.gauge_range_mpa):
        return  # The circuit has stopped it already.
    off = gauge_error(kit.gauge_accuracy, gauge.gauge_range_mpa, asked.pressure_mpa)
    if exceeds(off.percent_of_reading, joint.tolerance_percent):
        sentence = (
            f"{gauge.label}, {kit.gauge_accuracy.name}, may be off by {percent(off.percent_of_reading)} at "
            f"the set pressure, and the joint allows {joint.tolerance_percent:g} %."
        )
        yield Finding(_NOTE, "gauge-error", sentence, gauge.label)


def _cover_findings(
    kit: KitFacts, worst: Cover | None, available: Reading | None, need: Need, *, sound: bool
) -> Iterator[Finding]:
    if worst is None or available is None or worst.state is CoverState.COVERED:
        return
    say = kit.units
    if sound:
        told = say_cover(worst, available.torque_nm, need.needed_nm, kit.units)
    else:
        # A larger wrench would not mend a coupling that does not fit or a part rated too low.
        told = (
            f"as it is put together the kit could give {say.given(available.torque_nm)}, and the joint needs "
            f"{say.needed(need.needed_nm)}. Put its parts right first."
        )
    sentence = f"{need.governs.capitalize()}: {told}"
    severity, code = (_NOTE, "tight") if worst.state is CoverState.TIGHT else (_HARD, "not-covered")
    yield Finding(severity, code, sentence, kit.label(Kind.WRENCH))


@dataclass(frozen=True, slots=True)
class WrenchOffer:
    """A wrench that could do it, with the most its kit can give; None when that is not known."""

    tag: str
    available_nm: float | None


def smallest_cover(candidates: Iterable[WrenchOffer], need: Need) -> WrenchOffer | None:
    """Pick the wrench with the least torque that covers the need, tight ones only when no other does."""
    fit = [
        (
            cover(offer.available_nm, need.needed_nm).state is CoverState.TIGHT,
            offer.available_nm,
            offer.tag,
            offer,
        )
        for offer in candidates
        if known(offer.available_nm) and not exceeds(need.needed_nm, offer.available_nm)
    ]
    return min(fit, key=lambda row: row[:3])[-1] if fit else None


def what_to_hire(
    need: Need,
    at_mpa: float,
    *,
    drive_mm: float | None = None,
    link_mm: float | None = None,
    units: Units = SI,
) -> str:
    """Say what to ask a hirer for, rounded up, and large enough that the need is not tight."""
    kind = "hydraulic torque wrench"
    if link_mm is not None:
        kind = f"ratchet link wrench for {in_both(link_mm)} across flats"
    elif drive_mm is not None:
        kind = f"{inches(drive_mm)} square drive wrench"
    return (
        f"one {kind} giving at least {units.at_least(need.needed_nm / TIGHT_FROM)} at "
        f"{units.rating(at_mpa)}; {units.needed(need.needed_nm)} is needed for {need.governs}"
    )
