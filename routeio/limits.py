"""Limits: how much time and memory reading a file may take, in proportion to its size."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Limits:
    """What a reader may use up before it is killed.

    The defaults are about ten times what an honest file of that size needs.

    Parameters
    ----------
    cpu_seconds : float
        Processor time for a small file. [s]
    cpu_seconds_per_mb : float
        More for each megabyte of input. [s]
    wall_seconds : float
        Time by the clock for a small file; a loaded machine may take long over little work. [s]
    memory_mb : float
        Memory for a small file. [MB]
    memory_mb_per_mb : float
        More for each megabyte of input beyond ten. [MB]
    """

    cpu_seconds: float = 8.0
    cpu_seconds_per_mb: float = 1.0
    wall_seconds: float = 60.0
    memory_mb: float = 1000.0
    memory_mb_per_mb: float = 20.0

    def cpu(self, size: int) -> float:
        """Return the processor time allowed for ``size`` bytes. [s]"""
        return self.cpu_seconds + self.cpu_seconds_per_mb * size / 1e6

    def wall(self, size: int) -> float:
        """Return the time by the clock allowed for ``size`` bytes. [s]"""
        return self.wall_seconds + 3.0 * self.cpu_seconds_per_mb * size / 1e6

    def memory(self, size: int) -> float:
        """Return the memory allowed for ``size`` bytes. [MB]"""
        return self.memory_mb + self.memory_mb_per_mb * max(size / 1e6 - 10.0, 0.0)
