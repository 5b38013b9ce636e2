"""What all tests share."""

from functools import cache

import typer.testing
from hypothesis import settings

# Machines that run tests are busy: how long an example took says nothing about the code.
settings.register_profile("shared", deadline=None)
settings.load_profile("shared")

# The runner builds the whole command line anew for every call, which takes longer than most calls.
if hasattr(typer.testing, "_get_command"):
    typer.testing._get_command = cache(typer.testing._get_command)  # noqa: SLF001
