"""Threads and nuts: diameter, pitch, areas, width across flats.

Areas: ASME B1.1 for inch threads, ISO 898-1 for metric ones. Inch nuts: ASME B18.2.2. Metric nuts: ISO 4032,
DIN 934, ASME B18.2.4.6M. A writing that leaves the pitch open is refused: the areas of 1 1/2-6 and 1 1/2-8
differ by 6 %.
"""

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from types import MappingProxyType

from fleet.bolting.figures import MM_PER_INCH
from fleet.measures.numerals import spelt_out
from fleet.refusals import OffTheChart, Unreadable


class Series(StrEnum):
    """The thread series, which fixes the form of the thread and so the areas."""

    UNC = "UNC"
    UNF = "UNF"
    UN = "UN"
    COARSE = "metric coarse"
    FINE = "metric fine"

    @property
    def metric(self) -> bool:
        """Whether this is an ISO metric thread."""
        return self in {Series.COARSE, Series.FINE}


class NutSeries(StrEnum):
    """Which standard the nut (or bolt head) follows; it decides the socket."""

    HEAVY = "heavy"
    REGULAR = "regular"
    ISO = "iso"
    DIN = "din"
    ASME_METRIC = "asme-metric"


@dataclass(frozen=True, slots=True)
class Thread:
    """One external thread."""

    designation: str
    series: Series
    diameter_mm: float
    pitch_mm: float


def _inch_table(rows: str) -> Mapping[Fraction, Fraction]:
    pairs = (row.split(":") for row in rows.split())
    return MappingProxyType({Fraction(size): Fraction(threads) for size, threads in pairs})


def _metric_table(rows: str) -> Mapping[float, float]:
    pairs = (row.split(":") for row in rows.split())
    return MappingProxyType({float(size): float(value) for size, value in pairs})


# Threads per inch by diameter, ASME B1.1.
_UNC = _inch_table(
    "1/4:20 5/16:18 3/8:16 7/16:14 1/2:13 9/16:12 5/8:11 3/4:10 7/8:9 1:8 9/8:7 5/4:7 11/8:6 3/2:6 7/4:5 "
    "2:4.5 9/4:4.5 5/2:4 11/4:4 3:4 13/4:4 7/2:4 15/4:4 4:4"
)
_UNF = _inch_table(
    "1/4:28 5/16:24 3/8:24 7/16:20 1/2:20 9/16:18 5/8:18 3/4:16 7/8:14 1:12 9/8:12 5/4:12 11/8:12 3/2:12"
)
_CONSTANT_PITCH = frozenset({4, 6, 8, 12, 16, 20, 28, 32})
_INCH_SIZES = (Fraction(1, 4), Fraction(6))

# Coarse pitch in mm by diameter, ISO 261.
_METRIC_COARSE = _metric_table(
    "5:0.8 6:1 8:1.25 10:1.5 12:1.75 14:2 16:2 18:2.5 20:2.5 22:2.5 24:3 27:3 30:3.5 33:3.5 36:4 39:4 "
    "42:4.5 45:4.5 48:5 52:5 56:5.5 60:5.5 64:6 68:6"
)
_METRIC_SIZES = (5, 200)
_METRIC_PITCHES = frozenset({0.5, 0.75, 0.8, 1, 1.25, 1.5, 1.75, 2, 2.5, 3, 3.5, 4, 4.5, 5, 5.5, 6, 8})

_BARE = re.compile(r"(?:\d[ -])?(?:\d{1,2}/[1-9]\d?|\d(?:\.\d+)?) ?(?:\"|in)?")
_SIGNED = re.compile("[0-9]? ?[½¼¾⅛⅜⅝⅞](?![0-9])")
_INCH = re.compile(
    r"""(?:(?P<whole>\d)[\ -])?(?P<size>\d{1,2}/[1-9]\d?|\d(?:\.\d+)?)\ ?(?:"|in)?
        \ ?-\ ?(?P<threads>\d{1,2}(?:\.5)?)
        \ ?-?\ ?(?P<series>UNC|UNF|UN)?(?:\ ?-?\ ?[123][AB])?""",
    re.VERBOSE | re.IGNORECASE,
)
_METRIC = re.compile(
    r"M\ ?(?P<size>\d{1,3})(?:\ ?[x×*]\ ?(?P<pitch>\d(?:[.,]\d{1,2})?))?(?:\ ?-\ ?\d[a-h](?:\d[a-h])?)?",
    re.VERBOSE | re.IGNORECASE,
)


