"""What all tests need."""

import signal

import pytest


@pytest.fixture(scope="session", autouse=True)
def interruptible():
    """Let Ctrl-C reach tests of interrupts in a suite started in the background, too.

    Shells start background jobs with interrupts ignored, and all they start inherit that.
    """
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    yield
    signal.signal(signal.SIGINT, before)
