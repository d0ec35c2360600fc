"""What settings are called in the environment, among the secrets and as a file; a wrong name is refused.

The settings themselves are in `config.py`.
"""

from __future__ import annotations

import difflib
import os
from collections.abc import Iterable
from pathlib import Path
from typing import Final

from underlid.errors import UnderlidError

PREFIX: Final = "UNDERLID_"
FILE_NAME: Final = "underlid.toml"
FILE_VARIABLE: Final = f"{PREFIX}SETTINGS"
SECRETS_VARIABLE: Final = f"{PREFIX}SECRETS"
"""Names a folder with a file for each secret, such as `underlid_records_url`."""

PASSPHRASE_VARIABLE: Final = f"{PREFIX}PASSPHRASE"
"""Read by `underlid user`; not a setting."""


def check_names(settings: Iterable[str]) -> None:
    """Refuse variables that look like settings and are none, and a named file that is not there."""
    named = os.environ.get(FILE_VARIABLE)
    if named is not None and not Path(named).is_file():
        raise UnderlidError(
            FILE_VARIABLE,
            value=named,
            expected="a settings file that can be read",
            next_step="Correct the path, or unset the variable.",
        )
    known = {f"{PREFIX}{name}".upper() for name in settings}
    for name in secret_files():
        _check_name(f"secret {name}", name, known)
    known |= {FILE_VARIABLE, SECRETS_VARIABLE, PASSPHRASE_VARIABLE}
    for variable in os.environ:
        _check_name(f"variable {variable}", variable, known)


def _check_name(what: str, name: str, known: set[str]) -> None:
    if not name.upper().startswith(PREFIX) or name.upper() in known:
        return
    near = difflib.get_close_matches(name.upper(), known, 1)
    raise UnderlidError(
        what,
        value="set",
        expected=f"the name of a setting{f', such as {near[0]}' if near else ''}",
        next_step="Correct or remove it; `underlid check` lists all settings.",
    )


def secret_files() -> list[str]:
    """Return the names of the files in the folder of secrets, if one is named."""
    folder = os.environ.get(SECRETS_VARIABLE)
    if folder is None:
        return []
    try:
        return sorted(path.name for path in Path(folder).iterdir() if path.is_file())
    except OSError as error:
        raise UnderlidError(
            SECRETS_VARIABLE,
            value=folder,
            expected=f"a folder that can be read ({error.strerror})",
            next_step="Correct the path, or unset the variable.",
        ) from None
