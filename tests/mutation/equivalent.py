"""Changes that change nothing anybody could see, each with its reason: (file, changed line) to reason."""

EQUIVALENT: dict[tuple[str, str], str] = {
    (
        "fleet/bolting/chains.py",
        "best, fewest = (*pumps, *between, *wrenches), len(parts) * len(Line) - 1",
    ): "no order has so many misfits: a bound, not a count",
    (
        "fleet/bolting/chains.py",
        "best, fewest = (*pumps, *between, *wrenches), len(parts) * len(Line) + 2",
    ): "no order has so many misfits: a bound, not a count",
    (
        "fleet/bolting/chains.py",
        "if fewest == 1:",
    ): "where one order has a single misfit none has none: ends left over come in pairs",
    (
        "fleet/bolting/chains.py",
        "count = 1",
    ): "every order counts one more, so the same one wins; only the early end is lost",
    (
        "fleet/bolting/chains.py",
        'why, reason = "XXno portXX", f"{where}: no free port on record there for {bare}."',
    ): "only whether it is empty counts",
    (
        "fleet/bolting/chains.py",
        'why, reason = "NO PORT", f"{where}: no free port on record there for {bare}."',
    ): "only whether it is empty counts",
    (
        "fleet/bolting/distributions.py",
        "if degrees_of_freedom >= _AS_GOOD_AS_INFINITE:",
    ): "at this very number both formulas agree to the last figure that is asked for",
    (
        "fleet/bolting/distributions.py",
        "return _bisect(lambda t: 2 * normal_below(t) - 1, confidence, 0.0, 41.0)",
    ): "either bound lies far above any factor",
    (
        "fleet/bolting/gauges.py",
        "(0.75, 2.0, accuracy.upper_percent),",
    ): "the share was cut to one before",
    (
        "fleet/bolting/threads.py",
        "size = Fraction(thread.diameter_mm / MM_PER_INCH).limit_denominator(65)",
    ): "no inch thread has a size in other than 64ths",
    (
        "fleet/rules/intervals.py",
        "line = fit_line(times, [one.share for one in results], origin=times[-1] if times else 1.0)",
    ): "without results there is no line, whatever its origin",
    (
        "fleet/rules/kits.py",
        "if worst is None and available is None or worst.state is CoverState.COVERED:",
    ): "the one is missing exactly when the other is",
    **{
        (
            "fleet/rules/kits.py",
            f"return min(fit, {key})[-1] if fit else None",
        ): "an offer is its tag and torque"
        for key in ("key=None", "", "key=lambda row: row[:4]")
    },
    (
        "fleet/rules/plates.py",
        "ratio = float(found[1]) if found else 1.0",
    ): "a ratio of one is refused like one of nothing",
    (
        "fleet/bolting/charts.py",
        "wanted = up(asked) if asked >= high else down(asked)",
    ): "what equals the end of the chart is not refused",
    (
        "fleet/bolting/circuits.py",
        "if abs(working - PSI_10_000_MPA) <= 0.01:  # noqa: PLR2004  Plates and sheets round it.",
    ): "no mark on a plate lies at just that distance",
}
