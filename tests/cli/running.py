"""What the commands' tests run a command with; `conftest.py` makes one."""

from __future__ import annotations

from collections.abc import Callable

from click.testing import Result

Run = Callable[..., Result]
"""Takes the words of a command, and `code` when it shall not end with 0."""
