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


def pytest_xdist_auto_num_workers():
    """One more than there are cores: the one that listens in real time leaves most of its own to the others."""
    return len(os.sched_getaffinity(0)) + 1 if hasattr(os, "sched_getaffinity") else None


@pytest.hookimpl(tryfirst=True)  # before xdist reads the groups
def pytest_collection_modifyitems(items):
    """Share the work: what takes long begins first, and what is prepared for a whole module is prepared in one process.

    Tests that listen in real time run one after another, in one process, too.
    """
    for item in items:
        if item.get_closest_marker("live"):
            item.add_marker(pytest.mark.xdist_group("live"))
        elif _has_module_fixture(item) and not item.get_closest_marker("xdist_group"):
            item.add_marker(pytest.mark.xdist_group(item.module.__name__))
    marks = ("live", "slow", "xdist_group")
    items.sort(key=lambda item: next((n for n, mark in enumerate(marks) if item.get_closest_marker(mark)), len(marks)))


@pytest.hookimpl(tryfirst=True)
def pytest_runtest_setup(item):
    """Let processes that only compute give way to the one that listens, which begins with that."""
    listens = item.get_closest_marker("live") is not None
    if "PYTEST_XDIST_WORKER" in os.environ and not listens and hasattr(os, "nice") and os.nice(0) < 10:
        os.nice(10)


def _has_module_fixture(item):
    found = item._fixtureinfo.name2fixturedefs
    return any(fixture.scope == "module" for name in item.fixturenames for fixture in found.get(name, ()))
