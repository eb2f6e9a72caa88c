"""What a test needs and this machine has not: skipped for a user, failed in CI, where `.ci/run` installs it."""

import os
from typing import NoReturn

import pytest


def absent(message: str) -> NoReturn:
    """End the test: something from outside the project is not there."""
    if os.environ.get("CI"):
        pytest.fail(message)
    pytest.skip(message)
