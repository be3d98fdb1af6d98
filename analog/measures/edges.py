"""When a trace crosses a level, how long an edge takes, how steep it is."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

# A crossing is located when the cubic is this close to the level, as a share of the step's rise.
_HEIGHT_SHARE = 1e-12
_MOST_TRIES = 60
_NEWTON_STEPS = 8


def crossings(
    time: Floats,
    trace: Floats,
    level: float,
    rising: bool | None = None,
    smooth: bool = False,
) -> Floats:
    """Return the times (s), ascending, at which `trace` crosses `level`.

    `rising` True keeps the upward crossings, False the downward ones, None both. A trace that
    touches the level counts as being above it, so that a flat stretch on the level is crossed
    once and not many times. Between samples the trace is a straight line; with `smooth`, for
    traces without jumps, a cubic through the two samples before and the two behind.
    """
    segments = _crossing_segments(trace, level, rising)
    if smooth:
        return np.array([_moment(time, trace, level, int(k), True) for k in segments])
    before, after = trace[segments], trace[segments + 1]
    share = (level - before) / (after - before)
    start, stop = time[segments], time[segments + 1]
    return np.asarray(start + share * (stop - start), dtype=np.float64)


def first_crossing(
    time: Floats,
    trace: Floats,
    level: float,
    rising: bool | None = True,
    after: float = -math.inf,
    smooth: bool = False,
) -> float:
    """Return the first crossing time (s) not before `after`; NaN when there is none."""
    segments = _crossing_segments(trace, level, rising).tolist()
    return _first_from(time, trace, level, segments, after, smooth)


def edge_time(
    time: Floats,
    trace: Floats,
    low: float,
    high: float,
    rising: bool = True,
    after: float = -math.inf,
    smooth: bool = False,
) -> float:
    """Return how long (s) the first complete edge between `low` and `high` takes; NaN for none.

    The edge is that of `edge_span`.
    """
    start, end = edge_span(time, trace, low, high, rising, after, smooth)
    return end - start


def edge_span(
    time: Floats,
    trace: Floats,
    low: float,
    high: float,
    rising: bool = True,
    after: float = -math.inf,
    smooth: bool = False,
) -> tuple[float, float]:
    """Return start and end (s) of the first complete edge between `low` and `high`, or NaNs.

    A rising edge runs from the last upward crossing of `low` to the next upward crossing of
    `high` (a falling one the other way round), so that a trace which turns back half-way and
    tries again is timed on the attempt that succeeds. `after` (s) bounds the start of the edge;
    `smooth` is that of `crossings`.
    """
    crossed = Crossed(time, trace, (low, high))
    return crossed.span(low, high, rising, after, smooth)


def slope_at(
    time: Floats,
    trace: Floats,
    level: float,
    rising: bool | None = True,
    after: float = -math.inf,
) -> float:
    """Return d(trace)/dt (per second, signed) at the first crossing not before `after`, or NaN.

    The derivative is that of the parabolas through three neighbouring samples, interpolated to
    the crossing: exact for a parabola, where the slope of the one segment would be half a step
    off.
    """
    segments = _crossing_segments(trace, level, rising).tolist()
    return _slope_from(time, trace, level, segments, after)


class Crossed:
    """Where a trace crosses several levels, found in one pass; its methods are the functions here.

    `levels` are all those that will be asked for; KeyError for any other.
    """

    def __init__(self, time: Floats, trace: Floats, levels: Iterable[float]) -> None:
        self.time, self.trace = time, trace
        wanted = tuple(dict.fromkeys(levels))
        above = trace >= np.array(wanted)[:, None]
        which, where = (above[:, 1:] != above[:, :-1]).nonzero()
        rising = above[which, where + 1]
        self._segments: dict[tuple[float, bool], list[int]] = {
            (level, side): [] for level in wanted for side in (True, False)
        }
        for place, segment, side in zip(
            which.tolist(), where.tolist(), rising.tolist(), strict=True
        ):
            self._segments[wanted[place], side].append(segment)

    def segments(self, level: float, rising: bool) -> list[int]:
        """Return which segments between samples cross a level, in order."""
        return self._segments[level, rising]

    def moment(self, level: float, segment: int, smooth: bool = False) -> float:
        """Return when a segment crosses a level (s)."""
        return _moment(self.time, self.trace, level, segment, smooth)

    def moments(self, level: float, rising: bool, smooth: bool = False) -> list[float]:
        """Return what `crossings` does."""
        return [self.moment(level, segment, smooth) for segment in self._segments[level, rising]]

    def first(self, level: float, rising: bool, after: float, smooth: bool = False) -> float:
        """Return what `first_crossing` does."""
        segments = self._segments[level, rising]
        return _first_from(self.time, self.trace, level, segments, after, smooth)

    def slope(self, level: float, rising: bool, after: float) -> float:
        """Return what `slope_at` does."""
        segments = self._segments[level, rising]
        return _slope_from(self.time, self.trace, level, segments, after)

    def span(
        self, low: float, high: float, rising: bool, after: float, smooth: bool = False
    ) -> tuple[float, float]:
        """Return what `edge_span` does."""
        first, last = (low, high) if rising else (high, low)
        start, end = self.first(first, rising, after, smooth), math.nan
        if not math.isnan(start):
            end = self.first(last, rising, start, smooth)
        if math.isnan(end):
            return math.nan, math.nan
        segments = self._segments[first, rising]
        if len(segments) == 1:
            return start, end
        for segment in reversed(segments):
            if self.time[segment + 1] <= start:
                break
            if self.time[segment] <= end and self.time[segment] > start:
                moment = _moment(self.time, self.trace, first, segment, smooth)
                if moment <= end:
                    return moment, end
        return start, end


def _crossing_segments(trace: Floats, level: float, rising: bool | None) -> NDArray[np.intp]:
    above = np.asarray(trace) >= level
    segments = (above[1:] != above[:-1]).nonzero()[0]
    if rising is not None:
        segments = segments[above[segments + 1] == rising]
    return np.asarray(segments, dtype=np.intp)


def _first_from(
    time: Floats,
    trace: Floats,
    level: float,
    segments: Sequence[int],
    after: float,
    smooth: bool,
) -> float:
    """Return the first crossing in `segments` not before `after`, NaN when there is none.

    Only those that can be it are located: most of a reading's time goes into that.
    """
    for segment in segments:
        if time.item(segment + 1) >= after:
            moment = _moment(time, trace, level, segment, smooth)
            if moment >= after:
                return moment
    return math.nan


def _slope_from(
    time: Floats, trace: Floats, level: float, segments: Sequence[int], after: float
) -> float:
    """Return the slope at the first crossing in `segments` not before `after`, or NaN."""
    for segment in segments:
        moment = _moment(time, trace, level, segment, False)
        if moment >= after:
            left, right = _derivative(time, trace, segment), _derivative(time, trace, segment + 1)
            start, stop = time.item(segment), time.item(segment + 1)
            return left + (moment - start) / (stop - start) * (right - left)
    return math.nan


def _moment(time: Floats, trace: Floats, level: float, segment: int, smooth: bool) -> float:
    """Return when the trace meets `level` in a segment that crosses it."""
    start, stop = time.item(segment), time.item(segment + 1)
    if smooth:
        share = _cubic_share(time, trace, level, segment)
    else:
        before, behind = trace.item(segment), trace.item(segment + 1)
        share = (level - before) / (behind - before)
    return start + share * (stop - start)


def _derivative(time: Floats, trace: Floats, sample: int) -> float:
    """Return the slope of the parabola through a sample and its neighbours, at the sample."""
    if sample in (0, len(time) - 1):
        left = max(sample - 1, 0)
        return float((trace[left + 1] - trace[left]) / (time[left + 1] - time[left]))
    t_before, t_at, t_behind = time[sample - 1 : sample + 2].tolist()
    before, at, behind = trace[sample - 1 : sample + 2].tolist()
    back, ahead = t_at - t_before, t_behind - t_at
    rising, going_on = (at - before) / back, (behind - at) / ahead
    return float((rising * ahead + going_on * back) / (back + ahead))


def _cubic_share(time: Floats, trace: Floats, level: float, segment: int) -> float:
    """Return where in the segment (0..1) the cubic through its neighbourhood meets `level`.

    Newton's steps from where the straight line does; a cubic so wiggly that they leave the
    segment is left to false position, which cannot.
    """
    if segment == 0 or segment + 3 > len(time):
        return _bracketed_share(time, trace, level, segment)
    t_before, t_start, t_end, t_behind = time[segment - 1 : segment + 3].tolist()
    before, start, end, behind = trace[segment - 1 : segment + 3].tolist()
    span, height, rise = t_end - t_start, start - level, end - start
    left, right = (t_before - t_start) / span, (t_behind - t_start) / span
    # Newton's divided differences over the places 0, 1, left, right.
    to_left = (before - end) / (left - 1)
    second = (to_left - rise) / left
    third = (((behind - before) / (right - left) - to_left) / (right - 1) - second) / right
    enough = _HEIGHT_SHARE * abs(rise)
    place = -height / rise
    for _ in range(_NEWTON_STEPS):
        bend = second + (place - left) * third
        error = height + place * (rise + (place - 1) * bend)
        if abs(error) <= enough:
            return float(place)
        steepness = rise + (2 * place - 1) * bend + place * (place - 1) * third
        place -= error / steepness if steepness else 2.0
        if not 0 <= place <= 1:
            break
    return _bracketed_share(time, trace, level, segment)


def _bracketed_share(time: Floats, trace: Floats, level: float, segment: int) -> float:
    """Return the same by false position, for segments at the ends of a trace too.

    The cubic (Newton's divided differences) passes through the segment's ends, so that there
    always is such a place; found by false position between them, which a wiggly cubic cannot
    lead astray (an end that stays has its height halved: the Illinois rule).
    """
    low, high = max(segment - 1, 0), min(segment + 3, len(time))
    start = float(time[segment])
    span = float(time[segment + 1]) - start
    places = [(moment - start) / span for moment in time[low:high].tolist()]
    differences = [value - level for value in trace[low:high].tolist()]
    from_height, to_height = differences[segment - low], differences[segment - low + 1]
    for order in range(1, len(places)):
        for k in range(len(places) - 1, order - 1, -1):
            step = places[k] - places[k - order]
            differences[k] = (differences[k] - differences[k - 1]) / step
    terms = list(zip(places[-2::-1], differences[-2::-1], strict=True))
    return _meeting_place(differences[-1], terms, from_height, to_height)


def _meeting_place(
    highest: float, terms: list[tuple[float, float]], older_height: float, newer_height: float
) -> float:
    """Return the root in 0..1 of a polynomial in Newton's form with these heights at 0 and 1."""
    older, newer, middle = 0.0, 1.0, 0.0
    enough = _HEIGHT_SHARE * (abs(older_height) + abs(newer_height))
    for _ in range(_MOST_TRIES):
        middle = older - older_height * (newer - older) / (newer_height - older_height)
        height = highest
        for place, difference in terms:
            height = height * (middle - place) + difference
        if abs(height) <= enough:
            break
        if (height >= 0) == (newer_height >= 0):
            older_height /= 2
        else:
            older, older_height = newer, newer_height
        newer, newer_height = middle, height
    return middle
