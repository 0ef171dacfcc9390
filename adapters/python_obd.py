"""python-OBD's frame assemblers, without the rest of python-OBD.

Importing the package as a whole makes the registry of a units library, which takes
longer and more memory than all that is done here with a session of an hour; and it
adds a logger that would write across the screen. So the package stands in
`sys.modules` as an import would leave it, and runs its own beginning when somebody asks
it for a name that no sub-module brought.
"""

from __future__ import annotations

import logging
import sys
from importlib import import_module
from importlib.machinery import ModuleSpec
from importlib.util import find_spec, module_from_spec
from types import ModuleType
from typing import Any, Final

_PACKAGE: Final = "obd"


def _deferred(spec: ModuleSpec) -> ModuleType:
    """The package, not yet run."""
    package = module_from_spec(spec)

    def run(name: str) -> Any:
        del package.__dict__["__getattr__"]
        assert spec.loader is not None
        spec.loader.exec_module(package)
        return getattr(package, name)

    package.__dict__["__getattr__"] = run
    return package


def _protocols() -> Any:
    spec = find_spec(_PACKAGE)
    if spec is not None and _PACKAGE not in sys.modules:
        sys.modules[_PACKAGE] = _deferred(spec)
    logger = logging.getLogger(_PACKAGE)
    logger.handlers[:] = [logging.NullHandler()]
    return import_module(f"{_PACKAGE}.protocols")


protocols: Final[Any] = _protocols()
"""Its sub-module `obd.protocols`."""
