"""Being asked to stop, however little of it Python lets through."""

from __future__ import annotations

import os
import signal
from contextlib import suppress

import pytest

from plica import worker_processes as workers
from plica.commands.stopping import stopping


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_wish_that_a_finaliser_swallowed_is_still_heeded(number: signal.Signals) -> None:
    with stopping() as asked:
        asked.heed()
        with suppress(KeyboardInterrupt):  # as Python does with what is raised in a finaliser
            os.kill(os.getpid(), number)
        with pytest.raises(KeyboardInterrupt):
            asked.heed()


def test_handlers_are_as_before_afterwards() -> None:
    before = [signal.getsignal(number) for number in (signal.SIGINT, signal.SIGTERM)]
    with stopping():
        assert signal.getsignal(signal.SIGTERM) != before[1]
    assert [signal.getsignal(number) for number in (signal.SIGINT, signal.SIGTERM)] == before


def test_a_ctrl_c_that_is_ignored_stays_ignored() -> None:
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        with stopping() as asked:
            os.kill(os.getpid(), signal.SIGINT)
            asked.heed()
    finally:
        signal.signal(signal.SIGINT, before)


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_wish_while_processes_start_is_heard_afterwards(number: signal.Signals) -> None:
    came = []
    with stopping() as asked:
        with pytest.raises(KeyboardInterrupt), workers._undisturbed():
            os.kill(os.getpid(), number)
            came.append("after the signal")
        with pytest.raises(KeyboardInterrupt):
            asked.heed()
    assert came == ["after the signal"]
