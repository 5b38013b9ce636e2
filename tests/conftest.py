"""What all tests share."""

from hypothesis import settings

# Machines that run tests are busy: how long an example took says nothing about the code.
settings.register_profile("shared", deadline=None)
settings.load_profile("shared")
