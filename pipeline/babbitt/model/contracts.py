"""The contracts as data: channels, units, causes, and the JSON Schemas of what is exchanged."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

_PACKAGE = Path(__file__).parents[1]


def data_folder(name: str) -> Path:
    """Folder `name` of the data that travels with the program: ``schemas`` or ``demo_logs``.

    It lies in the package where that was installed from a wheel, and in the checkout where the
    install is editable.
    """
    inside = _PACKAGE / name
    return inside if inside.is_dir() else _PACKAGE.parents[1] / name


def read_text(name: str) -> str:
    """Text of the contract file `name`."""
    return (data_folder("schemas") / name).read_text(encoding="utf-8")


def read_toml(name: str) -> dict[str, Any]:
    """Contract file `name`, parsed."""
    return tomllib.loads(read_text(name))
