"""What long computations call to say how far they are."""

from __future__ import annotations

from collections.abc import Callable

__all__ = ["Progress"]

Progress = Callable[[str, int, int], None]
"""Called with (what is being done, steps done, steps in all).

What is being done is "stage" or "stage: detail", where the steps are those of the stage; 0 steps in
all say that the end is open.
"""
