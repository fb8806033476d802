"""How far a long command has come: a bar where somebody watches, plain lines everywhere else."""

from __future__ import annotations

import os
import shutil
from collections.abc import Mapping
from typing import TextIO

from necrostats.visible import visible

PREFIX = "necrostats: "
CELLS = 20
FULL, EMPTY = "█", "░"
FULL_ASCII, EMPTY_ASCII = "#", "."
COLOUR, PLAIN = "\x1b[36m", "\x1b[0m"


class Step(str):
    """A stage in words that also says how far it is: `done` of `of` `units`."""

    __slots__ = ("done", "of", "units")

    def __new__(cls, text: str, *, done: int, of: int, units: str = "steps") -> Step:
        """A stage, `done` of `of`."""
        step = super().__new__(cls, text)
        step.done, step.of, step.units = done, of, units
        return step


class Progress:
    """Told each stage in words, or as a Step; shows them on a stream.

    Where the stream is a terminal, the steps of one stage share a line with a bar; elsewhere each stage is a line,
    once. Colour only in a terminal, and never where NO_COLOR is set to anything.
    """

    def __init__(self, stream: TextIO, environment: Mapping[str, str] = os.environ) -> None:
        self._stream = stream
        self._watched = stream.isatty() and environment.get("TERM") != "dumb"
        self._coloured = self._watched and not environment.get("NO_COLOR")
        self._open, self._last = "", ""

    def __call__(self, line: str) -> None:
        """Show a stage; the steps of one are shown in its place."""
        if isinstance(line, Step) and self._watched:
            self._step(line)
        elif str(line) != self._last or not isinstance(line, Step):
            self.close()
            self._write(f"{PREFIX}{visible(str(line))}\n")
        self._last = str(line)

    def close(self) -> None:
        """End the line that a bar stands on."""
        if self._open:
            self._open = ""
            self._write("\n")

    def _step(self, step: Step) -> None:
        if self._last != str(step):
            self.close()
        head, bar, count = self._parts(step)
        text = f"{head}{bar}{count}"
        blank = " " * max(0, len(self._open) - len(text))
        shown = f"{head}{COLOUR}{bar}{PLAIN}{count}" if self._coloured else text
        self._write(f"\r{shown}{blank}")
        self._open = text

    def _parts(self, step: Step) -> tuple[str, str, str]:
        """Words, cut to leave room for the rest; bar; count."""
        full, empty = (FULL, EMPTY) if self._can_show(FULL + EMPTY) else (FULL_ASCII, EMPTY_ASCII)
        filled = CELLS * step.done // step.of if step.of else CELLS
        count = f" {step.done:,} of {step.of:,} {step.units}"
        room = max(0, shutil.get_terminal_size().columns - len("   ") - CELLS - len(count))
        return f"{f'{PREFIX}{visible(str(step))}'[:room]}  ", full * filled + empty * (CELLS - filled), count

    def _can_show(self, text: str) -> bool:
        try:
            text.encode(self._stream.encoding or "ascii")
        except UnicodeEncodeError:
            return False
        return True

    def _write(self, text: str) -> None:
        self._stream.write(text)
        self._stream.flush()
