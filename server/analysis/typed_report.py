"""What is said of hand-typed coast-downs: that no log exists, what was taken of stopwatch and speedometer; and
their times through windows of speed for the interval method."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from server.analysis.pass_data import SPEEDOMETER, PassData
from server.analysis.speed_windows import KMH, WindowTimes
from server.testday.values import Day, Finding, Quantity, TypedTimes


def typed_times_of(day: Day) -> list[tuple[int, TypedTimes]]:
    """(run, typed times) of every recording that was typed, in the day's order."""
    return [(run.number, rec.typed) for run in day.runs for rec in run.recordings if rec.typed is not None]


def typed_findings(day: Day) -> list[Finding]:
    """No log, its u, the speedometer taken; one of each for the day."""
    typed = typed_times_of(day)
    return [*_taken(typed), *_speedometer(typed)] if typed else []


def typed_windows(passes: Sequence[PassData], gain: float, offset_mps: float) -> tuple[WindowTimes, ...]:
    """Times between neighbouring marks, as windows of true speed, by rising speed.

    passes: typed coast-downs of one setup, in the order driven; windows that a pass lacks are left out for it.
    """
    times: dict[tuple[float, float], tuple[list[float], list[float]]] = {}
    for data in passes:
        series = data.series[SPEEDOMETER]
        when, speed = data.time_s[series.node] + series.lead_s, series.value
        for k in range(len(speed) - 1):
            out, back = times.setdefault((round(float(speed[k]), 6), round(float(speed[k + 1]), 6)), ([], []))
            if data.of.direction:
                (out if data.of.direction > 0 else back).append(float(when[k + 1] - when[k]))
    windows = []
    for (high, low), (out, back) in sorted(times.items()):
        if out or back:
            top, bottom = (high - offset_mps) / gain, (low - offset_mps) / gain
            windows.append(WindowTimes(0.5 * (top + bottom), 0.5 * (top - bottom), tuple(out), tuple(back)))
    return tuple(windows)


def _taken(typed: Sequence[tuple[int, TypedTimes]]) -> Iterator[Finding]:
    count = sum(len(times.coast_downs) for _, times in typed)
    marks = sum(len(one.time_s) for _, times in typed for one in times.coast_downs)
    runs = ", ".join(str(number) for number in dict.fromkeys(number for number, _ in typed))
    seconds = max(times.seconds_u_s for _, times in typed)
    reading = max(times.speed_u_mps for _, times in typed)
    text = (
        f"No log exists of run {runs}: {count} coast-downs with {marks} marks were typed by hand. Each mark is taken "
        f"as ± {seconds:.2f} s and ± {reading / KMH:.1f} km/h (one u). Whether the car coasted free, straight and "
        "without brake is on the word of who typed it."
    )
    yield Finding("typed-times", "check", text)


def _speedometer(typed: Sequence[tuple[int, TypedTimes]]) -> Iterator[Finding]:
    first = typed[0][1]
    if any((t.gain, t.offset_mps) != (first.gain, first.offset_mps) for _, t in typed):
        text = (
            "The files of typed times state different speedometers; a day has one, and that of the first file is used."
        )
        yield Finding("given-twice", "check", text)
    gain, offset = first.gain, first.offset_mps
    if gain.source == "default":
        text = (
            f"Nothing tells how true the speedometer is; it is taken to read {100 * (gain.value - 1):.0f} ± "
            f"{100 * gain.u:.0f} % and {_kmh(offset)} km/h high (one u), as UN Regulation 39 lets it: never low, at "
            "most 10 % and 4 km/h high. Each 1 % moves SCx by about 1 %; a dash that is set by the team may read true. "
            "Time a known distance at a held speed, or read a satellite receiver beside it, and give speedometer_gain "
            "and speedometer_rel_u."
        )
        yield Finding("default-used", "check", text)


def _kmh(quantity: Quantity) -> str:
    return f"{quantity.value / KMH:.1f} ± {quantity.u / KMH:.1f}"