def read_thread(text: str) -> Thread:
    """Read ``1 1/2-8 UN``, ``1½-8``, ``1-8 UNC``, ``1 1/2-6``, ``M36`` or ``M36x3``.

    A tolerance class such as ``-2A`` or ``-6g`` is let pass. Raises ``Unreadable`` when the
    pitch is missing, contradicts the series, or is no standard pitch.
    """
    tidy = " ".join(text.split())
    if signed := _SIGNED.match(tidy):
        tidy = (spelt_out(signed[0]) or signed[0]) + tidy[signed.end() :]
    if metric := _METRIC.fullmatch(tidy):
        return _metric(tidy, float(metric["size"]), metric["pitch"])
    if inch := _INCH.fullmatch(tidy):
        size = Fraction(inch["size"]) + int(inch["whole"] or 0)
        proper = not inch["whole"] or "/" in inch["size"]
        if proper:
            return _inch(tidy, size, Fraction(inch["threads"]), (inch["series"] or "").upper())
    if _BARE.fullmatch(tidy):
        raise Unreadable(
            f"{text!r} says nothing of the threads per inch, and the areas differ: write them too, as in "
            "1 1/2-8 UN or 1 1/2-6 UNC."
        )
    raise Unreadable(
        f"{text!r} is not a thread this program can read: write 1 1/2-8 UN, 1-8 UNC, M36 or M36x3, "
        "with the threads per inch."
    )


def _inch(text: str, size: Fraction, threads: Fraction, written: str) -> Thread:
    if not _INCH_SIZES[0] <= size <= _INCH_SIZES[1]:
        raise Unreadable(f"{text!r}: inch threads are known from 1/4 in to 6 in.")
    if threads == _UNC.get(size):
        series = Series.UNC
    elif threads == _UNF.get(size):
        series = Series.UNF
    elif threads in _CONSTANT_PITCH:
        series = Series.UN
    else:
        raise Unreadable(f"{text!r}: {float(threads):g} threads per inch is no standard pitch for this size.")
    # UN may be said of any pitch of the constant series; UNC and UNF name one pitch each.
    if written not in {"", "UN", series}:
        table = _UNC if written == Series.UNC else _UNF
        proper = f"has {float(table[size]):g} threads per inch" if size in table else "does not exist"
        raise Unreadable(
            f"{text!r} contradicts itself: {written} at {_fraction(size)} in {proper}; "
            f"write {_fraction(size)}-{float(threads):g} {series} if that is what is meant."
        )
    designation = f"{_fraction(size)}-{float(threads):g} {series}"
    return Thread(designation, series, float(size) * MM_PER_INCH, MM_PER_INCH / float(threads))


def _metric(text: str, size: float, pitch: str | None) -> Thread:
    if not _METRIC_SIZES[0] <= size <= _METRIC_SIZES[1]:
        raise Unreadable(f"{text!r}: metric threads are known from M5 to M200.")
    coarse = _METRIC_COARSE.get(size)
    if pitch is None:
        if coarse is None:
            raise Unreadable(f"{text!r} has no coarse pitch in ISO 261: write the pitch, as in M{size:g}x6.")
        return Thread(f"M{size:g}", Series.COARSE, size, coarse)
    value = float(pitch.replace(",", "."))
    if value not in _METRIC_PITCHES or value > (coarse or size / 10):
        raise Unreadable(f"{text!r}: {value:g} mm is no standard pitch for M{size:g}.")
    if value == coarse:
        return Thread(f"M{size:g}", Series.COARSE, size, value)
    return Thread(f"M{size:g}x{value:g}", Series.FINE, size, value)


