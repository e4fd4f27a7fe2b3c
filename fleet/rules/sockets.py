"""Does the wrench meet the nut: by a socket on its square drive, or by the hexagon of its ratchet link."""

from collections.abc import Iterator
from dataclasses import dataclass

from fleet.bolting.figures import inches, known
from fleet.rules.findings import Finding, Severity

FIT_TOLERANCE_MM = 0.3
"""How far two sizes on record may differ and still be the same hexagon or square (the program's own).

Neighbouring sockets differ by a millimetre or a sixteenth of an inch.
"""


@dataclass(frozen=True, slots=True)
class SocketFacts:
    """The socket of the kit; None where a size is not on record."""

    label: str
    drive_mm: float | None
    across_flats_mm: float | None


@dataclass(frozen=True, slots=True)
class NutFacts:
    """The nut of one joint."""

    mark: str
    across_flats_mm: float | None


def fit_nut(
    wrench: str,
    drive_mm: float | None,
    link_mm: tuple[float, float] | None,
    socket: SocketFacts | None,
    nut: NutFacts,
) -> Iterator[Finding]:
    """Find what keeps a wrench off a nut; ``link_mm`` is the least and the greatest its link takes."""
    if not known(nut.across_flats_mm):
        sentence = f"The width across flats of joint {nut.mark} is not on record: measure a nut."
        yield Finding(Severity.SOFT, "across-flats-unknown", sentence, nut.mark)
    if link_mm is not None:
        yield from _link(wrench, link_mm, nut)
    elif not known(drive_mm):
        sentence = f"Neither a square drive nor a link is on record for {wrench}."
        yield Finding(Severity.HARD, "drive-unknown", sentence, wrench)
    elif socket is None:
        sentence = f"{wrench} has a square drive and the kit has no socket."
        yield Finding(Severity.HARD, "no-socket", sentence, wrench)
    else:
        yield from _socket_part(socket, "drive", socket.drive_mm, drive_mm)
        yield from _socket_part(socket, "across flats", socket.across_flats_mm, nut.across_flats_mm)


def _link(wrench: str, link_mm: tuple[float, float], nut: NutFacts) -> Iterator[Finding]:
    least, most = link_mm
    asked = nut.across_flats_mm
    if known(asked) and not least - FIT_TOLERANCE_MM <= asked <= most + FIT_TOLERANCE_MM:
        span = in_both(least) if least == most else f"{in_both(least)} to {in_both(most)}"
        sentence = (
            f"{wrench} takes {span} across flats, and the nut of joint {nut.mark} has {in_both(asked)}."
        )
        yield Finding(Severity.HARD, "link-does-not-fit", sentence, wrench)


def _socket_part(
    socket: SocketFacts, word: str, ours_mm: float | None, theirs_mm: float | None
) -> Iterator[Finding]:
    if not known(ours_mm):
        sentence = f"The {word} of socket {socket.label} is not on record."
        yield Finding(Severity.HARD, "socket-unknown", sentence, socket.label)
    elif known(theirs_mm) and abs(ours_mm - theirs_mm) > FIT_TOLERANCE_MM:
        sentence = f"Socket {socket.label}: {word} {in_both(ours_mm)}, but {in_both(theirs_mm)} is needed."
        yield Finding(Severity.HARD, "socket-does-not-fit", sentence, socket.label)


def in_both(length_mm: float) -> str:
    """Write a width as sockets are marked, in both systems: ``60.33 mm (2 3/8 in)``."""
    return f"{length_mm:.4g} mm ({inches(length_mm)})"
