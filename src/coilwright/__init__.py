"""coilwright: from an enquiry to a service call, the computation behind made-to-order induction heating.

Verbs and main nouns live here; each is loaded on first use so that `import coilwright` stays light.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

__version__ = "0.1.0"

_PUBLIC: dict[str, str] = {}

__all__ = ["__version__", *sorted(_PUBLIC)]


def __getattr__(name: str) -> Any:
    try:
        module = _PUBLIC[name]
    except KeyError:
        raise AttributeError(f"module 'coilwright' has no attribute {name!r}") from None
    return getattr(import_module(module), name)


def __dir__() -> list[str]:
    return sorted(__all__)