def _fraction(size: Fraction) -> str:
    whole, rest = divmod(size, 1)
    return " ".join(str(part) for part in (whole, rest) if part)


def tensile_stress_area_mm2(thread: Thread) -> float:
    """Give the tensile stress area: ISO 898-1 (metric), ASME B1.1 (inch)."""
    loss = 0.938194 if thread.series.metric else 0.9743
    return math.pi / 4 * (thread.diameter_mm - loss * thread.pitch_mm) ** 2


def root_area_mm2(thread: Thread) -> float:
    """Give the area at the root: on d − 1.226869·P (metric, ISO 68-1) or d − 1.3·P (inch, ASME B1.1)."""
    loss = 1.226869 if thread.series.metric else 1.3
    return math.pi / 4 * (thread.diameter_mm - loss * thread.pitch_mm) ** 2


def pitch_diameter_mm(thread: Thread) -> float:
    """Give the basic pitch diameter d − 0.649519·P (ISO 724, and ASME B1.1 for the same 60° form)."""
    return thread.diameter_mm - 0.649519 * thread.pitch_mm


# Width across flats in mm by thread diameter in mm.
_FROM_M24 = "24:36 27:41 30:46 33:50 36:55 39:60 42:65 45:70 48:75 52:80 56:85 60:90 64:95"
_ACROSS_FLATS: Mapping[NutSeries, Mapping[float, float]] = MappingProxyType(
    {
        # ISO 4032 and ISO 4033.
        NutSeries.ISO: _metric_table("10:16 12:18 14:21 16:24 18:27 20:30 22:34 " + _FROM_M24),
        # DIN 934, withdrawn but in every store.
        NutSeries.DIN: _metric_table(
            "10:17 12:19 14:22 16:24 18:27 20:30 22:32 "
            + _FROM_M24
            + " 68:100 72:105 76:110 80:115 85:120 90:130 100:145"
        ),
        # ASME B18.2.4.6M heavy hex; above M36 from memory.
        NutSeries.ASME_METRIC: _metric_table(
            "12:21 14:24 16:27 20:34 22:36 24:41 27:46 30:50 36:60 42:70 48:80 56:90 64:100 72:110 80:120 "
            "90:135 100:150"
        ),
    }
)
_INCH_NUTS = (Fraction(1, 2), Fraction(4))


def usual_nut(thread: Thread) -> NutSeries:
    """Give the nut that mostly goes with a thread: heavy on inch, ISO on metric (common practice)."""
    return NutSeries.ISO if thread.series.metric else NutSeries.HEAVY


def across_flats_mm(thread: Thread, nut_series: NutSeries) -> float:
    """Give the nominal width across flats of the nut; raises ``OffTheChart`` where no standard lists one."""
    if thread.series.metric != (nut_series not in {NutSeries.HEAVY, NutSeries.REGULAR}):
        kind = "a metric" if thread.series.metric else "an inch"
        raise OffTheChart(f"{thread.designation} is {kind} thread, so it has no {nut_series} nut.")
    if thread.series.metric:
        width_mm = _ACROSS_FLATS[nut_series].get(thread.diameter_mm)
        if width_mm is None:
            raise OffTheChart(
                f"No {nut_series} nut is tabulated for {thread.designation}: measure it and write its size."
            )
        return width_mm
    size = Fraction(thread.diameter_mm / MM_PER_INCH).limit_denominator(64)
    if not _INCH_NUTS[0] <= size <= _INCH_NUTS[1]:
        raise OffTheChart(
            f"Inch nuts are tabulated from 1/2 in to 4 in, not for {thread.designation}: measure the nut."
        )
    width = size * Fraction(3, 2) + (Fraction(1, 8) if nut_series is NutSeries.HEAVY else 0)
    # The one size where ASME B18.2.2 leaves its own rule, for both nuts.
    if size == Fraction(9, 16):
        width = Fraction(15, 16) if nut_series is NutSeries.HEAVY else Fraction(7, 8)
    return float(width) * MM_PER_INCH
