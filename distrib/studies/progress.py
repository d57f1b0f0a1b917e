"""Progress of long work: rate and remaining time on a terminal, nothing when piped."""

from __future__ import annotations

import sys
import time
from collections import deque
from collections.abc import Callable
from typing import TextIO

REDRAW_SECONDS = 0.2
WINDOW_SECONDS = 30.0
"""The rate is taken over this much recent time, so that a slow start is forgotten."""


def duration(seconds: float) -> str:
    """Time in words a person reads: 0:07, 12:40, 3:05:00."""
    whole = max(0, round(seconds))
    hours, rest = divmod(whole, 3600)
    minutes, secs = divmod(rest, 60)
    return f"{hours}:{minutes:02d}:{secs:02d}" if hours else f"{minutes}:{secs:02d}"


class Progress:
    """One line that is redrawn: done, percent, rate, remaining time.

    `already` points were there before (a resumed study) and do not count for the rate. Nothing
    is ever written when `stream` is no terminal, or with `quiet`.
    """

    def __init__(self, total: int, what: str = "points", *, already: int = 0,
                 quiet: bool = False, stream: TextIO | None = None,
                 clock: Callable[[], float] = time.monotonic) -> None:
        self.total = total
        self.done = already
        self.what = what
        self._stream = stream if stream is not None else sys.stderr
        self._clock = clock
        self._shown = not quiet and self._stream.isatty()
        now = clock()
        self._marks: deque[tuple[float, int]] = deque([(now, already)])
        self._drawn = now - REDRAW_SECONDS
        self._width = 0

    def rate(self) -> float:
        """Points a second over the recent window; 0 while nothing is known."""
        (t0, n0), (t1, n1) = self._marks[0], self._marks[-1]
        return (n1 - n0) / (t1 - t0) if t1 > t0 else 0.0

    def remaining(self) -> float | None:
        """Seconds to the end at the present rate, None while nothing is known."""
        rate = self.rate()
        return max(self.total - self.done, 0) / rate if rate > 0.0 else None

    def update(self, count: int) -> None:
        """Count `count` more finished points."""
        self.done += count
        now = self._clock()
        self._marks.append((now, self.done))
        while len(self._marks) > 2 and (
            now - self._marks[0][0] > WINDOW_SECONDS or len(self._marks) > 1000
        ):
            self._marks.popleft()
        if self._shown and (now - self._drawn >= REDRAW_SECONDS or self.done >= self.total):
            self._drawn = now
            self._draw()

    def line(self) -> str:
        """The text of the line."""
        percent = min(100 * self.done // self.total, 100) if self.total else 100
        text = f"{self.done}/{self.total} {self.what}  {percent} %"
        left = self.remaining()
        if left is not None:
            text += f"  {self.rate():.3g}/s  {duration(left)} left"
        return text

    def _draw(self) -> None:
        text = self.line()
        self._stream.write("\r" + text.ljust(self._width))
        self._stream.flush()
        self._width = len(text)

    def close(self) -> None:
        """Wipe the line."""
        if self._shown and self._width:
            self._stream.write("\r" + " " * self._width + "\r")
            self._stream.flush()
            self._width = 0
