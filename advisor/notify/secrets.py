"""Passwords and addresses that are secret: from the environment or from a file that only its owner can read.

A relative path is looked for where systemd hands over credentials, then in the household's folder.
"""

from __future__ import annotations

import os
import stat
from collections.abc import Mapping
from pathlib import Path

from advisor.errors import InvalidFile
from advisor.store.masking import Secret

_WHERE = "notices.channel"
#: a secret longer than this is a wrong file
_LONGEST = 4096


def read_secret(settings: Mapping[str, object], stem: str, name: str, folder: Path) -> Secret | None:
    """The secret that `<stem>_file` or `<stem>_env` names; None where neither is given.

    Raises
    ------
    InvalidFile
        When it is not there, is empty, or other users of this computer can read its file.
    """
    file, variable = settings.get(f"{stem}_file"), settings.get(f"{stem}_env")
    if file is not None and variable is not None:
        raise InvalidFile(
            f'the channel "{name}" names {stem}_file and {stem}_env', where=_WHERE, hint="leave one of them out"
        )
    if file is not None:
        return _checked(_from_file(_find(str(file), folder), stem, name), f"{stem}_file", name)
    if variable is not None:
        found = os.environ.get(str(variable))
        if found is None:
            raise InvalidFile(
                f'the channel "{name}" wants the environment variable {variable}, which is not set',
                where=_WHERE,
                hint=f"set it where the service is started, or write {stem}_file",
            )
        return _checked(found, f"{stem}_env", name)
    return None


def _find(text: str, folder: Path) -> Path:
    path = Path(text).expanduser()
    credentials = os.environ.get("CREDENTIALS_DIRECTORY")
    if credentials and not path.is_absolute() and (Path(credentials) / path).is_file():
        return Path(credentials) / path
    return folder / path


def _from_file(path: Path, stem: str, name: str) -> str:
    try:
        with path.open("rb") as file:
            mode = os.fstat(file.fileno()).st_mode
            if not stat.S_ISREG(mode):
                raise InvalidFile(f"the {stem} of channel \"{name}\" is no ordinary file", where=str(path))
            if os.name == "posix" and stat.S_IMODE(mode) & 0o077 and not _handed_over(path):
                raise InvalidFile(
                    f"other users can read the {stem} of channel \"{name}\" (mode {stat.S_IMODE(mode):04o})",
                    where=str(path),
                    hint=f"chmod 600 {path}",
                )
            return file.read(_LONGEST + 1).decode("utf-8")
    except UnicodeDecodeError as error:
        raise InvalidFile(f'the {stem} of channel "{name}" is not text', where=str(path)) from error
    except OSError as error:
        raise InvalidFile(
            f'the {stem} of channel "{name}" cannot be read: {error.strerror or error}',
            where=str(path),
            hint="write it there, readable by its owner alone (mode 600)",
        ) from error


def _handed_over(path: Path) -> bool:
    """Whether systemd put the file where only this service sees it; it may be readable by the group there."""
    credentials = os.environ.get("CREDENTIALS_DIRECTORY")
    return bool(credentials) and path.parent == Path(credentials)


def _checked(text: str, key: str, name: str) -> Secret:
    text = text.strip()
    if not text or len(text) > _LONGEST or any(char in text for char in "\r\n\0"):
        what = "is empty" if not text else "is not one line of text"
        raise InvalidFile(f'the {key} of channel "{name}" {what}', where=_WHERE, hint="write the secret alone")
    return Secret(text)
