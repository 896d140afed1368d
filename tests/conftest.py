"""Shared by all tests: what to do when a part that a test needs is missing."""

from __future__ import annotations

import os

import pytest
from hypothesis import HealthCheck, settings

from fretcheck.workers import use_one_thread

use_one_thread()  # as the command does; the processes that run tests side by side have the cores to share
settings.register_profile("no clock", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("no clock")  # a busy machine is no fault of the code under test

REQUIRE_ALL = os.environ.get("FRETCHECK_REQUIRE_ALL") == "1"


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item, call):
    """With FRETCHECK_REQUIRE_ALL=1 (as CI sets it) a skip is a failure: nothing may go untested unseen."""
    report = yield
    if REQUIRE_ALL and report.skipped and not hasattr(report, "wasxfail"):
        report.outcome = "failed"
        report.longrepr = f"skipped although FRETCHECK_REQUIRE_ALL=1: {report.longrepr}"
    return report


def pytest_collection_modifyitems(items):
    """Tests that listen in real time run one after another, in one process; all others share what cores there are."""
    for item in items:
        if item.get_closest_marker("live"):
            item.add_marker(pytest.mark.xdist_group("live"))
