"""The argument ``--criterion``, which several commands share."""

from __future__ import annotations

import argparse

__all__ = ["add_criterion"]


def add_criterion(parser: argparse.ArgumentParser, words: str = "as for conegap onset") -> None:
    """Declare the argument.

    Parameters
    ----------
    words : str
        Its help.
    """
    parser.add_argument(
        "--criterion", choices=("automatic", "rigid", "meniscus"), default="automatic", help=words
    )
