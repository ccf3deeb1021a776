"""The contracts as data: channels, units, causes, and the JSON Schemas of what is exchanged."""

from __future__ import annotations

import tomllib
from importlib import resources
from typing import Any


def read_text(name: str) -> str:
    """Return the text of the contract file `name` that lies beside this module."""
    return (resources.files(__name__) / name).read_text(encoding="utf-8")


def read_toml(name: str) -> dict[str, Any]:
    """Return the contract file `name`, parsed."""
    return tomllib.loads(read_text(name))
