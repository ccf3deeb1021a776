"""Babbitt for a notebook or a script: ``import babbitt as bb``.

What `__all__` names is public, and nothing else is. Tables are pandas DataFrames with the columns
of schemas/dictionary.toml, the same dtypes whether or not there are rows, and the unit of each
column in ``frame.attrs["units"]``.

Importing this loads next to nothing; what is used is loaded when it is first asked for.
"""

from __future__ import annotations

import sys
from types import ModuleType
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from babbitt._door import (
        BabbittError,
        DamageModelError,
        EngineSpec,
        Logbook,
        LogbookError,
        LogRefusedError,
        RegisterError,
        Run,
        RunFileError,
        SettingsError,
        detect,
        open_logbook,
        read_log,
        read_spec,
    )

__all__ = [
    "BabbittError",
    "DamageModelError",
    "EngineSpec",
    "LogRefusedError",
    "Logbook",
    "LogbookError",
    "RegisterError",
    "Run",
    "RunFileError",
    "SettingsError",
    "detect",
    "open_logbook",
    "read_log",
    "read_spec",
]


class _FrontDoor(ModuleType):
    """The package, whose `detect` stays the function."""

    def __setattr__(self, name: str, value: object) -> None:
        # Python sets each sub-package on its parent once it is imported, and there is a `detect`.
        if name not in __all__ or not isinstance(value, ModuleType):
            super().__setattr__(name, value)


sys.modules[__name__].__class__ = _FrontDoor


def __getattr__(name: str) -> Any:
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from babbitt import _door

    return getattr(_door, name)


def __dir__() -> list[str]:
    return sorted(__all__)
