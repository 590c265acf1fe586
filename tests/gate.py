"""What else fails a run of the tests: a check that failed before, and a skip where none may be.

`tests/run.sh` loads it with `-p gate`, so that pytest's summary line stays the last one.
"""

import os

import pytest


def pytest_addoption(parser: pytest.Parser) -> None:
    """Add `--nothing-skipped`."""
    parser.addoption(
        "--nothing-skipped", action="store_true", help="a skipped test fails the whole run"
    )


def reasons_to_fail(config: pytest.Config) -> list[str]:
    """Why the run fails although each test that ran may have passed."""
    found = []
    if checks := os.environ.get("BRINEWARD_FAILED_CHECKS", "").rstrip("; "):
        found.append(f"failed before the tests: {checks}")
    reporter = config.pluginmanager.get_plugin("terminalreporter")
    skipped = len(reporter.stats.get("skipped", [])) if reporter is not None else 0
    if skipped and config.getoption("--nothing-skipped"):
        found.append(f"nothing may be skipped here, and {skipped} were")
    return found


@pytest.hookimpl(trylast=True)
def pytest_sessionfinish(session: pytest.Session) -> None:
    """Turn a good end into a bad one where there is reason; the controller alone decides."""
    if hasattr(session.config, "workerinput") or session.exitstatus != pytest.ExitCode.OK:
        return
    if reasons_to_fail(session.config):
        session.exitstatus = pytest.ExitCode.TESTS_FAILED


def pytest_terminal_summary(
    terminalreporter: pytest.TerminalReporter, config: pytest.Config
) -> None:
    """Say why."""
    for reason in reasons_to_fail(config):
        terminalreporter.write_sep("=", reason, red=True)
