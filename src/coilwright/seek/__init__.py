"""The search for a better coil, frequency and tank within bounds that the job file states."""

from coilwright.seek.effort import Effort

__all__ = ["Effort"]
