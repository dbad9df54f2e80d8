"""What is being done, on standard error, once it takes longer than a second."""

from __future__ import annotations

import sys
import threading
from types import TracebackType
from typing import Self

_PATIENCE = 1.0  # seconds before anything is said


class Progress:
    """Told each step as it begins; says it aloud only when the work as a whole takes over a second."""

    def __init__(self) -> None:
        self._step = ""
        self._loud = False
        self._lock = threading.Lock()
        self._timer = threading.Timer(_PATIENCE, self._speak)
        self._timer.daemon = True

    def __enter__(self) -> Self:
        self._timer.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._timer.cancel()
        with self._lock:
            if self._loud and sys.stderr.isatty():
                sys.stderr.write("\r\x1b[K")
                sys.stderr.flush()

    def __call__(self, step: str) -> None:
        """Note the step that begins now."""
        with self._lock:
            self._step = step
            if self._loud:
                self._say()

    def _speak(self) -> None:
        with self._lock:
            self._loud = True
            if self._step:
                self._say()

    def _say(self) -> None:
        # on a terminal one line is written over; elsewhere every step has its own
        if sys.stderr.isatty():
            sys.stderr.write(f"\r\x1b[K{self._step} ...")
        else:
            sys.stderr.write(f"{self._step} ...\n")
        sys.stderr.flush()
